//! Whether what was measured fits together.
//!
//! Decides: which settings depend on each other, and how far apart they may be.
//! Assumes: at most one of those that belong together is measured wrong.
//! Never: says which one; that is for the person who measured.

use super::item::Item;
use super::sheet::SetupSheet;
use crate::formulas::{USUAL_OVERLAP_MM, benchmark_turn_time, surface_speed, wire_feed_from_current};
use crate::input::parts::WireKind;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, format};
use crate::input::setting::{Setting, Subject};
use bandward::Quantity;

/// How far wire feed may be from what the current melts: by a procedure that gives all three, its own
/// wire being the measure; by the melting law alone. Invented.
const FEED_OF_PROCEDURE: f64 = 0.10;
const FEED_OF_LAW: f64 = 0.25;
/// An overlap of 1/16 to 3/16 in is about 1/8 in (common practice, no source).
const OVERLAP_PLAY_MM: f64 = 25.4 / 16.0;
/// How far surface speed may be off where the procedure gives no range of turn times. Invented.
const SPEED_PLAY: f64 = 0.10;

/// How settings that belong together were found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Found {
    /// Wire feed against what the current melts at this stick-out.
    Feed {
        /// Measured, mm/min.
        feed: f64,
        /// Melted, mm/min.
        melted: f64,
    },
    /// What the step leaves of the band's width to lie on the band before.
    Overlap {
        /// In mm; below zero it is a gap.
        overlap: f64,
    },
    /// Surface speed from turn time and diameter.
    Speed {
        /// Measured, mm/s.
        speed: f64,
        /// Wanted, mm/s.
        wanted: f64,
        /// The turn time that would give it on this diameter, s.
        turn_time: f64,
    },
    /// Something needed is missing.
    NotCompared(&'static str),
}

/// Settings that belong together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Which ones.
    pub name: &'static str,
    /// How they were found.
    pub found: Found,
    /// Do they fit? `None` where not compared.
    pub is_good: Option<bool>,
}

impl Fit {
    fn new(name: &'static str, found: Result<(Found, bool), &'static str>) -> Self {
        match found {
            Ok((found, is_good)) => Self { name, found, is_good: Some(is_good) },
            Err(missing) => Self { name, found: Found::NotCompared(missing), is_good: None },
        }
    }
    /// In words.
    pub fn words(&self, system: UnitSystem) -> String {
        let show = |value, dimension| format(value, dimension, system);
        let is_good = self.is_good == Some(true);
        match self.found {
            Found::NotCompared(missing) => format!("not compared: {missing}"),
            Found::Feed { feed, melted } => {
                let [feed_text, melted_text] = [feed, melted].map(|speed| show(speed, Dimension::WireSpeed));
                let doubt = if is_good { "" } else { ": measure wire feed, current and stick-out again" };
                let off = 100.0 * (feed / melted - 1.0);
                format!(
                    "{feed_text} fed, {melted_text} melted by this current at this stick-out ({off:+.0} %){doubt}"
                )
            }
            Found::Overlap { overlap } if overlap <= 0.0 => {
                let gap = show(-overlap, Dimension::Length);
                format!("a gap of {gap} between bands: shorter step or wider weave")
            }
            Found::Overlap { overlap } => {
                let [text, usual] = [overlap, USUAL_OVERLAP_MM].map(|length| show(length, Dimension::Length));
                let advice = match (is_good, overlap < USUAL_OVERLAP_MM) {
                    (true, _) => "",
                    (false, true) => ": shorter step or wider weave",
                    (false, false) => ": longer step or narrower weave",
                };
                format!("overlap {text}, about {usual} is typical{advice}")
            }
            Found::Speed { speed, wanted, turn_time } => {
                let [text, wanted] = [speed, wanted].map(|speed| show(speed, Dimension::SurfaceSpeed));
                let advice = if is_good { "" } else { ": on this diameter a turn should take " };
                let turn = if is_good { String::new() } else { show(turn_time, Dimension::Duration) };
                format!("surface speed {text}, {wanted} wanted{advice}{turn}")
            }
        }
    }
}

/// All that belong together.
pub(super) fn fits(sheet: &SetupSheet, procedure: &ProcedureFile) -> Vec<Fit> {
    vec![
        Fit::new("wire feed, current and stick-out", feed(sheet, procedure)),
        Fit::new("weave width and step-over", overlap(sheet, procedure)),
        Fit::new("turn time and diameter", speed(sheet, procedure)),
    ]
}

fn aim(procedure: &ProcedureFile, subject: Subject) -> Option<f64> {
    procedure.setting(subject).and_then(Setting::aim)
}

/// Wire feed against the melting law; scaled so that the procedure's own feed, current and stick-out
/// fit, where it gives all three, since a cored wire melts faster than the law says.
fn feed(sheet: &SetupSheet, procedure: &ProcedureFile) -> Result<(Found, bool), &'static str> {
    let measured = (sheet.size(Item::WIRE_FEED), sheet.size(Item::CURRENT), sheet.size(Item::STICK_OUT));
    let (Some(feed), Some(current), Some(stick_out)) = measured else {
        return Err("wire feed, current and stick-out must all be measured");
    };
    let wire =
        sheet.size(Item::WireDiameter).or(procedure.wire.diameter_mm).ok_or("wire diameter not known")?;
    let of_procedure = || {
        let current = aim(procedure, Subject::Judged(Quantity::Current))?;
        let own_wire = procedure.wire.diameter_mm.unwrap_or(wire);
        let melted = wire_feed_from_current(current, aim(procedure, Subject::StickOut)?, own_wire)?;
        Some(aim(procedure, Subject::Judged(Quantity::WireFeed))? / melted).filter(|scale| scale.is_finite())
    };
    let (scale, play) = match (of_procedure(), procedure.wire.kind) {
        (Some(scale), _) => (scale, FEED_OF_PROCEDURE),
        (None, Some(WireKind::Solid)) => (1.0, FEED_OF_LAW),
        (None, _) => {
            return Err("the procedure gives no wire feed, current and stick-out for this cored wire");
        }
    };
    let melted = scale * wire_feed_from_current(current, stick_out, wire).unwrap_or(0.0);
    if melted <= 0.0 {
        return Err("no current was measured");
    }
    Ok((Found::Feed { feed, melted }, (feed / melted - 1.0).abs() <= play))
}

/// Band width (weave width, with what the pool runs out by as the procedure has it) less the step.
fn overlap(sheet: &SetupSheet, procedure: &ProcedureFile) -> Result<(Found, bool), &'static str> {
    let measured = (sheet.size(Item::WEAVE_WIDTH), sheet.size(Item::STEP_OVER));
    let (Some(width), Some(step)) = measured else {
        return Err("weave width and step-over must both be measured");
    };
    let weave = aim(procedure, Subject::Judged(Quantity::WeaveWidth));
    let runs_out = procedure.joint.band_width_mm.zip(weave).map_or(0.0, |(band, weave)| band - weave);
    let overlap = width + runs_out - step;
    Ok((Found::Overlap { overlap }, (overlap - USUAL_OVERLAP_MM).abs() <= OVERLAP_PLAY_MM))
}

/// Surface speed against the procedure's, or the benchmark's where it gives none.
fn speed(sheet: &SetupSheet, procedure: &ProcedureFile) -> Result<(Found, bool), &'static str> {
    let measured = (sheet.size(Item::OutsideDiameter), sheet.size(Item::TURN_TIME));
    let (Some(diameter), Some(measured_s)) = measured else {
        return Err("diameter and turn time must both be measured");
    };
    let subject = Subject::Judged(Quantity::TurnTime);
    let own_mm = procedure.joint.outside_diameter_mm;
    let (turn_time, play) = match aim(procedure, subject).zip(own_mm) {
        Some((own_s, own_mm)) => {
            let allowed = procedure.setting(subject).and_then(|setting| setting.allowed);
            let off = |end: f64| (end / own_s - 1.0).abs();
            let play = allowed.and_then(|range| range.ends().map(off).reduce(f64::max));
            (own_s * diameter / own_mm, play.unwrap_or(SPEED_PLAY))
        }
        None => (benchmark_turn_time(diameter), SPEED_PLAY),
    };
    let speeds = surface_speed(diameter, measured_s).zip(surface_speed(diameter, turn_time));
    let (speed, wanted) = speeds.ok_or("no turn time was measured")?;
    Ok((Found::Speed { speed, wanted, turn_time }, (measured_s / turn_time - 1.0).abs() <= play + 1e-9))
}
