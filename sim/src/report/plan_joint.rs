//! Where the bands lie: the joint drawn to scale as text, the edges of every band, and both for machines.
//!
//! Decides: how much of a joint is drawn, and at which scale.
//! Assumes: a character is twice as high as it is wide.
//! Never: draws a band's height to scale in text, where it is less than a line; the page does.

use super::style::{BOLD, line};
use crate::input::place::Finish;
use crate::input::quantity::{Dimension, UnitSystem, format, shown};
use crate::plan::JointPlan;
use crate::plan::placement::{PlacedBand, Stretch};
use crate::standing::show_bounds;
use serde_json::{Value, json};
use std::f64::consts::PI;

/// Characters of the widest drawing, and lines of the highest, from the surface to the centre.
const MOST_ACROSS: f64 = 66.0;
const MOST_DOWN: f64 = 9.0;
/// What is drawn of the joint beyond the last band where no taper is known, mm.
const BEYOND_MM: f64 = 25.0;
/// A taper is drawn down to this share of the joint's diameter.
const TAPER_TO: f64 = 0.7;

/// How a joint looks from the side.
pub(super) struct Side<'a> {
    /// The place.
    pub stretch: &'a Stretch,
    /// The joint's diameter, mm.
    pub diameter_mm: f64,
    /// What is drawn of it, mm from where edges are counted.
    pub length_mm: f64,
}

impl<'a> Side<'a> {
    pub(super) fn of(plan: &JointPlan, stretch: &'a Stretch) -> Self {
        let diameter_mm = stretch.diameter_at_mm(0.0, plan.outside_diameter_mm);
        let taper_end_mm = stretch.taper().map_or(0.0, |taper| {
            let slope = taper.angle_deg.to_radians().tan();
            taper.from_mm + (1.0 - TAPER_TO) * diameter_mm / 2.0 / slope
        });
        let length_mm = taper_end_mm.max(stretch.end_mm() + BEYOND_MM);
        Self { stretch, diameter_mm, length_mm }
    }
    /// Radius at a distance along the joint, mm.
    pub(super) fn radius_mm(&self, at_mm: f64) -> f64 {
        let full_mm = self.diameter_mm / 2.0;
        let Some(taper) = self.stretch.taper() else { return full_mm };
        let fallen_mm = (at_mm - taper.from_mm).max(0.0) * taper.angle_deg.to_radians().tan();
        (full_mm - fallen_mm).max(TAPER_TO * full_mm)
    }
    fn bands_at(&self, at_mm: f64) -> impl Iterator<Item = &PlacedBand> {
        self.stretch.bands.iter().filter(move |band| (band.from_mm..band.to_mm).contains(&at_mm))
    }
    fn is_flush(&self) -> bool {
        self.stretch.place.is_some_and(|place| matches!(place.finish, Finish::Flush { .. }))
    }
}

/// Where the edges of a place are counted from.
pub(super) const fn counted_from(stretch: &Stretch) -> &'static str {
    if stretch.is_from_shoulder { "the shoulder" } else { "the first band's near edge" }
}

/// From one edge of a band to the other, as people read it.
pub(super) fn edges(band: &PlacedBand, system: UnitSystem) -> String {
    let [from, to] = [band.from_mm, band.to_mm].map(|edge| format(edge, Dimension::Length, system));
    let unit = to.rsplit_once(' ').map_or("", |(_, unit)| unit);
    format!("{} to {to}", from.strip_suffix(unit).map_or(from.as_str(), str::trim_end))
}

/// Where a band starts, as people read it: round the joint, and along its surface.
pub(super) fn start(band: &PlacedBand, system: UnitSystem) -> String {
    let around_mm = PI * band.diameter_mm.max(0.0) * band.start_deg / 360.0;
    let around = format(around_mm, Dimension::Length, system);
    format!("{}, {around}", format(band.start_deg, Dimension::Angle, system))
}

/// What is set for a band that is laid on another diameter than the joint's.
pub(super) fn own_settings(plan: &JointPlan, band: &PlacedBand, system: UnitSystem) -> Option<String> {
    if !band.is_on_another_diameter(plan.outside_diameter_mm) || band.diameter_mm <= 0.0 {
        return None;
    }
    let length = |size_mm| format(size_mm, Dimension::Length, system);
    let offset = band.torch_offset_mm.map_or(String::new(), |(at_mm, range)| {
        format!(", torch offset {} ({})", length(at_mm), show_bounds(range, Dimension::Length, system))
    });
    let turn = format(band.turn_time_s, Dimension::Duration, system);
    Some(format!("on {}: turn {turn}{offset}", length(band.diameter_mm)))
}

/// The places: their edges, and the joint drawn; nothing where the width of a band is not known.
pub(super) fn text(text: &mut String, plan: &JointPlan, system: UnitSystem) {
    let Some(placement) = &plan.placement else { return };
    for stretch in &placement.stretches {
        line!(text, "");
        line!(
            text,
            "{BOLD}where the bands lie: {}, edges from {}{BOLD:#}",
            stretch.name(),
            counted_from(stretch)
        );
        for band in &stretch.bands {
            let both = [system, system.other()].map(|system| edges(band, system));
            let starts = start(band, system);
            line!(text, "  band {:<3} {:<20} {:<20} start {starts}", band.number, both[0], both[1]);
            if let Some(own) = own_settings(plan, band, system) {
                line!(text, "           {own}");
            }
        }
        draw(text, &Side::of(plan, stretch), system);
    }
}

fn draw(text: &mut String, side: &Side<'_>, system: UnitSystem) {
    let across_mm = (side.length_mm / MOST_ACROSS).max(side.diameter_mm / 2.0 / (2.0 * MOST_DOWN));
    let down_mm = 2.0 * across_mm;
    let columns: Vec<f64> = (0..(side.length_mm / across_mm).ceil() as u32)
        .map(|column| (f64::from(column) + 0.5) * across_mm)
        .collect();
    let row = |mark: &dyn Fn(f64) -> char| columns.iter().map(|at_mm| mark(*at_mm)).collect::<String>();
    let put =
        |text: &mut String, left: char, row: &str| line!(text, "{}", format!("   {left}{row}").trim_end());
    line!(text, "");
    let mut numbers = vec![' '; columns.len()];
    for band in &side.stretch.bands {
        let middle = (f64::midpoint(band.from_mm, band.to_mm) / across_mm) as usize;
        for (place, digit) in band.number.to_string().chars().enumerate() {
            if let Some(cell) = numbers.get_mut(middle + place) {
                *cell = digit;
            }
        }
    }
    put(text, ' ', &numbers.into_iter().collect::<String>());
    // An overlap narrower than a character is still one.
    let is_overlap = |at_mm: f64| {
        side.stretch.bands.windows(2).any(|pair| {
            let middle_mm = f64::midpoint(pair[1].from_mm, pair[0].to_mm);
            pair[1].from_mm < pair[0].to_mm && (middle_mm - at_mm).abs() <= across_mm / 2.0
        }) || side.bands_at(at_mm).count() > 1
    };
    let band_mark = |at_mm: f64| match side.bands_at(at_mm).next() {
        _ if is_overlap(at_mm) => Some('%'),
        Some(_) => Some('#'),
        None => None,
    };
    // Lines are counted down from the surface; a band that stands off the joint lies on the line above it.
    let is_body = |at_mm: f64, line: i32| {
        side.radius_mm(at_mm) >= side.diameter_mm / 2.0 - (f64::from(line) + 0.5) * down_mm
    };
    for line in (if side.is_flush() { 0 } else { -1 })..(side.diameter_mm / 2.0 / down_mm).ceil() as i32 {
        let is_of_bands = |at_mm: f64| {
            if side.is_flush() {
                is_body(at_mm, line) && !is_body(at_mm, line - 1)
            } else {
                is_body(at_mm, line + 1) && !is_body(at_mm, line)
            }
        };
        let cell = |at_mm: f64| match band_mark(at_mm).filter(|_| is_of_bands(at_mm)) {
            Some(mark) => mark,
            None if is_body(at_mm, line) => '.',
            None => ' ',
        };
        let is_face = line >= 0 && side.stretch.is_from_shoulder;
        put(text, if is_face { '|' } else { ' ' }, &row(&cell));
    }
    put(text, '+', &row(&|_| '-'));
    ruler(text, across_mm, columns.len(), system);
    let [along, up] = [across_mm, down_mm].map(|length| format(length, Dimension::Length, system));
    line!(
        text,
        "  Upper half of the joint, to scale: a character is {along} along and {up} up.  # band   % overlap"
    );
}

/// Marks along the joint below the drawing: every inch, or every 20 mm.
fn ruler(text: &mut String, across_mm: f64, columns: usize, system: UnitSystem) {
    let (every_mm, unit) = match system {
        UnitSystem::Metric => (20.0, "mm"),
        UnitSystem::Inch => (25.4, "in"),
    };
    let mut marks = String::from("   ");
    let mut at_mm = 0.0;
    while at_mm < columns as f64 * across_mm {
        let column = 3 + (at_mm / across_mm).round() as usize;
        let number = format!("{:.0}", shown(at_mm, Dimension::Length, system).0);
        if column >= marks.len() + usize::from(at_mm > 0.0) || at_mm == 0.0 {
            marks.extend(std::iter::repeat_n(' ', column - marks.len()));
            marks.push_str(&number);
        }
        at_mm += every_mm;
    }
    line!(text, "{marks} {unit}");
}

/// The places for machines; `null` where the width of a band is not known.
pub(super) fn json(plan: &JointPlan) -> Value {
    let inch = |length_mm: f64| shown(length_mm, Dimension::Length, UnitSystem::Inch).0;
    let band = |band: &PlacedBand| {
        // What lies on no joint has no diameter and no turn.
        let is_on = !band.is_beyond(plan.outside_diameter_mm);
        json!({
            "band": band.number, "from_mm": band.from_mm, "to_mm": band.to_mm,
            "from_in": inch(band.from_mm), "to_in": inch(band.to_mm), "start_deg": band.start_deg,
            "diameter_mm": is_on.then_some(band.diameter_mm), "turn_time_s": is_on.then_some(band.turn_time_s),
            "torch_offset_mm": band.torch_offset_mm.map(|(at_mm, _)| at_mm),
            "torch_offset_from_mm": band.torch_offset_mm.and_then(|(_, range)| range.low),
            "torch_offset_to_mm": band.torch_offset_mm.and_then(|(_, range)| range.high),
        })
    };
    let stretch = |stretch: &Stretch| {
        json!({
            "place": stretch.place.map(|place| place.end.name()),
            "from_shoulder": stretch.is_from_shoulder,
            "bands": stretch.bands.iter().map(band).collect::<Vec<_>>(),
        })
    };
    plan.placement.as_ref().map_or(Value::Null, |placement| {
        json!({
            "start_stagger_deg": placement.stagger_deg.value,
            "places": placement.stretches.iter().map(stretch).collect::<Vec<_>>(),
        })
    })
}
