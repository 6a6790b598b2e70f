//! A clock that is set back.
//!
//! Decides: when it was, and what the times behind it are: they go on behind a hole as long as a band may lie in, since
//! nobody knows how much time went by.
//! Assumes: [`SET_BACK`] rows in a row from the past are a clock that was set back; fewer are rows out of order.
//! Never: lets two rows of different times have one: whatever is looked up by its time is found in the order of rows.

/// So many rows in a row from the past are a clock that was set back; of those before them nothing is judged.
pub const SET_BACK: u8 = 8;
/// Longer than any hole over which a procedure may join a band (15 s), and than a band takes; in whole seconds, as some
/// logs are stamped. Invented.
pub const HOLE_US: u64 = 16_000_000;
/// Set-backs that are kept.
const MOST: usize = 1000;

/// Where a clock was set back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SetBack {
    /// The first row behind it has this time, µs.
    pub at_us: u64,
    /// The clock that wrote it showed so much less since the first row, µs.
    pub by_us: i64,
}

/// Follows the times of rows.
#[derive(Debug, Default)]
pub struct SetBacks {
    newest_us: Option<u64>,
    in_a_row: u8,
    by_us: i64,
    all: Vec<SetBack>,
}

impl SetBacks {
    /// The time of the next row, of which the clock shows this since the first.
    #[inline]
    pub fn straight_us(&mut self, shown_us: i64) -> u64 {
        let us = u64::try_from(shown_us.saturating_add(self.by_us)).unwrap_or(0);
        let is_late =
            self.newest_us.is_some_and(|newest_us| us < newest_us || shown_us.saturating_add(self.by_us) < 0);
        if !is_late {
            self.in_a_row = 0;
            self.newest_us = Some(us);
            return us;
        }
        self.in_a_row += 1;
        if self.in_a_row < SET_BACK {
            return us;
        }
        self.in_a_row = 0;
        let at_us = self.newest_us.unwrap_or(0).saturating_add(HOLE_US);
        self.by_us = i64::try_from(at_us).unwrap_or(i64::MAX).saturating_sub(shown_us);
        self.newest_us = Some(at_us);
        if self.all.len() < MOST {
            self.all.push(SetBack { at_us, by_us: self.by_us });
        }
        at_us
    }
    /// When a row of this time was read: of one from the past just behind the newest.
    pub fn read_at_us(&self, row_us: u64) -> u64 {
        match self.newest_us {
            Some(newest_us) if self.in_a_row > 0 => newest_us.saturating_add(1),
            _ => row_us,
        }
    }
    /// All of them.
    pub fn all(&self) -> &[SetBack] {
        &self.all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_go_on_behind_a_hole_and_a_few_late_ones_stay_late() {
        let mut clock = SetBacks::default();
        let second = 1_000_000;
        let mut of = |seconds: i64| (clock.straight_us(seconds * second), clock.read_at_us(0));
        assert_eq!(of(100), (100_000_000, 0));
        for late in 0..7 {
            assert_eq!(of(90 + late), ((90 + late as u64) * 1_000_000, 100_000_001));
        }
        assert_eq!(of(101).0, 101_000_000);
        for late in 0..7 {
            let _ = of(-20 + late);
        }
        assert_eq!(of(-13).0, 101_000_000 + HOLE_US);
        assert_eq!(of(-12).0, 102_000_000 + HOLE_US);
        assert_eq!(clock.all(), [SetBack { at_us: 117_000_000, by_us: 130_000_000 }]);
    }
}
