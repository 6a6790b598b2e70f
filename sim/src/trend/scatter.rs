//! How much scatter follows on itself from joint to joint.
//!
//! Decides: how many readings count as one, in a mean of few and of many.
//! Assumes: each reading keeps a share of what the one before departed by (an autoregression of order 1).
//! Never: takes readings for more independent than they are; a share below nothing counts as nothing.

/// The share of many readings, which that of few is drawn to.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Scatter {
    share: f64,
}

/// The common share counts like that of so many readings of one's own.
const WEIGHT: f64 = 30.0;
/// A larger share is a drift.
const MOST: f64 = 0.5;

/// Products of neighbours, and squares.
fn sums(deviates: &[f64]) -> (f64, f64) {
    let products = deviates.windows(2).map(|pair| pair.iter().product::<f64>()).sum();
    (products, deviates.iter().map(|deviate| deviate * deviate).sum())
}

impl Scatter {
    /// Of the deviates of the baselines of several quantities.
    pub fn of<'d>(baselines: impl Iterator<Item = &'d [f64]>) -> Self {
        let (products, squares) = baselines
            .map(sums)
            .fold((0.0, 0.0), |(products, squares), own| (products + own.0, squares + own.1));
        Self { share: if squares > 0.0 { (products / squares).clamp(0.0, MOST) } else { 0.0 } }
    }
    /// The share of a quantity with these deviates.
    #[must_use]
    pub fn of_own(self, own: &[f64]) -> Self {
        let (products, squares) = sums(own);
        Self { share: ((products + WEIGHT * self.share) / (squares + WEIGHT)).clamp(0.0, MOST) }
    }
    /// How many readings count as one in the mean of very many: its variance, in that of independent
    /// readings, is (1 + share) / (1 - share) (any textbook of time series).
    pub fn inflation(self) -> f64 {
        (1.0 + self.share) / (1.0 - self.share)
    }
    /// The same for a mean of so many, which is less: the first of them follows on nothing.
    pub fn inflation_of(self, count: f64) -> f64 {
        let rest = 1.0 - self.share;
        self.inflation() - 2.0 * self.share * (1.0 - self.share.powf(count)) / (count * rest * rest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_that_keep_two_fifths_count_as_less_than_half() {
        let mut last = 0.0;
        let mut noise = crate::process::random::Noise::new(3, 1);
        let deviates: Vec<f64> = (0..4000)
            .map(|_| {
                last = 0.4 * last + 0.84_f64.sqrt() * noise.normal();
                last
            })
            .collect();
        let scatter = Scatter::of([&deviates[..]].into_iter());
        let own = scatter.of_own(&deviates);
        assert!((own.inflation() - 1.4 / 0.6).abs() < 0.2, "{own:?}");
        // By hand: two readings that share 0.4 have a mean of 1.4 times the variance, one of 1.
        let known = Scatter { share: 0.4 };
        assert!(
            (known.inflation_of(2.0) - 1.4).abs() < 1e-12 && (known.inflation_of(1.0) - 1.0).abs() < 1e-12
        );
        let independent: Vec<f64> = (0..4000).map(|_| noise.normal()).collect();
        let scatter = Scatter::of([&independent[..]].into_iter());
        assert!(scatter.of_own(&independent).inflation() < 1.1);
    }
}
