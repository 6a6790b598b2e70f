//! One setting, judged against the procedure.
//!
//! Decides: what the procedure wants of each setting on the joint that was measured, and the verdict.
//! Assumes: one reading of each setting, taken with care.
//! Never: takes what was not measured for good.

use super::compare::{
    NONE_OR_COMPATIBLE, OLD_BAND_TOO_HIGH, OTHER_LEAN, compare, differs_as_gas, most_left_mm, not_said,
    old_band, unknown_gas,
};
use super::consistency::height_stands;
use super::item::{Item, Measured};
use super::overheat::{is_steel_in_doubt, steel_in_doubt};
use super::position::{rotation_of, rotation_word, side_coming_up};
use super::preheat;
use super::sheet::SetupSheet;
use super::verdict::{Judged, SettingVerdict, Wanted};
use crate::input::parts::{OldBands, Rotation};
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;
use crate::laid;
use bandward::procedure::Polarity;
use bandward::rule::Side;
use bandward::{Quantity, Severity};

/// Which way the joint is to turn: as the procedure says, else as measured. The torch belongs on the side that comes
/// up then, whichever way the joint turns today.
pub(super) fn rotation_of_joint(sheet: &SetupSheet, procedure: &ProcedureFile) -> Option<Rotation> {
    procedure.joint.rotation.or_else(|| sheet.word(Item::Rotation).map(rotation_of))
}

/// Judges one setting.
pub fn judge(item: Item, sheet: &SetupSheet, procedure: &ProcedureFile) -> Judged {
    let value = sheet.value(item);
    let wanted = wanted(item, sheet, procedure);
    let verdict = match (value, wanted) {
        (None, _) if item == Item::OldBandHeight && sheet.word(Item::OldBand) == Some("none") => {
            SettingVerdict::NotCompared("no old band was found")
        }
        (None, _) => SettingVerdict::NotMeasured,
        (Some(_), _) if item == Item::OldBandHeight && contradicts_old_band(sheet) => {
            SettingVerdict::NotCompared("`none` is said of old bands: which of the two is true?")
        }
        (Some(Measured::Size(left_mm)), _)
            if item == Item::OldBandHeight
                && most_left_mm(procedure).is_some_and(|most_mm| left_mm > most_mm) =>
        {
            SettingVerdict::Differs(Severity::Warn, OLD_BAND_TOO_HIGH)
        }
        (Some(Measured::Size(found)), _) if is_steel_in_doubt(item, found) => steel_in_doubt(),
        (Some(_), _) if item == Item::TORCH_OFFSET && is_on_the_wrong_side(sheet, procedure) => {
            SettingVerdict::NotCompared("the torch is on the side that goes down: see torch side")
        }
        (Some(Measured::Gas(gas)), None) if gas.drawback().is_some() => differs_as_gas(&gas, Severity::Stop),
        (Some(Measured::Gas(gas)), None) if gas.is_unknown_to_practice() => unknown_gas(),
        // Whether the torch is cooled is asked whatever the procedure says: without water it burns up.
        (Some(Measured::Word("no")), None) if item == Item::CoolantBeforeArc => {
            SettingVerdict::Differs(Severity::Stop, item.mismatch())
        }
        (Some(Measured::Word(word)), wanted) if item == Item::OldBand => old_band(word, wanted),
        (Some(_), None) => SettingVerdict::NotCompared(not_said(item)),
        (Some(value), Some(wanted)) => compare(item, value, wanted),
    };
    let verdict = match verdict {
        SettingVerdict::Departs(left, advice) => {
            SettingVerdict::Departs(left, advice.in_view_of(item, left.side, height_stands(sheet, procedure)))
        }
        other => other,
    };
    let verdict = match (verdict, value) {
        // A torch that leans the other way is not leant more.
        (SettingVerdict::Departs(left, _), Some(Measured::Size(angle)))
            if item == Item::TORCH_ANGLE && left.side == Side::Low && angle < 0.0 && left.limit > 0.0 =>
        {
            SettingVerdict::Departs(left, OTHER_LEAN)
        }
        // A joint whose steel is in doubt is neither cooled nor heated to be welded.
        (SettingVerdict::Differs(..), _) => verdict,
        (verdict, Some(Measured::Size(found))) if item == Item::PREHEAT => {
            preheat::judged(found, verdict, sheet, procedure)
        }
        (verdict, _) => verdict,
    };
    let is_carried = sheet.carried.contains(&item);
    Judged { item, value, wanted, verdict, is_carried, is_unconfirmed: sheet.is_unconfirmed(item) }
}

/// No old band, and yet a height of one?
pub(super) fn contradicts_old_band(sheet: &SetupSheet) -> bool {
    let has_height = sheet.size(Item::OldBandHeight).is_some_and(|height_mm| height_mm > 0.0);
    has_height && sheet.word(Item::OldBand) == Some("none")
}

fn is_on_the_wrong_side(sheet: &SetupSheet, procedure: &ProcedureFile) -> bool {
    let rotation = rotation_of_joint(sheet, procedure);
    sheet.word(Item::TorchSide).zip(rotation).is_some_and(|(side, turns)| side != side_coming_up(turns))
}

/// What the procedure wants of a setting, on the joint that was measured.
pub fn wanted(item: Item, sheet: &SetupSheet, procedure: &ProcedureFile) -> Option<Wanted> {
    let size = |size: Option<f64>| size.map(Measured::Size);
    let exactly = match item {
        Item::Ranged(subject) => {
            let diameter_mm = sheet.size(Item::OutsideDiameter);
            return procedure.setting_on(subject, diameter_mm).map(Wanted::Ranges);
        }
        // A band on a taper, or in a place of its own, is laid on another diameter of the same joint.
        Item::OutsideDiameter => size(laid::nearest_diameter_mm(procedure, sheet.size(item))),
        Item::WireDiameter => size(procedure.wire.diameter_mm),
        Item::NozzleBore => size(procedure.gas.nozzle_bore_mm),
        Item::GasMixture => procedure.gas.mixture.map(Measured::Gas),
        Item::Rotation => procedure.joint.rotation.map(|rotation| Measured::Word(rotation_word(rotation))),
        Item::TorchSide => {
            rotation_of_joint(sheet, procedure).map(|rotation| Measured::Word(side_coming_up(rotation)))
        }
        Item::OldBand => procedure.joint.over_old_bands.map(|rule| match rule {
            OldBands::Compatible => NONE_OR_COMPATIBLE,
            OldBands::Never => Measured::Word("none"),
        }),
        // What is left of an old band has no range of its own: the stick-out over it has.
        Item::OldBandHeight => None,
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
