//! The rules, judged once a tick.
//!
//! Decides: for every rule, whether it applies now and which value it is held against.
//! Assumes: the trackers were told of everything up to the tick.
//! Never: raises an alarm itself: delays and lifecycle are [`crate::alarm`]'s.

use crate::alarm::{AlarmPoint, Judgement, Moment};
use crate::arc::Phase;
use crate::band::Ending;
use crate::envelope::{self, Tiers};
use crate::event::{AlarmKind, Event, Sink};
use crate::monitor::{Monitor, TICK_US};
use crate::procedure::Polarity;
use crate::rule::{Quantity, Rule, Severity};
use crate::sample::{Channel, ChannelSet};
use crate::spindle::Motion;
use crate::units::{Degrees, Duration, Length, Temperature, Voltage};

/// How many slots the work of a tick is cut into.
pub(crate) const SLOTS: u8 = 20;

/// A band whose arc went out before this angle was broken off.
const BROKEN_OFF: Degrees = Degrees::from_milli(345_000);
/// An arc voltage smaller than this tells nothing of its sign.
const CLEAR_VOLTAGE: Voltage = Voltage::from_milli(8000);
/// Gas that flows on for longer than this counts as flowing on, µs.
const POSTFLOW_PATIENCE_US: u64 = 30_000_000;

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
        1 => starting_place(monitor, sink),
        2 => voltage(monitor, sink),
        3 => current(monitor, sink),
        4 => transfer(monitor, sink),
        5 => {
            monitor.gas_flow.push(now_us, monitor.gas_sums.take());
            monitor.coolant_flow.push(now_us, monitor.coolant_sums.take());
        }
        6 => gas_flow(monitor, sink),
        7 => coolant_flow(monitor, sink),
        8 => starting_gas_and_heat(monitor, sink),
        9 => monitor.tick_weave(now_us),
        10 => weave_rate(monitor, sink),
        11 => weave_width(monitor, sink),
        12 => weave_centre(monitor, sink),
        13 => monitor.spindle.tick(now_us.saturating_add(u64::from(monitor.acquisition.period_us))),
        14 => turn_time(monitor, sink),
        15 => slip_and_stall(monitor, sink),
        16 => arc_outage(monitor, sink),
        17 => polarity(monitor, sink),
        18 => channels(monitor, sink),
        _ => ending(monitor, sink),
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

fn voltage(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let applies = monitor.arc.phase() == Phase::Arc;
    let short = monitor.voltage_now.mean().map(i32::saturating_abs);
    let long = monitor.voltage.mean().map(i32::saturating_abs);
    hold(monitor, Rule::TransferLowVoltage, applies, short, sink);
    hold(monitor, Rule::VoltageHigh, applies, long, sink);
    // A voltage under its floor is not also called low, unless it only flickers under it.
    let floor = monitor.points.get(Rule::TransferLowVoltage as usize);
    let instead = floor.and_then(AlarmPoint::of_a_milder_rule);
    hold_behind(monitor, instead, Rule::VoltageLow, applies, long, sink);
}

fn current(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let applies = monitor.arc.phase() == Phase::Arc;
    let long = monitor.current.mean().map(i32::saturating_abs);
    hold(monitor, Rule::CurrentLow, applies, long, sink);
    hold(monitor, Rule::CurrentHigh, applies, long, sink);
}

fn transfer(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let mean = monitor.voltage_now.mean();
    monitor.dips.tick(monitor.moment.now_us, mean);
    let rate = monitor.dips.rate();
    let applies = monitor.arc.phase() == Phase::Arc && (rate.is_some() || mean.is_none());
    hold(monitor, Rule::TransferShortCircuits, applies, rate.filter(|_| mean.is_some()), sink);
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

/// What is known once the arc has started: judged until the band is over.
fn starting_gas_and_heat(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let open = monitor.arc.phase().is_in_band();
    let record = &monitor.tally.record;
    let preflow = record.gas_preflow.map(Duration::to_bits);
    let work = record.work_at_start.map(Temperature::to_bits);
    let first_band = record.band <= 1;
    hold(monitor, Rule::GasPreflow, open && preflow.is_some(), preflow, sink);
    hold(monitor, Rule::PreheatLow, open && first_band && work.is_some(), work, sink);
    hold(monitor, Rule::InterpassHigh, open && !first_band && work.is_some(), work, sink);
}

fn starting_place(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let open = monitor.arc.phase().is_in_band();
    let step_over = monitor.tally.record.step_over.map(Length::to_bits);
    hold(monitor, Rule::StepOverLow, open && step_over.is_some(), step_over, sink);
    hold(monitor, Rule::StepOverHigh, open && step_over.is_some(), step_over, sink);
}

/// Is the arc burning, and can the channel not be believed?
fn burning_and_lost(monitor: &Monitor, channel: Channel) -> (bool, bool) {
    let burning = monitor.arc.phase() == Phase::Arc;
    (burning, burning && monitor.unsound.contains(channel))
}

fn weave_rate(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let (burning, lost) = burning_and_lost(monitor, Channel::Torch);
    let rate = monitor.weave.rate().filter(|_| !lost);
    if burning && monitor.weave_is_followed {
        monitor.tally.weave_rate(rate);
    }
    for rule in [Rule::WeaveRateLow, Rule::WeaveRateHigh] {
        hold(monitor, rule, burning && (rate.is_some() || lost), rate, sink);
    }
}

fn weave_width(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let (burning, lost) = burning_and_lost(monitor, Channel::Torch);
    let width = monitor.weave.width().filter(|_| !lost);
    if burning && monitor.weave_is_followed {
        monitor.tally.weave_width(width);
    }
    for rule in [Rule::WeaveWidthLow, Rule::WeaveWidthHigh] {
        hold(monitor, rule, burning && (width.is_some() || lost), width, sink);
    }
}

fn weave_centre(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let (burning, lost) = burning_and_lost(monitor, Channel::Torch);
    let centre = monitor.weave.settled_centre().filter(|_| !lost);
    // Where the band started: over its own first cycles, not those of a parked torch.
    if burning && monitor.tally.weave_centre_start.is_none() && monitor.tally.weave_cycles() >= 4 {
        monitor.tally.weave_centre_start = centre;
    }
    let drift = centre
        .zip(monitor.tally.weave_centre_start)
        .map(|(centre, start)| centre.saturating_sub(start).saturating_abs());
    if burning && monitor.weave_is_followed {
        monitor.tally.weave_drift(drift);
    }
    hold(monitor, Rule::WeaveCentreDrift, burning && (drift.is_some() || lost), drift, sink);
}

fn turn_time(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let (burning, lost) = burning_and_lost(monitor, Channel::Spindle);
    let turn_time = monitor.spindle.turn_time().filter(|_| !lost);
    for rule in [Rule::TurnTimeFast, Rule::TurnTimeSlow] {
        hold(monitor, rule, burning && (turn_time.is_some() || lost), turn_time, sink);
    }
}

fn slip_and_stall(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let (burning, lost) = burning_and_lost(monitor, Channel::Spindle);
    let motion = monitor.spindle.motion();
    for (rule, culprit) in [(Rule::SpindleSlip, Motion::Slipping), (Rule::SpindleStall, Motion::Stalled)] {
        if !monitor.watched.contains(rule) {
            continue;
        }
        let judgement = match motion {
            _ if !burning => Judgement::NotApplicable,
            _ if lost => {
                monitor.lost = monitor.lost.with(Channel::Spindle);
                monitor.tally.not_judged(rule);
                Judgement::Unknown
            }
            Motion::Unknown => Judgement::NotApplicable,
            _ => {
                monitor.judged = monitor.judged.with(rule);
                let severity = monitor.procedure.alarm(rule).severity;
                Judgement::Judged {
                    level: (motion == culprit).then_some(severity),
                    value: monitor.spindle.speed().unwrap_or(0),
                    limit: monitor.spindle.usual_speed(),
                    since_us: None,
                }
            }
        };
        apply(monitor, rule, None, judgement, sink);
    }
}

/// The arc is out within a band: at once where the angle shows that the band is not done, else when it
/// comes back.
fn arc_outage(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let rule = Rule::ArcOutage;
    let turned = monitor.tally.turned(monitor.spindle.total());
    let out = monitor.arc.phase() == Phase::Outage && turned.is_some_and(|turned| turned < BROKEN_OFF);
    let since_us = match monitor.outage_since_us.take() {
        Some(since_us) => Some(since_us),
        None if out => Some(monitor.arc.lit_us()),
        None => None,
    };
    if monitor.arc.phase().is_in_band() {
        monitor.judged = monitor.judged.with(rule);
    }
    let judgement = match since_us {
        None => Judgement::NotApplicable,
        Some(since_us) => Judgement::Judged {
            level: Some(monitor.procedure.alarm(rule).severity),
            value: Duration::from_micros(monitor.moment.now_us.saturating_sub(since_us)).to_bits(),
            limit: None,
            since_us: Some(since_us),
        },
    };
    apply(monitor, rule, None, judgement, sink);
}

fn polarity(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let rule = Rule::PolarityWrong;
    if let Some(polarity) = monitor.procedure.polarity {
        let wrong = |value: i32| match polarity {
            Polarity::ElectrodePositive => value < 0,
            Polarity::ElectrodeNegative => value > 0,
        };
        let volts = monitor.voltage.mean().filter(|volts| volts.saturating_abs() >= CLEAR_VOLTAGE.to_bits());
        let amps = monitor.current.mean();
        let first_wrong = [(Channel::Voltage, volts), (Channel::Current, amps)]
            .into_iter()
            .find_map(|(channel, value)| value.filter(|&value| wrong(value)).map(|value| (channel, value)));
        let applies = monitor.arc.is_lit() && (volts.is_some() || amps.is_some());
        let severity = monitor.procedure.alarm(rule).severity;
        let judgement = if applies {
            monitor.judged = monitor.judged.with(rule);
            Judgement::Judged {
                level: first_wrong.map(|_| severity),
                value: first_wrong.map_or(0, |(_, value)| value),
                limit: Some(0),
                since_us: None,
            }
        } else {
            Judgement::NotApplicable
        };
        // An alarm keeps its channel from its raising to its clearing.
        let is_active = monitor.point_mut(rule, None).is_some_and(|point| point.active().is_some());
        if !is_active {
            monitor.wrong_pole = first_wrong.map(|(channel, _)| channel);
        }
        apply(monitor, rule, monitor.wrong_pole, judgement, sink);
    }
}

/// The channels, one a tick in turn where ticks come fast, all of them where they do not.
fn channels(monitor: &mut Monitor, sink: &mut dyn Sink) {
    monitor.signal.tick(monitor.moment.now_us);
    late(monitor, sink);
    let all_at_once = u64::from(monitor.acquisition.period_us) >= TICK_US;
    loop {
        if monitor.next_channel == 0 {
            let elapsed_us = monitor.moment.now_us.saturating_sub(monitor.round.now_us);
            let round_us = TICK_US.saturating_mul(Channel::COUNT as u64);
            let elapsed_us = monitor.counted_us(elapsed_us, round_us);
            monitor.round = Moment { elapsed_us, ..monitor.moment };
        }
        if let Some(&channel) = Channel::ALL.get(usize::from(monitor.next_channel))
            && monitor.acquisition.channels.contains(channel)
        {
            one_channel(monitor, channel, sink);
        }
        let next = monitor.next_channel.saturating_add(1);
        monitor.next_channel = if usize::from(next) < Channel::COUNT { next } else { 0 };
        if monitor.next_channel == 0 || !all_at_once {
            return;
        }
    }
}

fn late(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let rule = Rule::SignalLate;
    monitor.judged = monitor.judged.with(rule);
    let judgement = match monitor.late_since_us.take() {
        None => Judgement::NotApplicable,
        Some(since_us) => Judgement::Judged {
            level: Some(monitor.procedure.alarm(rule).severity),
            value: Duration::from_micros(monitor.moment.now_us.saturating_sub(since_us)).to_bits(),
            limit: Some(Duration::from_micros(u64::from(monitor.acquisition.gap_tolerance_us)).to_bits()),
            since_us: Some(since_us),
        },
    };
    apply(monitor, rule, None, judgement, sink);
}

/// Judges whether a channel can be believed: one alarm a channel, about the first thing that is wrong.
fn one_channel(monitor: &mut Monitor, channel: Channel, sink: &mut dyn Sink) {
    let moment = monitor.round;
    let phase = monitor.arc.phase();
    let electrical = ChannelSet::ELECTRICAL.contains(channel);
    monitor.judged = monitor.judged.with(Rule::SignalRailed).with(Rule::SignalMissing);
    let railed = monitor.signal.is_railed(channel).then_some(None);
    let missing = missing_since(monitor, channel, &moment).map(Some);
    let stuck = if electrical && phase == Phase::Arc { stuck_since(monitor, channel, &moment) } else { None };
    monitor.stuck =
        if stuck.is_some() { monitor.stuck.with(channel) } else { monitor.stuck.without(channel) };
    let found =
        [(Rule::SignalStuck, stuck.map(Some)), (Rule::SignalRailed, railed), (Rule::SignalMissing, missing)]
            .into_iter()
            .find_map(|(rule, since_us)| since_us.map(|since_us| (rule, since_us)));
    monitor.unsound =
        if found.is_some() { monitor.unsound.with(channel) } else { monitor.unsound.without(channel) };
    // Without current or voltage nobody knows whether there is an arc.
    let found = found.filter(|_| phase.is_in_band() || electrical);
    let Some((rule_now, point)) = monitor.channel_points.get_mut(channel as usize) else { return };
    if let Some((rule, _)) = found
        && rule != *rule_now
        && point.active().is_none()
    {
        // Whoever put the old fault away has not seen the new one.
        if let Some(unshelved) = point.shelve(0, *rule_now, Some(channel), &moment) {
            sink.event(&Event::Alarm(unshelved));
        }
        (*rule_now, *point) = (rule, AlarmPoint::new());
    }
    let rule = *rule_now;
    // Another fault than the alarm is about: that alarm ends before the other begins.
    let judgement = match found {
        Some((found_rule, since_us)) if found_rule == rule => {
            channel_fault(monitor, rule, channel, since_us, &moment)
        }
        _ => Judgement::NotApplicable,
    };
    apply_at(monitor, rule, Some(channel), judgement, &moment, sink);
}

fn channel_fault(
    monitor: &Monitor,
    rule: Rule,
    channel: Channel,
    since_us: Option<u64>,
    moment: &Moment,
) -> Judgement {
    let last = monitor.signal.last(channel);
    let (value, limit) = match rule {
        Rule::SignalRailed => {
            (last, Some(monitor.signal.rail(channel, monitor.procedure.sensor_range(channel))))
        }
        Rule::SignalMissing => {
            let silent_us = since_us.map_or(0, |since_us| moment.now_us.saturating_sub(since_us));
            (Duration::from_micros(silent_us).to_bits(), None)
        }
        _ => (last, None),
    };
    Judgement::Judged { level: Some(monitor.procedure.alarm(rule).severity), value, limit, since_us }
}

/// Since when a channel has been missing, if for long enough, µs.
fn missing_since(monitor: &Monitor, channel: Channel, moment: &Moment) -> Option<u64> {
    let on_delay_us = u64::from(monitor.procedure.alarm(Rule::SignalMissing).on_delay_us);
    let three_samples_us = u64::from(monitor.acquisition.period_us).saturating_mul(3);
    monitor.signal.missing_since(channel, moment.now_us, on_delay_us.max(three_samples_us))
}

/// Since when a reading of the burning arc has stood still, if for long enough, µs.
fn stuck_since(monitor: &mut Monitor, channel: Channel, moment: &Moment) -> Option<u64> {
    monitor.judged = monitor.judged.with(Rule::SignalStuck);
    let on_delay_us = u64::from(monitor.procedure.alarm(Rule::SignalStuck).on_delay_us);
    monitor.signal.stuck_since(channel, moment.now_us, on_delay_us)
}

/// What is known once the arc is over: post-flow and overlap; then the record goes out.
fn ending(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let Some(closing) = monitor.closing else {
        // A finished band's alarms stay until the next arc.
        if monitor.arc.phase().is_in_band() {
            hold(monitor, Rule::OverlapShort, false, None, sink);
            hold(monitor, Rule::GasPostflow, false, None, sink);
        }
        return;
    };
    judge_overlap(monitor, closing.ending, sink);
    if monitor.tally.work_out(&monitor.procedure.geometry) {
        return;
    }
    let flowed = monitor.gas.after(closing.ended_us, monitor.moment.now_us);
    let enough = monitor
        .least(Quantity::GasPostflow)
        .is_none_or(|needed| Duration::from_micros(flowed.time_us).to_bits() >= needed);
    if !flowed.at_least || (enough && flowed.time_us >= POSTFLOW_PATIENCE_US) {
        judge_ending(monitor, sink);
        monitor.issue_record(sink);
    }
}

/// Judges post-flow and overlap with what is known now.
pub(crate) fn judge_ending(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let Some(closing) = monitor.closing else { return };
    let seen_to_the_end = closing.ending == Ending::ArcOff;
    let flowed = monitor.gas.after(closing.ended_us, monitor.moment.now_us);
    let time = Duration::from_micros(flowed.time_us);
    let enough = monitor.least(Quantity::GasPostflow).is_none_or(|needed| time.to_bits() >= needed);
    let postflow_known = seen_to_the_end && monitor.gas.is_seen() && (enough || !flowed.at_least);
    if postflow_known {
        monitor.tally.record.gas_postflow = Some(time);
    } else {
        monitor.end_unseen = monitor.end_unseen.with(Rule::GasPostflow);
    }
    hold(monitor, Rule::GasPostflow, postflow_known, Some(time.to_bits()).filter(|_| postflow_known), sink);
    judge_overlap(monitor, closing.ending, sink);
}

/// A band that was broken off is an outage, not a short overlap.
fn judge_overlap(monitor: &mut Monitor, ending: Ending, sink: &mut dyn Sink) {
    let overlap = monitor.tally.overlap().filter(|&overlap| {
        ending == Ending::ArcOff && overlap >= BROKEN_OFF.to_bits().saturating_sub(FULL_TURN.to_bits())
    });
    hold(monitor, Rule::OverlapShort, overlap.is_some(), overlap, sink);
}

const FULL_TURN: Degrees = Degrees::from_milli(360_000);
