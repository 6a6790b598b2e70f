//! A judged setup as text, for people at a terminal; as JSON it is in `setup_json`.
//!
//! Decides: what stands where: cautions, verdict, what to adjust, everything measured, what fits.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: says by colour alone what words do not say.

use super::fit::fit;
use super::model::setup::{
    all_measured, not_measured, show_measured, show_moves, show_step, show_wanted, signed,
};
pub use super::setup_json::json;
use super::style::{BAD, BOLD, FAINT, GOOD, line};
use super::torch_drawing;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format, format_beside};
use crate::setup::item::Kind;
use crate::setup::{CAUTIONS, Checked, Item, Judged, JudgedSetup, SettingVerdict, SetupSheet, Step, Wanted};
use crate::standing::show_setting_in_brief;
use bandward::rule::Side;
use bandward::{Outcome, Severity};

/// The verdict on one setting: a line, and more where something is to be done.
pub fn show_verdict(judged: &Judged, checked: &Checked, system: UnitSystem) -> Vec<String> {
    let mut lines = vec![verdict_line(judged, system)];
    if let Some(advice) = judged.verdict.advice() {
        lines.extend(wanted_line(judged, system));
        match checked.step_for(judged.item) {
            Some(step) => lines.extend(step_lines(step, system)),
            None => lines.push(format!("adjust: {}", checked.adjust(advice))),
        }
        lines.push(format!("if not corrected: {}", advice.left_so));
    }
    lines
}

fn verdict_line(judged: &Judged, system: UnitSystem) -> String {
    match judged.verdict {
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
    }
}

fn wanted_line(judged: &Judged, system: UnitSystem) -> Option<String> {
    Some(format!("wanted: {}", show_wanted(judged.item, judged.wanted?, system)))
}

/// What to do, what moves with it, and what to know before.
fn step_lines(step: &Step, system: UnitSystem) -> Vec<String> {
    let mut lines = vec![format!("adjust: {}", show_step(step, system))];
    lines.extend(show_moves(step, system).map(|moves| format!("also moves: {moves}")));
    lines.extend(step.caution.map(|caution| format!("caution: {caution}")));
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
    verdict(&mut text, sheet, checked, system);
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
            Some(false) if known.breaks() => format!("{BAD}OUTSIDE{BAD:#} "),
            Some(false) => format!("{BOLD}ADVISORY{BOLD:#}"),
            None => format!("{FAINT}-{FAINT:#}       "),
        };
        line!(&mut text, "  {mark}  {}: {}", known.of.name(), known.words(system));
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
        let severity = if fit.breaks() { Severity::Warn } else { Severity::Advise };
        line!(&mut text, "  {} {}: {}", marked(severity), fit.of.name(), fit.words(system));
    }
    for warning in &setup.checked.warnings {
        line!(&mut text, "  {BAD}{warning}{BAD:#}");
    }
    let missing: Vec<_> = setup.checked.not_measured().into_iter().map(Item::title).collect();
    if !missing.is_empty() {
        line!(&mut text, "  {BOLD}NOT PROVEN{BOLD:#}: not measured: {}", missing.join(", "));
    } else if setup.checked.is_within_procedure()
        && setup.checked.settings.iter().all(|judged| judged.verdict.severity().is_none())
    {
        line!(&mut text, "  {GOOD}within the procedure{GOOD:#}: {}", all_measured(&setup.checked));
    }
    fit(&text)
}

fn verdict(text: &mut String, sheet: &SetupSheet, checked: &Checked, system: UnitSystem) {
    match checked.outcome() {
        Outcome::Proven => line!(text, "{GOOD}WITHIN THE PROCEDURE{GOOD:#}: {}", all_measured(checked)),
        Outcome::NotProven if checked.not_measured().is_empty() => {
            line!(text, "{BOLD}NOT PROVEN{BOLD:#}: nothing outside, but {}", checked.doubts().join("; "));
        }
        Outcome::NotProven => {
            line!(text, "{BOLD}NOT PROVEN{BOLD:#}: nothing outside, but not all was measured on this joint");
        }
        Outcome::NotAsked => line!(text, "{BOLD}NOT JUDGED{BOLD:#}: the procedure limits nothing of a setup"),
        Outcome::Broken if checked.steps.is_empty() => {
            line!(
                text,
                "{BAD}OUTSIDE THE PROCEDURE{BAD:#}: no setting alone puts this right; no arc before what is told below \
                 is put right"
            );
        }
        Outcome::Broken => {
            line!(text, "{BAD}OUTSIDE THE PROCEDURE{BAD:#}: put these right before the arc, in this order");
        }
    }
    for sentence in not_measured(sheet, checked) {
        line!(text, "{sentence}");
    }
    for warning in &checked.warnings {
        line!(text, "{BAD}{warning}{BAD:#}");
    }
    for (index, step) in checked.steps.iter().enumerate() {
        line!(text, "");
        numbered(text, index + 1, step, checked, system);
    }
    let wrong = |judged: &&Judged| judged.verdict.severity().is_some();
    for judged in checked.settings.iter().filter(wrong) {
        if !checked.steps.iter().any(|step| is_told_by(step, judged.item)) {
            line!(text, "");
            told(text, "-", judged, show_verdict(judged, checked, system), system);
        }
    }
    if let Some(drawing) = torch_drawing::text(checked) {
        line!(text, "");
        text.push_str(&drawing);
    }
}

/// Does a step tell of what is wrong with a setting?
fn is_told_by(step: &Step, item: Item) -> bool {
    step.turn == item || step.settles.contains(&item) || step.measures.contains(&item)
}

/// One step: what is wrong that it settles, what to do, what comes of leaving it.
fn numbered(text: &mut String, number: usize, step: &Step, checked: &Checked, system: UnitSystem) {
    let wrong: Vec<_> = checked
        .settings
        .iter()
        .filter(|judged| judged.verdict.severity().is_some() && is_told_by(step, judged.item))
        .collect();
    let mark = format!("{number}.");
    let Some((first, others)) = wrong.split_first() else {
        line!(text, "  {mark} {BOLD}{}{BOLD:#}", step.turn.title());
        for more in step_lines(step, system) {
            line!(text, "      {more}");
        }
        return;
    };
    let mut lines = vec![verdict_line(first, system)];
    lines.extend(wanted_line(first, system));
    for other in others {
        let shown = show_measured(other, system).unwrap_or_default();
        lines.push(format!("with it: {} {shown}  {}", other.item.title(), verdict_line(other, system)));
    }
    lines.extend(step_lines(step, system));
    lines.extend(first.verdict.advice().map(|advice| format!("if not corrected: {}", advice.left_so)));
    told(text, &mark, first, lines, system);
}

fn told(text: &mut String, mark: &str, judged: &Judged, lines: Vec<String>, system: UnitSystem) {
    let shown = show_measured(judged, system).unwrap_or_default();
    let mut lines = lines.into_iter();
    let first = lines.next().unwrap_or_default();
    line!(text, "  {mark} {BOLD}{}{BOLD:#} {shown}  {first}", judged.item.title());
    for more in lines {
        line!(text, "      {more}");
    }
}

/// One line of the table, narrow enough for a narrow screen.
fn setting(text: &mut String, judged: &Judged, system: UnitSystem) {
    let value = show_measured(judged, system).unwrap_or_else(|| "not measured".to_owned());
    let wanted = match (judged.wanted, judged.verdict) {
        (_, SettingVerdict::NotCompared(reason)) => format!("not compared: {reason}"),
        (None, SettingVerdict::Differs(..)) if judged.item == Item::OldBandHeight => {
            "more than the stick-out allows".to_owned()
        }
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
    let carried = match (judged.is_carried, judged.is_unconfirmed) {
        (true, true) => "; carried",
        (true, false) => "; confirmed",
        (false, _) => "",
    };
    line!(text, "  {style}{mark:<8}{style:#} {title:<18} {value:>12}  {FAINT}{wanted}{FAINT:#}{carried}");
}
