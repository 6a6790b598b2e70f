//! Whether what was measured fits together.
//!
//! Decides: which settings depend on each other, and how far apart they may be.
//! Assumes: at most one of those that belong together is measured wrong.
//! Never: says which one, nor what to turn; the steps do.

use super::advice::HeightStands;
use super::compare::{SAME_BORE_MM, is_left};
use super::item::Item;
use super::melting::Melting;
use super::preheat::{is_colder, most_c, needed_c};
use super::sheet::SetupSheet;
use crate::formulas::{Deposit, USUAL_OVERLAP_MM, benchmark_gas_flow, benchmark_turn_time, surface_speed};
use crate::input::bounds::Bounds;
use crate::input::joint_field::SAME_DIAMETER;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, format, format_beside};
use crate::input::setting::{Setting, Subject};
use crate::standing::show_bounds;
use bandward::Quantity;

/// Bands 3/32 to 1/8 in high (common practice, no source).
const USUAL_HEIGHT: Bounds = Bounds::between(25.4 * 3.0 / 32.0, 25.4 / 8.0);
/// An overlap of 1/16 to 3/16 in is about 1/8 in (common practice, no source).
const OVERLAP_PLAY_MM: f64 = 25.4 / 16.0;
/// A hundredth of a millimetre is nothing to a carriage.
const NOTHING_MM: f64 = 0.01;
/// How far surface speed may be off where the procedure gives no range of turn times, and gas flow where
/// it gives none of that. Invented.
const SPEED_PLAY: f64 = 0.10;
const GAS_PLAY: f64 = 0.25;

/// Why no height of a cored wire is proven where its fill is not known.
pub const FILL_NOT_KNOWN: &str = "the fill of the cored wire is not in the procedure, and the height was worked out as \
                                  of a solid one";

/// How settings that belong together were found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Found {
    /// Wire feed against what the current melts at this stick-out.
    Feed {
        /// Measured, mm/min.
        feed: f64,
        /// Melted, mm/min.
        melted: f64,
        /// Is the wire taken to be on the positive pole because the procedure asks for it, and nobody looked?
        is_pole_assumed: bool,
    },
    /// What the step leaves of the band's width to lie on the band before.
    Overlap {
        /// In mm; below zero it is a gap.
        overlap: f64,
        /// What the procedure's own width and step leave, or what is usual, mm.
        wanted: f64,
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
    /// Height of the band that would be laid: volume fed over the width laid.
    Height {
        /// In mm.
        height: f64,
        /// What the procedure wants.
        wanted: Bounds,
        /// Was a cored wire taken as solid, since its fill is not known?
        is_fill_assumed: bool,
    },
    /// Gas flow for the bore of the nozzle, where the procedure gives none.
    GasFlow {
        /// Measured, L/min.
        flow: f64,
        /// Usual for the bore, L/min.
        wanted: f64,
    },
    /// Stick-out over what is left of an old band.
    OverOldBand {
        /// In mm: that on the bare joint less what is left.
        over: f64,
        /// What the procedure wants.
        wanted: Bounds,
    },
    /// Height where bands overlap, where it is beyond what the procedure allows of a band.
    Pile {
        /// In mm: the metal of one band lies on one step.
        pile: f64,
        /// Allowed, mm.
        most: f64,
    },
    /// Preheat, against what the steel of the procedure needs.
    Preheat {
        /// Measured, °C.
        preheat: f64,
        /// Needed, °C.
        needed: f64,
        /// The most that the procedure allows, where that is less, °C.
        most: Option<f64>,
    },
    /// Something needed is missing.
    NotCompared(&'static str),
}

impl Found {
    /// The one figure that was worked out, where there is one, and what it is measured in.
    pub const fn figure(&self) -> Option<(&'static str, f64, Dimension)> {
        match self {
            Self::Overlap { overlap, .. } => Some(("overlap", *overlap, Dimension::Length)),
            Self::Height { height, .. } => Some(("band height", *height, Dimension::Length)),
            Self::OverOldBand { over, .. } => Some(("stick-out over the old band", *over, Dimension::Length)),
            Self::Speed { speed, .. } => Some(("surface speed", *speed, Dimension::SurfaceSpeed)),
            Self::Feed { .. }
            | Self::GasFlow { .. }
            | Self::Pile { .. }
            | Self::Preheat { .. }
            | Self::NotCompared(_) => None,
        }
    }
}

/// Which settings belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Belonging {
    /// Wire feed, current and stick-out.
    Feed,
    /// Weave width and step-over.
    Overlap,
    /// Turn time and diameter.
    Speed,
    /// Wire feed, turn time and weave width.
    Height,
    /// Gas flow and nozzle.
    Gas,
    /// Stick-out and what is left of an old band.
    OldBand,
    /// Band height and step-over.
    Pile,
    /// Preheat and the steel.
    Preheat,
}

impl Belonging {
    /// Which ones.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Feed => "wire feed, current and stick-out",
            Self::Overlap => "weave width and step-over",
            Self::Speed => "turn time and diameter",
            Self::Height => "wire feed, turning and weave width",
            Self::Gas => "gas flow and nozzle",
            Self::OldBand => "stick-out and old band",
            Self::Pile => "band height and step-over",
            Self::Preheat => "preheat and steel",
        }
    }
}

/// Settings that belong together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Which ones.
    pub of: Belonging,
    /// How they were found.
    pub found: Found,
    /// Do they fit? `None` where not compared.
    pub is_good: Option<bool>,
}

impl Fit {
    fn new(of: Belonging, found: Result<(Found, bool), &'static str>) -> Self {
        match found {
            Ok((found, is_good)) => Self { of, found, is_good: Some(is_good) },
            Err(missing) => Self { of, found: Found::NotCompared(missing), is_good: None },
        }
    }
    /// Would the band it makes be outside the procedure, or bare metal lie between the bands?
    pub fn breaks(&self) -> bool {
        match self.found {
            Found::Height { .. } | Found::OverOldBand { .. } => self.is_good == Some(false),
            Found::Overlap { overlap, .. } => is_gap(overlap),
            Found::Pile { .. } => true,
            _ => false,
        }
    }
    /// Was a height found, and a cored wire taken as solid for it?
    pub const fn is_of_assumed_fill(&self) -> bool {
        matches!(self.found, Found::Height { is_fill_assumed: true, .. })
    }
    /// Is the joint colder than its steel needs?
    pub const fn is_colder_than_needed(&self) -> bool {
        matches!((self.found, self.is_good), (Found::Preheat { .. }, Some(false)))
    }
    /// Is the steel known, and whether the joint is warm enough for it is not?
    pub fn is_need_unknown(&self) -> bool {
        self.of == Belonging::Preheat && matches!(self.found, Found::NotCompared(_))
    }
    /// Does the steel need more than the procedure allows?
    pub const fn has_no_preheat(&self) -> bool {
        matches!(self.found, Found::Preheat { most: Some(_), .. })
    }
    /// Is there far too little gas for the nozzle, by practice?
    pub fn is_short_of_gas(&self) -> bool {
        matches!(self.found, Found::GasFlow { flow, wanted } if flow < (1.0 - GAS_PLAY) * wanted)
    }
    /// In words.
    pub fn words(&self, system: UnitSystem) -> String {
        let show = |value, dimension| format(value, dimension, system);
        let is_good = self.is_good == Some(true);
        match self.found {
            Found::NotCompared(missing) => format!("not compared: {missing}"),
            Found::Feed { feed, melted, is_pole_assumed } => {
                let [feed_text, melted_text] = [feed, melted].map(|speed| show(speed, Dimension::WireSpeed));
                let doubt = if is_good { "" } else { ": one of them is wrong" };
                let off = 100.0 * (feed / melted - 1.0);
                let pole = if is_pole_assumed { ", polarity taken as DCEP and not checked" } else { "" };
                format!(
                    "{feed_text} fed, {melted_text} melted by this current at this stick-out ({off:+.0} \
                     %{pole}){doubt}"
                )
            }
            Found::Overlap { overlap, wanted } if is_gap(overlap) => {
                let [gap, overlap] = [-overlap, wanted].map(|length| show(length, Dimension::Length));
                let wanted = if is_gap(wanted) {
                    "the procedure's own step-over is longer than its band is wide: have it put right"
                        .to_owned()
                } else {
                    format!("an overlap of {overlap} wanted")
                };
                format!("a gap of {gap} between bands, {wanted}")
            }
            Found::Overlap { overlap, wanted } => {
                let [text, wanted] = [overlap, wanted].map(|length| show(length, Dimension::Length));
                format!("overlap {text}, about {wanted} wanted")
            }
            Found::Speed { speed, wanted, turn_time } => {
                let [text, wanted] = [speed, wanted].map(|speed| show(speed, Dimension::SurfaceSpeed));
                let turn = show(turn_time, Dimension::Duration);
                let on_this = if is_good { String::new() } else { format!(", a turn of {turn}") };
                format!("surface speed {text}, {wanted} wanted{on_this}")
            }
            Found::Height { height, wanted, is_fill_assumed } => {
                let passed = wanted.ends().find(|end| (height < *end) == (Some(*end) == wanted.low));
                let text = format_beside(height, passed.unwrap_or(0.0), Dimension::Length, system);
                let wanted = show_bounds(wanted, Dimension::Length, system);
                let assumed = if is_fill_assumed { " (cored wire taken as solid)" } else { "" };
                format!("a band {text} high would be laid{assumed}, {wanted} wanted")
            }
            Found::OverOldBand { over, wanted } => {
                let passed = wanted.ends().find(|end| (over < *end) == (Some(*end) == wanted.low));
                let text = format_beside(over, passed.unwrap_or(0.0), Dimension::Length, system);
                let wanted = show_bounds(wanted, Dimension::Length, system);
                format!("{text} over the old band, {wanted} wanted")
            }
            Found::Pile { pile, most } => {
                let text = format_beside(pile, most, Dimension::Length, system);
                let most = show(most, Dimension::Length);
                format!(
                    "bands that overlap pile to {text}, {most} at most allowed: a longer step, or less metal"
                )
            }
            Found::Preheat { preheat, needed, most } => {
                let text = format_beside(preheat, needed, Dimension::Temperature, system);
                let [needed, most] = [Some(needed), most]
                    .map(|size| size.map_or(String::new(), |size| show(size, Dimension::Temperature)));
                let then = match (is_good, most.is_empty()) {
                    (_, false) => {
                        format!("; the procedure allows {most} at most: no arc, have the procedure put right")
                    }
                    (false, true) => ": it may crack, heat on".to_owned(),
                    (true, true) => String::new(),
                };
                format!(
                    "{text}, at least {needed} needed by the steel (EN 1011-2, method B; from memory){then}"
                )
            }
            Found::GasFlow { flow, wanted } => {
                let [text, wanted] = [flow, wanted].map(|flow| show(flow, Dimension::Flow));
                format!("gas flow {text}, about {wanted} is usual for this nozzle, more in wind")
            }
        }
    }
}

/// All that belong together; the pile where bands overlap only where it is beyond what is allowed.
pub(crate) fn fits(sheet: &SetupSheet, procedure: &ProcedureFile) -> Vec<Fit> {
    let pile = pile_beyond(sheet, procedure)
        .map(|(pile, most)| Fit::new(Belonging::Pile, Ok((Found::Pile { pile, most }, false))));
    let mut fits = vec![
        Fit::new(Belonging::Feed, feed(sheet, procedure)),
        Fit::new(Belonging::Overlap, overlap(sheet, procedure)),
        Fit::new(Belonging::Speed, speed(sheet, procedure)),
        Fit::new(Belonging::Height, height(sheet, procedure)),
        Fit::new(Belonging::Gas, gas(sheet, procedure)),
        Fit::new(Belonging::OldBand, over_old_band(sheet, procedure)),
    ];
    fits.extend(pile);
    fits.extend(preheat(sheet, procedure).map(|found| Fit::new(Belonging::Preheat, found)));
    fits
}

/// The preheat and what the steel needs, where the procedure gives the steel.
fn preheat(sheet: &SetupSheet, procedure: &ProcedureFile) -> Option<Result<(Found, bool), &'static str>> {
    if procedure.material.composition.is_none() {
        let is_in_part = procedure.material.lacks.iter().any(Option::is_some);
        return is_in_part.then_some(Err(
            "the steel is written out in part: its manganese, chromium or molybdenum is missing",
        ));
    }
    let Some(preheat) = sheet.size(Item::PREHEAT) else { return Some(Err("no preheat was measured")) };
    let Some(needed) = needed_c(sheet, procedure) else {
        return Some(Err("what the steel needs takes the bore, amps, volts and turn time"));
    };
    let most = most_c(procedure).filter(|most| *most < needed);
    Some(Ok((Found::Preheat { preheat, needed, most }, !is_colder(preheat, needed))))
}

fn aim(procedure: &ProcedureFile, quantity: Quantity) -> Option<f64> {
    procedure.setting(Subject::Judged(quantity)).and_then(Setting::aim)
}

/// Wire feed against the melting law; scaled so that the procedure's own feed, current and stick-out
/// fit, where it gives all three, since a cored wire melts faster than the law says.
fn feed(sheet: &SetupSheet, procedure: &ProcedureFile) -> Result<(Found, bool), &'static str> {
    let measured = (sheet.size(Item::WIRE_FEED), sheet.size(Item::CURRENT), sheet.size(Item::STICK_OUT));
    let (Some(feed), Some(current), Some(stick_out)) = measured else {
        return Err("wire feed, current and stick-out must all be measured");
    };
    let (melting, play) = Melting::of_procedure(sheet, procedure)?;
    let melted = melting.feed(current, stick_out);
    if melted <= 0.0 {
        return Err("no current was measured");
    }
    let is_pole_assumed = sheet.word(Item::Polarity).is_none();
    Ok((Found::Feed { feed, melted, is_pole_assumed }, (feed / melted - 1.0).abs() <= play))
}

/// The width laid (the weave, and what the pool runs out to) less the step, against what the procedure's
/// own figures leave, or what is usual.
fn overlap(sheet: &SetupSheet, procedure: &ProcedureFile) -> Result<(Found, bool), &'static str> {
    let measured = (sheet.size(Item::WEAVE_WIDTH), sheet.size(Item::STEP_OVER));
    let (Some(width), Some(step)) = measured else {
        return Err("weave width and step-over must both be measured");
    };
    let overlap = width + procedure.run_out_mm() - step;
    let own = laid_width_mm(procedure).zip(aim(procedure, Quantity::StepOver));
    let wanted = own.map_or(USUAL_OVERLAP_MM, |(width, step)| width - step);
    // Bare metal between bands is never good, whatever figures led to it.
    let is_good = !is_gap(overlap) && (overlap - wanted).abs() <= OVERLAP_PLAY_MM;
    Ok((Found::Overlap { overlap, wanted }, is_good))
}

/// The width of a band by the procedure, mm: its weave and what the pool runs out to, or as it says itself.
pub(super) fn laid_width_mm(procedure: &ProcedureFile) -> Option<f64> {
    let of_weave = aim(procedure, Quantity::WeaveWidth).map(|weave| weave + procedure.run_out_mm());
    of_weave.or(procedure.joint.band_width_mm)
}

/// Does bare metal lie between the bands?
fn is_gap(overlap_mm: f64) -> bool {
    overlap_mm < -NOTHING_MM
}

/// Surface speed against the procedure's, or the benchmark's where it gives none.
fn speed(sheet: &SetupSheet, procedure: &ProcedureFile) -> Result<(Found, bool), &'static str> {
    let measured = (sheet.size(Item::OutsideDiameter), sheet.size(Item::TURN_TIME));
    let (Some(diameter), Some(measured_s)) = measured else {
        return Err("diameter and turn time must both be measured");
    };
    let own_mm = procedure.joint.outside_diameter_mm;
    let (turn_time, play) = match aim(procedure, Quantity::TurnTime).zip(own_mm) {
        Some((own_s, own_mm)) => {
            let setting = procedure.setting(Subject::Judged(Quantity::TurnTime));
            let allowed = setting.and_then(|setting| setting.allowed);
            let off = |end: f64| (end / own_s - 1.0).abs();
            let play = allowed.and_then(|range| range.ends().map(off).reduce(f64::max));
            (own_s * diameter / own_mm, play.unwrap_or(SPEED_PLAY) + SAME_DIAMETER)
        }
        None => (benchmark_turn_time(diameter), SPEED_PLAY),
    };
    let speeds = surface_speed(diameter, measured_s).zip(surface_speed(diameter, turn_time));
    let (speed, wanted) = speeds.ok_or("no turn time was measured")?;
    Ok((Found::Speed { speed, wanted, turn_time }, (measured_s / turn_time - 1.0).abs() <= play + 1e-9))
}

/// The height that would be laid, against the procedure's.
fn height(sheet: &SetupSheet, procedure: &ProcedureFile) -> Result<(Found, bool), &'static str> {
    let wanted = wanted_height(procedure).ok_or("the procedure gives no range of band heights")?;
    let needed = "wire feed, turn time, weave width and both diameters must be known";
    let height = laid_height(sheet, procedure).ok_or(needed)?;
    let is_fill_assumed = procedure.wire.is_fill_assumed();
    Ok((Found::Height { height, wanted, is_fill_assumed }, wanted.contains(height)))
}

fn wanted_height(procedure: &ProcedureFile) -> Option<Bounds> {
    let setting = procedure.setting(Subject::Judged(Quantity::BandHeight))?;
    setting.allowed.or(setting.recommended)
}

/// How the height that would be laid stands to the procedure's, or to what is usual; `None` where something that it
/// takes was not measured.
pub(super) fn height_stands(sheet: &SetupSheet, procedure: &ProcedureFile) -> Option<HeightStands> {
    let wanted = wanted_height(procedure).unwrap_or(USUAL_HEIGHT);
    let height = laid_height(sheet, procedure)?;
    Some(if wanted.low.is_some_and(|low| height < low) {
        HeightStands::Low
    } else if wanted.contains(height) {
        HeightStands::Within
    } else {
        HeightStands::High
    })
}

/// The height where bands overlap, and the highest allowed, mm, where only the pile is above it: the metal of one lies
/// on one step.
fn pile_beyond(sheet: &SetupSheet, procedure: &ProcedureFile) -> Option<(f64, f64)> {
    let most_mm = procedure.setting(Subject::Judged(Quantity::BandHeight))?.allowed?.high?;
    let width_mm = sheet.size(Item::WEAVE_WIDTH)? + procedure.run_out_mm();
    let step_mm = sheet.size(Item::STEP_OVER).filter(|step_mm| *step_mm > 0.0 && *step_mm < width_mm)?;
    let alone_mm = laid_height(sheet, procedure).filter(|height| *height <= most_mm)?;
    let pile_mm = alone_mm * width_mm / step_mm;
    (pile_mm > most_mm).then_some((pile_mm, most_mm))
}

/// Volume fed over the width that is laid, mm. Geometry.
fn laid_height(sheet: &SetupSheet, procedure: &ProcedureFile) -> Option<f64> {
    let diameter = sheet.size(Item::OutsideDiameter).or(procedure.joint.outside_diameter_mm)?;
    let deposit = Deposit {
        wire_feed_mm_per_min: sheet.size(Item::WIRE_FEED)?,
        wire_diameter_mm: sheet.size(Item::WireDiameter).or(procedure.wire.diameter_mm)?,
        deposition_efficiency: procedure.wire.metal_share(),
        speed_mm_per_s: surface_speed(diameter, sheet.size(Item::TURN_TIME)?)?,
        width_mm: sheet.size(Item::WEAVE_WIDTH)? + procedure.run_out_mm(),
    };
    deposit.height_mm()
}

/// The stick-out over what is left of an old band: shorter by that, at a torch that keeps its height. Geometry.
fn over_old_band(sheet: &SetupSheet, procedure: &ProcedureFile) -> Result<(Found, bool), &'static str> {
    if !is_left(sheet.value(Item::OldBand)) {
        return Err("no old band was found");
    }
    let measured = (sheet.size(Item::STICK_OUT), sheet.size(Item::OldBandHeight));
    let (Some(stick_out), Some(left)) = measured else {
        return Err("stick-out and what is left of the old band must both be measured");
    };
    let setting = procedure.setting(Subject::StickOut);
    let wanted = setting.and_then(|setting| setting.allowed.or(setting.recommended));
    let wanted = wanted.ok_or("the procedure gives no range of stick-outs")?;
    let over = stick_out - left;
    Ok((Found::OverOldBand { over, wanted }, wanted.contains(over)))
}

/// Gas flow for the nozzle. A flow that the procedure gives is for its own nozzle: on that it is judged and nothing
/// else is, on another it goes as the square of the bore.
fn gas(sheet: &SetupSheet, procedure: &ProcedureFile) -> Result<(Found, bool), &'static str> {
    let (Some(flow), Some(bore)) = (sheet.size(Item::GAS_FLOW), sheet.size(Item::NozzleBore)) else {
        return Err("gas flow and nozzle bore must both be measured");
    };
    let wanted = match (aim(procedure, Quantity::GasFlow), procedure.gas.nozzle_bore_mm) {
        (Some(_), Some(own)) if (bore - own).abs() <= SAME_BORE_MM => {
            return Err("the procedure gives the gas flow itself, for this nozzle");
        }
        // A smaller nozzle does not do with less than the procedure's least, or than what is usual at 3/4 in.
        (Some(aim), Some(own)) if bore < own => {
            let setting = procedure.setting(Subject::Judged(Quantity::GasFlow));
            let least = setting.and_then(|setting| setting.allowed.or(setting.recommended)?.low);
            (aim * (bore / own).powi(2)).max(least.unwrap_or(benchmark_gas_flow(0.0)).min(aim))
        }
        (Some(aim), Some(own)) => aim * (bore / own).powi(2),
        _ => benchmark_gas_flow(bore),
    };
    Ok((Found::GasFlow { flow, wanted }, (flow / wanted - 1.0).abs() <= GAS_PLAY))
}
