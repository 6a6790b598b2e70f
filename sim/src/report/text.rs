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
use super::model::verdict::{Standing, Verdict};
use super::style::{BAD, BOLD, FAINT, GOOD, line};
use crate::input::quantity::UnitSystem;
use crate::raw::seconds;
use crate::replay::Replay;
use bandward::rule::RuleSet;
use bandward::{BandRecord, Rule, Severity};

/// More alarms than this are counted, not listed.
const LISTED: usize = 30;

/// The whole replay.
pub fn replay(replay: &Replay, procedure_name: Option<&str>, system: UnitSystem) -> String {
    let mut text = String::new();
    head(&mut text, replay, procedure_name);
    verdict(&mut text, replay, procedure_name);
    if !replay.bands.is_empty() {
        bands(&mut text, replay, procedure_name.is_some(), system);
    }
    alarms(&mut text, replay, system);
    likely_causes(&mut text, &replay.findings, system);
    not_judged(&mut text, replay);
    fit(&text)
}

fn head(text: &mut String, replay: &Replay, procedure_name: Option<&str>) {
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
    if trace.gaps > 0 || trace.out_of_order > 0 {
        line!(text, "gaps in time: {}; samples out of order: {}", trace.gaps, trace.out_of_order);
    }
    line!(text, "");
}

fn verdict(text: &mut String, replay: &Replay, procedure_name: Option<&str>) {
    let verdict = Verdict::of(replay, procedure_name.is_some());
    let style = match verdict.standing {
        Standing::Within => GOOD,
        Standing::NotJudged if !replay.bands.is_empty() => BOLD,
        Standing::NotJudged | Standing::Outside => BAD,
    };
    line!(text, "{style}{}{style:#}{}", verdict.words, verdict.rest);
    line!(text, "");
}

/// The table, cut into as many blocks side by side as a narrow screen needs; each begins with the band.
fn bands(text: &mut String, replay: &Replay, has_procedure: bool, system: UnitSystem) {
    let columns: Vec<Vec<String>> = COLUMNS
        .iter()
        .map(|column| {
            let cells = replay.bands.iter().map(|band| cell(column, band, system));
            padded(std::iter::once(column.title.to_owned()).chain(cells).collect())
        })
        .filter(|cells| cells.iter().skip(1).any(|cell| cell.trim() != "-"))
        .collect();
    let Some((band, others)) = columns.split_first() else { return };
    let verdict: Vec<String> = std::iter::once("verdict".to_owned())
        .chain(replay.bands.iter().map(|band| band_verdict(band, has_procedure)))
        .collect();
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

fn band_verdict(band: &BandRecord, has_procedure: bool) -> String {
    let names = |rules: RuleSet| rules.iter().map(Rule::name).collect::<Vec<_>>().join(", ");
    if !band.is_within_procedure() {
        format!("{BAD}OUTSIDE{BAD:#}: {}", names(band.violated))
    } else if !has_procedure {
        "? no range".to_owned()
    } else if band.advised.is_empty() {
        format!("{GOOD}within{GOOD:#}")
    } else {
        format!("{GOOD}within{GOOD:#}; look at {}", names(band.advised))
    }
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
