//! What is known of time, and how the work of a tick is spread over its samples.
//!
//! Decides: how many slots a sample bears, and when a tick has its last sample.
//! Assumes: nothing of the times that come.
//! Never: reads a clock; all it knows of time came with samples.

use crate::acquisition::{Acquisition, TICK_US};
use crate::judge::judgement::{Moment, Position};

/// How many slots the work of a tick is cut into.
pub(super) const SLOTS: u8 = 40;

/// What is known of time.
#[derive(Clone, Debug)]
pub(super) struct Clock {
    pub(super) last_us: u64,
    /// The sample at this time or later is the last of its tick.
    pub(super) tick_due_us: u64,
    pub(super) moment: Moment,
    /// The last late sample, not yet judged: since when there was none.
    pub(super) late_since_us: Option<u64>,
    pub(super) gaps: u32,
    pub(super) out_of_order: u32,
    /// What was just before this sample is not known: it is the first, or a hole lies before it.
    pub(super) unseen_before: bool,
    pub(super) from_the_past: u8,
    pub(super) slot: u8,
    pub(super) slots_a_step: u8,
    /// Samples come so fast that work may wait for the next one.
    pub(super) may_wait: bool,
    /// It waits for the sample after this one.
    pub(super) waits: bool,
}

impl Clock {
    /// Before the first sample, all slots in one step.
    pub(super) const RESTING: Self = Self {
        last_us: 0,
        tick_due_us: 0,
        moment: Moment { now_us: 0, elapsed_us: 0, position: Position { band: 0, turned: None } },
        late_since_us: None,
        gaps: 0,
        out_of_order: 0,
        unseen_before: true,
        from_the_past: 0,
        slot: SLOTS,
        slots_a_step: SLOTS,
        may_wait: false,
        waits: false,
    };
    /// Before the first sample, as many slots a step as it takes to be done with a tick before the next.
    pub(super) fn new(acquisition: &Acquisition) -> Self {
        let samples_a_tick = TICK_US.checked_div(u64::from(acquisition.period_us)).unwrap_or(1).max(1);
        let slots_a_step = u8::try_from(u64::from(SLOTS).div_ceil(samples_a_tick)).unwrap_or(SLOTS);
        // Then every second sample may wait, and all is done before the next tick.
        let may_wait = samples_a_tick >= u64::from(SLOTS).saturating_mul(2);
        Self { slots_a_step, may_wait, ..Self::RESTING }
    }
    pub(super) const fn gaps(&self) -> u32 {
        self.gaps
    }
    pub(super) const fn out_of_order(&self) -> u32 {
        self.out_of_order
    }
    /// When the tick that starts at `now_us` has its last sample.
    pub(super) fn due_after(now_us: u64, acquisition: &Acquisition) -> u64 {
        let wait_us = TICK_US.saturating_sub(u64::from(acquisition.period_us));
        now_us.saturating_add(wait_us.max(1))
    }
}
