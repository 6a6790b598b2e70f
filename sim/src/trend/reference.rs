//! What a joint is compared with: all sound joints before it, less what is known of operator and warmth.
//!
//! Decides: how far off a reading is, as a multiple of the spread, whatever few joints that is known from.
//! Assumes: readings of a steady shop, less what is known, are independent of each other and normally
//! spread.
//! Never: compares a joint with what it has nothing in common with: the first one after an event has no
//! deviate.
//!
//! A chart whose mean and spread come from a short baseline, and then stay, signals falsely several times
//! as often as its table promises. Self-starting charts do not (Hawkins 1987, "Self-starting CUSUM charts
//! for location and scale", The Statistician 36, 299-315; from memory): each reading is compared with
//! those before it, and its Student's t made into the normal deviate that is as rare. With regressors the
//! same holds of recursive residuals (Brown, Durbin and Evans 1975, "Techniques for testing the constancy
//! of regression relationships over time", Journal of the Royal Statistical Society B 37, 149-192; from
//! memory): in a steady shop they are independent, whatever is modelled. Rows are taken in by Givens
//! rotations (Gentleman 1974, "Algorithm AS 75", Applied Statistics 23, 448-454; from memory).

/// A joint further off than this stands alone until the next one is too, and counts as no further
/// (common practice, no source).
pub const FURTHEST: f64 = 3.5;

/// Smaller is nothing; regressors are scaled to about one.
const NOTHING: f64 = 1e-9;

/// Readings so far. The first regressor is the level, which an event lets go.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    width: usize,
    /// Upper triangle of the rotated rows, in full rows.
    upper: Vec<f64>,
    right: Vec<f64>,
    /// Sum of the squares of what the regressors leave.
    squares: f64,
    count: f64,
    /// Levels let go.
    let_go: f64,
    least_deviation: f64,
}

impl Reference {
    /// Of nothing yet, for rows of `width` regressors. A smaller spread is taken as `least_deviation`.
    pub fn new(width: usize, least_deviation: f64) -> Self {
        let (upper, right) = (vec![0.0; width * width], vec![0.0; width]);
        Self { width, upper, right, squares: 0.0, count: 0.0, let_go: 0.0, least_deviation }
    }
    /// Of nothing yet but what is expected: rows whose reading is nothing.
    pub fn expecting(expected: &[Vec<f64>], width: usize, least_deviation: f64) -> Self {
        let mut reference = Self::new(width, least_deviation);
        for row in expected {
            reference.learn(row, 0.0);
        }
        reference
    }
    /// Of readings about which nothing else is known.
    pub fn of(readings: &[f64], least_deviation: f64) -> Self {
        let mut reference = Self::new(1, least_deviation);
        for &reading in readings {
            reference.learn(&[1.0], reading);
        }
        reference
    }
    /// Takes a reading in.
    pub fn learn(&mut self, row: &[f64], reading: f64) {
        let mut row = row.to_vec();
        let mut rest = reading;
        for at in 0..self.width {
            if row[at].abs() <= NOTHING {
                continue;
            }
            let own = self.upper[at * self.width + at];
            let length = own.hypot(row[at]);
            let (cosine, sine) = (own / length, row[at] / length);
            for (upper, entry) in
                self.upper[at * self.width..][..self.width].iter_mut().zip(&mut row).skip(at)
            {
                (*upper, *entry) = (cosine * *upper + sine * *entry, cosine * *entry - sine * *upper);
            }
            let right = &mut self.right[at];
            (*right, rest) = (cosine * *right + sine * rest, cosine * rest - sine * *right);
            if own.abs() <= NOTHING {
                // The row is the first to tell this regressor: nothing of it is left over.
                rest = 0.0;
                break;
            }
        }
        self.squares += rest * rest;
        self.count += 1.0;
    }
    /// Lets the level go: the next reading sets another one. All else that is known stays.
    pub fn let_level_go(&mut self) {
        if self.upper[0].abs() > NOTHING {
            self.let_go += 1.0;
        }
        self.upper[..self.width].fill(0.0);
        self.right[0] = 0.0;
    }
    /// What is expected of the next reading, and the variance of that in variances of a reading; `None`
    /// where nothing before is comparable.
    pub fn forecast(&self, row: &[f64]) -> Option<(f64, f64)> {
        let solved = self.solved(row)?;
        let value = solved.iter().zip(&self.right).map(|(one, other)| one * other).sum();
        Some((value, solved.iter().map(|one| one * one).sum()))
    }
    /// The row in terms of the rotated rows; `None` where they do not reach it.
    fn solved(&self, row: &[f64]) -> Option<Vec<f64>> {
        let mut solved = vec![0.0; self.width];
        for at in 0..self.width {
            let before: f64 = solved[..at]
                .iter()
                .enumerate()
                .map(|(above, one)| one * self.upper[above * self.width + at])
                .sum();
            let rest = row[at] - before;
            let own = self.upper[at * self.width + at];
            if own.abs() > NOTHING {
                solved[at] = rest / own;
            } else if rest.abs() > 1e-6 {
                return None;
            }
        }
        Some(solved)
    }
    /// How far off the next reading is: in a steady shop a standard normal deviate. `None` where nothing
    /// before is comparable.
    pub fn deviate(&self, row: &[f64], reading: f64) -> Option<f64> {
        let degrees = self.degrees();
        let (expected, variance) = self.forecast(row).filter(|_| degrees >= 1.0)?;
        Some(normal_deviate((reading - expected) / (self.deviation() * (1.0 + variance).sqrt()), degrees))
    }
    /// What each regressor makes, 0 for those that are not known.
    pub fn coefficients(&self) -> Vec<f64> {
        let mut coefficients = vec![0.0; self.width];
        for at in (0..self.width).rev() {
            let row = &self.upper[at * self.width..][..self.width];
            if row[at].abs() > NOTHING {
                let known: f64 = (at + 1..self.width).map(|next| row[next] * coefficients[next]).sum();
                coefficients[at] = (self.right[at] - known) / row[at];
            }
        }
        coefficients
    }
    /// Logarithm of the root of the determinant of the normal equations.
    pub fn log_volume(&self) -> f64 {
        let diagonal = (0..self.width).map(|at| self.upper[at * self.width + at].abs());
        diagonal.filter(|entry| *entry > NOTHING).map(f64::ln).sum()
    }
    /// Degrees of freedom of the spread.
    pub fn degrees(&self) -> f64 {
        let known = (0..self.width).filter(|at| self.upper[at * self.width + at].abs() > NOTHING).count();
        self.count - known as f64 - self.let_go
    }
    /// Sum of the squares of what the regressors leave.
    pub const fn squares(&self) -> f64 {
        self.squares
    }
    /// Standard deviation of a reading.
    pub fn deviation(&self) -> f64 {
        (self.squares / self.degrees()).sqrt().max(self.least_deviation)
    }
    /// The product of two rows of regressors, as far as the readings so far tell them.
    pub fn reach(&self, sums: &[f64]) -> f64 {
        // Sums over the rows taken in are always within their reach.
        self.solved(sums).map_or(0.0, |solved| solved.iter().map(|one| one * one).sum())
    }
}

/// Student's t as a normal deviate after Wallace 1959, "Bounds on normal approximations to Student's
/// and the chi-square distributions", Annals of Mathematical Statistics 30, 1121-1130 (from memory).
pub fn normal_deviate(t: f64, degrees: f64) -> f64 {
    let shrink = (8.0 * degrees + 1.0) / (8.0 * degrees + 3.0);
    (shrink * (degrees * (t * t / degrees).ln_1p()).sqrt()).copysign(t)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Student's t at probability 0.975: 2.3646 for 7 degrees of freedom, 2.0930 for 19 (any table, from
    /// memory), is the normal deviate 1.9600.
    #[test]
    fn a_t_of_the_table_is_the_deviate_of_the_table() {
        for (degrees, t) in [(7.0, 2.3646), (19.0, 2.0930)] {
            assert!((normal_deviate(-t, degrees) + 1.96).abs() < 0.003, "{}", normal_deviate(-t, degrees));
        }
    }

    #[test]
    fn readings_that_do_not_spread_are_told_apart_by_the_least_spread() {
        let reference = Reference::of(&[10.0; 20], 0.5);
        assert!(reference.deviate(&[1.0], 10.0).expect("known").abs() < 1e-12);
        let off = reference.deviate(&[1.0], 10.5).expect("known");
        assert!((0.8..1.0).contains(&off), "{off}");
    }

    /// A line by hand: 1, 3, 2, 4 at 0, 1, 2, 3 is 1.3 + 0.8 x with squares of 1.8; at 4 it is 4.5, with
    /// the variance 1/4 + 2.5 * 2.5 / 5 = 1.5.
    #[test]
    fn a_regression_worked_by_hand() {
        let mut reference = Reference::new(2, 1e-9);
        for (x, y) in [(0.0, 1.0), (1.0, 3.0), (2.0, 2.0), (3.0, 4.0)] {
            reference.learn(&[1.0, x], y);
        }
        let [level, slope] = reference.coefficients()[..] else { panic!("two of them") };
        assert!((level - 1.3).abs() < 1e-12 && (slope - 0.8).abs() < 1e-12, "{level} {slope}");
        assert!((reference.squares() - 1.8).abs() < 1e-12 && (reference.degrees() - 2.0).abs() < 1e-12);
        let (expected, variance) = reference.forecast(&[1.0, 4.0]).expect("known");
        assert!((expected - 4.5).abs() < 1e-12 && (variance - 1.5).abs() < 1e-12, "{expected} {variance}");
    }

    /// A new level costs the degree of the joint that sets it, and nothing of what is known besides.
    #[test]
    fn a_level_that_is_let_go_is_set_by_the_next_joint() {
        let mut reference = Reference::new(2, 1e-9);
        for (operator, y) in [(0.0, 10.0), (1.0, 12.1), (0.0, 10.2), (1.0, 12.0), (0.0, 9.8), (1.0, 11.9)] {
            reference.learn(&[1.0, operator], y);
        }
        let (degrees, squares) = (reference.degrees(), reference.squares());
        reference.let_level_go();
        assert_eq!(reference.deviate(&[1.0, 0.0], 50.0), None);
        reference.learn(&[1.0, 0.0], 50.0);
        assert!((reference.squares() - squares).abs() < 1e-9 && (reference.degrees() - degrees).abs() < 1e-9);
        let (expected, _) = reference.forecast(&[1.0, 1.0]).expect("the operator is known");
        assert!((expected - 52.0).abs() < 1e-9, "{expected}");
    }
}
