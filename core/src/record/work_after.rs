//! Whether what the pyrometer read before the arc fits what it reads soon after.
//!
//! Decides: how hot the work surely was, and how cold, from the fourth second of the arc to the twentieth.
//! Assumes: a flame and a hand over the pyrometer are gone by then, and the arc has not warmed its spot by much.
//! Never: calls a limit broken by it: it only keeps one from being proven.

use crate::procedure::Range;
use crate::rule::Side;
use crate::trackers::WorkTracker;
use crate::units::Temperature;

/// The looks begin so long after the strike, and end, µs. The last is for a flame that lasted into the one before.
const LOOKS_US: [(u64, u64); 3] =
    [(4_000_000, 12_000_000), (12_000_000, 20_000_000), (16_000_000, 21_000_000)];
/// A flame or a hand fills a look that is shorter than this: it tells of no hot work, and not how far it fell, µs.
const LONG_US: u64 = 8_000_000;
/// The arc does not warm the spot of the pyrometer by so much meanwhile, raw. Common practice, no source.
const WARMS_BY: i32 = Temperature::from_milli(60_000).to_bits();
/// No reading is better than this, raw.
const AS_GOOD_AS: i32 = Temperature::from_milli(5_000).to_bits();

/// What was read after the strike.
#[derive(Clone, Copy, Debug)]
pub(crate) struct WorkAfter {
    looks: u8,
    /// It was at least so hot all through one of the looks.
    hot: Option<i32>,
    /// It was no hotter than this all through one of them.
    cold: Option<i32>,
    /// And all through the last.
    cold_at_last: Option<i32>,
}

impl WorkAfter {
    /// Nothing yet.
    pub(crate) const fn empty() -> Self {
        Self { looks: 0, hot: None, cold: None, cold_at_last: None }
    }
}

impl WorkAfter {
    /// Looks, where it is time to.
    pub(crate) fn follow(&mut self, now_us: u64, start_us: u64, work: &WorkTracker) {
        let Some(&(from_us, until_us)) = LOOKS_US.get(usize::from(self.looks)) else { return };
        if now_us.saturating_sub(start_us) < until_us {
            return;
        }
        if let Some((lowest, highest)) = work.span_since(start_us.saturating_add(from_us)) {
            if until_us.saturating_sub(from_us) >= LONG_US {
                self.hot = self.hot.max(Some(lowest));
                self.cold = Some(self.cold.map_or(highest, |cold| cold.min(highest)));
            } else {
                self.cold_at_last = Some(highest);
            }
        }
        self.looks = self.looks.saturating_add(1);
    }
    /// Does it contradict that the work, as it was read `before` the arc, was on the right `side` of the range?
    pub(crate) fn contradicts(&self, before: i32, range: Range, side: Side) -> bool {
        // Whatever is outside before the arc is judged by that.
        match side {
            Side::Low if before < range.low => false,
            Side::High if before > range.high => false,
            // Nor does it cool under the arc.
            Side::Low => {
                let is_cold = |cold: i32| cold < range.low.saturating_sub(AS_GOOD_AS);
                self.cold.is_some_and(|cold| is_cold(cold) || before.saturating_sub(cold) > WARMS_BY)
                    || self.cold_at_last.is_some_and(is_cold)
            }
            Side::High => {
                self.hot.is_some_and(|hot| hot > range.high && hot.saturating_sub(before) > WARMS_BY)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Degrees Celsius at every second after the strike, held against 100 to 400.
    fn contradicts(before: i32, read: fn(u64) -> i32, side: Side) -> bool {
        let raw = |celsius: i32| Temperature::from_milli(i64::from(celsius) * 1000).to_bits();
        let (mut work, mut after) = (WorkTracker::new(), WorkAfter::empty());
        for second in 0..30 {
            work.push(second * 1_000_000, raw(read(second)));
            after.follow(second * 1_000_000, 0, &work);
        }
        after.contradicts(raw(before), Range { low: raw(100), high: raw(400) }, side)
    }

    #[test]
    fn a_hand_over_the_pyrometer_and_a_flame_over_cold_work_are_found_out() {
        assert!(contradicts(260, |second| if second < 12 { 260 } else { 460 }, Side::High));
        assert!(contradicts(150, |second| if second < 11 { 150 } else { 70 }, Side::Low));
        assert!(
            contradicts(230, |second| if second < 15 { 230 } else { 70 }, Side::Low),
            "a flame until then"
        );
        assert!(!contradicts(390, |second| 390 + i32::try_from(second).unwrap(), Side::High), "it warms");
        assert!(!contradicts(150, |second| if second < 14 { 300 } else { 380 }, Side::High));
        assert!(
            !contradicts(150, |second| if second % 6 == 0 { 120 } else { 40 }, Side::Low),
            "once it was seen"
        );
    }
}
