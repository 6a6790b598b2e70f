//! Which channels can be believed.
//!
//! Decides: the first thing that is wrong with a channel: stuck, railed, missing or implausible beside the
//! other channels.
//! Assumes: the signal check saw every sample; each channel is looked at in turn.
//! Never: raises an alarm.

use crate::acquisition::{Acquisition, TICK_US};
use crate::judge::judgement::{Judgement, Moment, Position};
use crate::procedure::Procedure;
use crate::rule::Rule;
use crate::sample::{Channel, ChannelSet};
use crate::trackers::Trackers;
use crate::trackers::arc::Phase;
use crate::trackers::signal::SignalCheck;
use crate::units::Duration;

/// Looks at the channels in turn, and keeps what it found.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ChannelWatch {
    stuck: ChannelSet,
    /// Channels that contradict others.
    implausible: ChannelSet,
    /// Channels that are stuck, railed, missing or implausible.
    unsound: ChannelSet,
    /// The moment of this round.
    round: Moment,
    next: u8,
}

/// What is wrong with a channel, and since when, where that is known.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fault {
    pub(crate) rule: Rule,
    since_us: Option<u64>,
}

impl ChannelWatch {
    pub(crate) const fn new() -> Self {
        let position = Position { band: 0, turned: None };
        let round = Moment { now_us: 0, elapsed_us: 0, position };
        Self {
            stuck: ChannelSet::EMPTY,
            implausible: ChannelSet::EMPTY,
            unsound: ChannelSet::EMPTY,
            round,
            next: 0,
        }
    }
    pub(crate) const fn stuck(&self) -> ChannelSet {
        self.stuck
    }
    /// Channels that contradict others.
    pub(crate) const fn implausible(&self) -> ChannelSet {
        self.implausible
    }
    /// Channels whose readings are not taken: stuck, or implausible.
    pub(crate) const fn distrusted(&self) -> ChannelSet {
        self.stuck.union(self.implausible)
    }
    pub(crate) const fn unsound(&self) -> ChannelSet {
        self.unsound
    }
    /// The moment at which the channels of this round are judged.
    pub(crate) const fn moment(&self) -> Moment {
        self.round
    }
    /// The next channel whose turn it is, and whether the round is over with it.
    pub(crate) fn next(&mut self, moment: &Moment, acquisition: &Acquisition) -> (Option<Channel>, bool) {
        if self.next == 0 {
            let elapsed_us = moment.now_us.saturating_sub(self.round.now_us);
            let round_us = TICK_US.saturating_mul(Channel::COUNT as u64);
            self.round = Moment { elapsed_us: acquisition.counted_us(elapsed_us, round_us), ..*moment };
        }
        let channel = Channel::ALL.get(usize::from(self.next)).copied();
        let next = self.next.saturating_add(1);
        self.next = if usize::from(next) < Channel::COUNT { next } else { 0 };
        (channel.filter(|&channel| acquisition.channels.contains(channel)), self.next == 0)
    }
    /// Looks at one channel.
    pub(crate) fn look(
        &mut self,
        channel: Channel,
        trackers: &Trackers,
        procedure: &Procedure,
        acquisition: &Acquisition,
    ) -> Option<Fault> {
        let (signal, phase) = (&trackers.signal, trackers.arc.phase());
        let now_us = self.round.now_us;
        let delay_us = |rule| u64::from(procedure.alarm(rule).on_delay_us);
        let electrical = ChannelSet::ELECTRICAL.contains(channel);
        // A meter may well stand still without an arc; the gas only once its valve has shut.
        let must_move = match channel {
            Channel::Current | Channel::Voltage => trackers.arc.is_settled(),
            Channel::Gas => phase.is_in_band() || phase == Phase::PostFlow,
            _ => phase.is_in_band(),
        };
        let stuck =
            must_move.then(|| signal.stuck_since(channel, now_us, delay_us(Rule::SignalStuck))).flatten();
        let odd = trackers.contradictions.since(channel, now_us, delay_us(Rule::SignalImplausible));
        self.stuck = put(self.stuck, channel, stuck.is_some());
        self.implausible = put(self.implausible, channel, odd.is_some());
        let three_samples_us = u64::from(acquisition.period_us).saturating_mul(3);
        let patience_us = delay_us(Rule::SignalMissing).max(three_samples_us);
        let fault = if stuck.is_some() {
            Some(Fault { rule: Rule::SignalStuck, since_us: stuck })
        } else if signal.is_railed(channel) {
            Some(Fault { rule: Rule::SignalRailed, since_us: None })
        } else {
            let missing = signal.missing_since(channel, now_us, patience_us);
            let of = |rule, since_us: Option<u64>| since_us.map(|_| Fault { rule, since_us });
            of(Rule::SignalMissing, missing).or_else(|| of(Rule::SignalImplausible, odd))
        };
        self.unsound = put(self.unsound, channel, fault.is_some());
        // Single readings that leap are not taken; that they come again and again is told.
        let spikes = phase.is_in_band() && signal.spikes(channel);
        let spiking = Fault { rule: Rule::SignalImplausible, since_us: None };
        let fault = fault.or_else(|| spikes.then_some(spiking));
        // Without current or voltage nobody knows whether there is an arc.
        fault.filter(|_| phase.is_in_band() || electrical)
    }
}

const fn put(set: ChannelSet, channel: Channel, is_in: bool) -> ChannelSet {
    if is_in { set.with(channel) } else { set.without(channel) }
}

impl Fault {
    /// As a judgement.
    pub(crate) fn judgement(
        self,
        channel: Channel,
        moment: &Moment,
        signal: &SignalCheck,
        (procedure, acquisition): (&Procedure, &Acquisition),
    ) -> Judgement {
        let last = signal.last(channel);
        let (value, limit) = match self.rule {
            Rule::SignalRailed => (last, Some(signal.rail(channel, acquisition.sensor_range(channel)))),
            Rule::SignalMissing => {
                let silent_us = self.since_us.map_or(0, |since_us| moment.now_us.saturating_sub(since_us));
                (Duration::from_micros(silent_us).to_bits(), None)
            }
            _ => (last, None),
        };
        let level = Some(procedure.alarm(self.rule).severity);
        Judgement::Judged { level, value, limit, since_us: self.since_us }
    }
}
