//! Everything that follows the samples: one owner for all trackers.
//!
//! Decides: what closes a window, and what a gap or a new clock makes every tracker forget.
//! Assumes: samples in order of time.
//! Never: judges, or knows a rule.

pub mod arc;
pub mod electrical;
pub mod gas;
mod pace;
mod resolution;
pub mod signal;
pub mod spindle;
pub mod transfer;
pub mod weave;

use crate::acquisition::Acquisition;
use crate::trackers::arc::ArcTracker;
use crate::trackers::electrical::{ElectricalSums, LongMean, short_mean};
use crate::trackers::gas::GasTracker;
use crate::procedure::Procedure;
use crate::rule::Quantity;
use crate::sample::Channel;
use crate::trackers::signal::SignalCheck;
use crate::trackers::spindle::SpindleTracker;
use crate::statistics::{Block, RollingMean};
use crate::trackers::transfer::DipCounter;
use crate::units::FlowRate;
use crate::trackers::weave::WeaveTracker;

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

/// All trackers of one machine.
#[derive(Clone, Debug)]
pub(crate) struct Trackers {
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
    pub(crate) torch: Torch,
    pub(crate) spindle: SpindleTracker<24, 12>,
    pub(crate) gas: GasTracker,
}

impl Trackers {
    pub(crate) fn new(procedure: &Procedure, acquisition: &Acquisition) -> Self {
        let gas_flows_from = procedure
            .limits(Quantity::GasFlow)
            .and_then(|limits| limits.allowed)
            .filter(|range| range.low > 0)
            .map_or(FlowRate::from_milli(3000).to_bits(), |range| range.low >> 1);
        Self {
            signal: SignalCheck::new(acquisition.channels),
            arc: ArcTracker::new(procedure.arc, acquisition.period_us),
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
            torch: Torch::new(0),
            spindle: SpindleTracker::new(),
            gas: GasTracker::new(gas_flows_from),
        }
    }
    /// Closes the electrical window; returns what was added up in it.
    pub(crate) fn close_electrical(&mut self, now_us: u64) -> ElectricalSums {
        let sums = self.electrical.take();
        self.signal.note_under_arc(Channel::Current, now_us, &sums.current);
        self.signal.note_under_arc(Channel::Voltage, now_us, &sums.voltage);
        self.voltage_now.push(now_us, sums.voltage.block());
        self.voltage.push(now_us, sums.voltage.block());
        self.current.push(now_us, sums.current.block());
        sums
    }
    pub(crate) fn close_flows(&mut self, now_us: u64) {
        self.gas_flow.push(now_us, self.gas_sums.take());
        self.coolant_flow.push(now_us, self.coolant_sums.take());
    }
    /// Closes the torch window; returns the time of a weave cycle that it completes under the arc.
    pub(crate) fn close_torch(&mut self, now_us: u64) -> Option<u64> {
        let Some((at_us, position)) = self.torch.take() else {
            if now_us.saturating_sub(self.torch.seen_us) > 1_000_000 {
                self.weave.clear();
            }
            return None;
        };
        let period_us = self.weave.push(at_us, position)?.period_us?;
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
    }
    /// A wait longer than the tolerance lies behind.
    pub(crate) fn after_gap(&mut self) {
        self.weave.clear();
        self.torch.sums = Block::EMPTY;
        self.spindle.forget_speed();
    }
    /// All times from here on are of another clock.
    pub(crate) fn start_clock(&mut self, now_us: u64) {
        self.torch.seen_us = now_us;
        self.signal.start(now_us);
        self.weave.clear();
        self.spindle.forget_speed();
        self.dips.restart(now_us);
        self.gas.forget();
        self.gas_flow.clear();
        self.coolant_flow.clear();
    }
}
