//! How a finished joint cools, and when it may be moved.
//!
//! Decides: how long it takes until all of the outside is below a temperature, and how fast it cools where the
//! last band lies, once that place is down to the temperature it was preheated to: above it heat runs into the
//! pipe whatever is put around the joint.
//! Assumes: it stays where it is, in the same surroundings.
//! Never: counts on water or a forced draught.

use super::cylinder::Cylinder;
use super::surroundings::{LossTable, Surroundings};

/// The rate is the mean over so long, s.
pub const RATE_OVER_S: f64 = 600.0;
/// Nobody waits longer than this, s.
const LONGEST_S: f64 = 48.0 * 3600.0;

/// How a joint cools in one kind of surroundings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cooling {
    /// Until all of the outside is below the temperature, s; `None` where it takes more than two days.
    pub seconds: Option<f64>,
    /// The fastest fall of the last band's place from the preheat temperature on, °C/h; `None` where it is
    /// over sooner than can be told.
    pub fastest_c_per_h: Option<f64>,
}

/// Lets `joint` cool; `place_mm` is where its last band lies.
pub fn cool(
    joint: &Cylinder,
    outside_diameter_mm: f64,
    place_mm: (f64, f64),
    surroundings: &Surroundings,
    (from_c, until_c): (f64, f64),
) -> Cooling {
    let loss = LossTable::new(surroundings, outside_diameter_mm);
    let mut joint = joint.clone();
    let (mut time_s, mut fastest) = (0.0, None::<f64>);
    let mut course: Vec<(f64, f64)> = Vec::new();
    loop {
        let here_c = joint.outside_between_c(place_mm.0, place_mm.1).0;
        if here_c <= from_c {
            course.push((time_s, here_c));
            fastest = [fastest, rate_at_the_end(&course)].into_iter().flatten().reduce(f64::max);
        }
        let is_cool = joint.outside_between_c(f64::NEG_INFINITY, f64::INFINITY).0 <= until_c;
        if is_cool || time_s >= LONGEST_S {
            return Cooling { seconds: is_cool.then_some(time_s), fastest_c_per_h: fastest };
        }
        let step_s = (0.01 * time_s).clamp(1.0, 60.0);
        joint.advance(step_s, None, loss.ambient_c(), |surface_c| loss.of(surface_c));
        time_s += step_s;
    }
}

/// The fall over the last ten minutes of a course, °C/h.
fn rate_at_the_end(course: &[(f64, f64)]) -> Option<f64> {
    let &(end_s, end_c) = course.last()?;
    let before = course.iter().rev().find(|(time_s, _)| end_s - time_s >= RATE_OVER_S)?;
    Some((before.1 - end_c) / (end_s - before.0) * 3600.0)
}
