//! The replay as text, for people at a terminal.
//!
//! Decides: what stands where on the screen. The verdict first, then the bands, then why.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: says by colour alone what words do not say.

use super::findings::likely_causes;
use super::fit::{WIDTH, fit};
use super::model::alarms::{measured, place_and_time};
use super::model::bands::{COLUMNS, ESTIMATES, cell, has_estimates};
use super::model::coverage::{reasons_not_judged, sample_rate_hz};
use super::model::meaning;
use super::model::verdict::{Verdict, of_band, words};
use super::style::{BAD, BOLD, FAINT, GOOD, OPEN, line};
use super::{identity, inspection, repair};
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::laid;
use crate::raw::seconds;
use crate::replay::Replay;
use bandward::rule::RuleSet;
use bandward::{BandRecord, Outcome, Rule, Severity};

/// More alarms than this are counted, not listed.
const LISTED: usize = 30;

/// The whole replay.
pub fn replay(replay: &Replay, procedure_name: Option<&str>, system: UnitSystem) -> String {
    let mut text = String::new();
    head(&mut text, replay, procedure_name, system);
    verdict(&mut text, replay);
    joints(&mut text, replay);
    if !replay.bands.is_empty() {
        bands(&mut text, replay, system);
    }
    alarms(&mut text, replay, system);
    likely_causes(&mut text, &replay.findings, system);
    repair::text(&mut text, &replay.dossier.repairs, replay.joints.len() > 1, system);
    if let Some(found) = &replay.dossier.inspection {
        line!(&mut text, "");
        text.push_str(&inspection::text(found, false, system));
    }
    not_judged(&mut text, replay);
    fit(&text)
}

/// What is wrong with the procedure itself: it stands above every verdict by it.
pub fn warnings(procedure: &ProcedureFile) -> String {
    let mut text = String::new();
    for warning in laid::warnings(procedure) {
        line!(&mut text, "{BAD}{warning}{BAD:#}\n");
    }
    fit(&text)
}

fn head(text: &mut String, replay: &Replay, procedure_name: Option<&str>, system: UnitSystem) {
    let who = &replay.dossier.identity;
    if let Some(title) = who.context.title() {
        line!(text, "{BOLD}{title}{BOLD:#}");
    }
    let trace = &replay.trace;
    let rate_hz = sample_rate_hz(replay);
    let duration_s = seconds(trace.duration_us);
    let samples = trace.samples;
    line!(text, "{BOLD}{}{BOLD:#}: {samples} samples, {rate_hz:.1} a second, {duration_s:.1} s", trace.path);
    if let Some(start) = &trace.start {
        line!(text, "recorded from {start}");
    }
    let judged_by = procedure_name
        .map_or("no procedure given, so no range is judged: add --procedure FILE.toml".to_owned(), |name| {
            format!("procedure: {name}")
        });
    line!(text, "{judged_by}");
    if let Some(words) = identity::line(&who.context, system) {
        line!(text, "{words}");
    }
    for remark in who.remarks(system) {
        line!(text, "note: {remark}");
    }
    if trace.gaps > 0 || trace.out_of_order > 0 {
        line!(text, "gaps in time: {}; samples out of order: {}", trace.gaps, trace.out_of_order);
    }
    if !replay.tacks.is_empty() {
        line!(text, "tacks (short arcs that became no band): {}", replay.tacks.len());
    }
    line!(text, "");
}

fn verdict(text: &mut String, replay: &Replay) {
    let verdict = Verdict::of(replay);
    let style = match verdict.outcome {
        Outcome::Proven => GOOD,
        Outcome::NotProven => OPEN,
        Outcome::NotAsked if !verdict.has_faults => BOLD,
        Outcome::NotAsked | Outcome::Broken => BAD,
    };
    line!(text, "{style}{}{style:#}{}", verdict.words, verdict.rest);
    for reason in &verdict.reasons {
        line!(text, "  {reason}");
    }
    line!(text, "");
}

/// The table, cut into as many blocks side by side as a narrow screen needs; each begins with the band.
fn bands(text: &mut String, replay: &Replay, system: UnitSystem) {
    let columns: Vec<Vec<String>> = COLUMNS
        .iter()
        .map(|column| {
            let cells = replay.bands.iter().map(|band| cell(column, band, system));
            padded(std::iter::once(column.title.to_owned()).chain(cells).collect())
        })
        .filter(|cells| cells.iter().skip(1).any(|cell| cell.trim() != "-"))
        .collect();
    let Some((band, others)) = columns.split_first() else { return };
    let verdict: Vec<String> =
        std::iter::once("verdict".to_owned()).chain(replay.bands.iter().map(band_verdict)).collect();
    let mut block = band.clone();
    for column in others {
        if block[0].len() + GAP.len() + column[0].len() > WIDTH {
            rows(text, &block);
            block.clone_from(band);
        }
        beside(&mut block, column);
    }
    // Rules are many and their names long: the last cell may be broken.
    if block[0].len() + GAP.len() + VERDICT > WIDTH {
        rows(text, &block);
        block.clone_from(band);
    }
    beside(&mut block, &verdict);
    rows(text, &block);
    if has_estimates(&replay.bands) {
        line!(text, "{ESTIMATES}");
        line!(text, "");
    }
}

/// Between columns.
const GAP: &str = "  ";
/// Columns that are enough for most verdicts.
const VERDICT: usize = 24;

/// Cells as wide as the widest, their ends below each other.
fn padded(cells: Vec<String>) -> Vec<String> {
    let width = cells.iter().map(|cell| cell.chars().count()).max().unwrap_or(0);
    cells.into_iter().map(|cell| format!("{cell:>width$}")).collect()
}

fn beside(block: &mut [String], column: &[String]) {
    for (row, cell) in block.iter_mut().zip(column) {
        row.push_str(GAP);
        row.push_str(cell);
    }
}

fn rows(text: &mut String, block: &[String]) {
    for (index, row) in block.iter().enumerate() {
        if index == 0 { line!(text, "{FAINT}{row}{FAINT:#}") } else { line!(text, "{row}") }
    }
    line!(text, "");
}

fn band_verdict(band: &BandRecord) -> String {
    let names = |rules: RuleSet| rules.iter().map(Rule::name).collect::<Vec<_>>().join(", ");
    let (words, rules) = of_band(band);
    let style = match band.outcome {
        Outcome::NotAsked => FAINT,
        Outcome::Proven => GOOD,
        Outcome::NotProven => OPEN,
        Outcome::Broken => BAD,
    };
    let mut verdict = format!("{style}{words}{style:#}");
    if !rules.is_empty() {
        verdict.push_str(": ");
        verdict.push_str(&names(rules));
    }
    if !band.advised.is_empty() {
        verdict.push_str("; advisory: ");
        verdict.push_str(&names(band.advised));
    }
    verdict
}

/// The joints, where there are several.
fn joints(text: &mut String, replay: &Replay) {
    if replay.joints.len() < 2 {
        return;
    }
    for joint in &replay.joints {
        let outcome = replay.outcome_of_joint(joint);
        let style = match outcome {
            Outcome::NotAsked => FAINT,
            Outcome::Proven => GOOD,
            Outcome::NotProven => OPEN,
            Outcome::Broken => BAD,
        };
        let words = words(outcome);
        let beside = replay.dossier.effects(joint.joint).into_iter().map(|(why, _)| why);
        let broken = joint.broken.iter().map(Rule::name).chain(beside).collect::<Vec<_>>().join(", ");
        let broken = if broken.is_empty() { broken } else { format!(": {broken}") };
        let (from_s, bands) = (seconds(joint.start_us), joint.bands);
        let serial = replay.dossier.identity.serial_of(joint.joint);
        let serial = serial.map(|serial| format!("  {serial}")).unwrap_or_default();
        line!(
            text,
            "joint {:>3}{serial}  from {from_s:>9.1} s  {bands} bands  {style}{words}{style:#}{broken}",
            joint.joint
        );
    }
    line!(text, "");
}

fn alarms(text: &mut String, replay: &Replay, system: UnitSystem) {
    if replay.alarms.is_empty() {
        line!(text, "no alarms");
        return;
    }
    line!(text, "{BOLD}alarms{BOLD:#}");
    for alarm in replay.alarms.iter().take(LISTED) {
        let style = if alarm.severity >= Severity::Warn { BAD } else { FAINT };
        let channel = alarm.channel.map_or(String::new(), |channel| format!(" ({})", channel.name()));
        let (severity, rule) = (alarm.severity.name(), alarm.rule.name());
        line!(text, "  {style}{severity:<6} {rule}{channel}{style:#}  {}", place_and_time(alarm));
        line!(text, "         {}{}", measured(alarm, system), meaning::meaning(alarm.rule));
    }
    if replay.alarms.len() > LISTED {
        line!(text, "  and {} more: --json lists all", replay.alarms.len() - LISTED);
    }
}

fn not_judged(text: &mut String, replay: &Replay) {
    let reasons = reasons_not_judged(replay);
    if reasons.is_empty() {
        return;
    }
    line!(text, "");
    line!(text, "{BOLD}not judged{BOLD:#}");
    for (reason, rules) in reasons {
        line!(text, "  {reason}:");
        line!(text, "    {FAINT}{}{FAINT:#}", rules.join(", "));
    }
}
