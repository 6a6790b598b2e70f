//! How much scatter follows on itself from joint to joint.
//!
//! Decides: how many readings count as one.
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
    /// How many readings count as one, for a quantity with these deviates: the variance of a long mean, in
    /// that of independent readings, is (1 + share) / (1 - share) (any textbook of time series).
    pub fn inflation(self, own: &[f64]) -> f64 {
        let (products, squares) = sums(own);
        let share = ((products + WEIGHT * self.share) / (squares + WEIGHT)).clamp(0.0, MOST);
        (1.0 + share) / (1.0 - share)
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
        assert!((scatter.inflation(&deviates) - 1.4 / 0.6).abs() < 0.2, "{}", scatter.inflation(&deviates));
        let independent: Vec<f64> = (0..4000).map(|_| noise.normal()).collect();
        let scatter = Scatter::of([&independent[..]].into_iter());
        assert!(scatter.inflation(&independent) < 1.1);
    }
}
