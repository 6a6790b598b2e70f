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
/// It cools in steps of so long where a limit is looked at, s.
const STEP_S: f64 = 10.0;
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

/// The heat of the weld spreads within the wall first: what falls before this is not judged, s. As in the core.
const SETTLES_S: f64 = 300.0;
/// The fall is looked at every so often, s.
const LOOKS_S: f64 = 60.0;

/// The fastest fall of `place_mm` over up to ten minutes, as a limit of the cooling is judged: from five minutes after
/// the arc down to `until_c`, °C/h; `None` where it is below that by then.
pub fn fastest_fall(
    joint: &Cylinder,
    outside_diameter_mm: f64,
    place_mm: (f64, f64),
    surroundings: &Surroundings,
    until_c: f64,
) -> Option<f64> {
    let loss = LossTable::new(surroundings, outside_diameter_mm);
    let mut joint = joint.clone();
    let mut looks: Vec<f64> = Vec::new();
    let (mut time_s, mut fastest) = (0.0_f64, None::<f64>);
    let in_window = (RATE_OVER_S / LOOKS_S) as usize;
    while time_s < LONGEST_S {
        let here_c = joint.outside_between_c(place_mm.0, place_mm.1).0;
        if time_s >= SETTLES_S {
            let before_c = looks.last().copied();
            looks.push(here_c);
            let first = looks.len().saturating_sub(in_window + 1);
            let over_s = match before_c {
                // What fell below the end took no part in it.
                Some(before_c) if here_c <= until_c => {
                    let last = (before_c - until_c) / (before_c - here_c);
                    ((looks.len() - 2 - first) as f64 + last) * LOOKS_S
                }
                _ => RATE_OVER_S,
            };
            if before_c.is_some() {
                let fall = (looks[first] - here_c.max(until_c)) / over_s * 3600.0;
                fastest = Some(fastest.map_or(fall, |most| most.max(fall)));
            }
            if here_c <= until_c {
                return fastest;
            }
        }
        for _ in 0..(LOOKS_S / STEP_S) as u32 {
            joint.advance(STEP_S, None, loss.ambient_c(), |surface_c| loss.of(surface_c));
        }
        time_s += LOOKS_S;
    }
    fastest
}

/// The fall over the last ten minutes of a course, °C/h.
fn rate_at_the_end(course: &[(f64, f64)]) -> Option<f64> {
    let &(end_s, end_c) = course.last()?;
    let before = course.iter().rev().find(|(time_s, _)| end_s - time_s >= RATE_OVER_S)?;
    Some((before.1 - end_c) / (end_s - before.0) * 3600.0)
}
