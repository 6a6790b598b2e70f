//! Rows that are stamped with whole seconds only, several rows a second.
//!
//! Decides: whether a trace is stamped so, and where in its second each row then lies: the rows of a second are
//! spread evenly over it.
//! Assumes: the logger's rows come evenly; the first rows are like the rest.
//! Never: closes a hole: where a second has clearly too few rows, they keep the usual distance.

use super::Row;

const SECOND_US: u64 = 1_000_000;
/// Seconds that must be seen whole before a trace is taken for one stamped so.
const LEAST_SECONDS: usize = 2;
/// A second with more rows than so many usual ones is a clock that stands.
const STANDS: usize = 4;

/// Spreads rows over their second.
#[derive(Debug)]
pub struct Stamps {
    /// Rows in most seconds.
    usual: usize,
    /// Rows of the newest second, not yet spread.
    held: Vec<Row>,
    /// The second spread last.
    before_us: Option<u64>,
}

impl Stamps {
    /// For rows at `times_us`; `None` where they are not stamped with whole seconds, several a second.
    pub fn of(times_us: impl Iterator<Item = u64>) -> Option<Self> {
        let mut counts: Vec<usize> = Vec::new();
        let mut last_us = None;
        for time_us in times_us {
            match last_us {
                Some(last_us) if last_us == time_us => {
                    if let Some(count) = counts.last_mut() {
                        *count += 1;
                    }
                }
                Some(last_us) if time_us.abs_diff(last_us) % SECOND_US != 0 => return None,
                _ => counts.push(1),
            }
            last_us = Some(time_us);
        }
        // The first second and the last may be cut.
        let whole = counts.len().checked_sub(2).filter(|&whole| whole >= LEAST_SECONDS)?;
        let counts = &mut counts[1..=whole];
        counts.sort_unstable();
        let usual = counts[whole / 2];
        (usual >= 2).then_some(Self { usual, held: Vec::new(), before_us: None })
    }
    /// Rows in most seconds.
    pub fn rows_a_second(&self) -> usize {
        self.usual
    }
    /// Takes a row; gives those of the second before it to `ready` once that is over.
    pub fn push(&mut self, row: Row, ready: &mut impl Extend<Row>) {
        if self.held.first().is_some_and(|first| first.time_us != row.time_us) {
            self.spread(false, ready);
        }
        if self.held.len() == STANDS * self.usual {
            self.spread(false, ready);
        }
        if self.before_us == Some(row.time_us) {
            // The clock stands, and the rest of these rows with it: the core tells that.
            ready.extend(Some(Row { time_us: row.time_us + SECOND_US - 1, ..row }));
        } else {
            self.held.push(row);
        }
    }
    /// Gives the rows of the last second.
    pub fn finish(&mut self, ready: &mut impl Extend<Row>) {
        self.spread(true, ready);
    }

    fn spread(&mut self, is_last: bool, ready: &mut impl Extend<Row>) {
        let Some(second_us) = self.held.first().map(|row| row.time_us) else { return };
        let count = self.held.len();
        let follows = self.before_us.is_some_and(|before_us| before_us + SECOND_US == second_us);
        self.before_us = Some(second_us);
        let is_cut = 4 * count < 3 * self.usual || count < self.usual && (is_last || !follows);
        let parts = if is_cut { self.usual } else { count };
        // Rows after a hole, or at the beginning, are the last of their second.
        let first = if is_cut && !follows { parts - count } else { 0 };
        let at = |index: usize| second_us + (first + index) as u64 * SECOND_US / parts as u64;
        ready.extend(self.held.drain(..).enumerate().map(|(index, row)| Row { time_us: at(index), ..row }));
    }
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

    #[test]
    fn other_stamps_are_left_as_they_are() {
        assert_eq!(spread(&stamped(0, &[1; 20])), None);
        assert_eq!(spread(&stamped(0, &[5, 5, 5])), None, "too short to tell");
        let mut finer = stamped(0, &[5; 20]);
        finer.push(20_100_000);
        assert_eq!(spread(&finer), None);
        assert_eq!(spread(&[]), None);
    }
}
