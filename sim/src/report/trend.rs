//! A trend as text, for people at a terminal, and as JSON, for machines.
//!
//! Decides: what stands where: the verdict, what drifts and why, then every quantity.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: says by colour alone what words do not say.

use super::style::{BAD, BOLD, FAINT, GOOD, line};
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format};
use crate::standing::show_bounds;
use crate::trend::baseline::{Baseline, Capability, LEAST_FOR_CAPABILITY};
use crate::trend::cause::{Seen, way};
use crate::trend::record::Record;
use crate::trend::{Drift, Point, Series, Trend};
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
        ("OUTSIDE THE PROCEDURE", format!("; as far as it was watched, nothing drifts{outside}"))
    } else if trend.is_watched() {
        ("STEADY", ", as far as it was watched".to_owned())
    } else {
        ("NOT JUDGED", ": too few bands for a baseline and one to watch".to_owned())
    }
}

/// How it was done, a line each.
pub fn method(trend: &Trend) -> Vec<String> {
    let design = &trend.options.design;
    let mut lines = vec![
        format!("order: {}", trend.order.words()),
        format!(
            "charts: EWMA (weight {}, limits {} of its own standard deviations); CUSUM (slack {}, interval {} standard \
             deviations)",
            design.lambda, design.ewma_limit, design.slack, design.interval
        ),
        format!("spread of a chart: {}", Baseline::ESTIMATOR),
        format!("{}; not told for fewer than {LEAST_FOR_CAPABILITY} bands", Capability::ESTIMATOR),
    ];
    if let Some(count) = trend.false_signals() {
        lines.push(format!(
            "were everything steady, charts as many and as long would give about {count:.1} signals by chance, \
             or many more: bands of one joint are alike, and a short baseline knows its mean and spread only roughly"
        ));
    }
    match trend.parts() {
        0 => {}
        1 => lines.push("left out: 1 band that was not seen from beginning to end".to_owned()),
        parts => lines.push(format!("left out: {parts} bands that were not seen from beginning to end")),
    }
    lines
}

/// Where a point lies, such as `joint 7, band 2`.
pub fn place(point: &Point) -> String {
    format!("joint {}, band {}", point.joint + 1, point.band)
}

/// The drift of a quantity as one sentence.
pub fn sentence(series: &Series, drift: &Drift, system: UnitSystem) -> String {
    let description = series.measure.description();
    let show = |value| format(value, description.dimension, system);
    let [since, signal] =
        [drift.since, drift.signal].map(|at| series.points.get(at).map_or(String::new(), place));
    let (mean, shift) = series
        .baseline
        .map_or((0.0, 0.0), |baseline| (baseline.mean, (drift.mean - baseline.mean) / baseline.deviation));
    let by = match (drift.by_ewma, drift.by_cusum) {
        (true, true) => "EWMA and CUSUM",
        (true, false) => "EWMA",
        _ => "CUSUM",
    };
    let standing = if drift.is_standing { "" } else { "; back within the limits since" };
    format!(
        "{} {} since about {since}: {} in the baseline, {} since ({shift:+.1} standard deviations); first signal at \
         {signal}, by {by}{standing}",
        description.title,
        way(drift.side),
        show(mean),
        show(drift.mean),
    )
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
    match (series.baseline, series.drift.map(|drift| drift.side)) {
        (None, _) => "too few bands",
        (_, Some(Side::Low)) => "FALLING",
        (_, Some(Side::High)) => "RISING",
        (_, None) if series.is_baseline_unsteady => "baseline unsteady",
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
    for words in method(trend) {
        line!(&mut text, "{FAINT}{words}{FAINT:#}");
    }
    let (words, rest) = verdict(trend);
    let style = if trend.is_quiet() { GOOD } else { BAD };
    line!(&mut text, "\n{style}{words}{style:#}{rest}");
    for (series, drift) in trend.drifting() {
        line!(&mut text, "  {}", sentence(series, drift, system));
    }
    causes(&mut text, trend);
    table(&mut text, trend, system);
    joints(&mut text, trend);
    text
}

/// Such as `1 joint` or `7 joints`.
pub fn count(number: usize, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}

fn causes(text: &mut String, trend: &Trend) {
    if trend.drifting().next().is_none() {
        return;
    }
    line!(text, "\n{BOLD}Likely causes{BOLD:#}, the likeliest first");
    for (index, likely) in trend.causes.iter().enumerate() {
        line!(text, "  {}. {}", index + 1, likely.cause.words);
        line!(text, "     {FAINT}{}{FAINT:#}", evidence(&likely.seen));
        line!(text, "     look at: {}", likely.cause.look_at);
    }
    let unexplained = unexplained(trend);
    if !unexplained.is_empty() {
        line!(text, "  no cause known for: {}", unexplained.join(", "));
    }
}

fn table(text: &mut String, trend: &Trend, system: UnitSystem) {
    line!(
        text,
        "\n{BOLD}{:<18} {:>5} {:>12} {:>12} {:>12} {:>6} {:>6} {:>6}  {:<18}{BOLD:#} allowed",
        "quantity",
        "bands",
        "baseline",
        "spread",
        "last",
        "Cp",
        "Cpk",
        "Ppk",
        "standing"
    );
    for series in &trend.series {
        let description = series.measure.description();
        let show = |value| format(value, description.dimension, system);
        let baseline = series.baseline.map_or("-".to_owned(), |baseline| show(baseline.mean));
        let spread = series.baseline.map_or("-".to_owned(), |baseline| {
            format(baseline.deviation, description.dimension.of_differences(), system)
        });
        let last = series.points.last().map_or("-".to_owned(), |point| show(point.value));
        let [cp, cpk, ppk] = figures(series.capability.as_ref());
        let style = if series.drift.is_some() { BAD } else { FAINT };
        line!(
            text,
            "{:<18} {:>5} {baseline:>12} {spread:>12} {last:>12} {cp:>6} {cpk:>6} {ppk:>6}  {style}{:<18}{style:#} {}",
            description.title,
            series.points.len(),
            standing(series),
            allowed(series, system)
        );
    }
}

/// Cp, Cpk and Ppk as people read them.
pub fn figures(capability: Option<&Capability>) -> [String; 3] {
    let show = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.2}"));
    let [cpk, ppk] =
        [|told: &Capability| told.cpk, |told: &Capability| told.ppk].map(|read| capability.map(read));
    [show(capability.and_then(|told| told.cp)), show(cpk), show(ppk)]
}

/// The allowed range of a quantity, and how many readings are outside it.
pub fn allowed(series: &Series, system: UnitSystem) -> String {
    let (Some(range), Some(subject)) = (series.allowed, series.measure.description().subject) else {
        return String::new();
    };
    let range = show_bounds(range, subject, system);
    if series.outside == 0 { range } else { format!("{range}: {} OUTSIDE", series.outside) }
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
    let at = |index: usize| {
        series.points.get(index).map(|point| json!({ "joint": point.joint + 1, "band": point.band }))
    };
    let drift = series.drift.as_ref().map(|drift| {
        json!({
            "way": way(drift.side), "since": at(drift.since), "first_signal": at(drift.signal),
            "by_ewma": drift.by_ewma, "by_cusum": drift.by_cusum, "standing": drift.is_standing, "mean": drift.mean,
        })
    });
    let points = series.points.iter().map(|point| {
        let charted = point.charted.as_ref();
        json!({
            "joint": point.joint + 1, "band": point.band, "value": point.value,
            "ewma": charted.map(|charted| charted.ewma),
            "cusum_high_sd": charted.map(|charted| charted.cusum_high),
            "cusum_low_sd": charted.map(|charted| charted.cusum_low),
            "signals": charted.map(|charted| charted.ewma_signal.or(charted.cusum_signal).is_some()),
        })
    });
    json!({
        "quantity": series.measure.description().key,
        "standing": standing(series).to_lowercase(),
        "allowed_low": series.allowed.and_then(|range| range.low),
        "allowed_high": series.allowed.and_then(|range| range.high),
        "outside": series.outside,
        "baseline": series.baseline.map(|baseline| json!({
            "bands": baseline.count, "mean": baseline.mean, "sd": baseline.deviation,
            "sd_is_least": baseline.is_least, "unsteady": series.is_baseline_unsteady,
        })),
        "ewma_limits": series.ewma_limits,
        "capability": series.capability.map(|told| json!({
            "bands": told.count, "cp": told.cp, "cpk": told.cpk, "ppk": told.ppk,
        })),
        "drift": drift,
        "points": points.collect::<Vec<_>>(),
    })
}
