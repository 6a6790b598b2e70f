//! How fast a count runs from row to row.
//!
//! Decides: how far it will have run in a hole of the data.
//! Assumes: it runs on in the hole as it did before.
//! Never: calls the usual spacing of rows a hole.

/// A wait of so many usual ones is a hole, and not below this, µs.
const HOLE: f64 = 4.0;
const LEAST_HOLE_US: f64 = 500_000.0;
/// A pace is one of some seconds, µs.
const LEARNT_US: f64 = 2_000_000.0;

/// Follows one column of counts.
#[derive(Clone, Copy, Debug, Default)]
pub struct CountPace {
    last_us: Option<u64>,
    spacing_us: f64,
    /// Counts a microsecond.
    speed: f64,
}

impl CountPace {
    /// Counts that will have come in the hole that lies before `now_us`; `None` where there is none.
    pub fn in_hole(&self, now_us: u64) -> Option<f64> {
        let wait_us = now_us.saturating_sub(self.last_us?) as f64;
        let is_hole = self.spacing_us > 0.0 && wait_us > (HOLE * self.spacing_us).max(LEAST_HOLE_US);
        is_hole.then_some(self.speed * wait_us)
    }
    /// Takes the counts that came since the last row.
    pub fn note(&mut self, now_us: u64, counts: f64) {
        let is_hole = self.in_hole(now_us).is_some();
        let wait_us = self.last_us.map_or(0.0, |last_us| now_us.saturating_sub(last_us) as f64);
        self.last_us = Some(now_us);
        if is_hole || wait_us <= 0.0 {
            return;
        }
        let share = (wait_us / LEARNT_US).min(1.0);
        self.speed += (counts.abs() / wait_us - self.speed) * share;
        self.spacing_us =
            if self.spacing_us > 0.0 { self.spacing_us + (wait_us - self.spacing_us) / 8.0 } else { wait_us };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten counts a second, ten rows a second: in 5 s there will have been 50.
    #[test]
    fn a_hole_is_as_long_as_the_counts_that_fit_in_it() {
        let mut pace = CountPace::default();
        for row in 0..100 {
            assert_eq!(pace.in_hole(row * 100_000), None);
            pace.note(row * 100_000, 1.0);
        }
        let counts = pace.in_hole(9_900_000 + 5_000_000).expect("a hole");
        assert!((counts - 50.0).abs() < 1.0, "{counts}");
    }
}
