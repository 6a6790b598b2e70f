//! Values and ranges as they are printed on a page or a picture.
//!
//! Decides: how units are set.
//! Never: escapes anything for a file format.

use super::chart::Ranges;
use crate::input::bounds::Bounds;
use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use crate::standing::show_bounds;

/// Units as they are printed.
pub fn typeset(text: &str) -> String {
    let mut set = String::with_capacity(text.len());
    for word in text.split_inclusive(' ') {
        let unit = word.trim_end_matches([' ', ';', ',', ')']);
        let printed = match unit {
            "degC" => "°C",
            "degF" => "°F",
            // The sign of an angle stands close to its number.
            "deg" => {
                set.truncate(set.trim_end().len());
                "°"
            }
            other => other,
        };
        set.push_str(printed);
        set.push_str(&word[unit.len()..]);
    }
    set
}

/// A value as people read it.
pub fn reading(value: f64, dimension: Dimension, system: UnitSystem) -> String {
    typeset(&format(value, dimension, system))
}

/// The ranges of a quantity in words.
pub fn ranges(ranges: &Ranges, dimension: Dimension, system: UnitSystem) -> String {
    let told = |name: &str, bounds: Bounds| {
        let is_given = bounds.ends().next().is_some();
        is_given.then(|| format!("{name} {}", typeset(&show_bounds(bounds, dimension, system))))
    };
    let recommended = told("recommended", ranges.recommended);
    let allowed = told("allowed", ranges.allowed);
    let floor = ranges.floor.map(|floor| format!("floor {}", reading(floor, dimension, system)));
    let told: Vec<String> = [recommended, allowed, floor].into_iter().flatten().collect();
    if told.is_empty() { "no range given".to_owned() } else { told.join("; ") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_printed_as_people_write_them() {
        assert_eq!(typeset("150 degC"), "150 °C");
        assert_eq!(typeset("12.5 deg"), "12.5°");
        assert_eq!(typeset("4.1 deg, limit 5 deg; (7 degF) 35 cfh"), "4.1°, limit 5°; (7 °F) 35 cfh");
        assert_eq!(typeset("3 deg/s"), "3 deg/s");
    }
}
