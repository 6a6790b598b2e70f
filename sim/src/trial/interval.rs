//! How far a share of a few counts can be trusted.
//!
//! Decides: the interval of a binomial share.
//! Assumes: events independent of each other.
//! Never: calls 1 of 1 certain.
//!
//! The interval is the exact one of Clopper and Pearson, "The use of confidence or fiducial limits
//! illustrated in the case of the binomial", Biometrika 26 (1934), here by bisection.

/// Chance that the true share is outside, 5 % in all.
const TAIL: f64 = 0.025;

/// The share of `hits` in `of`, with the 95 % interval it lies in; none of none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// As counted.
    pub share: f64,
    /// No less than this.
    pub low: f64,
    /// No more than this.
    pub high: f64,
}

impl Share {
    /// The share of `hits` in `of`.
    pub fn of(hits: u64, of: u64) -> Option<Self> {
        if of == 0 || hits > of {
            return None;
        }
        // At the lower end it is as good as excluded to see so many, at the upper one to see so few.
        let low = if hits == 0 { 0.0 } else { 1.0 - root(|share| at_most(of - hits, of, share)) };
        let high = if hits == of { 1.0 } else { root(|share| at_most(hits, of, share)) };
        Some(Self { share: hits as f64 / of as f64, low, high })
    }
    /// The lower end in whole per cent, never more than it is.
    pub fn low_percent(&self) -> f64 {
        (100.0 * self.low).floor()
    }
    /// The upper end in whole per cent, never less than it is.
    pub fn high_percent(&self) -> f64 {
        (100.0 * self.high).ceil()
    }
}

/// Where a chance that falls with the share has come down to the tail.
fn root(chance: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if chance(middle) > TAIL { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// The chance of no more than `most` hits in `of` at a share between 0 and 1; `most` is below `of`.
fn at_most(most: u64, of: u64, share: f64) -> f64 {
    let odds = (share / (1.0 - share)).ln();
    // In logarithms, so that the chance of none of ten thousand is no zero.
    let mut term = of as f64 * (1.0 - share).ln();
    let mut chance = term.exp();
    for hit in 1..=most {
        term += ((of - hit + 1) as f64 / hit as f64).ln() + odds;
        chance += term.exp();
    }
    chance.min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_of_nothing_has_no_share() {
        assert_eq!(Share::of(0, 0), None);
        assert_eq!(Share::of(3, 2), None);
    }

    /// With none or all found both ends have a closed form: 1 - (5 % / 2)^(1/n).
    #[test]
    fn none_and_all_are_as_the_closed_form_says() {
        for of in [1_u64, 2, 10, 5000] {
            let expected = 1.0 - 0.025_f64.powf(1.0 / of as f64);
            let none = Share::of(0, of).expect("some");
            let all = Share::of(of, of).expect("some");
            assert!((none.high - expected).abs() < 1e-9 && none.low == 0.0, "{none:?}");
            assert!((all.low - (1.0 - expected)).abs() < 1e-9 && all.high == 1.0, "{all:?}");
        }
    }
}
