//! A seeded source of chance.
//!
//! Decides: how numbers are drawn.
//! Never: looks at a clock: the same seed gives the same joint everywhere.

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::f64::consts::TAU;

/// A stream of chance.
#[derive(Clone, Debug)]
pub struct Chance(Pcg64Mcg);

impl Chance {
    /// The stream of a seed; `stream` parts the uses of one seed from each other.
    pub fn new(seed: u64, stream: u64) -> Self {
        Self(Pcg64Mcg::seed_from_u64(seed.wrapping_mul(0x2545_F491_4F6C_DD1D) ^ stream.rotate_left(40)))
    }
    /// From 0 up to and without 1.
    pub fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }
    /// Evenly between the two.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    /// Of a normal distribution with mean 0 and deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (TAU * self.unit()).cos()
    }
    /// Normal, but never further from `middle` than three deviations: a setting that a person sees to.
    pub fn around(&mut self, middle: f64, deviation: f64) -> f64 {
        middle + deviation * self.normal().clamp(-3.0, 3.0)
    }
    /// True in this share of the draws.
    pub fn happens(&mut self, share: f64) -> bool {
        self.unit() < share
    }
    /// One of these, each as likely as the others.
    ///
    /// # Panics
    /// The list is empty.
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[(self.unit() * of.len() as f64) as usize]
    }
}
