//! The rules, judged once a tick.
//!
//! Decides: for every rule, whether it applies now and which value it is held against.
//! Assumes: the trackers were told of everything up to the tick.
//! Never: raises an alarm itself: delays and lifecycle are [`crate::alarm`]'s.

mod arc;
mod band;
mod channels;
mod motion;

pub(crate) use self::band::judge_ending;
use crate::alarm::{AlarmPoint, Judgement, Moment};
use crate::arc::Phase;
use crate::envelope::{self, Tiers};
use crate::event::{AlarmKind, Event, Sink};
use crate::monitor::Monitor;
use crate::rule::{Rule, Severity};
use crate::sample::Channel;
use crate::units::Degrees;

/// How many slots the work of a tick is cut into.
pub(crate) const SLOTS: u8 = 20;

/// A band whose arc went out before this angle was broken off.
const BROKEN_OFF: Degrees = Degrees::from_milli(345_000);

/// Is the sample rate high enough for the rule?
pub(crate) fn rate_allows(rule: Rule, monitor: &Monitor) -> bool {
    let needed_mhz = u64::from(monitor.needed_rate_mhz(rule));
    // Half a percent of grace: a nominal rate is a rounded number.
    needed_mhz.saturating_mul(u64::from(monitor.acquisition.period_us)) <= 1_005_000_000
}

/// Does one slot's share of a tick.
pub(crate) fn run_slot(monitor: &mut Monitor, slot: u8, sink: &mut dyn Sink) {
    let now_us = monitor.moment.now_us;
    match slot {
        0 => monitor.take_electrical(now_us),
        // A light one: the sample after a tick often bears the slow channels.
        1 => band::starting_place(monitor, sink),
        2 => arc::voltage(monitor, sink),
        3 => arc::current(monitor, sink),
        4 => arc::transfer(monitor, sink),
        5 => {
            monitor.gas_flow.push(now_us, monitor.gas_sums.take());
            monitor.coolant_flow.push(now_us, monitor.coolant_sums.take());
        }
        6 => gas_flow(monitor, sink),
        7 => coolant_flow(monitor, sink),
        8 => band::starting_gas_and_heat(monitor, sink),
        9 => monitor.tick_weave(now_us),
        10 => motion::weave_rate(monitor, sink),
        11 => motion::weave_width(monitor, sink),
        12 => motion::weave_centre(monitor, sink),
        13 => monitor.spindle.tick(now_us.saturating_add(u64::from(monitor.acquisition.period_us))),
        14 => motion::turn_time(monitor, sink),
        15 => motion::slip_and_stall(monitor, sink),
        16 => arc::arc_outage(monitor, sink),
        17 => arc::polarity(monitor, sink),
        18 => channels::channels(monitor, sink),
        _ => band::ending(monitor, sink),
    }
}

fn apply(
    monitor: &mut Monitor,
    rule: Rule,
    channel: Option<Channel>,
    judgement: Judgement,
    sink: &mut dyn Sink,
) {
    let moment = monitor.moment;
    sink.found(rule, &judgement, &moment);
    apply_at(monitor, rule, channel, judgement, &moment, sink);
}

fn apply_at(
    monitor: &mut Monitor,
    rule: Rule,
    channel: Option<Channel>,
    judgement: Judgement,
    moment: &Moment,
    sink: &mut dyn Sink,
) {
    // By far the most: an alarm at rest, and nothing that calls for it.
    if monitor.point_mut(rule, channel).is_none_or(|point| point.stays_at_rest(&judgement)) {
        return;
    }
    let setting = monitor.procedure.alarm(rule);
    let Some(point) = monitor.point_mut(rule, channel) else { return };
    let event = point.update(rule, channel, &setting, judgement, moment);
    let outside = point.level() >= Some(Severity::Warn) && judgement != Judgement::Unknown;
    if !outside && event.is_none() {
        return;
    }
    let in_band = monitor.arc.phase().is_in_band() || monitor.closing.is_some();
    if in_band && outside {
        monitor.tally.outside(rule, moment.elapsed_us);
    }
    if let Some(event) = event {
        if in_band && matches!(event.kind, AlarmKind::Raised | AlarmKind::Escalated) {
            let record = &mut monitor.tally.record;
            if event.severity >= Severity::Warn {
                record.violated = record.violated.with(rule);
                record.advised = record.advised.without(rule);
            } else if !record.violated.contains(rule) {
                record.advised = record.advised.with(rule);
            }
        }
        sink.event(&Event::Alarm(event));
    }
}

/// Holds a value against the ranges of the quantity that the rule watches. No value while the rule
/// applies means that its channel cannot be believed.
fn hold(monitor: &mut Monitor, rule: Rule, applies: bool, value: Option<i32>, sink: &mut dyn Sink) {
    hold_behind(monitor, None, rule, applies, value, sink);
}

/// As [`hold`]; `instead` is what becomes of the rule behind a graver one.
fn hold_behind(
    monitor: &mut Monitor,
    instead: Option<Judgement>,
    rule: Rule,
    applies: bool,
    value: Option<i32>,
    sink: &mut dyn Sink,
) {
    if !monitor.watched.contains(rule) {
        return;
    }
    let Some((quantity, side)) = rule.watches() else { return };
    let Some(limits) = monitor.procedure.limits(quantity) else { return };
    let setting = monitor.procedure.alarm(rule);
    let moment = monitor.moment;
    let found = match value {
        _ if !applies => Judgement::NotApplicable,
        None => Judgement::Unknown,
        Some(value) => Judgement::Judged { level: None, value, limit: None, since_us: None },
    };
    sink.found(rule, &found, &moment);
    let judgement = match found {
        Judgement::NotApplicable => found,
        Judgement::Unknown => {
            monitor.tally.not_judged(rule);
            monitor.lost = monitor.lost.union(rule.needs().intersection(monitor.unsound));
            found
        }
        Judgement::Judged { value, .. } => {
            let previous = monitor.points.get(rule as usize).and_then(AlarmPoint::level);
            let standing = envelope::stand(value, limits, side, &setting, Tiers::of(rule), previous);
            monitor.judged = monitor.judged.with(rule);
            Judgement::Judged { level: standing.level, value, limit: standing.limit, since_us: None }
        }
    };
    apply_at(monitor, rule, None, instead.unwrap_or(judgement), &moment, sink);
}

fn gas_flow(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let burning = monitor.arc.phase() == Phase::Arc;
    let gas = monitor.gas_flow.mean();
    hold(monitor, Rule::GasLow, burning, gas, sink);
    hold(monitor, Rule::GasHigh, burning, gas, sink);
}

fn coolant_flow(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let in_band = monitor.arc.phase().is_in_band();
    let coolant = monitor.coolant_flow.mean();
    hold(monitor, Rule::CoolantLow, in_band, coolant, sink);
}
