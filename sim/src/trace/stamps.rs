//! Rows that carry the time of a batch: several rows a stamp, such as where a logger writes whole seconds only.
//!
//! Decides: whether a trace is stamped so, and where in its batch each row then lies: the rows of a stamp are spread
//! evenly up to the next one; and of which rows nobody knows how long after the one before they were read.
//! Assumes: the logger's rows come evenly; the first rows are like the rest.
//! Never: closes a hole: where a batch has clearly too few rows, they keep the usual distance.

use super::Row;

const SECOND_US: u64 = 1_000_000;
/// Batches that must be seen whole before a trace is taken for one stamped so.
const LEAST_BATCHES: usize = 2;
/// Stamps of another step than a second are of batches where they are so far apart at least, of so many rows. Invented.
const LEAST_STEP_US: u64 = 100_000;
const LEAST_ROWS: usize = 3;
/// A batch with more rows than so many usual ones is a clock that stands.
const STANDS: usize = 4;

/// A batch with rows of so much time more or less than usual, µs, and by more than a row and a half, has rows missing, or a
/// clock that stands behind it: where in it they lie is not known. Invented.
const MISSING_US: u64 = 150_000;

/// Spreads rows over their batch.
#[derive(Debug)]
pub struct Stamps {
    /// Usual time from stamp to stamp.
    step_us: u64,
    /// Rows in most batches.
    usual: usize,
    /// Rows of the newest batch, not yet spread.
    held: Vec<Row>,
    /// The stamp of the batch spread last, and to when it was spread.
    before_us: Option<(u64, u64)>,
    /// Where in it rows lie is not known.
    was_uneven: bool,
}

impl Stamps {
    /// For rows at `times_us`; `None` where they are not stamped so.
    pub fn of(times_us: impl Iterator<Item = u64>) -> Option<Self> {
        let mut batches: Vec<(u64, usize)> = Vec::new();
        for time_us in times_us {
            match batches.last_mut() {
                Some((last_us, count)) if *last_us == time_us => *count += 1,
                _ => batches.push((time_us, 1)),
            }
        }
        // The first batch and the last may be cut.
        let whole = batches.len().checked_sub(2).filter(|&whole| whole >= LEAST_BATCHES)?;
        let mut counts: Vec<usize> = batches[1..=whole].iter().map(|(_, count)| *count).collect();
        counts.sort_unstable();
        let usual = counts[whole / 2];
        let pairs = || batches.windows(2).map(|pair| (pair[0].0, pair[1].0));
        let mut steps: Vec<u64> = pairs().filter_map(|(before, after)| after.checked_sub(before)).collect();
        steps.sort_unstable();
        let step_us = *steps.get(steps.len() / 2)?;
        let is_even = are_alike(&steps, step_us, pairs().count());
        let is_of_seconds = pairs().all(|(before, after)| before.abs_diff(after) % SECOND_US == 0);
        let is_of_batches = is_even
            && step_us >= LEAST_STEP_US
            && usual >= LEAST_ROWS
            && are_alike(&counts.iter().map(|&count| count as u64).collect::<Vec<_>>(), usual as u64, whole);
        let step_us = match (is_of_batches, is_of_seconds && usual >= 2) {
            (true, _) => step_us,
            (false, true) => SECOND_US,
            (false, false) => return None,
        };
        Some(Self { step_us, usual, held: Vec::new(), before_us: None, was_uneven: false })
    }
    /// What a person should know of it.
    pub fn warning(&self) -> String {
        let usual = self.usual;
        if self.step_us == SECOND_US {
            return format!(
                "times are whole seconds; the rows of each second (usually {usual}) are spread evenly over it"
            );
        }
        let step_s = self.step_us as f64 / SECOND_US as f64;
        format!(
            "times are those of batches of rows, {step_s} s apart; the rows of each (usually {usual}) are spread evenly \
             over it"
        )
    }
    /// Is it a second from stamp to stamp?
    pub fn is_of_seconds(&self) -> bool {
        self.step_us == SECOND_US
    }
    /// Takes a row; gives those of the batch before it to `ready` once that is over.
    pub fn push(&mut self, row: Row, ready: &mut impl Extend<Row>) {
        if self.held.first().is_some_and(|first| first.time_us != row.time_us) {
            self.spread(Some(row.time_us), ready);
        }
        if self.held.len() == STANDS * self.usual {
            // It goes on: what comes next is not known, and this is not the last.
            self.spread(Some(row.time_us), ready);
        }
        match self.before_us {
            // The clock stands, and the rest of these rows with it: the core tells that.
            Some((stamp_us, end_us)) if stamp_us == row.time_us => {
                ready.extend(Some(Row { time_us: end_us - 1, ..row }));
            }
            _ => self.held.push(row),
        }
    }
    /// Gives the rows of the last batch.
    pub fn finish(&mut self, ready: &mut impl Extend<Row>) {
        self.spread(None, ready);
    }

    /// Up to the next stamp, where that comes about when it should.
    fn spread(&mut self, next_us: Option<u64>, ready: &mut impl Extend<Row>) {
        let Some(stamp_us) = self.held.first().map(|row| row.time_us) else { return };
        let count = self.held.len();
        let wait_us = next_us.and_then(|next_us| next_us.checked_sub(stamp_us));
        let span_us = wait_us.filter(|&wait_us| wait_us > 0 && 2 * wait_us <= 3 * self.step_us);
        let span_us = span_us.unwrap_or(self.step_us);
        let follows = self.before_us.is_some_and(|(_, end_us)| end_us == stamp_us);
        self.before_us = Some((stamp_us, stamp_us + span_us));
        let is_last = next_us.is_none();
        let is_cut = 4 * count < 3 * self.usual || count < self.usual && (is_last || !follows);
        let parts = if is_cut { self.usual } else { count };
        // Rows after a hole, or at the beginning, are the last of their batch.
        let first = if is_cut && !follows { parts - count } else { 0 };
        let at = |index: usize| stamp_us + (first + index) as u64 * span_us / parts as u64;
        let is_hole = wait_us.is_none_or(|wait_us| 2 * wait_us > 3 * self.step_us);
        let is_uneven = follows && !is_hole && self.is_uneven(count as u64, span_us);
        let was_uneven = std::mem::replace(&mut self.was_uneven, is_uneven);
        ready.extend(self.held.drain(..).enumerate().map(|(index, row)| {
            let is_wait_unknown = is_uneven || was_uneven && index == 0;
            Row { time_us: at(index), is_wait_unknown, ..row }
        }));
    }
    /// Are so many rows too few, or too many, for so much time?
    const fn is_uneven(&self, count: u64, span_us: u64) -> bool {
        let usual = self.usual as u64;
        // As time: a row stands for `step_us / usual`.
        let off_us = (count * self.step_us).abs_diff(usual * span_us);
        off_us > MISSING_US * usual && 2 * off_us > 3 * self.step_us
    }
}

/// Do three in four of `all` lie within a quarter of the usual one? The others are holes.
fn are_alike(values: &[u64], usual: u64, all: usize) -> bool {
    let is_alike = |value: &&u64| 4 * value.abs_diff(usual) <= usual;
    4 * values.iter().filter(is_alike).count() >= 3 * all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows a second as given, from the second `start_s` on; 0 is a second without rows.
    fn stamped(start_s: u64, counts: &[usize]) -> Vec<u64> {
        let seconds = counts.iter().zip(start_s..);
        seconds.flat_map(|(&count, second)| vec![second * SECOND_US; count]).collect()
    }

    fn spread(times_us: &[u64]) -> Option<Vec<u64>> {
        let mut stamps = Stamps::of(times_us.iter().copied())?;
        let mut ready = Vec::new();
        for &time_us in times_us {
            stamps.push(Row::at(time_us), &mut ready);
        }
        stamps.finish(&mut ready);
        assert_eq!(ready.len(), times_us.len());
        Some(ready.into_iter().map(|row| row.time_us).collect())
    }

    #[test]
    fn rows_come_evenly_from_the_first_to_the_last() {
        let times = spread(&stamped(36_000, &[3, 10, 10, 10, 4])).unwrap();
        let expected: Vec<u64> = (0..37).map(|row| 36_000_700_000 + 100_000 * row).collect();
        assert_eq!(times, expected);
    }

    #[test]
    fn a_second_with_a_row_more_or_less_is_filled() {
        let times = spread(&stamped(0, &[4, 4, 5, 3, 4])).unwrap();
        assert_eq!(times[8..13], [2_000_000, 2_200_000, 2_400_000, 2_600_000, 2_800_000]);
        assert_eq!(times[13..16], [3_000_000, 3_333_333, 3_666_666]);
    }

    #[test]
    fn a_hole_stays_a_hole() {
        // Rows are missing from 2.2 s to 5.8 s.
        let times = spread(&stamped(0, &[10, 10, 2, 0, 0, 2, 10, 10])).unwrap();
        assert_eq!(times[20..24], [2_000_000, 2_100_000, 5_800_000, 5_900_000]);
    }

    #[test]
    fn a_clock_that_stands_is_not_spread_on() {
        let times = spread(&stamped(0, &[2, 2, 2, 2, 20, 2])).unwrap();
        assert!(times.is_sorted());
        assert!(times[16..28].iter().all(|&time_us| time_us == 4_999_999), "{times:?}");
        assert_eq!(times[28..], [5_000_000, 5_500_000]);
    }

    /// Of which rows is it not known how long after the one before they were read?
    fn unknown(counts: &[usize]) -> Vec<usize> {
        let times_us = stamped(0, counts);
        let mut stamps = Stamps::of(times_us.iter().copied()).unwrap();
        let mut ready: Vec<Row> = Vec::new();
        for time_us in times_us {
            stamps.push(Row::at(time_us), &mut ready);
        }
        stamps.finish(&mut ready);
        (0..ready.len()).filter(|&at| ready[at].is_wait_unknown).collect()
    }

    #[test]
    fn a_batch_of_too_few_or_too_many_rows_lies_nobody_knows_where() {
        assert_eq!(unknown(&[10, 10, 9, 11, 10, 10]), [0_usize; 0]);
        assert_eq!(unknown(&[10, 10, 8, 10, 10]), (20..29).collect::<Vec<_>>());
        assert_eq!(unknown(&[10, 10, 15, 10, 10]), (20..36).collect::<Vec<_>>());
        // Beside a hole it is known at which end of it they lie.
        assert_eq!(unknown(&[10, 10, 2, 0, 0, 2, 10, 10]), [0_usize; 0]);
        // A tenth of a second is little.
        assert_eq!(unknown(&[100, 100, 90, 100, 100]), [0_usize; 0]);
    }

    /// Stamps as they come, 25 rows each, and of whole seconds that are five apart.
    #[test]
    fn batches_of_another_step_are_spread_up_to_the_next() {
        for (step_us, late_us) in [(500_000, 0), (500_000, 13_000), (1_500_000, 0), (5_000_000, 0)] {
            let stamp = |batch: u64| batch * step_us + batch % 3 * late_us;
            let times: Vec<u64> = (0..8).flat_map(|batch| vec![stamp(batch); 25]).collect();
            let spread = spread(&times).unwrap();
            for batch in 1..7 {
                let span_us = stamp(batch + 1) - stamp(batch);
                let expected: Vec<u64> = (0..25).map(|row| stamp(batch) + row * span_us / 25).collect();
                assert_eq!(spread[25 * batch as usize..][..25], expected, "{step_us} {late_us}");
            }
            assert!(spread.is_sorted());
        }
        // A batch is missing: a hole.
        let times: Vec<u64> =
            [0, 1, 2, 3, 5, 6, 7].into_iter().flat_map(|batch| vec![batch * 500_000; 25]).collect();
        let spread = spread(&times).unwrap();
        assert_eq!((spread[99], spread[100]), (1_980_000, 2_500_000));
    }

    #[test]
    fn other_stamps_are_left_as_they_are() {
        assert_eq!(spread(&stamped(0, &[1; 20])), None);
        assert_eq!(spread(&stamped(0, &[5, 5, 5])), None, "too short to tell");
        // Ten rows a stamp of 20 ms; two rows every half second; as many rows as it happens.
        let batches = |step_us: u64, counts: [u64; 4]| -> Vec<u64> {
            (0..80).flat_map(|at| vec![at * step_us; counts[at as usize % 4] as usize]).collect()
        };
        assert_eq!(spread(&batches(20_000, [10; 4])), None);
        assert_eq!(spread(&batches(500_000, [2; 4])), None);
        assert_eq!(spread(&batches(500_000, [1, 9, 3, 4])), None);
        assert_eq!(spread(&[]), None);
    }
}
