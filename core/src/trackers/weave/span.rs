//! How far the torch moved over the last cycle, crossing or not.
//!
//! Decides: the lowest and highest position of the last two half cycles and of the running one.
//! Assumes: it is told how long a cycle was.
//! Never: waits for a crossing; a weave that collapsed may have none.

/// Extremes of three stretches of half a cycle.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    part_us: u32,
    since_us: u64,
    parts: [(i32, i32); 3],
}

const EMPTY: (i32, i32) = (i32::MAX, i32::MIN);

impl Span {
    pub(super) const NONE: Self = Self { part_us: 0, since_us: 0, parts: [EMPTY; 3] };

    /// Half of this cycle is a stretch.
    pub(super) fn set_part(&mut self, cycle_us: u64) {
        self.part_us = u32::try_from(cycle_us >> 1).unwrap_or(u32::MAX);
    }

    pub(super) fn push(&mut self, now_us: u64, position: i32) {
        if now_us.saturating_sub(self.since_us) >= u64::from(self.part_us) {
            let [_, middle, newest] = self.parts;
            self.parts = [middle, newest, EMPTY];
            self.since_us = now_us;
        }
        let [_, _, (low, high)] = &mut self.parts;
        *low = position.min(*low);
        *high = position.max(*high);
    }

    /// From the lowest to the highest position, raw length; absent before a whole cycle was seen.
    pub(super) fn over_a_cycle(&self) -> Option<i32> {
        if self.part_us == 0 || self.parts.contains(&EMPTY) {
            return None;
        }
        let low = self.parts.iter().map(|&(low, _)| low).min()?;
        let high = self.parts.iter().map(|&(_, high)| high).max()?;
        Some(high.saturating_sub(low))
    }
}
