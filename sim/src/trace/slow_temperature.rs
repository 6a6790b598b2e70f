//! A temperature that is read far more seldom than rows are written.
//!
//! Decides: when a reading that is only repeated says nothing about now any more.
//! Assumes: a thermometer that is read again and again moves in small steps; one that stands still and then leaps,
//! twice, was read only when it leapt (common practice, no source).
//! Never: takes out a reading of a thermometer that moves as the joint does, or one that has leapt only once.

use super::Row;
use bandward::Channel;

/// So long it stands, and so far it leaps, where it is read seldom: µs, K.
const STANDS_US: u64 = 15_000_000;
const LEAPS_K: f64 = 3.0;
/// A reading counts for so long, µs.
const COUNTS_US: u64 = 5_000_000;
/// Once may be a fault of the sensor.
const LEAST_LEAPS: u32 = 2;

/// Follows the temperature of the joint.
#[derive(Clone, Copy, Debug, Default)]
pub struct SlowTemperature {
    /// The reading, °C, and since when it stands, µs.
    standing: Option<(f64, u64)>,
    leaps: u32,
    longest_us: u64,
    taken_out: u64,
}

impl SlowTemperature {
    /// Takes a row, and out of it a temperature that is too old to count.
    pub fn take(&mut self, row: &mut Row) {
        let Some(work_c) = row.get(Channel::Work) else { return };
        let (standing_c, since_us) = *self.standing.get_or_insert((work_c, row.time_us));
        let stood_us = row.time_us.saturating_sub(since_us);
        if work_c.to_bits() == standing_c.to_bits() {
            if self.leaps >= LEAST_LEAPS && stood_us > COUNTS_US {
                row.values[Channel::Work as usize] = None;
                self.taken_out += 1;
            }
            return;
        }
        if stood_us >= STANDS_US && (work_c - standing_c).abs() >= LEAPS_K {
            self.leaps += 1;
            self.longest_us = self.longest_us.max(stood_us);
        }
        self.standing = Some((work_c, row.time_us));
    }
    /// What a person should know of it.
    pub fn warning(&self) -> Option<String> {
        (self.taken_out > 0).then(|| {
            format!(
                "the temperature of the joint stands still for up to {:.0} s and then leaps: it is read more seldom than \
                 rows are written; each reading counts for {} s",
                crate::raw::seconds(self.longest_us),
                COUNTS_US / 1_000_000
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Readings left of a joint that falls from 400 °C at half a kelvin a second, read every so many seconds, in steps
    /// of so many kelvins, in five rows a second for ten minutes; and is it told?
    fn left(every_s: u64, step_k: f64) -> (usize, bool) {
        let mut slow = SlowTemperature::default();
        let rows = (0..3000_u64).filter(|index| {
            let read_s = (index / 5 / every_s * every_s) as f64;
            let mut row = Row { time_us: index * 200_000, ..Row::default() };
            row.values[Channel::Work as usize] = Some(((400.0 - 0.5 * read_s) / step_k).round() * step_k);
            slow.take(&mut row);
            row.get(Channel::Work).is_some()
        });
        (rows.count(), slow.warning().is_some())
    }

    #[test]
    fn a_reading_counts_for_five_seconds_where_it_is_read_once_a_minute() {
        // The first two minutes tell; then 26 of 300 rows a minute are left.
        assert_eq!(left(60, 0.1), (601 + 8 * 26 - 1, true));
        assert_eq!(left(1, 0.1), (3000, false));
        assert_eq!(left(1, 5.0), (3000, false), "coarse, not slow: 5 K are 10 s");
    }

    #[test]
    fn a_sensor_that_stuck_once_is_not_slow() {
        let mut slow = SlowTemperature::default();
        for index in 0..600_u64 {
            let work_c = if (100..300).contains(&index) { 350.0 } else { 400.0 - index as f64 * 0.1 };
            let mut row = Row { time_us: index * 200_000, ..Row::default() };
            row.values[Channel::Work as usize] = Some(work_c);
            slow.take(&mut row);
            assert!(row.get(Channel::Work).is_some());
        }
        assert_eq!(slow.warning(), None);
    }
}
