//! Seeded random numbers, one stream a use.
//!
//! Decides: that every sensor and every disturbance draws from its own stream, so that a fault put
//! into a scenario leaves the noise of everything else as it was.
//! Assumes: nothing.
//! Never: asks the operating system for randomness.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;

/// A stream of random numbers.
#[derive(Clone, Debug)]
pub struct Noise {
    generator: Pcg32,
    spare: Option<f64>,
}

impl Noise {
    /// The stream `stream` of `seed`.
    pub fn new(seed: u64, stream: u64) -> Self {
        Self { generator: Pcg32::new(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15), stream), spare: None }
    }
    /// Evenly spread over `low..high`.
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        let unit = (f64::from(self.generator.next_u32()) + 0.5) / 4_294_967_296.0;
        low + (high - low) * unit
    }
    /// One of `count` equally likely whole numbers from 0.
    pub fn pick(&mut self, count: usize) -> usize {
        (self.uniform(0.0, count as f64) as usize).min(count.saturating_sub(1))
    }
    /// Normally spread with mean 0 and standard deviation 1 (Marsaglia's polar method).
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (x, y) = (self.uniform(-1.0, 1.0), self.uniform(-1.0, 1.0));
            let square = x * x + y * y;
            if square < 1.0 && square > 0.0 {
                let scale = libm::sqrt(-2.0 * libm::log(square) / square);
                self.spare = Some(y * scale);
                return x * scale;
            }
        }
    }
}

/// A wandering value with mean 0: white noise through a first-order lag (Ornstein-Uhlenbeck),
/// stepped exactly, so that its spread does not depend on the step.
#[derive(Clone, Debug)]
pub struct Wander {
    /// Where it is.
    pub value: f64,
    noise: Noise,
}

impl Wander {
    /// Starts at 0.
    pub fn new(noise: Noise) -> Self {
        Self { value: 0.0, noise }
    }
    /// One step of `step_s` with standard deviation `deviation` and correlation time `time_s`.
    pub fn advance(&mut self, step_s: f64, deviation: f64, time_s: f64) {
        if deviation <= 0.0 {
            self.value = 0.0;
            return;
        }
        let keep = libm::exp(-step_s / time_s);
        self.value = keep * self.value + deviation * libm::sqrt(1.0 - keep * keep) * self.noise.normal();
    }
}

/// Lags of pink noise, s: the fastest, how many, and each against the one before.
const PINK: (f64, usize, f64) = (0.005, 10, 3.0);

/// Noise whose power falls with one over the frequency, from 0.002 to 30 Hz: wandering values of equal
/// spread, their times evenly apart in the logarithm.
#[derive(Clone, Debug)]
pub struct Pink {
    parts: Vec<Wander>,
}

impl Pink {
    /// Drawn from `seed` and a stream of its own.
    pub fn new(seed: u64, stream: u64) -> Self {
        let parts = (0..PINK.1 as u64).map(|part| {
            let mut noise = Noise::new(seed.wrapping_add(part.wrapping_mul(0x2545_f491_4f6c_dd1d)), stream);
            // In the long run, not at rest.
            let value = noise.normal();
            Wander { value, noise }
        });
        Self { parts: parts.collect() }
    }
    /// The value `step_s` later; its standard deviation in the long run is 1.
    pub fn advance(&mut self, step_s: f64) -> f64 {
        let mut time_s = PINK.0;
        for part in &mut self.parts {
            part.advance(step_s, 1.0, time_s);
            time_s *= PINK.2;
        }
        self.parts.iter().map(|part| part.value).sum::<f64>() / libm::sqrt(self.parts.len() as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_numbers_have_mean_0_and_deviation_1() {
        let mut noise = Noise::new(7, 1);
        let count = 100_000;
        let (sum, squares) = (0..count).fold((0.0, 0.0), |(sum, squares), _| {
            let value = noise.normal();
            (sum + value, squares + value * value)
        });
        // Five standard errors either way.
        assert!((sum / f64::from(count)).abs() < 5.0 / 316.0);
        assert!((squares / f64::from(count) - 1.0).abs() < 5.0 * 1.414 / 316.0);
    }

    #[test]
    fn a_wander_keeps_its_spread_whatever_the_step() {
        for step_s in [0.001, 0.05] {
            let mut wander = Wander::new(Noise::new(3, 2));
            let (count, mut squares) = (100_000, 0.0);
            for _ in 0..count {
                wander.advance(step_s, 2.0, 0.01);
                squares += wander.value * wander.value;
            }
            assert!((squares / f64::from(count) / 4.0 - 1.0).abs() < 0.1, "{step_s}");
        }
    }
}
