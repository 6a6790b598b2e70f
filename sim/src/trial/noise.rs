//! How far a judged value wanders within seconds while nothing is wrong.
//!
//! Decides: which values are compared: two of one stretch of good welding, a second apart.
//! Assumes: values in the order of their time.
//! Never: takes a slow drift for noise, nor what a band differs from the next.
//!
//! The deviation is that of successive differences, after von Neumann, Kent, Bellinson and Hart, "The mean
//! square successive difference", Annals of Mathematical Statistics 12 (1941); from memory.

/// Values are means over a second at most for the electrical ones, so that two a second apart share none.
const LAG_US: u64 = 1_000_000;
/// Fewer differences than this tell nothing.
const LEAST: u64 = 30;

/// Squared differences so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Noise {
    before: Option<(u64, i32)>,
    squares: u128,
    count: u64,
}

impl Noise {
    /// Takes a value; none where the rule was not judged. `is_sound` tells whether nothing is wrong now.
    pub fn take(&mut self, value: Option<i32>, now_us: u64, is_sound: impl FnOnce() -> bool) {
        let Some(value) = value else {
            self.before = None;
            return;
        };
        if self.before.is_some_and(|(before_us, _)| now_us < before_us + LAG_US) {
            return;
        }
        if !is_sound() {
            self.before = None;
            return;
        }
        if let Some((_, before)) = self.before {
            self.squares += u128::from(value.abs_diff(before)).pow(2);
            self.count += 1;
        }
        self.before = Some((now_us, value));
    }
    /// Adds what was seen elsewhere.
    pub fn add(&mut self, other: &Self) {
        self.squares += other.squares;
        self.count += other.count;
    }
    /// The standard deviation, in raw units.
    pub fn deviation(&self) -> Option<f64> {
        (self.count >= LEAST).then(|| (self.squares as f64 / (2.0 * self.count as f64)).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drift_is_not_noise_and_a_coin_is() {
        let (mut drift, mut coin) = (Noise::default(), Noise::default());
        // A repeatable coin: the top bit of a linear congruential generator (Knuth, MMIX; from memory).
        let mut state = 1_u64;
        for second in 0..5000_u64 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let side = if state >> 63 == 0 { -1000 } else { 1000 };
            drift.take(Some(second as i32), second * 1_000_000, || true);
            coin.take(Some(side), second * 1_000_000, || true);
        }
        // A step of 1 each second: 1 / sqrt(2). A coin of +-1000 deviates by 1000.
        assert!((drift.deviation().expect("enough") - 0.5_f64.sqrt()).abs() < 1e-9);
        assert!((coin.deviation().expect("enough") / 1000.0 - 1.0).abs() < 0.05);
    }

    #[test]
    fn nothing_is_compared_across_a_fault_or_a_hole() {
        let mut noise = Noise::default();
        for second in 0..200_u64 {
            let is_fault = (50..60).contains(&second);
            let value = (second != 100).then_some(if second > 100 || is_fault { 900 } else { 0 });
            noise.take(value, second * 1_000_000, || !is_fault);
        }
        assert_eq!(noise.deviation(), Some(0.0));
        assert_eq!(Noise::default().deviation(), None);
    }
}
