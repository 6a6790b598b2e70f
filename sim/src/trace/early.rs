//! The clock of a stream, told by so few rows that whoever looks on need not wait for it.
//!
//! Decides: from when on the first rows suffice, and whether later ones contradict them.
//! Assumes: the times of rows as they were read, one after the other.
//! Never: changes what was told: a clock that turns out to be another is a fault.

use super::stamps::Stamps;
use super::timing::{LOOKED_AT, Spacing};

/// So many rows over so long suffice, where they are evenly spaced and do not carry the time of a batch.
const LEAST_ROWS: usize = 30;
const LEAST_US: u64 = 3_000_000;

/// What a stream's first rows tell of its clock.
#[derive(Clone, Debug, Default)]
pub struct EarlyClock {
    times_us: Vec<u64>,
    /// The median spacing that was told, µs, and after how many rows.
    told: Option<(u32, usize)>,
}

impl EarlyClock {
    /// Takes the time of a row; do the rows so far suffice?
    pub fn suffices(&mut self, time_us: u64) -> bool {
        self.times_us.push(time_us);
        let first_us = self.times_us.first().copied().unwrap_or(time_us);
        if self.times_us.len() < LEAST_ROWS || time_us.saturating_sub(first_us) < LEAST_US {
            return false;
        }
        let spacing = self.spacing().filter(|spacing| spacing.evenly_spaced);
        self.told = spacing.map(|spacing| (spacing.period_us, self.times_us.len()));
        self.told.is_some()
    }
    /// Takes the time of a later row: what is wrong where the rows so far contradict what was told. It is looked at each
    /// time there are twice as many, and once when there are as many as a file is judged by.
    pub fn contradiction(&mut self, time_us: u64) -> Option<String> {
        let (told_us, rows) = self.told?;
        self.times_us.push(time_us);
        let count = self.times_us.len();
        if count < LOOKED_AT.min(2 * rows) {
            return None;
        }
        let now_us = self.spacing().map(|spacing| spacing.period_us);
        self.told = (count < LOOKED_AT).then_some((told_us, count));
        match now_us {
            Some(now_us) if now_us.abs_diff(told_us) <= told_us / 4 => None,
            now_us => {
                let seconds = |us: u32| f64::from(us) / 1e6;
                let now =
                    now_us.map_or("have no spacing".to_owned(), |us| format!("are {} s apart", seconds(us)));
                let told = seconds(told_us);
                Some(format!(
                    "the first rows of this stream are {told} s apart, its first {count} {now} (median)"
                ))
            }
        }
    }
    /// The spacing of all rows so far; none where several carry the time of a batch.
    fn spacing(&self) -> Option<Spacing> {
        let times_us = self.times_us.iter().copied();
        if Stamps::of(times_us.clone()).is_some() { None } else { Spacing::of(times_us).ok() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows until they suffice.
    fn until_it_suffices(clock: &mut EarlyClock, times_us: &mut impl Iterator<Item = u64>) -> Option<usize> {
        times_us.take(LOOKED_AT).position(|time_us| clock.suffices(time_us)).map(|place| place + 1)
    }

    #[test]
    fn some_seconds_of_even_rows_suffice() {
        for (period_us, rows) in [(100_000, 31), (20_000, 151), (1_000_000, 30)] {
            let mut times_us = (7..).map(|row| row * period_us);
            assert_eq!(
                until_it_suffices(&mut EarlyClock::default(), &mut times_us),
                Some(rows),
                "{period_us}"
            );
        }
    }

    #[test]
    fn whole_seconds_and_uneven_rows_are_waited_for() {
        let mut seconds = (0..).map(|row| row / 10 * 1_000_000);
        assert_eq!(until_it_suffices(&mut EarlyClock::default(), &mut seconds), None);
        let mut uneven = (0..).map(|row| row * 100_000 + row % 3 * 40_000);
        assert_eq!(until_it_suffices(&mut EarlyClock::default(), &mut uneven), None);
        let mut still = std::iter::repeat(5);
        assert_eq!(until_it_suffices(&mut EarlyClock::default(), &mut still), None);
    }

    #[test]
    fn a_clock_that_turns_out_to_be_another_is_told() {
        // 10 rows a second, and from the fourth second on 20.
        let mut clock = EarlyClock::default();
        let mut times_us = (0..40).map(|row| row * 100_000).chain((0..).map(|row| 4_000_000 + row * 50_000));
        assert!(until_it_suffices(&mut clock, &mut times_us).is_some());
        let told = times_us.take(LOOKED_AT).find_map(|time_us| clock.contradiction(time_us));
        assert!(told.is_some_and(|told| told.contains("0.1 s apart") && told.contains("0.05 s apart")));
        // One that stays as it was is not, and is not looked at for ever.
        let mut clock = EarlyClock::default();
        let mut times_us = (0..).map(|row| row * 100_000);
        assert!(until_it_suffices(&mut clock, &mut times_us).is_some());
        assert_eq!(times_us.take(10_000).find_map(|time_us| clock.contradiction(time_us)), None);
        assert_eq!(clock.times_us.len(), LOOKED_AT);
    }
}
