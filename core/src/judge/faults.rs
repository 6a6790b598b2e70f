//! The rules that watch no range: slip, stall, outage, polarity, late samples.
//!
//! Decides: whether the fault is there.
//! Assumes: the windows of the tick are closed.
//! Never: raises an alarm.

use super::{BROKEN_OFF, View};
use crate::judge::judgement::Judgement;
use crate::procedure::{Polarity, Rotation};
use crate::record::bands::Outage;
use crate::rule::Rule;
use crate::sample::Channel;
use crate::trackers::arc::Phase;
use crate::trackers::spindle::{Direction, Motion};
use crate::units::{Duration, Voltage};

/// An arc voltage smaller than this tells nothing of its sign.
const CLEAR_VOLTAGE: Voltage = Voltage::from_milli(8000);

/// Slip or stall of the pipe; `since_us`: it stood from then on, and turns again.
pub(crate) fn turning(rule: Rule, culprit: Motion, since_us: Option<u64>, view: View<'_>) -> Judgement {
    let spindle = &view.trackers.spindle;
    let motion = spindle.motion();
    if !view.trackers.arc.is_settled() || !view.bands.confirmed {
        return Judgement::NotApplicable;
    }
    if view.channels.unsound().contains(Channel::Spindle) {
        return Judgement::Unknown;
    }
    if since_us.is_none() && motion == Motion::Unknown
        || culprit == Motion::Slipping && !spindle.can_judge_slip()
        || culprit == Motion::Stalled && motion != Motion::Stalled && !spindle.can_judge_stall()
    {
        return Judgement::NotApplicable;
    }
    Judgement::Judged {
        level: (motion == culprit || since_us.is_some()).then_some(view.procedure.alarm(rule).severity),
        value: if since_us.is_some() { 0 } else { spindle.speed().unwrap_or(0) },
        limit: spindle.usual_speed(),
        since_us,
    }
}

/// The pipe turns the other way round than the procedure says; where the acquisition does not say which way
/// the readings count, than it did on the first band of the joint.
pub(crate) fn reversed(view: View<'_>) -> Judgement {
    let spindle = &view.trackers.spindle;
    if !view.trackers.arc.is_settled() {
        return Judgement::NotApplicable;
    }
    if view.channels.unsound().contains(Channel::Spindle) {
        return Judgement::Unknown;
    }
    let (Some(direction), Some(rotation)) = (spindle.direction(), view.procedure.joint.rotation) else {
        return Judgement::NotApplicable;
    };
    let wanted = match (view.acquisition.spindle_sense, rotation) {
        (Some(sense), rotation) if sense == rotation => Direction::Increasing,
        (Some(_), _) => Direction::Decreasing,
        (None, _) if view.bands.first_turning.get().is_some_and(|first| first != direction) => {
            // Not as on the first band, whichever way round that was.
            match direction {
                Direction::Increasing => Direction::Decreasing,
                Direction::Decreasing => Direction::Increasing,
            }
        }
        // Angles grow clockwise by custom. Where they fall, it is the pipe or the encoder: it cannot be told.
        (None, Rotation::Clockwise) if direction == Direction::Decreasing => return Judgement::Unknown,
        (None, Rotation::CounterClockwise) if direction == Direction::Increasing => {
            return Judgement::Unknown;
        }
        (None, _) => direction,
    };
    let level = (direction != wanted).then_some(view.procedure.alarm(Rule::SpindleReversed).severity);
    Judgement::Judged { level, value: spindle.speed().unwrap_or(0), limit: Some(0), since_us: None }
}

/// The arc is out within a band: at once where the angle shows that the band is not done, else when it
/// comes `back` (since when it was out, and when it was back, µs), if it was out for the on-delay.
pub(crate) fn arc_outage(back: Option<Outage>, view: View<'_>) -> Judgement {
    // What turns while the arc is out is not welded.
    let is_seen =
        !view.bands.tally.record.start_unseen && !view.channels.unsound().contains(Channel::Spindle);
    let turned = view.bands.tally.turned_at_most(view.acquisition.slack_us()).filter(|_| is_seen);
    let arc = &view.trackers.arc;
    let out = view.bands.confirmed
        && arc.phase() == Phase::Outage
        && turned.is_some_and(|turned| turned < BROKEN_OFF);
    let on_delay_us = u64::from(view.procedure.alarm(Rule::ArcOutage).on_delay_us);
    match back {
        Some(Outage { out_us, back_us, .. }) if back_us.saturating_sub(out_us) >= on_delay_us => {
            lasting(Rule::ArcOutage, Some(out_us), back_us, None, view)
        }
        _ => lasting(
            Rule::ArcOutage,
            arc.seen_out_us().filter(|_| out && arc.was_seen_going_out()),
            view.moment.now_us,
            None,
            view,
        ),
    }
}

/// A sample came late, or out of order.
pub(crate) fn late(since_us: Option<u64>, view: View<'_>) -> Judgement {
    let tolerance_us = u64::from(view.acquisition.gap_tolerance_us);
    let limit = Duration::from_micros(tolerance_us).to_bits();
    lasting(Rule::SignalLate, since_us, view.moment.now_us, Some(limit), view)
}

/// A fault that lasted from `since_us` until `until_us`.
fn lasting(
    rule: Rule,
    since_us: Option<u64>,
    until_us: u64,
    limit: Option<i32>,
    view: View<'_>,
) -> Judgement {
    let Some(since_us) = since_us else { return Judgement::NotApplicable };
    Judgement::Judged {
        level: Some(view.procedure.alarm(rule).severity),
        value: Duration::from_micros(until_us.saturating_sub(since_us)).to_bits(),
        limit,
        since_us: Some(since_us),
    }
}

/// Current or voltage of the wrong sign, and which; `None` where the procedure names no pole.
pub(crate) fn polarity(named: Option<Channel>, view: View<'_>) -> Option<(Judgement, Option<Channel>)> {
    let wrong = |value: i32| match view.procedure.polarity {
        Some(Polarity::ElectrodePositive) => value < 0,
        Some(Polarity::ElectrodeNegative) => value > 0,
        None => false,
    };
    view.procedure.polarity?;
    let volts =
        view.trackers.voltage.mean().filter(|volts| volts.saturating_abs() >= CLEAR_VOLTAGE.to_bits());
    let amps = view.trackers.current.mean();
    let read = [(Channel::Voltage, volts), (Channel::Current, amps)];
    let first_wrong = read
        .into_iter()
        .find_map(|(channel, value)| value.filter(|&value| wrong(value)).map(|value| (channel, value)));
    let of = |wanted| read.into_iter().find_map(|(channel, value)| value.filter(|_| channel == wanted));
    // What is told is of the channel that is named with it; a voltage that goes over from one sign to the other will be
    // named, and no current in its place.
    let told = match (named, first_wrong) {
        (Some(named), _) => of(named),
        (None, Some((Channel::Current, _))) if view.trackers.voltage.mean().is_some() => None,
        (None, first) => first.map(|(_, value)| value),
    };
    let judgement = if view.trackers.arc.burns_or_pauses() && (volts.is_some() || amps.is_some()) {
        Judgement::Judged {
            level: first_wrong.map(|_| view.procedure.alarm(Rule::PolarityWrong).severity),
            value: told.unwrap_or(0),
            limit: Some(0),
            since_us: None,
        }
    } else {
        Judgement::NotApplicable
    };
    Some((judgement, first_wrong.map(|(channel, _)| channel)))
}
