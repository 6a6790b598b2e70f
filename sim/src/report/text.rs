//! The replay as text, for people at a terminal.
//!
//! Decides: what stands where on the screen. The verdict first, then the bands, then why.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: says by colour alone what words do not say.

use super::findings::likely_causes;
use super::fit::{WIDTH, fit};
use super::json::sample_rate_hz;
use super::meaning;
use super::style::{BAD, BOLD, FAINT, GOOD, line};
use super::verdict::{Standing, Verdict};
use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use crate::replay::{Alarm, Replay, seconds, value};
use bandward::record::band::{Spread, WireFeedSource};
use bandward::rule::{Measure, Quantity, RuleSet};
use bandward::units::FixedPoint;
use bandward::{BandRecord, Channel, NotJudged, Rule, Severity};

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

/// One column of the band table.
pub(super) struct Column {
    pub(super) title: &'static str,
    dimension: Option<Dimension>,
    cell: fn(&BandRecord) -> Option<f64>,
    is_estimate: fn(&BandRecord) -> bool,
}

const fn column(
    title: &'static str,
    dimension: Option<Dimension>,
    cell: fn(&BandRecord) -> Option<f64>,
) -> Column {
    Column { title, dimension, cell, is_estimate: |_| false }
}

fn mean<Q: FixedPoint>(spread: Option<Spread<Q>>) -> Option<f64> {
    spread.map(|spread| value(spread.mean))
}

pub(super) const COLUMNS: [Column; 12] = [
    column("band", None, |band| Some(f64::from(band.band))),
    column("start", Some(Dimension::Duration), |band| Some(seconds(band.start_us))),
    column("turn time", Some(Dimension::Duration), |band| band.turn_time.map(value)),
    column("overlap", Some(Dimension::Angle), |band| band.overlap.map(value)),
    column("current", Some(Dimension::Current), |band| mean(band.current)),
    column("voltage", Some(Dimension::Voltage), |band| mean(band.voltage)),
    column("gas", Some(Dimension::Flow), |band| mean(band.gas)),
    column("weave", Some(Dimension::Rate), |band| mean(band.weave_rate)),
    column("width", Some(Dimension::Length), |band| band.weave_width.map(value)),
    column("step-over", Some(Dimension::Length), |band| band.step_over.map(value)),
    column("energy", Some(Dimension::EnergyPerLength), |band| band.arc_energy.map(value)),
    Column {
        is_estimate: |band| band.wire_feed_source == Some(WireFeedSource::EstimatedFromCurrent),
        ..column("height", Some(Dimension::Length), |band| band.band_height.map(value))
    },
];

/// Said where an estimate is shown: it may be far off for a wire that is cored.
pub(super) const ESTIMATES: &str = "~ height: no wire feed was measured; it was estimated from the current";

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

/// Does the table show an estimate?
pub(super) fn has_estimates(bands: &[BandRecord]) -> bool {
    COLUMNS
        .iter()
        .any(|column| bands.iter().any(|band| (column.cell)(band).is_some() && (column.is_estimate)(band)))
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

pub(super) fn cell(column: &Column, band: &BandRecord, system: UnitSystem) -> String {
    match ((column.cell)(band), column.dimension) {
        (None, _) => "-".to_owned(),
        (Some(number), Some(dimension)) if (column.is_estimate)(band) => {
            format!("~{}", format(number, dimension, system))
        }
        (Some(number), Some(dimension)) => format(number, dimension, system),
        (Some(number), None) => format!("{number}"),
    }
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

pub(super) fn place_and_time(alarm: &Alarm) -> String {
    let mut words = Vec::new();
    if alarm.band > 0 {
        words.push(format!("band {}", alarm.band));
    }
    if let Some((turn, degrees)) = alarm.place() {
        let turn = if turn > 1 { format!(" of turn {turn}") } else { String::new() };
        words.push(format!("from {degrees:.0} deg{turn}"));
    }
    words.push(format!("from {:.2} s", seconds(alarm.onset_us)));
    words.push(match alarm.cleared_us {
        Some(cleared_us) => format!("gone at {:.2} s", seconds(cleared_us)),
        None => "to the end of the trace".to_owned(),
    });
    words.join(", ")
}

/// The worst value and the limit it passed, as the start of a sentence.
pub(super) fn measured(alarm: &Alarm, system: UnitSystem) -> String {
    let Some(dimension) = dimension(alarm.rule.measure(alarm.channel)) else { return String::new() };
    let show = |raw: i32| format(alarm.in_unit(raw), dimension, system);
    match (alarm.rule, alarm.limit) {
        (Rule::SpindleSlip | Rule::SpindleStall, usual) => {
            let usual = usual.map_or(String::new(), |usual| format!(", usual {}/s", show(usual)));
            format!("{}/s{usual}; ", show(alarm.worst))
        }
        (Rule::PolarityWrong | Rule::SignalLate, _) | (_, None) => format!("{}; ", show(alarm.worst)),
        (_, Some(limit)) => format!("{}, limit {}; ", show(alarm.worst), show(limit)),
    }
}

/// What a measure of the core is shown as; an angle reading of the spindle says nothing here.
fn dimension(measure: Measure) -> Option<Dimension> {
    Some(match measure {
        Measure::Quantity(quantity) => Dimension::of_quantity(quantity),
        Measure::Duration => Dimension::Duration,
        Measure::SpindleSpeed => Dimension::Angle,
        Measure::Reading(Channel::Current) => Dimension::Current,
        Measure::Reading(Channel::Voltage) => Dimension::Voltage,
        Measure::Reading(Channel::Gas | Channel::Coolant) => Dimension::of_quantity(Quantity::GasFlow),
        Measure::Reading(Channel::Torch | Channel::Carriage) => Dimension::Length,
        Measure::Reading(Channel::Wire) => Dimension::WireSpeed,
        Measure::Reading(Channel::Work) => Dimension::Temperature,
        Measure::Reading(Channel::Spindle) => return None,
    })
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

/// Each reason why rules were not judged, with the rules.
pub(super) fn reasons_not_judged(replay: &Replay) -> Vec<(String, Vec<&'static str>)> {
    let mut reasons: Vec<(String, Vec<&str>)> = Vec::new();
    for &(rule, reason) in replay.not_judged.iter().filter(|(_, reason)| *reason != NotJudged::NeverApplied) {
        let words = meaning::reason(reason, sample_rate_hz(replay));
        match reasons.iter_mut().find(|(known, _)| *known == words) {
            Some((_, rules)) => rules.push(rule.name()),
            None => reasons.push((words, vec![rule.name()])),
        }
    }
    reasons
}
