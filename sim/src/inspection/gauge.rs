//! What a gauge read round a band, as the inspection file has it.
//!
//! Decides: where a band is gauged, how many readings there are, and how fine a written reading is.
//! Assumes: whoever writes `2.7 mm` read to a tenth, and `3/32 in` to a thirty-second.
//! Never: takes the same place twice: readings of one place say nothing of the rest of the band.

use crate::input::document::Section;
use crate::input::quantity::{Dimension, UnitSystem, format};
use crate::input::written_quantity::{QuantityError, parse};

/// No band is gauged at more places. Invented.
const MOST: usize = 36;
/// Two places nearer than this are the same. Invented.
const SAME_PLACE_DEG: f64 = 5.0;

/// Where a band was gauged, degrees round from the tie-in.
pub(super) fn places(section: &Section<'_>) -> Vec<f64> {
    let Some(texts) = section.texts("at") else { return USUAL_AT_DEG.to_vec() };
    if !(GAUGES..=MOST).contains(&texts.len()) {
        let place = texts.first().map_or(section.place(), |text| &text.place);
        let allowed = format!("{GAUGES} places or more, up to {MOST}, well round the band");
        section.fault(place, format!("`at` has {} entries", texts.len()), allowed);
    }
    let mut places: Vec<f64> = Vec::new();
    for text in &texts {
        let at_deg = match quantity(&text.value, Dimension::Angle, 0.0, 360.0) {
            Ok(Some(at_deg)) => at_deg,
            Ok(None) => {
                section.fault(&text.place, "a place without its angle", "an angle, such as \"90 deg\"");
                continue;
            }
            Err((problem, allowed)) => {
                section.fault(&text.place, problem, allowed);
                continue;
            }
        };
        if places.iter().any(|other| apart_deg(*other, at_deg) < SAME_PLACE_DEG) {
            let allowed = format!("places at least {SAME_PLACE_DEG:.0} deg from each other");
            section.fault(&text.place, format!("`{}` is the same place as another one", text.value), allowed);
        }
        places.push(at_deg);
    }
    places
}

/// The angle between two places, the shorter way round.
fn apart_deg(one: f64, other: f64) -> f64 {
    let apart = (one - other).rem_euclid(360.0);
    apart.min(360.0 - apart)
}

/// The size at each of so many places, mm, and how fine each was written; an empty text where nothing was measured.
pub(super) fn sizes(
    section: &Section<'_>,
    key: &'static str,
    count: usize,
    low_mm: f64,
    high_mm: f64,
) -> (Vec<Option<f64>>, Vec<f64>) {
    let (mut sizes, mut steps) = (vec![None; count], vec![0.0; count]);
    let Some(texts) = section.texts(key) else { return (sizes, steps) };
    if texts.len() != count {
        let problem = format!("`{key}` has {} entries", texts.len());
        let allowed = format!(
            "one for each of its {count} places (0, 90, 180 and 270 deg round from the tie-in where `at` names no \
             others); \"\" where nothing was measured"
        );
        let place = texts.first().map_or(section.place(), |text| &text.place);
        section.fault(place, problem, allowed);
    }
    for ((size, step), text) in sizes.iter_mut().zip(&mut steps).zip(texts) {
        match quantity(&text.value, Dimension::Length, low_mm, high_mm) {
            Ok(value) => (*size, *step) = (value, half_step_mm(&text.value)),
            Err((problem, allowed)) => section.fault(&text.place, problem, allowed),
        }
    }
    (sizes, steps)
}

/// Half of the last digit that was written, or of the last part of a fraction, mm.
fn half_step_mm(text: &str) -> f64 {
    let text = text.trim();
    let at = text.find(|one: char| !(one.is_ascii_digit() || " ./-+".contains(one))).unwrap_or(text.len());
    let (number, unit) = text.split_at(at);
    let Ok(unit_mm) = parse(&format!("1 {unit}"), Dimension::Length) else { return 0.0 };
    let step = match (number.split_once('/'), number.split_once('.')) {
        (Some((_, below)), _) => below.trim().parse::<f64>().map_or(0.0, |below| 1.0 / below),
        (None, Some((_, decimals))) => 0.1_f64.powi(decimals.trim().len() as i32),
        (None, None) => 1.0,
    };
    0.5 * step * unit_mm
}

/// At how many places a band is gauged, at least.
pub const GAUGES: usize = 4;
/// Where it is gauged unless the file says otherwise, degrees round from the tie-in.
pub const USUAL_AT_DEG: [f64; GAUGES] = [0.0, 90.0, 180.0, 270.0];

/// A quantity within a range; nothing for blanks.
///
/// # Errors
/// Says what is wrong, and what is allowed.
pub fn quantity(
    text: &str,
    dimension: Dimension,
    low: f64,
    high: f64,
) -> Result<Option<f64>, (String, String)> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    let value = parse(text, dimension)
        .map_err(|error| (error.problem(text, dimension), QuantityError::allowed(dimension)))?;
    if (low..=high).contains(&value) {
        return Ok(Some(value));
    }
    let [low, high] = [low, high].map(|end| format(end, dimension, UnitSystem::Metric));
    Err((format!("`{text}` is not possible"), format!("{low} to {high}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_is_as_fine_as_it_was_written() {
        for (text, half_mm) in [
            ("2.7 mm", 0.05),
            ("2.70 mm", 0.005),
            ("3 mm", 0.5),
            ("0.27 cm", 0.05),
            ("0.105 in", 0.0127),
            // Half of a thirty-second of an inch of 25.4 mm.
            ("3/32 in", 0.396_875),
            ("1 1/16 in", 0.793_75),
        ] {
            assert!((half_step_mm(text) - half_mm).abs() < 1e-9, "{text}: {}", half_step_mm(text));
        }
    }

    #[test]
    fn places_are_compared_the_shorter_way_round() {
        assert!((apart_deg(359.0, 1.0) - 2.0).abs() < 1e-9);
        assert!((apart_deg(0.0, 360.0)).abs() < 1e-9);
        assert!((apart_deg(10.0, 200.0) - 170.0).abs() < 1e-9);
    }
}
