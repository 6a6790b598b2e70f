//! What a joint is compared with: all sound joints before it.
//!
//! Decides: how far off a reading is, as a multiple of the spread, whatever few joints that is known from.
//! Assumes: readings of a steady shop are independent of each other and normally spread.
//! Never: lets one joint alone make a drift.
//!
//! A chart whose mean and spread come from a short baseline, and then stay, signals falsely several times
//! as often as its table promises. Self-starting charts do not (Hawkins 1987, "Self-starting CUSUM charts
//! for location and scale", The Statistician 36, 299-315; from memory): each reading is compared with
//! those before it, and its Student's t made into the normal deviate that is as rare. In a steady shop
//! these deviates are independent, with mean 0 and deviation 1, from the third reading on.

/// Further off is taken as so far: a joint with a fault of its own is no drift (common practice, no
/// source). 3.5 is below what either chart, at its usual settings, needs to signal.
const FURTHEST: f64 = 3.5;

/// Readings so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    count: f64,
    mean: f64,
    /// Sum of the squares of what departs from the mean.
    squares: f64,
    least_deviation: f64,
}

impl Reference {
    /// Of the readings of a baseline, at least two. A smaller spread is taken as `least_deviation`.
    pub fn of(readings: &[f64], least_deviation: f64) -> Self {
        let start = Self { count: 0.0, mean: 0.0, squares: 0.0, least_deviation };
        readings.iter().fold(start, |reference, &reading| reference.with(reading))
    }
    /// How far off the next reading is: in a steady shop a standard normal deviate.
    ///
    /// Student's t as a normal deviate after Wallace 1959, "Bounds on normal approximations to Student's
    /// and the chi-square distributions", Annals of Mathematical Statistics 30, 1121-1130 (from memory).
    pub fn deviate(&self, reading: f64) -> f64 {
        let degrees = self.degrees();
        let t = (reading - self.mean) / self.scale();
        let deviate = shrink(degrees) * (degrees * (t * t / degrees).ln_1p()).sqrt();
        deviate.min(FURTHEST).copysign(t)
    }
    /// The same with one more reading, which counts as no further off than is possible for a deviate.
    #[must_use]
    pub fn learnt(&self, reading: f64) -> Self {
        let degrees = self.degrees();
        let furthest = (degrees * ((FURTHEST / shrink(degrees)).powi(2) / degrees).exp_m1()).sqrt();
        let reach = furthest * self.scale();
        self.with(reading.clamp(self.mean - reach, self.mean + reach))
    }
    /// Mean and squares after Welford 1962, "Note on a method for calculating corrected sums of squares
    /// and products", Technometrics 4, 419-420.
    fn with(mut self, reading: f64) -> Self {
        self.count += 1.0;
        let off = reading - self.mean;
        self.mean += off / self.count;
        self.squares += off * (reading - self.mean);
        self
    }
    const fn degrees(&self) -> f64 {
        (self.count - 1.0).max(1.0)
    }
    /// Standard deviation of the difference between the next reading and the mean so far.
    fn scale(&self) -> f64 {
        let deviation = (self.squares / self.degrees()).sqrt().max(self.least_deviation);
        deviation * (1.0 + 1.0 / self.count).sqrt()
    }
}

fn shrink(degrees: f64) -> f64 {
    (8.0 * degrees + 1.0) / (8.0 * degrees + 3.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Student's t at probability 0.975: 2.3646 for 7 degrees of freedom, 2.0930 for 19 (any table, from
    /// memory), is the normal deviate 1.9600.
    #[test]
    fn a_t_of_the_table_is_the_deviate_of_the_table() {
        for (count, t) in [(8.0, 2.3646), (20.0, 2.0930)] {
            let reference =
                Reference { count, mean: 5.0, squares: 4.0 * (count - 1.0), least_deviation: 0.1 };
            let reading = 5.0 - t * 2.0 * (1.0 + 1.0 / count).sqrt();
            assert!((reference.deviate(reading) + 1.96).abs() < 0.003, "{}", reference.deviate(reading));
        }
    }

    #[test]
    fn what_is_impossibly_far_off_counts_as_far_off_and_no_more() {
        let reference = Reference::of(&[9.0, 11.0, 10.0, 9.5, 10.5, 10.0, 9.0, 11.0], 0.1);
        assert!((reference.deviate(1e6) - FURTHEST).abs() < 1e-12);
        assert!((reference.deviate(-1e6) + FURTHEST).abs() < 1e-12);
        let learnt = reference.learnt(1e6);
        assert!(learnt.mean < 11.0 && (learnt.mean - reference.learnt(1e5).mean).abs() < 1e-12);
        // A reading that is as far off as it may be, and no further, is learnt as it is.
        let (near, far) = (reference.learnt(12.0), reference.with(12.0));
        assert_eq!(near, far);
    }

    #[test]
    fn readings_that_do_not_spread_are_told_apart_by_the_least_spread() {
        let reference = Reference::of(&[10.0; 20], 0.5);
        assert!(reference.deviate(10.0).abs() < 1e-12);
        assert!((0.8..1.0).contains(&reference.deviate(10.5)), "{}", reference.deviate(10.5));
    }
}
