//! A trend as text, for people at a terminal, and as JSON, for machines.
//!
//! Decides: what stands where: the verdict, what drifts and why, then every quantity.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: says by colour alone what words do not say.

use super::fit::fit;
use super::style::{BAD, BOLD, FAINT, GOOD, line};
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format};
use crate::standing::show_bounds;
use crate::trend::baseline::Baseline;
use crate::trend::capability::{Capability, Figure, LEAST_JOINTS};
use crate::trend::cause::{Seen, way};
use crate::trend::record::Record;
use crate::trend::watch::Drift;
use crate::trend::{Point, Series, Trend};
use bandward::rule::Side;
use serde_json::{Value, json};

/// The verdict: the words that matter, and the rest of the sentence.
pub fn verdict(trend: &Trend) -> (&'static str, String) {
    let outside = match (trend.is_outside(), trend.outside()) {
        (false, _) => String::new(),
        (true, 0) => "; something is outside the procedure".to_owned(),
        (true, 1) => "; 1 band is outside the procedure".to_owned(),
        (true, count) => format!("; {count} bands are outside the procedure"),
    };
    let titles: Vec<_> = trend.drifting().map(|(series, _)| series.measure.description().title).collect();
    if !titles.is_empty() {
        ("DRIFTING", format!(": {}{outside}", titles.join(", ")))
    } else if trend.is_outside() {
        ("OUTSIDE THE PROCEDURE", format!("; no drift in any quantity that could be followed{outside}"))
    } else if trend.is_watched() {
        ("STEADY", ", for every quantity that could be followed".to_owned())
    } else {
        ("NOT JUDGED", ": too few joints for a baseline and one to watch".to_owned())
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
             deviations); a drift is what both signal",
            design.lambda, design.ewma_limit, design.slack, design.interval
        ),
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

/// Where a point lies, such as `joint 7`.
pub fn place(point: &Point) -> String {
    format!("joint {}", point.joint + 1)
}

/// The drift of a quantity as one sentence.
pub fn sentence(series: &Series, drift: &Drift, system: UnitSystem) -> String {
    let description = series.measure.description();
    let show = |value| format(value, description.dimension, system);
    let [since, signal, until] =
        [drift.since, drift.signal, drift.until].map(|at| series.points.get(at).map_or(String::new(), place));
    let (mean, shift) = series
        .baseline
        .map_or((0.0, 0.0), |baseline| (baseline.mean, (drift.mean - baseline.mean) / baseline.deviation));
    let (from, to) = (show(mean), show(drift.mean));
    let shift = format!("{shift:+.1} standard deviations");
    if drift.is_standing {
        format!(
            "{} {} since about {since}: {from} in the baseline, {to} since ({shift}); signalled from {signal} on",
            description.title,
            way(drift.side)
        )
    } else {
        format!(
            "{} was {} from about {since} to {until}: {from} in the baseline, {to} then ({shift})",
            description.title,
            way(drift.side)
        )
    }
}

/// What speaks for a cause, in words.
pub fn evidence(seen: &[Seen]) -> String {
    seen.iter().map(|seen| seen.words()).collect::<Vec<_>>().join(", ")
}

/// Drifts that no cause of the table explains.
pub fn unexplained(trend: &Trend) -> Vec<&'static str> {
    let told = |series: &&Series| {
        trend
            .causes
            .iter()
            .flat_map(|likely| &likely.seen)
            .any(|seen| matches!(seen, Seen::Drifts(measure, _) if *measure == series.measure))
    };
    let drifting = trend.drifting().map(|(series, _)| series);
    drifting.filter(|series| !told(series)).map(|series| series.measure.description().title).collect()
}

/// How a quantity stands, in a word or two.
pub fn standing(series: &Series) -> &'static str {
    match (series.baseline, series.drifting().map(|drift| drift.side)) {
        (None, _) => "too few joints",
        (_, Some(Side::Low)) => "FALLING",
        (_, Some(Side::High)) => "RISING",
        (_, None) if series.is_baseline_unsteady => "unsteady start",
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
    let style = if trend.is_quiet() { GOOD } else { BAD };
    line!(&mut text, "\n{style}{words}{style:#}{rest}");
    for (series, drift) in trend.drifting() {
        line!(&mut text, "  - {}", sentence(series, drift, system));
    }
    for (series, drift) in trend.returned() {
        line!(&mut text, "  - {FAINT}cleared: {}{FAINT:#}", sentence(series, drift, system));
    }
    causes(&mut text, trend);
    table(&mut text, trend, system);
    capability(&mut text, trend, system);
    basis(&mut text, trend);
    joints(&mut text, trend);
    fit(&text)
}

/// Such as `1 joint` or `7 joints`.
pub fn count(number: usize, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}

fn causes(text: &mut String, trend: &Trend) {
    if trend.drifting().next().is_none() {
        return;
    }
    line!(text, "\n{BOLD}Likely causes{BOLD:#}, most likely first");
    for (index, likely) in trend.causes.iter().enumerate() {
        line!(text, "  {}. {}", index + 1, likely.cause.words);
        line!(text, "     {FAINT}{}{FAINT:#}", evidence(&likely.seen));
        line!(text, "     check: {}", likely.cause.look_at);
    }
    let unexplained = unexplained(trend);
    if !unexplained.is_empty() {
        line!(text, "  no cause known for: {}", unexplained.join(", "));
    }
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
            format(baseline.deviation, description.dimension.of_differences(), system)
        });
        let latest = series.points.last().map_or("-".to_owned(), |point| show(point.value));
        let style = if series.drifting().is_some() { BAD } else { FAINT };
        line!(
            text,
            "{:<18} {:>6} {baseline:>12} {spread:>12} {latest:>12} {style}{}{style:#}",
            description.title,
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
        let title = series.measure.description().title;
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
    let start = record.start.as_ref().map_or(String::new(), |start| format!(", {start}"));
    let outside = if record.is_within_procedure { "" } else { ", OUTSIDE THE PROCEDURE" };
    format!("{}{start}, {}{outside}", record.name, count(record.bands.len(), "band"))
}

/// The trend as one JSON object; values are in the house unit named in the key.
pub fn json(trend: &Trend, procedure: Option<&ProcedureFile>) -> Value {
    let design = &trend.options.design;
    let causes = trend.causes.iter().map(|likely| {
        let seen: Vec<_> = likely.seen.iter().map(|seen| seen.words()).collect();
        json!({
            "cause": likely.cause.name, "words": likely.cause.words, "look_at": likely.cause.look_at, "seen": seen,
        })
    });
    let joints = trend.records.iter().map(|record| {
        json!({
            "record": record.name, "start": record.start, "bands": record.bands.len(),
            "within_procedure": record.is_within_procedure,
        })
    });
    json!({
        "procedure": procedure.map(ProcedureFile::identity),
        "order": trend.order.words(),
        "ewma": { "weight": design.lambda, "limits": design.ewma_limit },
        "cusum": { "slack": design.slack, "interval": design.interval },
        "spread_estimator": Baseline::ESTIMATOR,
        "capability_estimator": Capability::ESTIMATOR,
        "steady": trend.is_watched().then(|| trend.drifting().next().is_none()),
        "within_procedure": !trend.is_outside(),
        "joints": joints.collect::<Vec<_>>(),
        "quantities": trend.series.iter().map(series_json).collect::<Vec<_>>(),
        "causes": causes.collect::<Vec<_>>(),
    })
}

fn series_json(series: &Series) -> Value {
    let at = |index: usize| series.points.get(index).map(|point| point.joint + 1);
    let drift = series.drift.as_ref().map(|drift| {
        json!({
            "way": way(drift.side), "since_joint": at(drift.since), "signalled_at_joint": at(drift.signal),
            "until_joint": at(drift.until), "standing": drift.is_standing, "mean": drift.mean,
        })
    });
    let points = series.points.iter().map(|point| {
        let charted = point.charted.as_ref();
        json!({
            "joint": point.joint + 1, "bands": point.bands, "value": point.value,
            "ewma": charted.map(|charted| charted.ewma),
            "cusum_high_sd": charted.map(|charted| charted.cusum_high),
            "cusum_low_sd": charted.map(|charted| charted.cusum_low),
            "ewma_signals": charted.map(|charted| charted.ewma_signal.is_some()),
            "cusum_signals": charted.map(|charted| charted.cusum_signal.is_some()),
        })
    });
    json!({
        "quantity": series.measure.description().key,
        "standing": standing(series).to_lowercase(),
        "allowed_low": series.allowed.and_then(|range| range.low),
        "allowed_high": series.allowed.and_then(|range| range.high),
        "outside": series.outside,
        "baseline": series.baseline.map(|baseline| json!({
            "joints": baseline.count, "mean": baseline.mean, "sd": baseline.deviation,
            "sd_is_least": baseline.is_least, "unsteady": series.is_baseline_unsteady,
        })),
        "ewma_limits": series.ewma_limits,
        "capability": series.capability.map(|told| json!({
            "joints": told.joints, "cp": told.cp.map(|cp| cp.value), "cpk": told.cpk.value, "ppk": told.ppk.value,
            "sd_is_least": told.cpk.is_at_least,
        })),
        "drift": drift,
        "points": points.collect::<Vec<_>>(),
    })
}
