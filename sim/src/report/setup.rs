//! A judged setup as text, for people at a terminal, and as JSON, for machines.
//!
//! Decides: what stands where: cautions, verdict, what to adjust, everything measured, what fits.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: says by colour alone what words do not say.

use super::fit::fit;
use super::model::setup::{show_measured, show_wanted, signed};
use super::style::{BAD, BOLD, FAINT, GOOD, line};
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format, format_beside};
use crate::setup::item::Kind;
use crate::setup::{
    CAUTIONS, Checked, Item, Judged, JudgedSetup, Measured, SettingVerdict, SetupSheet, Wanted,
};
use crate::standing::show_setting_in_brief;
use bandward::Severity;
use bandward::rule::Side;
use serde_json::{Value, json};

/// The verdict on one setting: a line, and three more where something is to be done.
pub fn show_verdict(judged: &Judged, checked: &Checked, system: UnitSystem) -> Vec<String> {
    let mut lines = vec![match judged.verdict {
        SettingVerdict::Good => format!("{GOOD}good{GOOD:#}"),
        SettingVerdict::NotMeasured => format!("{FAINT}not measured{FAINT:#}"),
        SettingVerdict::NotCompared(reason) => format!("{FAINT}not compared: {reason}{FAINT:#}"),
        SettingVerdict::Differs(severity, _) => marked(severity),
        SettingVerdict::Departs(left, _) => {
            let side = if left.side == Side::Low { "below" } else { "above" };
            let [off_by, limit] =
                [left.off_by, left.limit].map(|size| show_difference(judged.item, size, system));
            let limit = show_size(judged.item, left.limit, system).unwrap_or(limit);
            format!("{}: {off_by} {side} {limit}", marked(left.severity))
        }
    }];
    if let Some(advice) = judged.verdict.advice() {
        let wanted = judged.wanted.map_or(String::new(), |wanted| show_wanted(judged.item, wanted, system));
        lines.push(format!("wanted: {wanted}"));
        lines.push(format!("adjust: {}", checked.adjust(advice)));
        lines.push(format!("if not corrected: {}", advice.left_so));
    }
    lines
}

const fn word(severity: Severity) -> &'static str {
    match severity {
        Severity::Advise => "ADVISORY",
        Severity::Warn => "OUTSIDE",
        Severity::Stop => "STOP",
    }
}

fn marked(severity: Severity) -> String {
    let style = if severity == Severity::Advise { BOLD } else { BAD };
    format!("{style}{}{style:#}", word(severity))
}

fn show_size(item: Item, size: f64, system: UnitSystem) -> Option<String> {
    let Kind::Size(dimension, _) = item.kind() else { return None };
    Some(format(size, dimension, system))
}

/// A difference of temperatures is none of their zeros.
fn show_difference(item: Item, size: f64, system: UnitSystem) -> String {
    match item.kind() {
        Kind::Size(dimension, _) => format_beside(size, 0.0, dimension.of_differences(), system),
        Kind::Words(_) | Kind::Gas => size.to_string(),
    }
}

/// The cautions that stand at the head.
pub fn cautions() -> String {
    let mut text = format!("{BOLD}Before anything else{BOLD:#}\n");
    for caution in CAUTIONS {
        line!(&mut text, "  - {caution}");
    }
    fit(&text)
}

/// The whole setup.
pub fn text(sheet: &SetupSheet, checked: &Checked, procedure: &ProcedureFile, system: UnitSystem) -> String {
    let mut text = String::new();
    let joint = sheet.joint.as_ref().map_or(String::new(), |joint| format!(" of {joint}"));
    line!(&mut text, "{BOLD}Setup{joint}{BOLD:#}");
    line!(&mut text, "procedure: {}", procedure.title());
    line!(&mut text, "{}", signed(sheet, procedure));
    line!(&mut text, "");
    verdict(&mut text, checked, system);
    line!(&mut text, "");
    line!(&mut text, "all settings: measured, wanted (allowed)");
    for (place, items) in Item::PLACES {
        line!(&mut text, "");
        line!(&mut text, "{BOLD}{place}{BOLD:#}");
        for judged in checked.settings.iter().filter(|judged| items.contains(&judged.item)) {
            setting(&mut text, judged, system);
        }
    }
    line!(&mut text, "");
    line!(&mut text, "{BOLD}what belongs together{BOLD:#}");
    for known in &checked.fits {
        let mark = match known.is_good {
            Some(true) => format!("{GOOD}good{GOOD:#}    "),
            Some(false) => format!("{BOLD}ADVISORY{BOLD:#}"),
            None => format!("{FAINT}-{FAINT:#}       "),
        };
        line!(&mut text, "  {mark}  {}: {}", known.name, known.words(system));
    }
    fit(&text)
}

/// The setup in short, to stand below the replay of the same joint: what was wrong, and who signed it.
pub fn summary(setup: &JudgedSetup, procedure: &ProcedureFile, system: UnitSystem) -> String {
    let mut text = String::new();
    let of = setup.sheet.joint.as_ref().map_or(String::new(), |joint| format!(" of {joint}"));
    line!(&mut text, "{BOLD}setup before the arc{of}{BOLD:#}, {}", setup.sheet.file);
    line!(&mut text, "  {}", signed(&setup.sheet, procedure));
    for judged in &setup.checked.settings {
        let (Some(severity), Some(advice)) = (judged.verdict.severity(), judged.verdict.advice()) else {
            continue;
        };
        let shown = show_measured(judged, system).unwrap_or_default();
        let wanted = judged.wanted.map_or(String::new(), |wanted| show_wanted(judged.item, wanted, system));
        line!(&mut text, "  {} {} {shown}; wanted {wanted}", marked(severity), judged.item.title());
        line!(&mut text, "         if not corrected: {}", advice.left_so);
    }
    for fit in setup.checked.fits.iter().filter(|fit| fit.is_good == Some(false)) {
        line!(&mut text, "  {} {}: {}", marked(Severity::Advise), fit.name, fit.words(system));
    }
    if setup.checked.settings.iter().all(|judged| judged.verdict.severity().is_none()) {
        line!(&mut text, "  {GOOD}within the procedure{GOOD:#}, for everything measured and compared");
    }
    fit(&text)
}

fn verdict(text: &mut String, checked: &Checked, system: UnitSystem) {
    if checked.is_within_procedure() {
        line!(text, "{GOOD}WITHIN THE PROCEDURE{GOOD:#}, for everything measured and compared");
    } else {
        line!(text, "{BAD}OUTSIDE THE PROCEDURE{BAD:#}: put these right before the arc");
    }
    let mut wrong: Vec<_> =
        checked.settings.iter().filter_map(|judged| Some((judged.verdict.severity()?, judged))).collect();
    // The worst first; those as bad stay in order.
    wrong.sort_by_key(|(severity, _)| std::cmp::Reverse(*severity));
    for (_, judged) in wrong {
        let shown = show_measured(judged, system).unwrap_or_default();
        let mut lines = show_verdict(judged, checked, system).into_iter();
        let first = lines.next().unwrap_or_default();
        line!(text, "");
        line!(text, "  {BOLD}{}{BOLD:#} {shown}  {first}", judged.item.title());
        for more in lines {
            line!(text, "      {more}");
        }
    }
}

/// One line of the table, narrow enough for a narrow screen.
fn setting(text: &mut String, judged: &Judged, system: UnitSystem) {
    let value = show_measured(judged, system).unwrap_or_else(|| "not measured".to_owned());
    let wanted = match (judged.wanted, judged.verdict) {
        (_, SettingVerdict::NotCompared(reason)) => format!("not compared: {reason}"),
        (None, _) => "not in the procedure".to_owned(),
        (Some(Wanted::Ranges(setting)), _) => show_setting_in_brief(&setting, system),
        (Some(wanted), _) => show_wanted(judged.item, wanted, system),
    };
    let (style, mark) = match judged.verdict {
        SettingVerdict::Good => (GOOD, "good"),
        SettingVerdict::NotMeasured | SettingVerdict::NotCompared(_) => (FAINT, "-"),
        SettingVerdict::Departs(..) | SettingVerdict::Differs(..) => {
            let severity = judged.verdict.severity().unwrap_or(Severity::Warn);
            (if severity == Severity::Advise { BOLD } else { BAD }, word(severity))
        }
    };
    let title = judged.item.title();
    line!(text, "  {style}{mark:<8}{style:#} {title:<18} {value:>12}  {FAINT}{wanted}{FAINT:#}");
}

/// The setup as one JSON object; sizes are in the house unit named beside them.
pub fn json(sheet: &SetupSheet, checked: &Checked, procedure: &ProcedureFile) -> Value {
    let settings: Vec<_> = checked.settings.iter().map(|judged| setting_json(judged, checked)).collect();
    let fits: Vec<_> = checked
        .fits
        .iter()
        .map(|fit| json!({ "name": fit.name, "fits": fit.is_good, "words": fit.words(UnitSystem::Metric) }))
        .collect();
    json!({
        "cautions": CAUTIONS,
        "file": sheet.file,
        "sha256": sheet.sha256,
        "joint": sheet.joint,
        "procedure": procedure.identity(),
        "within_procedure": checked.is_within_procedure(),
        "settings": settings,
        "belong_together": fits,
        "signed": sheet.signature.as_ref().map(|signature| json!({
            "initials": signature.initials,
            "time": signature.time,
            "procedure_sha256": signature.procedure_sha256,
            "within_procedure": signature.is_within_procedure,
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
        "limit": left.map(|left| left.limit),
        "off_by": left.map(|left| left.off_by),
        "adjust": advice.map(|advice| checked.adjust(advice)),
        "if_left": advice.map(|advice| advice.left_so),
    })
}
