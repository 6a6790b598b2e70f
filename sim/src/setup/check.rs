//! What was measured, against the procedure.
//!
//! Decides: the verdict on every setting, and what could not be compared.
//! Assumes: one reading of each setting, taken with care.
//! Never: refuses to go on; a setup is told, not forbidden.

use super::advice::Advice;
use super::consistency::{Fit, fits};
use super::item::{Item, Measured};
use super::sheet::SetupSheet;
use crate::input::gas_mixture::{GasMixture, Suitability};
use crate::input::parts::Rotation;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::{Setting, Subject};
use crate::standing::{Departure, departure};
use bandward::procedure::Polarity;
use bandward::{Quantity, Severity};

/// A wire diameter within this is the same, mm: drawn wire keeps within some hundredths (from memory).
const SAME_WIRE_MM: f64 = 0.05;
/// A bore within this is the same, mm. Invented.
const SAME_BORE_MM: f64 = 1.0;
/// A diameter within this share is the same: wear of a joint in use. Invented.
const SAME_DIAMETER: f64 = 0.01;

/// What the procedure wants of a setting.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wanted {
    /// Ranges.
    Ranges(Setting),
    /// This and nothing else.
    Exactly(Measured),
}

/// How a setting stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SettingVerdict {
    /// As the procedure wants it.
    Good,
    /// A range was left.
    Departs(Departure, Advice),
    /// Not what the procedure says.
    Differs(Severity, Advice),
    /// The procedure does not say; why.
    NotCompared(&'static str),
    /// Nobody measured it.
    NotMeasured,
}

impl SettingVerdict {
    /// How bad it is, where it is not good.
    pub const fn severity(&self) -> Option<Severity> {
        match self {
            Self::Departs(departure, _) => Some(departure.severity),
            Self::Differs(severity, _) => Some(*severity),
            Self::Good | Self::NotCompared(_) | Self::NotMeasured => None,
        }
    }
    /// What to do about it, where it is not good.
    pub const fn advice(&self) -> Option<Advice> {
        match self {
            Self::Departs(_, advice) | Self::Differs(_, advice) => Some(*advice),
            Self::Good | Self::NotCompared(_) | Self::NotMeasured => None,
        }
    }
}

/// One setting, judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// What it is.
    pub item: Item,
    /// What was found.
    pub value: Option<Measured>,
    /// What the procedure wants.
    pub wanted: Option<Wanted>,
    /// How it stands.
    pub verdict: SettingVerdict,
}

/// A setup, judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// Every setting, in order.
    pub settings: Vec<Judged>,
    /// Whether settings fit each other.
    pub fits: Vec<Fit>,
    /// Which way the joint turns: as measured, else as the procedure says.
    pub rotation: Option<Rotation>,
}

impl Checked {
    /// Is nothing outside the procedure, as far as it was compared?
    pub fn is_within_procedure(&self) -> bool {
        self.settings
            .iter()
            .filter_map(|judged| judged.verdict.severity())
            .all(|worst| worst < Severity::Warn)
    }
    /// What to do about a setting, with its directions put in.
    pub fn adjust(&self, advice: Advice) -> String {
        let (forward, back) = match self.rotation {
            Some(rotation) => {
                let coming_up = side_coming_up(rotation);
                let other = if coming_up == "left" { "right" } else { "left" };
                let turning = rotation_word(rotation);
                let seen = |side| format!("to the {side} (seen towards the chuck, joint turning {turning})");
                (seen(coming_up), seen(other))
            }
            None => {
                ("towards the side that comes up".to_owned(), "towards the side that goes down".to_owned())
            }
        };
        advice.adjust.replace("{forward}", &forward).replace("{back}", &back)
    }
}

/// Judges everything that was measured.
pub fn check(sheet: &SetupSheet, procedure: &ProcedureFile) -> Checked {
    let rotation = match sheet.word(Item::Rotation) {
        Some("clockwise") => Some(Rotation::Clockwise),
        Some(_) => Some(Rotation::CounterClockwise),
        None => procedure.joint.rotation,
    };
    let settings = Item::all().map(|item| judge(item, sheet, procedure, rotation)).collect();
    Checked { settings, fits: fits(sheet, procedure), rotation }
}

/// Judges one setting; `rotation` is which way the joint really turns.
pub fn judge(
    item: Item,
    sheet: &SetupSheet,
    procedure: &ProcedureFile,
    rotation: Option<Rotation>,
) -> Judged {
    let value = sheet.value(item);
    let wanted = wanted(item, procedure, rotation);
    let verdict = match (value, wanted) {
        (None, _) => SettingVerdict::NotMeasured,
        (Some(_), None) => SettingVerdict::NotCompared(not_said(item)),
        (Some(value), Some(wanted)) => compare(item, value, wanted),
    };
    Judged { item, value, wanted, verdict }
}

/// What the procedure wants of a setting.
pub fn wanted(item: Item, procedure: &ProcedureFile, rotation: Option<Rotation>) -> Option<Wanted> {
    let size = |size: Option<f64>| size.map(Measured::Size);
    let exactly = match item {
        Item::Ranged(subject) => return procedure.setting(subject).copied().map(Wanted::Ranges),
        Item::OutsideDiameter => size(procedure.joint.outside_diameter_mm),
        Item::WireDiameter => size(procedure.wire.diameter_mm),
        Item::NozzleBore => size(procedure.gas.nozzle_bore_mm),
        Item::GasMixture => procedure.gas.mixture.map(Measured::Gas),
        Item::Rotation => procedure.joint.rotation.map(|rotation| Measured::Word(rotation_word(rotation))),
        Item::TorchSide => rotation.map(|rotation| Measured::Word(side_coming_up(rotation))),
        Item::Polarity => procedure.wire.polarity.map(|pole| {
            Measured::Word(match pole {
                Polarity::ElectrodePositive => "DCEP",
                Polarity::ElectrodeNegative => "DCEN",
            })
        }),
        Item::CoolantBeforeArc => {
            procedure.setting(Subject::Judged(Quantity::CoolantFlow)).map(|_| Measured::Word("yes"))
        }
    };
    exactly.map(Wanted::Exactly)
}

/// The side of a turning joint that comes up, seen towards the chuck: the top of one that turns
/// clockwise moves to the right, so its left side comes up. Geometry.
const fn side_coming_up(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Clockwise => "left",
        Rotation::CounterClockwise => "right",
    }
}

const fn rotation_word(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Clockwise => "clockwise",
        Rotation::CounterClockwise => "counter-clockwise",
    }
}

const fn not_said(item: Item) -> &'static str {
    match item {
        Item::CoolantBeforeArc => "the procedure gives no coolant flow, so the torch may not be cooled",
        Item::TorchSide => "neither setup nor procedure says which way the joint turns",
        _ => "the procedure gives nothing for it",
    }
}

fn compare(item: Item, value: Measured, wanted: Wanted) -> SettingVerdict {
    let severity = match (value, wanted) {
        (Measured::Size(size), Wanted::Ranges(setting)) => {
            return departure(size, &setting)
                .map_or(SettingVerdict::Good, |left| SettingVerdict::Departs(left, item.advice(left.side)));
        }
        (Measured::Word(word), Wanted::Exactly(Measured::Word(wanted))) => {
            (word != wanted).then_some(severity_of_word(item))
        }
        (Measured::Gas(gas), Wanted::Exactly(Measured::Gas(wanted))) => severity_of_gas(&gas, &wanted),
        (Measured::Size(size), Wanted::Exactly(Measured::Size(wanted))) => {
            severity_of_size(item, size, wanted)
        }
        _ => None,
    };
    severity.map_or(SettingVerdict::Good, |severity| SettingVerdict::Differs(severity, item.mismatch()))
}

/// The wrong pole, and an arc without water, are never permitted.
const fn severity_of_word(item: Item) -> Severity {
    match item {
        Item::Polarity | Item::CoolantBeforeArc => Severity::Stop,
        _ => Severity::Warn,
    }
}

/// Another gas is outside the procedure; one that the wires of this work do not stand is never
/// permitted (common practice, no source).
fn severity_of_gas(gas: &GasMixture, wanted: &GasMixture) -> Option<Severity> {
    if !gas.differs_from(wanted) {
        return None;
    }
    Some(if gas.suitability() == Suitability::Unsuitable { Severity::Stop } else { Severity::Warn })
}

fn severity_of_size(item: Item, size: f64, wanted: f64) -> Option<Severity> {
    let (same, severity) = match item {
        Item::WireDiameter => (SAME_WIRE_MM, Severity::Warn),
        Item::NozzleBore => (SAME_BORE_MM, Severity::Advise),
        _ => (SAME_DIAMETER * wanted, Severity::Advise),
    };
    ((size - wanted).abs() > same).then_some(severity)
}
