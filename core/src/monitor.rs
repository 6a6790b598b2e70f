//! Everything together: one call a sample.
//!
//! Decides: what is looked at when. Every sample is checked and added up; every tick (20 ms, or
//! every sample when they come slower) the windows close and the rules are judged. The work of a tick
//! is cut into slots that run one a sample, so that no single sample bears all of it.
//! Assumes: nothing of the samples; out of order, absent and absurd ones are findings.
//! Never: reads a clock, allocates, or fails.

mod alarms;
mod bands;
mod clock;
mod coverage;
mod plain;
mod samples;

pub use self::coverage::NotJudged;
use self::plain::Plain;
use crate::alarm::{AlarmPoint, Moment};
use crate::arc::{ArcTracker, Phase};
use crate::band::Ending;
use crate::electrical::{ElectricalSums, LongMean, short_mean};
use crate::event::{Position, Sink};
use crate::gas::GasTracker;
use crate::judge::{self, SLOTS};
use crate::procedure::Procedure;
use crate::rule::{Quantity, Rule, RuleSet};
use crate::sample::{Channel, ChannelSet};
use crate::signal::SignalCheck;
use crate::spindle::SpindleTracker;
use crate::statistics::{Block, RollingMean};
use crate::tally::Tally;
use crate::transfer::DipCounter;
use crate::units::FlowRate;
use crate::weave::WeaveTracker;
use serde::{Deserialize, Serialize};

/// Length of a tick where samples come fast enough, µs.
pub const TICK_US: u64 = 20_000;

/// How the samples come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acquisition {
    /// Nominal time between samples, µs: 20 to 5,000,000; held at the ends of that range.
    pub period_us: u32,
    /// A longer wait than this between two samples is a finding, µs.
    pub gap_tolerance_us: u32,
    /// Channels that are wired and should give readings.
    pub channels: ChannelSet,
}

/// Rules with one alarm each: all before [`Rule::SignalStuck`], and [`Rule::SignalLate`].
pub(crate) const RULE_POINTS: usize = Rule::COUNT - 3;
const START: Moment = Moment { now_us: 0, elapsed_us: 0, position: Position { band: 0, turned: None } };

/// A band that is over and waits for its gas post-flow to be known.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Closing {
    pub(crate) ended_us: u64,
    pub(crate) ending: Ending,
}

/// Watches one machine.
///
/// Its size is fixed; see `size_of::<Monitor>()`.
// Each of its flags is one plain fact, not a state in disguise.
#[allow(clippy::struct_excessive_bools)]
#[derive(Clone, Debug)]
pub struct Monitor {
    pub(crate) procedure: Procedure,
    pub(crate) acquisition: Acquisition,
    pub(crate) signal: SignalCheck,
    pub(crate) arc: ArcTracker,
    pub(crate) electrical: ElectricalSums,
    pub(crate) voltage_now: RollingMean<10>,
    pub(crate) voltage: LongMean<5>,
    pub(crate) current: LongMean<5>,
    pub(crate) gas_sums: Block,
    pub(crate) gas_flow: LongMean<5>,
    pub(crate) coolant_sums: Block,
    pub(crate) coolant_flow: LongMean<5>,
    pub(crate) dips: DipCounter<10>,
    pub(crate) weave: WeaveTracker<9>,
    torch: Block,
    torch_delays_us: u64,
    torch_start_us: u64,
    torch_seen_us: u64,
    pub(crate) spindle: SpindleTracker<8, 9>,
    pub(crate) gas: GasTracker,
    pub(crate) tally: Tally,
    pub(crate) closing: Option<Closing>,
    /// One alarm a rule, but for those about a channel.
    pub(crate) points: [AlarmPoint; RULE_POINTS],
    /// One alarm a channel, and the rule it is about now.
    pub(crate) channel_points: [(Rule, AlarmPoint); Channel::COUNT],
    /// Rules that can be judged with this procedure and these channels.
    pub(crate) watched: RuleSet,
    /// Do samples come fast enough to follow the weave?
    pub(crate) weave_is_followed: bool,
    pub(crate) stuck: ChannelSet,
    /// The channel whose sign was found wrong.
    pub(crate) wrong_pole: Option<Channel>,
    /// Channels that are stuck, railed or missing.
    pub(crate) unsound: ChannelSet,
    /// The moment of the round in which the channels are looked at in turn, and the next channel.
    pub(crate) round: Moment,
    pub(crate) next_channel: u8,
    pub(crate) lost: ChannelSet,
    pub(crate) judged: RuleSet,
    pub(crate) end_unseen: RuleSet,
    start_unseen: bool,
    bands: u16,
    confirmed: bool,
    pub(crate) previous_carriage: Option<i32>,
    /// The last outage that came back, not yet judged: when it began.
    pub(crate) outage_since_us: Option<u64>,
    /// The last late sample, not yet judged: since when there was none.
    pub(crate) late_since_us: Option<u64>,
    /// What was just before this sample is not known: it is the first, or a hole lies before it.
    unseen_before: bool,
    last_us: u64,
    from_the_past: u8,
    gaps: u32,
    out_of_order: u32,
    /// The sample at this time or later is the last of its tick.
    tick_due_us: u64,
    pub(crate) moment: Moment,
    slot: u8,
    slots_a_step: u8,
    plain: Plain,
}

impl Monitor {
    /// Starts watching.
    pub fn new(procedure: Procedure, acquisition: Acquisition) -> Self {
        let acquisition =
            Acquisition { period_us: acquisition.period_us.clamp(20, 5_000_000), ..acquisition };
        let gas_flows_from = procedure
            .limits(Quantity::GasFlow)
            .and_then(|limits| limits.allowed)
            .filter(|range| range.low > 0)
            .map_or(FlowRate::from_milli(3000).to_bits(), |range| range.low >> 1);
        // Enough slots a sample that a tick is done before the next one.
        let samples_a_tick = TICK_US.checked_div(u64::from(acquisition.period_us)).unwrap_or(1).max(1);
        let slots_a_step = u64::from(SLOTS).div_ceil(samples_a_tick);
        let mut monitor = Self {
            arc: ArcTracker::new(procedure.arc, acquisition.period_us),
            procedure,
            acquisition,
            signal: SignalCheck::new(acquisition.channels),
            electrical: ElectricalSums::default(),
            voltage_now: short_mean(),
            voltage: LongMean::new(),
            current: LongMean::new(),
            gas_sums: Block::EMPTY,
            gas_flow: LongMean::new(),
            coolant_sums: Block::EMPTY,
            coolant_flow: LongMean::new(),
            dips: DipCounter::new(),
            weave: WeaveTracker::new(),
            torch: Block::EMPTY,
            torch_delays_us: 0,
            torch_start_us: 0,
            torch_seen_us: 0,
            spindle: SpindleTracker::new(),
            gas: GasTracker::new(gas_flows_from),
            tally: Tally::default(),
            closing: None,
            points: [AlarmPoint::new(); RULE_POINTS],
            channel_points: [(Rule::SignalMissing, AlarmPoint::new()); Channel::COUNT],
            watched: RuleSet::EMPTY,
            weave_is_followed: false,
            stuck: ChannelSet::EMPTY,
            wrong_pole: None,
            unsound: ChannelSet::EMPTY,
            round: START,
            next_channel: 0,
            lost: ChannelSet::EMPTY,
            judged: RuleSet::EMPTY,
            end_unseen: RuleSet::EMPTY,
            start_unseen: false,
            bands: 0,
            confirmed: false,
            previous_carriage: None,
            outage_since_us: None,
            late_since_us: None,
            unseen_before: true,
            last_us: 0,
            from_the_past: 0,
            gaps: 0,
            out_of_order: 0,
            tick_due_us: 0,
            moment: START,
            slot: SLOTS,
            slots_a_step: u8::try_from(slots_a_step).unwrap_or(SLOTS),
            plain: Plain::NEVER,
        };
        monitor.weave_is_followed = judge::rate_allows(Rule::WeaveRateLow, &monitor);
        for rule in Rule::ALL {
            if monitor.cannot_judge(rule).is_none() {
                monitor.watched = monitor.watched.with(rule);
            }
        }
        monitor
    }
    /// The procedure it watches by.
    pub fn procedure(&self) -> &Procedure {
        &self.procedure
    }
    /// The arc phase.
    pub fn phase(&self) -> Phase {
        self.arc.phase()
    }
    /// How often two samples were further apart than the tolerance.
    pub fn gaps(&self) -> u32 {
        self.gaps
    }
    /// How many samples came from the past and were left out.
    pub fn out_of_order(&self) -> u32 {
        self.out_of_order
    }

    /// Ends the watch: closes an open band with the last sample.
    pub fn finish(&mut self, sink: &mut dyn Sink) {
        self.run_slots(SLOTS, sink);
        self.close_for_want_of_data(sink);
        self.plain = Plain::NEVER;
    }

    /// The lower end of the allowed range of a quantity, else of the recommended one.
    pub(crate) fn least(&self, quantity: Quantity) -> Option<i32> {
        let limits = self.procedure.limits(quantity)?;
        limits.allowed.or(limits.recommended).map(|range| range.low)
    }

    pub(crate) fn tick_weave(&mut self, now_us: u64) {
        let Some(position) = self.torch.mean() else {
            if now_us.saturating_sub(self.torch_seen_us) > 1_000_000 {
                self.weave.clear();
            }
            return;
        };
        let delay_us = self.torch_delays_us.checked_div(u64::from(self.torch.count())).unwrap_or(0);
        self.torch = Block::EMPTY;
        let crossing = self.weave.push(self.torch_start_us.saturating_add(delay_us), position);
        if let Some(period_us) = crossing.and_then(|crossing| crossing.period_us)
            && self.arc.is_lit()
            && self.weave.is_known()
        {
            self.tally.weave_cycle(period_us);
        }
    }
}
