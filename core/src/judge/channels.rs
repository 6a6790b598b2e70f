//! The rules about channels: stuck, railed, missing, late.
//!
//! Decides: which channels can be believed; one alarm a channel, about the first thing that is wrong.
//! Assumes: the signal check saw every sample.
//! Never: lets a reading count that cannot be believed.

use super::{apply, apply_at};
use crate::alarm::{AlarmPoint, Judgement, Moment};
use crate::arc::Phase;
use crate::event::{Event, Sink};
use crate::monitor::{Monitor, TICK_US};
use crate::rule::Rule;
use crate::sample::{Channel, ChannelSet};
use crate::units::Duration;

/// The channels, one a tick in turn where ticks come fast, all of them where they do not.
pub(super) fn channels(monitor: &mut Monitor, sink: &mut dyn Sink) {
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
