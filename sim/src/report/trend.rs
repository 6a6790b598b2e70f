//! A trend as text, for people at a terminal.
//!
//! Decides: what stands where: the verdict, what drifts and why, then every quantity.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: says by colour alone what words do not say.

use super::fit::fit;
use super::style::{BAD, BOLD, FAINT, GOOD, line};
use super::trend_words::{chart_name, count, doubts, full_title, known, sentence, start_sentence, title};
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format, format_difference};
use crate::standing::show_bounds;
use crate::trend::baseline::Baseline;
use crate::trend::capability::{Capability, Figure, LEAST_JOINTS};
use crate::trend::cause::Seen;
use crate::trend::record::Record;
use crate::trend::reference::FURTHEST;
use crate::trend::{Series, Trend};
use bandward::rule::Side;

/// More joints with gaps are listed below the verdict.
const MOST_NAMED: usize = 3;

/// The verdict: the words that matter, and the rest of the sentence.
pub fn verdict(trend: &Trend) -> (&'static str, String) {
    let outside = match (trend.is_outside(), trend.outside()) {
        (false, _) => String::new(),
        (true, 0) => "; something is outside the procedure".to_owned(),
        (true, 1) => "; 1 band is outside the procedure".to_owned(),
        (true, count) => format!("; {count} bands are outside the procedure"),
    };
    let titles: Vec<_> = trend.drifting().map(|(series, _)| full_title(trend, series)).collect();
    let starts: Vec<_> = trend.unsteady_starts().map(|series| full_title(trend, series)).collect();
    let doubted = trend.doubted().map(|(series, _)| full_title(trend, series));
    let unwatched = trend.unwatched().map(|group| format!("every quantity of {}", chart_name(trend, group)));
    let gaps = trend.gaps().map(|gap| format!("joint {}", gap.joint() + 1));
    let gaps: Vec<String> = gaps.take(MOST_NAMED).collect();
    let doubted: Vec<_> = gaps.into_iter().chain(doubted).chain(unwatched).collect();
    if !titles.is_empty() {
        ("DRIFTING", format!(": {}{outside}", titles.join(", ")))
    } else if trend.is_outside() && trend.is_watched() {
        ("OUTSIDE THE PROCEDURE", format!("; no drift in any quantity that could be followed{outside}"))
    } else if !starts.is_empty() {
        let starts = starts.join(", ");
        ("BASELINE NOT STEADY", format!(": {starts}; no drift after the baseline in what could be followed"))
    } else if trend.is_watched() && !doubted.is_empty() {
        ("CANNOT BE TOLD", format!(": {}; no drift in what could be followed", doubted.join(", ")))
    } else if trend.is_watched() {
        ("STEADY", ", for every quantity that could be followed".to_owned())
    } else {
        let flagged = trend.flagged().count();
        let flagged = if flagged == 0 {
            String::new()
        } else {
            format!(" ({} broken or not proven by their own records)", count(flagged, "joint"))
        };
        ("NOT JUDGED", format!(": too few sound joints for a baseline and one to watch{flagged}{outside}"))
    }
}

/// How it was done, a line each.
pub fn method(trend: &Trend) -> Vec<String> {
    let design = &trend.options.design;
    let mut lines = vec![
        format!("order: {}", trend.order.words()),
        "a joint is the mean of its bands, each less what its place in the joint makes; it is compared with the \
             joints before it that do not drift"
            .to_owned(),
        format!(
            "charts: EWMA (weight {}, limits {} of its own standard deviations); CUSUM (slack {}, interval {} standard \
             deviations); a drift is what both signal and what is more than {:.1} standard errors off at its likeliest \
             beginning, as far as neighbouring joints are independent",
            design.lambda, design.ewma_limit, design.slack, design.interval, trend.clear
        ),
        format!(
            "a joint further off than {FURTHEST} standard deviations counts as {FURTHEST}, and only if the one before \
             or after is off likewise (same side, more than 2, at least half as far); alone it is set aside"
        ),
        "change points: least squares; interval of 95 % by the likelihood; step or slope by which fits clearly better"
            .to_owned(),
        "drawn and told is the moving average that signals: of each joint less what was expected of it".to_owned(),
        format!("spread of a baseline: {}", Baseline::ESTIMATOR),
        format!("{}; not told for fewer than {LEAST_JOINTS} joints (common practice)", Capability::ESTIMATOR),
        "a spread too small to tell, by what sensors resolve, is taken as the least that can be told: \">\" stands \
         before what follows from it, and before 10 for all above"
            .to_owned(),
    ];
    if let Some(count) = trend.false_drifts() {
        lines.push(format!(
            "were everything steady, charts as many and as long would show up to {count:.1} drifts by chance, each \
             of which would soon clear"
        ));
    }
    match trend.parts() {
        0 => {}
        1 => lines.push("left out: 1 band that was not seen from beginning to end".to_owned()),
        parts => lines.push(format!("left out: {parts} bands that were not seen from beginning to end")),
    }
    lines
}

/// What speaks for a cause, in words.
pub fn evidence(seen: &[Seen]) -> String {
    seen.iter().map(|seen| seen.words()).collect::<Vec<_>>().join(", ")
}

/// Drifts that no cause of the table explains.
pub fn unexplained(trend: &Trend) -> Vec<String> {
    let told = |series: &&Series| {
        trend
            .causes
            .iter()
            .filter(|likely| likely.group == series.group)
            .flat_map(|likely| &likely.seen)
            .any(|seen| matches!(seen, Seen::Drifts(measure, _) if *measure == series.measure))
    };
    let drifting = trend.drifting().map(|(series, _)| series);
    drifting.filter(|series| !told(series)).map(|series| full_title(trend, series)).collect()
}

/// How a quantity stands, in a word or two.
pub fn standing(series: &Series) -> &'static str {
    match (series.baseline, series.drifting().map(|drift| drift.side)) {
        (None, _) => "too few joints",
        (_, Some(Side::Low)) => "FALLING",
        (_, Some(Side::High)) => "RISING",
        (_, None) if series.is_start_unsteady() => "unsteady start",
        (_, None) if series.doubt.is_some() => "cannot be told",
        (_, None) if series.drift.is_some() => "steady again",
        (_, None) => "steady",
    }
}

/// The whole trend.
pub fn text(trend: &Trend, procedure: Option<&ProcedureFile>, system: UnitSystem) -> String {
    let mut text = String::new();
    line!(
        &mut text,
        "{BOLD}Trend over {}, {}{BOLD:#}",
        count(trend.records.len(), "joint"),
        count(trend.bands(), "band")
    );
    line!(&mut text, "procedure: {}", procedure.map_or("none given".to_owned(), ProcedureFile::title));
    let (words, rest) = verdict(trend);
    let style = if trend.is_quiet() && trend.is_steady() == Some(true) { GOOD } else { BAD };
    line!(&mut text, "\n{style}{words}{style:#}{rest}");
    for (series, drift) in trend.drifting() {
        line!(&mut text, "  - {}", sentence(trend, series, drift, system));
    }
    for (series, drift) in trend.returned() {
        line!(&mut text, "  - {FAINT}cleared: {}{FAINT:#}", sentence(trend, series, drift, system));
    }
    for series in trend.unsteady_starts() {
        line!(&mut text, "  - {}", start_sentence(trend, series, system).unwrap_or_default());
    }
    for words in doubts(trend, system) {
        line!(&mut text, "  - {words}");
    }
    causes(&mut text, trend);
    let known = known(trend);
    if !known.is_empty() {
        line!(&mut text, "\n{BOLD}Known{BOLD:#}");
    }
    for words in known {
        line!(&mut text, "  {words}");
    }
    table(&mut text, trend, system);
    capability(&mut text, trend, system);
    basis(&mut text, trend);
    joints(&mut text, trend);
    fit(&text)
}

fn causes(text: &mut String, trend: &Trend) {
    if trend.drifting().next().is_none() {
        return;
    }
    line!(text, "\n{BOLD}Likely causes{BOLD:#}, most likely first");
    for (index, likely) in trend.causes.iter().enumerate() {
        let chart = chart(trend, likely.group);
        line!(text, "  {}. {}{chart}", index + 1, likely.cause.words);
        line!(text, "     {FAINT}{}{FAINT:#}", evidence(&likely.seen));
        line!(text, "     check: {}", likely.cause.look_at);
    }
    let unexplained = unexplained(trend);
    if !unexplained.is_empty() {
        line!(text, "  no cause known for: {}", unexplained.join(", "));
    }
}

/// Which chart a cause is about, where there are several.
pub fn chart(trend: &Trend, group: usize) -> String {
    if trend.groups.len() > 1 { format!(" ({})", chart_name(trend, group)) } else { String::new() }
}

fn table(text: &mut String, trend: &Trend, system: UnitSystem) {
    line!(
        text,
        "\n{BOLD}{:<18} {:>6} {:>12} {:>12} {:>12} status{BOLD:#}",
        "quantity",
        "joints",
        "baseline",
        "spread",
        "latest"
    );
    for series in &trend.series {
        let description = series.measure.description();
        let show = |value| format(value, description.dimension, system);
        let baseline = series.baseline.map_or("-".to_owned(), |baseline| show(baseline.mean));
        let spread = series.baseline.map_or("-".to_owned(), |baseline| {
            format_difference(baseline.deviation, description.dimension.of_differences(), system)
        });
        let latest = series.points.last().map_or("-".to_owned(), |point| show(point.value));
        let style = if series.drifting().is_some() { BAD } else { FAINT };
        line!(
            text,
            "{:<18} {:>6} {baseline:>12} {spread:>12} {latest:>12} {style}{}{style:#}",
            title(trend, series),
            series.points.len(),
            standing(series)
        );
    }
}

fn capability(text: &mut String, trend: &Trend, system: UnitSystem) {
    let judged: Vec<_> = trend.series.iter().filter(|series| series.allowed.is_some()).collect();
    if judged.is_empty() {
        return;
    }
    line!(text, "\n{BOLD}{:<18} {:>6} {:>6} {:>6}  allowed{BOLD:#}", "fits its range", "Cp", "Cpk", "Ppk");
    for series in judged {
        let [cp, cpk, ppk] = figures(series.capability.as_ref());
        let title = title(trend, series);
        line!(text, "{title:<18} {cp:>6} {cpk:>6} {ppk:>6}  {}", allowed(series, system));
    }
}

/// Cp, Cpk and Ppk as people read them.
pub fn figures(capability: Option<&Capability>) -> [String; 3] {
    let told = [
        capability.and_then(|told| told.cp),
        capability.map(|told| told.cpk),
        capability.map(|told| told.ppk),
    ];
    told.map(|figure| figure.map_or("-".to_owned(), Figure::words))
}

/// The allowed range of a quantity, and how many readings are outside it.
pub fn allowed(series: &Series, system: UnitSystem) -> String {
    let (Some(range), Some(subject)) = (series.allowed, series.measure.description().subject) else {
        return String::new();
    };
    let range = show_bounds(range, subject.dimension(), system);
    if series.outside == 0 { range } else { format!("{range}: {} OUTSIDE", series.outside) }
}

fn basis(text: &mut String, trend: &Trend) {
    line!(text, "\n{BOLD}Method{BOLD:#}");
    for words in method(trend) {
        line!(text, "  {FAINT}{words}{FAINT:#}");
    }
}

fn joints(text: &mut String, trend: &Trend) {
    line!(text, "\n{BOLD}Joints{BOLD:#}");
    for (index, record) in trend.records.iter().enumerate() {
        line!(text, "{:>5}  {}", index + 1, joint(record));
    }
}

/// A joint as one line.
pub fn joint(record: &Record) -> String {
    let start = record.begun().map_or(String::new(), |start| format!(", {start}"));
    let outside = match (record.is_within_procedure, record.is_sound()) {
        (false, _) => ", OUTSIDE THE PROCEDURE",
        (true, false) => ", not proven",
        (true, true) => "",
    };
    format!("{}{start}, {}{outside}", record.name, count(record.bands.len(), "band"))
}
