//! Where the torch stands round the joint, seen towards the chuck.
//!
//! Decides: which side comes up, and what lies of the joint between the top centre and the torch.
//! Assumes: the torch stands on the side that comes up, so that the pool freezes as it comes over the
//! top (common practice, no source). Which side that is, is geometry.
//! Never: says how far is right; the procedure does.

use crate::input::parts::Rotation;

/// Seen towards the chuck, the side of the joint that comes up: the top of a joint that turns clockwise
/// moves to the right, so its left side comes up.
pub const fn side_coming_up(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Clockwise => "left",
        Rotation::CounterClockwise => "right",
    }
}

/// The side that goes down.
pub const fn side_going_down(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Clockwise => "right",
        Rotation::CounterClockwise => "left",
    }
}

/// The word a rotation is written with.
pub const fn rotation_word(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Clockwise => "clockwise",
        Rotation::CounterClockwise => "counter-clockwise",
    }
}

/// The rotation that a word is written for.
pub fn rotation_of(word: &str) -> Rotation {
    if word == rotation_word(Rotation::Clockwise) { Rotation::Clockwise } else { Rotation::CounterClockwise }
}

/// The angle from the top centre at which a torch stands that is `offset_mm` from the plumb line through
/// it, degrees; `None` where the offset is more than the radius.
pub fn angle_deg(offset_mm: f64, diameter_mm: f64) -> Option<f64> {
    let sine = offset_mm / (diameter_mm / 2.0);
    (sine.abs() <= 1.0).then(|| sine.asin().to_degrees())
}

/// Words with the sides of the joint put in.
pub(super) fn with_directions(words: &str, rotation: Option<Rotation>) -> String {
    let (up, down) = match rotation {
        Some(rotation) => {
            let turning = rotation_word(rotation);
            let seen = |side| format!("to the {side} (seen towards the chuck, joint turning {turning})");
            (seen(side_coming_up(rotation)), seen(side_going_down(rotation)))
        }
        None => ("to the side that comes up".to_owned(), "to the side that goes down".to_owned()),
    };
    words.replace("{up}", &up).replace("{down}", &down)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_other_way_round_is_the_other_side() {
        for rotation in [Rotation::Clockwise, Rotation::CounterClockwise] {
            assert_ne!(side_coming_up(rotation), side_going_down(rotation));
            assert_eq!(rotation_of(rotation_word(rotation)), rotation);
        }
        assert_eq!(side_coming_up(Rotation::Clockwise), "left");
    }

    /// 3/4 to 1 1/2 in on a 5 in joint (common practice, no source) is 17.5 to 36.9 degrees: arc sine of
    /// offset over radius.
    #[test]
    fn an_offset_is_an_angle() {
        let angle = |inches: f64| angle_deg(inches * 25.4, 127.0).expect("within the radius");
        assert!((angle(0.75) - 17.46).abs() < 0.01 && (angle(1.5) - 36.87).abs() < 0.01);
        assert_eq!(angle_deg(70.0, 127.0), None);
    }
}
