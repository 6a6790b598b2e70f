//! The rules about the arc: its means, the metal transfer, outages, polarity.
//!
//! Decides: which value each is held against, and when it applies.
//! Assumes: the sums of the tick were taken.
//! Never: raises an alarm itself.

use super::{BROKEN_OFF, apply, hold, hold_behind};
use crate::alarm::{AlarmPoint, Judgement};
use crate::arc::Phase;
use crate::event::Sink;
use crate::monitor::Monitor;
use crate::procedure::Polarity;
use crate::rule::Rule;
use crate::sample::Channel;
use crate::units::{Duration, Voltage};

/// An arc voltage smaller than this tells nothing of its sign.
const CLEAR_VOLTAGE: Voltage = Voltage::from_milli(8000);

pub(super) fn voltage(monitor: &mut Monitor, sink: &mut dyn Sink) {
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

pub(super) fn current(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let applies = monitor.arc.phase() == Phase::Arc;
    let long = monitor.current.mean().map(i32::saturating_abs);
    hold(monitor, Rule::CurrentLow, applies, long, sink);
    hold(monitor, Rule::CurrentHigh, applies, long, sink);
}

pub(super) fn transfer(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let mean = monitor.voltage_now.mean();
    monitor.dips.tick(monitor.moment.now_us, mean);
    let rate = monitor.dips.rate();
    let applies = monitor.arc.phase() == Phase::Arc && (rate.is_some() || mean.is_none());
    hold(monitor, Rule::TransferShortCircuits, applies, rate.filter(|_| mean.is_some()), sink);
}

/// The arc is out within a band: at once where the angle shows that the band is not done, else when it
/// comes back.
pub(super) fn arc_outage(monitor: &mut Monitor, sink: &mut dyn Sink) {
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

pub(super) fn polarity(monitor: &mut Monitor, sink: &mut dyn Sink) {
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
