//! A judged setup as JSON, for machines.
//!
//! Decides: the keys; sizes are in the house unit named beside them, whatever is shown to people.
//! Assumes: the setup was judged by the procedure that is named in it.
//! Never: leaves a key out; what is not known is `null`.

use super::model::setup::show_step;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::setup::advice::Advice;
use crate::setup::item::Kind;
use crate::setup::moves::Moved;
use crate::setup::{CAUTIONS, Checked, Item, Judged, Measured, SettingVerdict, SetupSheet, Step};
use crate::within::within;
use serde_json::{Value, json};

/// The setup as one JSON object; sizes are in the house unit named beside them.
pub fn json(sheet: &SetupSheet, checked: &Checked, procedure: &ProcedureFile) -> Value {
    let settings: Vec<_> = checked.settings.iter().map(|judged| setting_json(judged, checked)).collect();
    let fits: Vec<_> = checked
        .fits
        .iter()
        .map(|fit| json!({ "name": fit.of.name(), "fits": fit.is_good, "words": fit.words(UnitSystem::Metric) }))
        .collect();
    json!({
        "cautions": CAUTIONS,
        "file": sheet.file,
        "sha256": sheet.sha256,
        "joint": sheet.joint,
        "procedure": procedure.identity(),
        "outcome": checked.outcome().name(),
        "within_procedure": within(checked.outcome()),
        "not_measured": checked.not_measured().into_iter().map(Item::key).collect::<Vec<_>>(),
        "from_last_confirmed": sheet.carried_confirmed,
        "measured_since": sheet.measured_since,
        "warnings": checked.warnings,
        "settings": settings,
        "steps": checked.steps.iter().map(step_json).collect::<Vec<_>>(),
        "belong_together": fits,
        "signed": sheet.signature.as_ref().map(|signature| json!({
            "initials": signature.initials,
            "time": signature.time,
            "procedure_sha256": signature.procedure_sha256,
            "within_procedure": signature.is_within_procedure,
            "not_measured": signature.not_measured,
            "same_procedure": signature.procedure_sha256.eq_ignore_ascii_case(&procedure.sha256),
        })),
    })
}

fn value_json(value: Measured) -> Value {
    match value {
        Measured::Word(word) => json!(word),
        Measured::Gas(gas) => json!(gas.to_string()),
        Measured::Size(size) => json!(size),
    }
}

fn setting_json(judged: &Judged, checked: &Checked) -> Value {
    let unit = match judged.item.kind() {
        Kind::Size(dimension, _) => Some(dimension.units()[0].symbol),
        Kind::Words(_) | Kind::Gas => None,
    };
    let (verdict, reason) = match judged.verdict {
        SettingVerdict::Good => ("good", None),
        SettingVerdict::NotMeasured => ("not-measured", None),
        SettingVerdict::NotCompared(reason) => ("not-compared", Some(reason)),
        SettingVerdict::Departs(left, _) => (left.severity.name(), None),
        SettingVerdict::Differs(severity, _) => (severity.name(), None),
    };
    let left = match judged.verdict {
        SettingVerdict::Departs(left, _) => Some(left),
        _ => None,
    };
    let advice = judged.verdict.advice();
    json!({
        "setting": judged.item.key(),
        "value": judged.value.map(value_json),
        "unit": unit,
        "verdict": verdict,
        "reason": reason,
        "from_last_joint": judged.is_carried,
        "limit": left.map(|left| left.limit),
        "off_by": left.map(|left| left.off_by),
        "adjust": advice.map(|advice| adjust(judged.item, advice, checked)),
        "caution": advice.and_then(|_| checked.step_for(judged.item)?.caution),
        "if_left": advice.map(|advice| advice.left_so),
    })
}

/// What to do about a setting: its step, the one control that settles it; nothing before it is measured
/// again where that is the step.
fn adjust(item: Item, advice: Advice, checked: &Checked) -> String {
    match checked.step_for(item) {
        Some(step) => show_step(step, UnitSystem::Metric),
        None => checked.adjust(advice),
    }
}

fn step_json(step: &Step) -> Value {
    let moves = |moved: &Moved| {
        let unit = moved.dimension.units()[0].symbol;
        json!({ "name": moved.name, "from": moved.from, "to": moved.to, "unit": unit })
    };
    json!({
        "turn": step.turn.key(),
        "how": step.how,
        "from": step.from.map(value_json),
        "to": step.to.map(value_json),
        "until": step.until.map(|(item, size)| json!({ "setting": item.key(), "reads": size })),
        "settles": step.settles.iter().map(|item| item.key()).collect::<Vec<_>>(),
        "moves": step.moves.iter().map(moves).collect::<Vec<_>>(),
        "moves_also": step.moves_also,
        "caution": step.caution,
    })
}
