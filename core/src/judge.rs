//! The rules, judged once a tick.
//!
//! Decides: for every rule, whether it applies now and which value it is held against.
//! Assumes: the trackers were told of everything up to the tick.
//! Never: raises an alarm itself: delays and lifecycle are [`crate::alarm`]'s.

use crate::alarm::Judgement;
use crate::arc::Phase;
use crate::band::Ending;
use crate::envelope::{self, Tiers};
use crate::event::{AlarmKind, Event, Sink};
use crate::monitor::Monitor;
use crate::procedure::Polarity;
use crate::rule::{Quantity, Rule, Severity};
use crate::sample::Channel;
use crate::spindle::Motion;
use crate::units::{Degrees, Duration, Voltage};

/// How many slots the work of a tick is cut into.
pub(crate) const SLOTS: u8 = 12;
/// The rules with an alarm for each channel.
pub(crate) const CHANNEL_RULES: [Rule; 3] = [Rule::SignalStuck, Rule::SignalRailed, Rule::SignalMissing];

/// A band whose arc went out before this angle was broken off.
const BROKEN_OFF: Degrees = Degrees::from_milli(345_000);
/// An arc voltage smaller than this tells nothing of its sign.
const CLEAR_VOLTAGE: Voltage = Voltage::from_milli(8000);
/// Gas that flows on for longer than this counts as flowing on, µs.
const POSTFLOW_PATIENCE_US: u64 = 30_000_000;

/// Which parts of its ranges a rule watches.
pub(crate) const fn tiers(rule: Rule) -> Tiers {
    match rule {
        Rule::TransferLowVoltage => Tiers::Floor,
        Rule::VoltageLow => Tiers::Ranges,
        _ => Tiers::RangesAndFloor,
    }
}

/// Is the sample rate high enough for the rule?
pub(crate) fn rate_allows(rule: Rule, monitor: &Monitor) -> bool {
    let needed_mhz = u64::from(monitor.needed_rate_mhz(rule));
    // Half a percent of grace: a nominal rate is a rounded number.
    needed_mhz.saturating_mul(u64::from(monitor.acquisition.period_us)) <= 1_005_000_000
}

/// Does one slot's share of a tick.
pub(crate) fn run_slot(monitor: &mut Monitor, slot: u8, sink: &mut impl Sink) {
    match slot {
        0 => voltage(monitor, sink),
        1 => current(monitor, sink),
        2 => transfer(monitor, sink),
        3 => flows(monitor, sink),
        4 => starting(monitor, sink),
        5 => weave(monitor, sink),
        6 => turning(monitor, sink),
        7 => arc_outage(monitor, sink),
        8 => polarity_and_late(monitor, sink),
        9 => stuck(monitor, sink),
        10 => railed_and_missing(monitor, sink),
        _ => ending(monitor, sink),
    }
}

fn apply(
    monitor: &mut Monitor,
    rule: Rule,
    channel: Option<Channel>,
    judgement: Judgement,
    sink: &mut impl Sink,
) {
    let setting = monitor.procedure.alarm(rule);
    let moment = monitor.moment;
    let row = CHANNEL_RULES.iter().position(|&each| each == rule);
    let point = match (row, channel) {
        (Some(row), Some(channel)) => {
            monitor.channel_points.get_mut(row).and_then(|points| points.get_mut(channel as usize))
        }
        _ => monitor.points.get_mut(rule as usize),
    };
    let Some(point) = point else { return };
    let event = point.update(rule, channel, &setting, judgement, &moment);
    let outside = point.level() >= Some(Severity::Warn) && judgement != Judgement::Unknown;
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
            } else {
                record.advised = record.advised.with(rule);
            }
        }
        sink.event(&Event::Alarm(event));
    }
}

/// Holds a value against the ranges of the quantity that the rule watches. No value while the rule
/// applies means that its channel cannot be believed.
fn hold(monitor: &mut Monitor, rule: Rule, applies: bool, value: Option<i32>, sink: &mut impl Sink) {
    let Some((quantity, side)) = rule.watches() else { return };
    let Some(limits) = monitor.procedure.limits(quantity) else { return };
    if !monitor.acquisition.channels.contains_all(rule.needs()) || !rate_allows(rule, monitor) {
        return;
    }
    let setting = monitor.procedure.alarm(rule);
    if !envelope::has_limit(limits, side, &setting, tiers(rule)) {
        return;
    }
    let judgement = match value {
        _ if !applies => Judgement::NotApplicable,
        None => {
            monitor.tally.not_judged(rule);
            monitor.lost = monitor.lost.union(rule.needs().minus(monitor.sound()));
            Judgement::Unknown
        }
        Some(value) => {
            let previous = monitor.points.get(rule as usize).and_then(crate::alarm::AlarmPoint::level);
            let standing = envelope::stand(value, limits, side, &setting, tiers(rule), previous);
            monitor.judged = monitor.judged.with(rule);
            Judgement::Judged { level: standing.level, value, limit: standing.limit, since_us: None }
        }
    };
    apply(monitor, rule, None, judgement, sink);
}

fn voltage(monitor: &mut Monitor, sink: &mut impl Sink) {
    let applies = monitor.arc.phase() == Phase::Arc;
    let short = monitor.voltage.short().map(i32::saturating_abs);
    let long = monitor.voltage.long().map(i32::saturating_abs);
    hold(monitor, Rule::TransferLowVoltage, applies, short, sink);
    hold(monitor, Rule::VoltageHigh, applies, long, sink);
    // Under the floor it is no longer a question of the range.
    let floor = monitor.procedure.limits(Quantity::Voltage).and_then(|limits| limits.floor);
    let under = |value: Option<i32>| value.zip(floor).is_some_and(|(value, floor)| value < floor);
    let transfer_changed =
        monitor.points.get(Rule::TransferLowVoltage as usize).is_some_and(|point| point.level().is_some());
    hold(
        monitor,
        Rule::VoltageLow,
        applies && !under(short) && !under(long) && !transfer_changed,
        long,
        sink,
    );
}

fn current(monitor: &mut Monitor, sink: &mut impl Sink) {
    let applies = monitor.arc.phase() == Phase::Arc;
    let long = monitor.current.long().map(i32::saturating_abs);
    hold(monitor, Rule::CurrentLow, applies, long, sink);
    hold(monitor, Rule::CurrentHigh, applies, long, sink);
}

fn transfer(monitor: &mut Monitor, sink: &mut impl Sink) {
    let mean = monitor.voltage.short();
    monitor.dips.tick(monitor.moment.now_us, mean);
    let rate = monitor.dips.rate();
    let applies = monitor.arc.phase() == Phase::Arc && (rate.is_some() || mean.is_none());
    hold(monitor, Rule::TransferShortCircuits, applies, rate.filter(|_| mean.is_some()), sink);
}

fn flows(monitor: &mut Monitor, sink: &mut impl Sink) {
    let now_us = monitor.moment.now_us;
    monitor.gas_flow.tick(now_us);
    monitor.coolant_flow.tick(now_us);
    let phase = monitor.arc.phase();
    let gas = monitor.gas_flow.long();
    let burning = phase == Phase::Arc;
    hold(monitor, Rule::GasLow, burning, gas, sink);
    hold(monitor, Rule::GasHigh, burning, gas, sink);
    let coolant = monitor.coolant_flow.long();
    hold(monitor, Rule::CoolantLow, phase.is_in_band(), coolant, sink);
}

/// What is known once the arc has started: judged until the band is over.
fn starting(monitor: &mut Monitor, sink: &mut impl Sink) {
    let open = monitor.arc.phase().is_in_band();
    let record = &monitor.tally.record;
    let preflow = record.gas_preflow.map(Duration::to_bits);
    let work = record.work_at_start.map(crate::units::Temperature::to_bits);
    let step_over = record.step_over.map(crate::units::Length::to_bits);
    let first_band = record.band <= 1;
    hold(monitor, Rule::GasPreflow, open && preflow.is_some(), preflow, sink);
    hold(monitor, Rule::PreheatLow, open && first_band && work.is_some(), work, sink);
    hold(monitor, Rule::InterpassHigh, open && !first_band && work.is_some(), work, sink);
    hold(monitor, Rule::StepOverLow, open && step_over.is_some(), step_over, sink);
    hold(monitor, Rule::StepOverHigh, open && step_over.is_some(), step_over, sink);
}

fn weave(monitor: &mut Monitor, sink: &mut impl Sink) {
    let burning = monitor.arc.phase() == Phase::Arc;
    let lost = burning && !monitor.sound().contains(Channel::Torch);
    let rate = monitor.weave.rate();
    let width = monitor.weave.width();
    let centre = monitor.weave.settled_centre();
    // Where the band started: over its own first cycles, not those of a parked torch.
    if burning && monitor.tally.weave_centre_start.is_none() && monitor.tally.weave_cycles() >= 4 {
        monitor.tally.weave_centre_start = centre;
    }
    let drift = centre
        .zip(monitor.tally.weave_centre_start)
        .map(|(centre, start)| centre.saturating_sub(start).saturating_abs());
    if burning && !lost && rate_allows(Rule::WeaveRateLow, monitor) {
        monitor.tally.weave(rate, width, drift);
    }
    let moving = burning && rate != Some(0);
    for (rule, applies, value) in [
        (Rule::WeaveRateLow, burning, rate),
        (Rule::WeaveRateHigh, burning, rate),
        (Rule::WeaveWidthLow, moving, width),
        (Rule::WeaveWidthHigh, moving, width),
        (Rule::WeaveCentreDrift, moving, drift),
    ] {
        let value = value.filter(|_| !lost);
        hold(monitor, rule, applies && (value.is_some() || lost), value, sink);
    }
}

fn turning(monitor: &mut Monitor, sink: &mut impl Sink) {
    let burning = monitor.arc.phase() == Phase::Arc;
    let lost = burning && !monitor.sound().contains(Channel::Spindle);
    let turn_time = monitor.spindle.turn_time().filter(|_| !lost);
    for rule in [Rule::TurnTimeFast, Rule::TurnTimeSlow] {
        hold(monitor, rule, burning && (turn_time.is_some() || lost), turn_time, sink);
    }
    let motion = monitor.spindle.motion();
    for (rule, culprit) in [(Rule::SpindleSlip, Motion::Slipping), (Rule::SpindleStall, Motion::Stalled)] {
        if monitor.cannot_judge(rule).is_some() {
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
fn arc_outage(monitor: &mut Monitor, sink: &mut impl Sink) {
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

fn polarity_and_late(monitor: &mut Monitor, sink: &mut impl Sink) {
    let rule = Rule::PolarityWrong;
    if let Some(polarity) = monitor.procedure.polarity {
        let wrong = |value: i32| match polarity {
            Polarity::ElectrodePositive => value < 0,
            Polarity::ElectrodeNegative => value > 0,
        };
        let volts = monitor.voltage.short().filter(|volts| volts.saturating_abs() >= CLEAR_VOLTAGE.to_bits());
        let amps = monitor.current.short();
        let first_wrong = [(Channel::Voltage, volts), (Channel::Current, amps)]
            .into_iter()
            .find_map(|(channel, value)| value.filter(|&value| wrong(value)).map(|value| (channel, value)));
        let applies = monitor.arc.is_lit() && (volts.is_some() || amps.is_some());
        let level = Some(monitor.procedure.alarm(rule).severity);
        let (channel, judgement) = match first_wrong {
            _ if !applies => (None, Judgement::NotApplicable),
            Some((channel, value)) => {
                (Some(channel), Judgement::Judged { level, value, limit: Some(0), since_us: None })
            }
            None => (None, Judgement::Judged { level: None, value: 0, limit: Some(0), since_us: None }),
        };
        if applies {
            monitor.judged = monitor.judged.with(rule);
        }
        apply(monitor, rule, channel, judgement, sink);
    }
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

fn finding(found_since_us: Option<u64>, severity: Severity, value: i32, limit: Option<i32>) -> Judgement {
    let level = found_since_us.map(|_| severity);
    Judgement::Judged { level, value, limit, since_us: found_since_us }
}

fn stuck(monitor: &mut Monitor, sink: &mut impl Sink) {
    let setting = monitor.procedure.alarm(Rule::SignalStuck);
    let burning = monitor.arc.phase() == Phase::Arc;
    for channel in [Channel::Current, Channel::Voltage] {
        if !monitor.acquisition.channels.contains(channel) {
            continue;
        }
        monitor.judged = monitor.judged.with(Rule::SignalStuck);
        let since_us =
            monitor.signal.stuck_since(channel, monitor.moment.now_us, u64::from(setting.on_delay_us));
        let judgement = if burning {
            finding(since_us, setting.severity, monitor.signal.last(channel), None)
        } else {
            Judgement::NotApplicable
        };
        monitor.stuck = match since_us {
            Some(_) if burning => monitor.stuck.with(channel),
            _ => monitor.stuck.without(channel),
        };
        apply(monitor, Rule::SignalStuck, Some(channel), judgement, sink);
    }
}

fn railed_and_missing(monitor: &mut Monitor, sink: &mut impl Sink) {
    let (railed, missing) = (Rule::SignalRailed, Rule::SignalMissing);
    let severity = |monitor: &Monitor, rule| monitor.procedure.alarm(rule).severity;
    let in_band = monitor.arc.phase().is_in_band();
    for channel in monitor.acquisition.channels.iter() {
        monitor.judged = monitor.judged.with(railed).with(missing);
        let applies = in_band || matches!(channel, Channel::Current | Channel::Voltage);
        let judgement = if applies {
            Judgement::Judged {
                level: monitor.signal.is_railed(channel).then_some(severity(monitor, railed)),
                value: monitor.signal.last(channel),
                limit: monitor.signal.rail(channel),
                since_us: None,
            }
        } else {
            Judgement::NotApplicable
        };
        apply(monitor, railed, Some(channel), judgement, sink);
        let since_us = monitor.missing_since(channel);
        let silent_us = since_us.map_or(0, |since_us| monitor.moment.now_us.saturating_sub(since_us));
        let judgement = if applies {
            finding(since_us, severity(monitor, missing), Duration::from_micros(silent_us).to_bits(), None)
        } else {
            Judgement::NotApplicable
        };
        apply(monitor, missing, Some(channel), judgement, sink);
    }
}

/// What is known once the arc is over: post-flow and overlap; then the record goes out.
fn ending(monitor: &mut Monitor, sink: &mut impl Sink) {
    let Some(closing) = monitor.closing else {
        // A finished band's alarms stay until the next arc.
        if monitor.arc.phase().is_in_band() {
            hold(monitor, Rule::OverlapShort, false, None, sink);
            hold(monitor, Rule::GasPostflow, false, None, sink);
        }
        return;
    };
    judge_overlap(monitor, closing.ending, sink);
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
pub(crate) fn judge_ending(monitor: &mut Monitor, sink: &mut impl Sink) {
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
fn judge_overlap(monitor: &mut Monitor, ending: Ending, sink: &mut impl Sink) {
    let overlap = monitor.tally.overlap().filter(|&overlap| {
        ending == Ending::ArcOff && overlap >= BROKEN_OFF.to_bits().saturating_sub(FULL_TURN.to_bits())
    });
    hold(monitor, Rule::OverlapShort, overlap.is_some(), overlap, sink);
}

const FULL_TURN: Degrees = Degrees::from_milli(360_000);

impl Monitor {
    /// Channels that give readings that can be believed.
    pub(crate) fn sound(&self) -> crate::sample::ChannelSet {
        let mut sound = self.acquisition.channels.minus(self.stuck);
        for channel in self.acquisition.channels.iter() {
            if self.signal.is_railed(channel) || self.missing_since(channel).is_some() {
                sound = sound.without(channel);
            }
        }
        sound
    }
    /// Since when a channel has been missing, if for long enough, µs.
    fn missing_since(&self, channel: Channel) -> Option<u64> {
        let on_delay_us = u64::from(self.procedure.alarm(Rule::SignalMissing).on_delay_us);
        let three_samples_us = u64::from(self.acquisition.period_us).saturating_mul(3);
        self.signal.missing_since(channel, self.moment.now_us, on_delay_us.max(three_samples_us))
    }
}
