//! The rules about motion: the weave and the turning of the pipe.
//!
//! Decides: which value each is held against, and when it applies.
//! Assumes: weave and spindle were told of the tick.
//! Never: raises an alarm itself.

use super::{apply, hold};
use crate::alarm::Judgement;
use crate::arc::Phase;
use crate::event::Sink;
use crate::monitor::Monitor;
use crate::rule::Rule;
use crate::sample::Channel;
use crate::spindle::Motion;

/// Is the arc burning, and can the channel not be believed?
fn burning_and_lost(monitor: &Monitor, channel: Channel) -> (bool, bool) {
    let burning = monitor.arc.phase() == Phase::Arc;
    (burning, burning && monitor.unsound.contains(channel))
}

pub(super) fn weave_rate(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let (burning, lost) = burning_and_lost(monitor, Channel::Torch);
    let rate = monitor.weave.rate().filter(|_| !lost);
    if burning && monitor.weave_is_followed {
        monitor.tally.weave_rate(rate);
    }
    for rule in [Rule::WeaveRateLow, Rule::WeaveRateHigh] {
        hold(monitor, rule, burning && (rate.is_some() || lost), rate, sink);
    }
}

pub(super) fn weave_width(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let (burning, lost) = burning_and_lost(monitor, Channel::Torch);
    let width = monitor.weave.width().filter(|_| !lost);
    if burning && monitor.weave_is_followed {
        monitor.tally.weave_width(width);
    }
    for rule in [Rule::WeaveWidthLow, Rule::WeaveWidthHigh] {
        hold(monitor, rule, burning && (width.is_some() || lost), width, sink);
    }
}

pub(super) fn weave_centre(monitor: &mut Monitor, sink: &mut dyn Sink) {
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

pub(super) fn turn_time(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let (burning, lost) = burning_and_lost(monitor, Channel::Spindle);
    let turn_time = monitor.spindle.turn_time().filter(|_| !lost);
    for rule in [Rule::TurnTimeFast, Rule::TurnTimeSlow] {
        hold(monitor, rule, burning && (turn_time.is_some() || lost), turn_time, sink);
    }
}

pub(super) fn slip_and_stall(monitor: &mut Monitor, sink: &mut dyn Sink) {
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
