//! One measured value against what the procedure wants of it.
//!
//! Decides: how bad a difference is.
//! Assumes: a range is judged as anywhere; a word, a gas or a size that stands alone must be the same.
//! Never: says what to do about it; the steps do.

use super::advice::Advice;
use super::item::{Item, Measured};
use super::verdict::{SettingVerdict, Wanted};
use crate::input::gas_mixture::GasMixture;
use crate::input::joint_field::SAME_DIAMETER;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;
use crate::standing::departure;
use bandward::Severity;

/// A wire diameter within this is the same, mm: drawn wire keeps within some hundredths (from memory).
const SAME_WIRE_MM: f64 = 0.05;
/// A bore within this is the same, mm. Invented.
pub(super) const SAME_BORE_MM: f64 = 1.0;

/// A torch without water where the procedure gives a coolant flow: no pump helps.
const OTHER_TORCH: Advice = Advice {
    adjust: "fit the torch of the procedure, which is cooled by water, or have this one qualified",
    left_so: "a torch without water overheats at these amps: the wire sticks in the tip, the torch is spoilt",
};

/// A torch that leans away from where the procedure has it lean.
pub(super) const OTHER_LEAN: Advice = Advice {
    adjust: "lean the torch the other way",
    left_so: "torch leans against its lead: the pool runs where it should not, uneven band",
};

/// An old band so high that no stick-out which the procedure allows is allowed over it as well.
pub(super) const OLD_BAND_TOO_HIGH: Advice = Advice {
    adjust: "no stick-out that the procedure allows on the bare joint is allowed over it as well, and what is left stays \
             only where the makers of both wires say that they go together: take the old band off by the shop's \
             procedure, or grind it down",
    left_so: "stick-out over it far too short: hot, runny pool, wire burns back to the tip, the nozzle may strike it",
};

/// How much of an old band may be left, mm: as far as the stick-out may be shortened by it. Geometry.
pub(super) fn most_left_mm(procedure: &ProcedureFile) -> Option<f64> {
    let setting = procedure.setting(Subject::StickOut)?;
    let range = setting.allowed.or(setting.recommended)?;
    Some(range.high? - range.low?)
}

/// A gas that the procedure does not name and practice does not know for such wires.
pub(super) const fn unknown_gas() -> SettingVerdict {
    const ADVICE: Advice = Advice {
        adjust: "change the bottle, or have this gas qualified and named in the procedure",
        left_so: "nobody knows what this gas does to such a wire: amps, volts and weave may all be off",
    };
    SettingVerdict::Differs(Severity::Advise, ADVICE)
}

/// What a procedure that allows it wants of old bands.
pub(super) const NONE_OR_COMPATIBLE: Measured = Measured::Word("none or compatible");

/// Over an old band only where its wire is known to go with the new one, and the procedure does not forbid it.
pub(super) fn old_band(word: &str, wanted: Option<Wanted>) -> SettingVerdict {
    match (word, wanted) {
        ("none", Some(_)) | ("compatible", Some(Wanted::Exactly(NONE_OR_COMPATIBLE))) => SettingVerdict::Good,
        ("none" | "compatible", None) => SettingVerdict::NotCompared(not_said(Item::OldBand)),
        _ => SettingVerdict::Differs(Severity::Warn, Item::OldBand.mismatch()),
    }
}

/// A value against what the procedure wants of it.
pub(super) fn compare(item: Item, value: Measured, wanted: Wanted) -> SettingVerdict {
    let severity = match (value, wanted) {
        (Measured::Size(size), Wanted::Ranges(setting)) => {
            return departure(size, &setting)
                .map_or(SettingVerdict::Good, |left| SettingVerdict::Departs(left, item.advice(left.side)));
        }
        (Measured::Word("not cooled"), Wanted::Exactly(_)) if item == Item::CoolantBeforeArc => {
            return SettingVerdict::Differs(severity_of_word(item), OTHER_TORCH);
        }
        (Measured::Word(word), Wanted::Exactly(Measured::Word(wanted))) => {
            (word != wanted).then_some(severity_of_word(item))
        }
        (Measured::Gas(gas), Wanted::Exactly(Measured::Gas(wanted))) => {
            let severity = severity_of_gas(&gas, &wanted);
            return severity.map_or(SettingVerdict::Good, |severity| differs_as_gas(&gas, severity));
        }
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
    Some(if gas.drawback().is_some() { Severity::Stop } else { Severity::Warn })
}

/// Another gas, with what this one does to the band.
pub(super) fn differs_as_gas(gas: &GasMixture, severity: Severity) -> SettingVerdict {
    let advice = Item::GasMixture.mismatch();
    let left_so = gas.drawback().unwrap_or(advice.left_so);
    SettingVerdict::Differs(severity, Advice { left_so, ..advice })
}

fn severity_of_size(item: Item, size: f64, wanted: f64) -> Option<Severity> {
    let (same, severity) = match item {
        Item::WireDiameter => (SAME_WIRE_MM, Severity::Warn),
        Item::NozzleBore => (SAME_BORE_MM, Severity::Advise),
        _ => (SAME_DIAMETER * wanted, Severity::Advise),
    };
    ((size - wanted).abs() > same).then_some(severity)
}

/// Is something left of an old band?
pub fn is_left(old_band: Option<Measured>) -> bool {
    old_band.is_some_and(|found| found != Measured::Word("none"))
}

pub(super) const fn not_said(item: Item) -> &'static str {
    match item {
        Item::CoolantBeforeArc => "the procedure gives no coolant flow",
        Item::GasMixture => "the procedure names no gas",
        Item::OldBandHeight => "the stick-out over it is, under what belongs together",
        Item::TorchSide => "neither setup nor procedure says which way the joint turns",
        _ => "the procedure gives nothing for it",
    }
}
