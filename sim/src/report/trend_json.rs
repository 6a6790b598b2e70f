//! A trend as JSON, for machines.
//!
//! Decides: the names of its keys; joints are counted from 1.
//! Assumes: house units, named in the keys of the quantities.
//! Never: writes a number that was not computed: what is absent is `null`.

use super::trend::standing;
use crate::input::procedure_file::ProcedureFile;
use crate::trend::baseline::Baseline;
use crate::trend::capability::Capability;
use crate::trend::cause::way;
use crate::trend::change::{Change, Shape};
use crate::trend::doubt::Doubt;
use crate::trend::event::Kind;
use crate::trend::{Series, Trend};
use serde_json::{Value, json};

/// The trend as one JSON object; values are in the house unit named in the key.
pub fn json(trend: &Trend, procedure: Option<&ProcedureFile>) -> Value {
    let design = &trend.options.design;
    let causes = trend.causes.iter().map(|likely| {
        let seen: Vec<_> = likely.seen.iter().map(|seen| seen.words()).collect();
        json!({
            "cause": likely.cause.name, "chart": likely.group + 1, "shape": likely.cause.shape.map(Shape::name),
            "has_its_shape": likely.has_its_shape, "words": likely.cause.words, "look_at": likely.cause.look_at, "seen": seen,
        })
    });
    let joints = trend.records.iter().map(|record| {
        json!({
            "record": record.name, "start": record.start, "bands": record.bands.len(),
            "within_procedure": record.is_within_procedure, "outcome": record.outcome.name(),
            "context": record.context.json(),
        })
    });
    let joints: Vec<Value> = joints.collect();
    let charts = trend.groups.iter().zip(1..).map(|(group, chart): (_, usize)| {
        json!({
            "chart": chart, "machine": group.context.machine, "procedure": group.context.procedure,
            "outside_diameter_mm": group.context.outside_diameter_mm,
            "joints": group.joints.iter().map(|joint| joint + 1).collect::<Vec<_>>(),
        })
    });
    let events = trend.events.iter().map(|event| {
        json!({
            "kind": event.kind.name(), "name": event.name, "chart": event.group + 1,
            "from_joint": event.joint + 1,
        })
    });
    json!({
        "procedure": procedure.map(ProcedureFile::identity),
        "order": trend.order.words(),
        "ewma": { "weight": design.lambda, "limits": design.ewma_limit },
        "cusum": { "slack": design.slack, "interval": design.interval },
        "spread_estimator": Baseline::ESTIMATOR,
        "capability_estimator": Capability::ESTIMATOR,
        "steady": trend.is_steady(),
        "within_procedure": !trend.is_outside(),
        "flagged_joints": trend.flagged().map(|joint| joint + 1).collect::<Vec<_>>(),
        "crater_joints": trend.craters.iter().map(|joint| joint + 1).collect::<Vec<_>>(),
        "charts": charts.collect::<Vec<_>>(),
        "events": events.collect::<Vec<_>>(),
        "events_after_all_joints": trend.unused.iter().map(|event| json!({
            "kind": event.kind.name(), "name": event.name, "at": event.place(),
        })).collect::<Vec<_>>(),
        "few_joints_of_operators": trend.few.iter().map(|few| json!({
            "operator": few.operator, "chart": few.group + 1, "baseline_joints": few.joints,
        })).collect::<Vec<_>>(),
        "gaps": trend.gaps().map(|gap| json!({ "joint": gap.joint() + 1, "words": gap.words() })).collect::<Vec<_>>(),
        "joints": joints,
        "quantities": trend.series.iter().map(series_json).collect::<Vec<_>>(),
        "causes": causes.collect::<Vec<_>>(),
    })
}

fn series_json(series: &Series) -> Value {
    let at = |index: usize| series.points.get(index).map(|point| point.joint + 1);
    let drift = series.drift.as_ref().map(|drift| {
        json!({
            "way": way(drift.side), "since_joint": at(drift.since), "signalled_at_joint": at(drift.signal),
            "until_joint": at(drift.until), "standing": drift.is_standing, "stays_off": drift.stays_off, "mean": drift.mean,
            "change": drift.change.as_ref().map(|change| change_json(series, change)),
            "cleared_by_event": drift.after.filter(|(_, is_back)| *is_back).map(|(kind, _)| kind.name()),
            "not_cleared_by": drift.after.filter(|(_, is_back)| !is_back).map(|(kind, _)| kind.name()),
        })
    });
    let points = series.points.iter().map(|point| {
        let charted = point.charted.as_ref();
        json!({
            "joint": point.joint + 1, "bands": point.bands, "value": point.value, "adjusted": point.adjusted,
            "flagged": point.is_flagged, "restart": point.restart.map(Kind::name),
            "deviate_sd": charted.and_then(|charted| charted.deviate),
            "set_aside": point.is_set_aside || charted.is_some_and(|charted| charted.is_set_aside),
            "ewma": charted.map(|charted| charted.ewma),
            "cusum_high_sd": charted.map(|charted| charted.cusum_high),
            "cusum_low_sd": charted.map(|charted| charted.cusum_low),
            "ewma_signals": charted.map(|charted| charted.ewma_signal.is_some()),
            "cusum_signals": charted.map(|charted| charted.cusum_signal.is_some()),
        })
    });
    json!({
        "quantity": series.measure.description().key,
        "chart": series.group + 1,
        "modelled": series.modelled,
        "standing": standing(series).to_lowercase(),
        "doubt": series.doubt.map(Doubt::name),
        "allowed_low": series.allowed.and_then(|range| range.low),
        "allowed_high": series.allowed.and_then(|range| range.high),
        "outside": series.outside,
        "baseline": series.baseline.map(|baseline| json!({
            "joints": baseline.count, "mean": baseline.mean, "sd": baseline.deviation,
            "sd_is_least": baseline.is_least, "unsteady": series.is_start_unsteady(),
            "last_joint": at(baseline.end.saturating_sub(1)),
            "set_aside": series.set_aside().map(|joint| joint + 1).filter(|joint| {
                at(baseline.end.saturating_sub(1)).is_some_and(|last| *joint <= last)
            }).collect::<Vec<_>>(),
            "drifting": series.start_change.as_ref().map(|change| change_json(series, change)),
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

fn change_json(series: &Series, change: &Change) -> Value {
    let at = |index: usize| series.points.get(index).map(|point| point.joint + 1);
    json!({
        "way": way(change.side), "shape": change.shape.name(), "at_joint": at(change.at),
        "from_joint": at(change.from), "to_joint": at(change.to), "size": change.size,
        "per_joint": change.per_joint,
    })
}
