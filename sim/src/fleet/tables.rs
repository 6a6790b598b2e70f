//! The tables: a row a band, a row an alarm.
//!
//! Decides: names and units of the columns, which are those of `replay --json`.
//! Assumes: nothing.
//! Never: writes a number that was not computed: what is absent is null.

use super::column::{Column, Values};
use crate::alarm::Alarm;
use crate::raw::{from_raw, seconds, value};
use bandward::record::band::Spread;
use bandward::units::FixedPoint;
use bandward::{BandRecord, Channel, Outcome, Rule};

/// A row a band.
pub fn bands(of_joints: &[BandOfJoint]) -> Vec<Column> {
    let bands: Vec<BandRecord> = of_joints.iter().map(|(band, _)| *band).collect();
    let bands = &bands[..];
    let number = |name: &str, cell: &dyn Fn(&BandRecord) -> Option<f64>| {
        (name.to_owned(), Values::Number(bands.iter().map(cell).collect()))
    };
    let count = |name: &str, cell: &dyn Fn(&BandRecord) -> i64| {
        (name.to_owned(), Values::Count(bands.iter().map(|band| Some(cell(band))).collect()))
    };
    let mut columns = vec![
        count("joint_number", &|band| i64::from(band.joint)),
        count("band", &|band| i64::from(band.band)),
        number("start_s", &|band| Some(seconds(band.start_us))),
        number("end_s", &|band| Some(seconds(band.end_us))),
        number("arc_time_s", &|band| Some(seconds(band.arc_time_us))),
        count("samples", &|band| i64::from(band.samples)),
        count("outages", &|band| i64::from(band.outages)),
        number("turns", &|band| band.turned.map(|turned| value(turned) / 360.0)),
        number("turn_time_s", &|band| band.turn_time.map(value)),
        number("overlap_deg", &|band| band.overlap.map(value)),
        number("arc_power_w", &|band| band.arc_power.map(value)),
        number("arc_energy_kj_per_mm", &|band| band.arc_energy.map(value)),
        number("weave_width_mm", &|band| band.weave_width.map(value)),
        number("weave_centre_drift_mm", &|band| band.weave_centre_drift.map(value)),
        number("step_over_mm", &|band| band.step_over.map(value)),
        number("short_circuits_per_s", &|band| band.short_circuits.map(value)),
        number("wire_mm_per_min", &|band| band.wire_feed.map(value)),
        number("band_height_mm", &|band| band.band_height.map(value)),
        number("gas_preflow_s", &|band| band.gas_preflow.map(value)),
        number("gas_postflow_s", &|band| band.gas_postflow.map(value)),
        number("coolant_lpm_min", &|band| band.coolant_minimum.map(value)),
        number("work_at_start_c", &|band| band.work_at_start.map(value)),
    ];
    spread(&mut columns, bands, "current_a", |band| band.current);
    spread(&mut columns, bands, "voltage_v", |band| band.voltage);
    spread(&mut columns, bands, "gas_lpm", |band| band.gas);
    spread(&mut columns, bands, "weave_per_min", |band| band.weave_rate);
    let violated = bands.iter().map(|band| {
        let names: Vec<_> = band.violated.iter().map(Rule::name).collect();
        Some(names.join(" "))
    });
    columns.push(("violated".to_owned(), Values::Text(violated.collect())));
    let outcomes = bands.iter().map(|band| Some(band.outcome.name().to_owned()));
    columns.push(("outcome".to_owned(), Values::Text(outcomes.collect())));
    let within = bands
        .iter()
        .map(|band| (band.outcome != Outcome::NotAsked).then_some(band.outcome == Outcome::Proven));
    columns.push(("within_procedure".to_owned(), Values::Flag(within.collect())));
    let joints = of_joints.iter().map(|(_, joint)| joint.map(|outcome| outcome.name().to_owned()));
    columns.push(("joint_outcome".to_owned(), Values::Text(joints.collect())));
    columns
}

/// One figure of a spread.
type Pick<Q> = fn(&Spread<Q>) -> Q;

/// Four columns: mean, smallest, largest, standard deviation.
fn spread<Q: FixedPoint + Copy>(
    columns: &mut Vec<Column>,
    bands: &[BandRecord],
    name: &str,
    of: fn(&BandRecord) -> Option<Spread<Q>>,
) {
    let parts: [(&str, Pick<Q>); 4] = [
        ("mean", |spread| spread.mean),
        ("min", |spread| spread.minimum),
        ("max", |spread| spread.maximum),
        ("sd", |spread| spread.deviation),
    ];
    for (part, pick) in parts {
        let values = bands.iter().map(|band| of(band).map(|spread| value(pick(&spread))));
        columns.push((format!("{name}_{part}"), Values::Number(values.collect())));
    }
}

/// A row an alarm.
pub fn alarms(alarms: &[Alarm]) -> Vec<Column> {
    let number = |name: &str, cell: &dyn Fn(&Alarm) -> Option<f64>| {
        (name.to_owned(), Values::Number(alarms.iter().map(cell).collect()))
    };
    let text = |name: &str, cell: &dyn Fn(&Alarm) -> Option<&'static str>| {
        let cells = alarms.iter().map(|alarm| cell(alarm).map(str::to_owned));
        (name.to_owned(), Values::Text(cells.collect()))
    };
    let count = |name: &str, cell: &dyn Fn(&Alarm) -> Option<i64>| {
        (name.to_owned(), Values::Count(alarms.iter().map(cell).collect()))
    };
    let in_unit = |alarm: &Alarm, raw| from_raw(raw, alarm.rule.measure(alarm.channel).fraction_bits());
    vec![
        text("rule", &|alarm| Some(alarm.rule.name())),
        text("severity", &|alarm| Some(alarm.severity.name())),
        text("channel", &|alarm| alarm.channel.map(Channel::name)),
        count("band", &|alarm| (alarm.band > 0).then_some(i64::from(alarm.band))),
        number("onset_s", &|alarm| Some(seconds(alarm.onset_us))),
        number("raised_s", &|alarm| Some(seconds(alarm.raised_us))),
        number("cleared_s", &|alarm| alarm.cleared_us.map(seconds)),
        count("turn", &|alarm| alarm.place().map(|(turn, _)| i64::from(turn))),
        number("clock_deg", &|alarm| alarm.place().map(|(_, degrees)| degrees)),
        number("worst", &|alarm| Some(in_unit(alarm, alarm.worst))),
        number("limit", &|alarm| alarm.limit.map(|limit| in_unit(alarm, limit))),
    ]
}

/// A band, and what its joint came to with all that came with the trace, where that is known yet.
pub type BandOfJoint = (BandRecord, Option<Outcome>);
