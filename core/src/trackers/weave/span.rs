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

#[cfg(test)]
mod tests {
    use super::*;

    /// Cycles of 2 s: stretches of one second. What is seen is that of the running one and of the two before.
    #[test]
    fn the_last_three_halves_of_a_cycle_are_seen() {
        let mut span = Span::NONE;
        span.push(0, 5);
        assert_eq!(span.over_a_cycle(), None, "no cycle is known");
        span.set_part(2_000_000);
        for (now_us, position, expected) in [
            (0, 100, None),
            (999_999, -100, None),
            (1_000_000, 10, None),
            (1_999_999, 20, None),
            // The third stretch begins: from -100 of the first to 100.
            (2_000_000, 15, Some(200)),
            (2_500_000, 30, Some(200)),
            // The first is gone: from 10 of the second to 30.
            (3_000_000, 18, Some(20)),
            (3_999_999, -12, Some(42)),
            (4_000_000, 0, Some(42)),
            (5_000_000, 0, Some(30)),
            (6_000_000, 0, Some(0)),
        ] {
            span.push(now_us, position);
            assert_eq!(span.over_a_cycle(), expected, "{now_us}");
        }
    }

    #[test]
    fn a_cycle_too_long_to_be_held_is_the_longest() {
        let mut span = Span::NONE;
        span.set_part(u64::MAX);
        assert_eq!(span.part_us, u32::MAX);
    }
}
