//! Everything that follows the samples: one owner for all trackers.
//!
//! Decides: what closes a window, and what a gap or a new clock makes every tracker forget.
//! Assumes: samples in order of time.
//! Never: judges, or knows a rule.

#[cfg(not(all(feature = "motion", feature = "transfer", feature = "gas", feature = "heat")))]
mod absent;
pub mod arc;
mod contradiction;
pub mod electrical;
pub mod gas;
pub(crate) mod leaps;
pub(crate) mod lively;
mod pace;
mod resolution;
pub mod signal;
pub mod spindle;
mod stale;
mod stillness;
pub mod transfer;
mod waits;
pub mod weave;
pub mod work;

use crate::acquisition::Acquisition;
use crate::procedure::ArcSettings;
use crate::procedure::Procedure;
use crate::rule::Quantity;
use crate::sample::{Channel, ChannelSet, Sample};
use crate::statistics::{Block, RollingMean};
use crate::trackers::arc::{ArcTracker, Phase};
use crate::trackers::contradiction::{Burning, Contradictions, LEAST_FEED, NO_ARC_VOLTS, Shown, TURNING};
use crate::trackers::electrical::{ElectricalSums, LongMean, short_mean};
use crate::trackers::leaps::Reach;
use crate::trackers::lively::Lively;
use crate::trackers::signal::SignalCheck;
use crate::units::{FlowRate, Voltage};
use crate::watched::{MOTION, Only};

#[cfg(not(feature = "transfer"))]
use absent::DipCounter;
#[cfg(not(feature = "heat"))]
pub(crate) use absent::WorkTracker;
#[cfg(not(feature = "gas"))]
use absent::{AbsentMean as FlowMean, GasTracker};
#[cfg(not(feature = "motion"))]
use absent::{SpindleTracker, WeaveTracker};
#[cfg(feature = "gas")]
use gas::GasTracker;
#[cfg(feature = "transfer")]
use transfer::DipCounter;
#[cfg(feature = "heat")]
pub(crate) use work::WorkTracker;
#[cfg(feature = "motion")]
use {spindle::SpindleTracker, weave::WeaveTracker};

/// Mean flow of gas, and of coolant.
#[cfg(feature = "gas")]
type FlowMean = LongMean<5>;

/// Current or voltage that contradicts the other channels for so long under an arc is not proven, µs.
const DOUBTFUL_US: u64 = 300_000;
/// A voltage of an arc rather than of leads that pick something up: 14 V, raw. Common practice, no source.
const WELDING_VOLTS: u32 = 14 << 12;

/// Torch positions of one tick.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Torch {
    sums: Block,
    delays_us: u64,
    start_us: u64,
    seen_us: u64,
}

impl Torch {
    const fn new(now_us: u64) -> Self {
        Self { sums: Block::EMPTY, delays_us: 0, start_us: 0, seen_us: now_us }
    }
    pub(crate) fn push(&mut self, now_us: u64, position: i32) {
        if self.sums.count() == 0 {
            self.start_us = now_us;
            self.delays_us = 0;
        }
        self.sums.push(position);
        self.delays_us = self.delays_us.saturating_add(now_us.saturating_sub(self.start_us));
        self.seen_us = now_us;
    }
    /// Mean time and mean position since the last call.
    fn take(&mut self) -> Option<(u64, i32)> {
        let position = self.sums.mean()?;
        let delay_us = self.delays_us.checked_div(u64::from(self.sums.count())).unwrap_or(0);
        self.sums = Block::EMPTY;
        Some((self.start_us.saturating_add(delay_us), position))
    }
}

/// All trackers of one machine; what every sample needs comes first, as in the monitor.
#[derive(Clone, Debug)]
#[repr(C)]
pub(crate) struct Trackers {
    pub(crate) arc: ArcTracker,
    pub(crate) electrical: ElectricalSums,
    pub(crate) dips: DipCounter<10>,
    pub(crate) torch: Only<Torch, MOTION>,
    pub(crate) work: WorkTracker,
    pub(crate) gas: GasTracker,
    pub(crate) spindle: SpindleTracker<24, 12>,
    pub(crate) weave: WeaveTracker<9>,
    pub(crate) gas_flow: FlowMean,
    pub(crate) coolant_flow: FlowMean,
    pub(crate) wire_feed: LongMean<5>,
    pub(crate) voltage: LongMean<5>,
    pub(crate) current: LongMean<5>,
    pub(crate) signal: SignalCheck,
    pub(crate) contradictions: Contradictions,
    pub(crate) lively: Lively,
    pub(crate) voltage_now: RollingMean<10>,
    /// The last means of both.
    means: Option<(i32, i32)>,
    /// The last voltage seen without an arc, raw, without sign.
    pub(crate) unlit_volts: u32,
    pub(crate) gas_sums: Block,
    pub(crate) coolant_sums: Block,
    pub(crate) wire_sums: Block,
    /// The current is far below what it was over the last second: the arc goes out, or a meter follows one that did.
    pub(crate) sinks: bool,
}

impl Trackers {
    /// Of no machine yet.
    pub(crate) const RESTING: Self = Self {
        signal: SignalCheck::new(ChannelSet::EMPTY),
        contradictions: Contradictions::new(),
        lively: Lively::new(),
        arc: ArcTracker::new(Procedure::new().arc, 0),
        electrical: ElectricalSums::EMPTY,
        voltage_now: short_mean(),
        voltage: LongMean::new(),
        current: LongMean::new(),
        means: None,
        sinks: false,
        gas_sums: Block::EMPTY,
        gas_flow: FlowMean::new(),
        coolant_sums: Block::EMPTY,
        coolant_flow: FlowMean::new(),
        wire_sums: Block::EMPTY,
        wire_feed: LongMean::new(),
        unlit_volts: 0,
        dips: DipCounter::new(),
        weave: WeaveTracker::new(),
        torch: Only::new(Torch::new(0)),
        spindle: SpindleTracker::new(),
        gas: GasTracker::new(0),
        work: WorkTracker::new(),
    };
    /// Starts anew, part by part: all of it at once would pass over the stack.
    #[inline(never)]
    pub(crate) fn start(&mut self, procedure: &Procedure, acquisition: &Acquisition) {
        // Named one by one, so that none is forgotten.
        let Self {
            signal,
            contradictions,
            lively,
            arc,
            electrical,
            voltage_now,
            voltage,
            current,
            means,
            sinks,
            gas_sums,
            gas_flow,
            coolant_sums,
            coolant_flow,
            wire_sums,
            wire_feed,
            unlit_volts,
            dips,
            weave,
            torch,
            spindle,
            gas,
            work,
        } = self;
        *signal = SignalCheck::new(acquisition.channels);
        *contradictions = Contradictions::new();
        *lively = Lively::new();
        *arc = ArcTracker::new(procedure.arc, acquisition.period_us);
        *electrical = ElectricalSums::EMPTY;
        *voltage_now = short_mean();
        for mean in [voltage, current, wire_feed] {
            mean.clear();
        }
        for mean in [gas_flow, coolant_flow] {
            mean.clear();
        }
        (*means, *sinks, *unlit_volts) = (None, false, 0);
        (*gas_sums, *coolant_sums, *wire_sums) = (Block::EMPTY, Block::EMPTY, Block::EMPTY);
        *dips = DipCounter::new();
        *weave = WeaveTracker::new();
        torch.set(Torch::new(0));
        *spindle = SpindleTracker::new();
        if let Some(counts) = acquisition.spindle_counts {
            spindle.declare_resolution(u32::MAX.checked_div(counts).unwrap_or(0));
        }
        let least_flow = procedure.limits(Quantity::GasFlow).and_then(|limits| limits.allowed);
        *gas = GasTracker::new(
            least_flow
                .filter(|range| range.low > 0)
                .map_or(FlowRate::from_milli(3000).to_bits(), |range| range.low >> 1),
        );
        *work = WorkTracker::new();
    }
    /// Closes the electrical window; returns what was added up in it.
    pub(crate) fn close_electrical(&mut self, now_us: u64) -> ElectricalSums {
        let sums = self.electrical.take();
        let settled = self.arc.phase() == Phase::Arc;
        self.signal.note_under_arc(Channel::Current, now_us, &sums.current, settled);
        self.signal.note_under_arc(Channel::Voltage, now_us, &sums.voltage, settled);
        self.sinks = self.current.mean().zip(sums.current.block().mean()).is_some_and(|(usual, amps)| {
            let (usual, amps) = (i64::from(usual).saturating_abs(), i64::from(amps).saturating_abs());
            amps.saturating_mul(10) < usual.saturating_mul(7)
        });
        self.voltage_now.push(now_us, sums.voltage.block());
        self.voltage.push(now_us, sums.voltage.block());
        self.current.push(now_us, sums.current.block());
        // A channel that is held back leaves no mean; what it is held against stays.
        self.means = self.current.mean().zip(self.voltage.mean()).or(self.means);
        sums
    }
    /// What is no leap of current and voltage now; `None` where no arc has settled.
    pub(crate) fn reach(&self, period_us: u32) -> Option<Reach> {
        let (amps, volts) = self.means?;
        (self.arc.phase() == Phase::Arc).then(|| Reach::around(amps, volts, period_us))
    }
    /// The `usable` channels of a sample without current and voltage where they leap and are held back.
    pub(crate) fn without_leaps(
        &mut self,
        sample: &Sample,
        usable: ChannelSet,
        arc: &ArcSettings,
        period_us: u32,
    ) -> ChannelSet {
        let Some(reach) = self.reach(period_us) else { return usable };
        let reading = |channel| usable.contains(channel).then(|| sample.reading(channel));
        let readings = (reading(Channel::Current), reading(Channel::Voltage));
        let current_off = arc.current_off.to_bits() as u32;
        let (_, mean) = self.means.unwrap_or((0, 0));
        let gas_flows = self.gas.flows() || !self.signal.is_seen(Channel::Gas);
        let backed = gas_flows && self.signal.last(Channel::Wire).unsigned_abs() >= LEAST_FEED;
        let reach =
            Reach { open_from: (arc.open_circuit.to_bits() as u32).max(NO_ARC_VOLTS), backed, ..reach };
        usable.minus(self.signal.leaping(sample.time_us, readings, mean, (reach, current_off), period_us))
    }
    /// Holds a channel against the others.
    pub(crate) fn compare(&mut self, channel: Channel, now_us: u64, arc: &ArcSettings, wired: ChannelSet) {
        let (signal, is_lit) = (&self.signal, self.arc.is_lit());
        let shown = Shown {
            arc: match self.arc.phase() {
                Phase::Arc if is_lit => Burning::Settled,
                _ if is_lit => Burning::Struck,
                _ => Burning::Out,
            },
            mean_amps: self.current.mean(),
            mean_volts: self.voltage_now.mean(),
            amps_live: signal.moves(Channel::Current) && !self.sinks,
            gas_flows: self.gas.flows() || !wired.contains(Channel::Gas),
            turns: self.spindle.speed(),
            last: |channel| wired.contains(channel).then(|| signal.last(channel)),
        };
        self.contradictions.look(channel, now_us, arc, &shown);
        let odd =
            ChannelSet::ELECTRICAL.contains(channel) && self.contradictions.seen_us(channel) >= DOUBTFUL_US;
        if is_lit && odd {
            self.lively.doubt(channel);
        }
        self.lively.look(channel, now_us, (is_lit, self.gas.flows()), signal);
        if channel as u8 == Channel::Gas as u8 && !is_lit && self.gas.flows() {
            let stands_us = signal.freezes_since(channel, now_us);
            let flow = (signal.last(channel), signal.step(channel));
            self.gas.look((now_us, self.arc.lit_us()), flow, stands_us);
        }
    }
    /// Is the wire seen to stand?
    pub(crate) fn wire_rests(&self) -> bool {
        self.signal.is_seen(Channel::Wire) && self.signal.last(Channel::Wire).unsigned_abs() < LEAST_FEED
    }
    pub(crate) fn close_flows(&mut self, now_us: u64) {
        self.gas_flow.push(now_us, self.gas_sums.take());
        self.coolant_flow.push(now_us, self.coolant_sums.take());
        self.wire_feed.push(now_us, self.wire_sums.take());
    }
    /// Closes the torch window.
    pub(crate) fn close_torch(&mut self, now_us: u64) {
        let Some(torch) = self.torch.as_mut() else { return };
        if let Some((at_us, position)) = torch.take() {
            self.weave.push(at_us, position);
        } else if now_us.saturating_sub(torch.seen_us) > 1_000_000 {
            self.weave.clear();
        }
    }
    /// Counts the half cycle that it completed; returns the time of a weave cycle that it completes under the arc.
    pub(crate) fn settle_torch(&mut self) -> Option<u64> {
        let period_us = self.weave.settle()?;
        (self.arc.is_lit() && self.weave.is_known()).then_some(period_us)
    }
    pub(crate) fn close_dips(&mut self, now_us: u64) {
        self.dips.tick(now_us, self.voltage_now.mean());
    }
    /// The strike has settled: means start anew.
    pub(crate) fn clear_means(&mut self) {
        self.voltage_now.clear();
        self.voltage.clear();
        self.current.clear();
        self.means = None;
        self.wire_feed.clear();
    }
    /// How many other channels show welding, without an arc to be seen; none where neither a voltage nor a weave
    /// does.
    pub(crate) fn signs_of_welding(&self, open_circuit: Voltage) -> u8 {
        let burns = (WELDING_VOLTS..open_circuit.to_bits() as u32).contains(&self.unlit_volts);
        let weaves = self.weave.rate().is_some_and(|rate| rate > 0);
        let turns = self.spindle.speed().is_some_and(|speed| speed >= TURNING);
        let feeds = self.signal.last(Channel::Wire).unsigned_abs() >= LEAST_FEED;
        let others = [weaves, turns, feeds, self.gas.flows()].map(u8::from);
        let count = others.into_iter().fold(u8::from(burns), u8::saturating_add);
        if burns || weaves { count } else { 0 }
    }
    /// A wait longer than the tolerance lies behind.
    pub(crate) fn after_gap(&mut self) {
        self.signal.after_gap();
        self.weave.clear();
        if let Some(torch) = self.torch.as_mut() {
            torch.sums = Block::EMPTY;
        }
        self.spindle.forget_speed();
    }
    /// All times from here on are of another clock.
    pub(crate) fn start_clock(&mut self, now_us: u64) {
        if let Some(torch) = self.torch.as_mut() {
            torch.seen_us = now_us;
        }
        self.signal.start(now_us);
        self.contradictions = Contradictions::new();
        self.weave.clear();
        self.spindle.forget_speed();
        self.dips.restart(now_us);
        self.gas.forget();
        self.work.forget();
        self.gas_flow.clear();
        self.coolant_flow.clear();
        self.wire_feed.clear();
    }
}
