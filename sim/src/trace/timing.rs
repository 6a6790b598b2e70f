//! How far apart the rows of a trace are.
//!
//! Decides: the nominal period, whether rows are evenly spaced, and from when on a wait is a gap.
//! Assumes: the first rows are like the rest.
//! Never: looks at readings.

/// So many first rows tell the spacing.
pub const LOOKED_AT: usize = 2000;
/// Spacings the core takes, microseconds: 50 kHz to 0.2 Hz.
const SHORTEST_US: u64 = 20;
const LONGEST_US: u64 = 5_000_000;
/// Clocks differ: as much as this beyond the ends is taken as the end.
const TOLERANCE: u64 = 100;

/// The spacing of a trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spacing {
    /// Median spacing, microseconds.
    pub period_us: u32,
    /// A longer wait between two rows is a gap, microseconds.
    pub gap_tolerance_us: u32,
    /// Do nine in ten spacings lie within a quarter of the median?
    pub evenly_spaced: bool,
}

/// Why there is no spacing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpacingError {
    /// There are not two rows of which the later has the later time.
    TimeStandsStill,
    /// The median spacing is out of range, microseconds.
    OutOfRange(u64),
}

impl Spacing {
    /// The spacing of rows at `times_us`. Backward and zero steps do not count.
    ///
    /// # Errors
    /// [`SpacingError`].
    pub fn of(times_us: impl Iterator<Item = u64> + Clone) -> Result<Self, SpacingError> {
        let later = times_us.clone().skip(1);
        let mut steps: Vec<u64> =
            times_us.zip(later).filter_map(|(before, after)| after.checked_sub(before)).collect();
        steps.retain(|&step| step > 0);
        steps.sort_unstable();
        let share = |percent: usize| steps.get((steps.len().saturating_sub(1)) * percent / 100).copied();
        let (Some(low), Some(median), Some(high)) = (share(5), share(50), share(95)) else {
            return Err(SpacingError::TimeStandsStill);
        };
        let in_range = SHORTEST_US - SHORTEST_US / TOLERANCE..=LONGEST_US + LONGEST_US / TOLERANCE;
        if !in_range.contains(&median) {
            return Err(SpacingError::OutOfRange(median));
        }
        let period_us = median.clamp(SHORTEST_US, LONGEST_US);
        let evenly_spaced = low >= median - median / 4 && high <= median + median / 4;
        // Evenly: ten rows are missing, but a short stutter of a fast logger is none. Unevenly: well
        // beyond what is seen all the time.
        let gap_us = if evenly_spaced { (10 * period_us).max(250_000) } else { (5 * high).max(1_000_000) };
        let gap_tolerance_us = u32::try_from(gap_us).unwrap_or(u32::MAX);
        Ok(Self { period_us: period_us as u32, gap_tolerance_us, evenly_spaced })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(times_us: &[u64]) -> Result<Spacing, SpacingError> {
        Spacing::of(times_us.iter().copied())
    }

    #[test]
    fn even_spacing_at_both_ends_of_the_range() {
        for (period_us, gap_tolerance_us) in
            [(20, 250_000), (20_000, 250_000), (30_000, 300_000), (5_000_000, 50_000_000)]
        {
            let times: Vec<u64> = (7..50).map(|row| row * period_us).collect();
            let expected = Spacing { period_us: period_us as u32, gap_tolerance_us, evenly_spaced: true };
            assert_eq!(of(&times), Ok(expected));
        }
        assert_eq!(of(&[0, 5_050_000]).map(|spacing| spacing.period_us), Ok(5_000_000));
        assert_eq!(of(&[0, 5_050_001]), Err(SpacingError::OutOfRange(5_050_001)));
        assert_eq!(of(&[0, 19]), Err(SpacingError::OutOfRange(19)));
    }

    #[test]
    fn uneven_spacing_widens_the_tolerance() {
        // 60, 110, 160 ms in turn, and a long wait now and then.
        let mut time = 0;
        let times: Vec<u64> = (0..600)
            .map(|row| {
                time += [60_000, 110_000, 300_000][row % 3] + if row % 100 == 99 { 9_000_000 } else { 0 };
                time
            })
            .collect();
        let expected = Spacing { period_us: 110_000, gap_tolerance_us: 1_500_000, evenly_spaced: false };
        assert_eq!(of(&times), Ok(expected));
    }

    #[test]
    fn time_that_does_not_advance_has_no_spacing() {
        for times in [[].as_slice(), &[5], &[5, 5, 5], &[9, 8, 7]] {
            assert_eq!(of(times), Err(SpacingError::TimeStandsStill));
        }
    }
}
