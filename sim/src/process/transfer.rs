//! How drops leave the wire, and when they short the arc.
//!
//! Decides: the transfer mode, the size of the next drop, when it touches the pool and for how long.
//! Assumes: a drop hangs below the wire and shortens the arc as it grows; where the arc is shorter
//! than the drop, the drop touches.
//! Never: resolves the shape of a drop.

use super::arc::Gap;
use super::random::{Noise, Wander};

/// How metal crosses the arc.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// Small drops, a hundred and more a second.
    Spray,
    /// Drops larger than the wire, a few a second.
    Globular,
    /// Large drops pushed aside by the arc in an unsuitable gas: they bridge to the pool.
    Repelled,
}

/// Onset of spray transfer, carbon steel in Ar-2 % O2: wire diameter mm, current A. Handbook table of
/// spray transition currents (read in a public handbook).
pub const SPRAY_TRANSITION: [(f64, f64); 5] =
    [(0.8, 150.0), (0.9, 165.0), (1.1, 220.0), (1.3, 240.0), (1.6, 275.0)];

/// The current, A, from which a wire sprays: the table, straight between its lines and straight on
/// beyond its ends.
pub fn spray_transition_a(diameter_mm: f64) -> f64 {
    let segment = SPRAY_TRANSITION
        .windows(2)
        .find(|pair| diameter_mm <= pair[1].0)
        .unwrap_or(&SPRAY_TRANSITION[SPRAY_TRANSITION.len() - 2..]);
    let ((x0, y0), (x1, y1)) = (segment[0], segment[1]);
    y0 + (y1 - y0) * (diameter_mm - x0) / (x1 - x0)
}

/// What decides how metal crosses.
#[derive(Clone, Copy, Debug)]
pub struct Conditions {
    /// Current, A.
    pub current_a: f64,
    /// Distance from the end of the solid wire to the pool at rest, mm.
    pub length_mm: f64,
    /// Wire feed, mm/s.
    pub feed_mm_per_s: f64,
    /// Wire diameter, mm.
    pub wire_diameter_mm: f64,
    /// Does the gas allow spray at all?
    pub gas_sprays: bool,
    /// Repelled drops a second where the gas does not suit the wire.
    pub repelled_per_s: f64,
    /// Standard deviation of the pool's heaving, mm.
    pub pool_mm: f64,
}

/// Drops at the end of the wire.
#[derive(Clone, Debug)]
pub struct Droplets {
    /// Share of the next drop that has grown, 0 to 1.
    grown: f64,
    /// Size of this drop against the usual one.
    size: f64,
    /// A short circuit under way: how long it has lasted and will last, s.
    short: Option<(f64, f64)>,
    since_short_s: f64,
    pool: Wander,
    noise: Noise,
    /// Short circuits so far.
    pub shorts: u32,
}

/// Bridge of liquid metal when it has just formed, ohm; it rises as its neck is pinched.
const BRIDGE_OHM: f64 = 0.006;
/// Shortest and longest short circuit, s. Common practice, no source.
const SHORT_S: (f64, f64) = (0.0013, 0.0045);
/// A fresh arc has grown to its length in this time, s.
const STRIKE_S: f64 = 0.2;
/// An arc that has just re-ignited burns at least this long, s.
const REST_S: f64 = 0.004;

impl Droplets {
    /// A clean wire end.
    pub fn new(seed: u64) -> Self {
        Self {
            grown: 0.0,
            size: 1.0,
            short: None,
            since_short_s: 0.0,
            pool: Wander::new(Noise::new(seed, 101)),
            noise: Noise::new(seed, 102),
            shorts: 0,
        }
    }
    /// The arc went out: the drop falls off.
    pub fn reset(&mut self) {
        // While the arc grows to its length, drops do not touch.
        (self.grown, self.short, self.since_short_s) = (0.0, None, -STRIKE_S);
    }
    /// No step may pass the end of a short circuit: the longest step allowed, s.
    pub fn longest_step_s(&self) -> f64 {
        self.short.map_or(f64::INFINITY, |(lasted, lasts)| (lasts - lasted).max(1e-6))
    }
    /// What is between wire and work now.
    pub fn gap(&self, conditions: &Conditions) -> Gap {
        match self.short {
            Some((lasted, lasts)) => {
                let share = (lasted / lasts).min(1.0);
                Gap::Bridge(BRIDGE_OHM * (1.0 + 2.0 * share * share * share * share))
            }
            None => Gap::Arc(self.hanging_mm(conditions) + self.pool.value),
        }
    }
    /// Lets `step_s` pass.
    pub fn advance(&mut self, conditions: &Conditions, step_s: f64) {
        self.pool.advance(step_s, conditions.pool_mm, 0.02);
        if let Some((lasted, lasts)) = self.short {
            let lasted = lasted + step_s;
            self.short = (lasted < lasts - 1e-9).then_some((lasted, lasts));
            if self.short.is_none() {
                (self.since_short_s, self.grown) = (0.0, 0.0);
                self.size = self.noise.uniform(0.8, 1.2);
            }
            return;
        }
        self.since_short_s += step_s;
        self.grown += step_s * self.drops_per_s(conditions);
        let touches = conditions.length_mm - self.pool.value <= self.hanging_mm(conditions);
        let bridges = mode(conditions) == Mode::Repelled && self.grown >= 1.0;
        if (touches || bridges) && self.since_short_s >= REST_S {
            self.short = Some((0.0, self.noise.uniform(SHORT_S.0, SHORT_S.1)));
            self.shorts += 1;
        } else if self.grown >= 1.0 {
            self.grown -= libm::floor(self.grown);
            self.size = self.noise.uniform(0.8, 1.2);
        }
    }
    /// How far the drop hangs below the wire, mm.
    fn hanging_mm(&self, conditions: &Conditions) -> f64 {
        let share = match mode(conditions) {
            Mode::Spray => 0.4,
            Mode::Globular => 0.5,
            Mode::Repelled => 0.6,
        };
        share * drop_diameter_mm(conditions) * libm::cbrt(self.grown.clamp(0.0, 1.0) * self.size)
    }
    fn drops_per_s(&self, conditions: &Conditions) -> f64 {
        if mode(conditions) == Mode::Repelled {
            // The next drop grows when the last short circuit is over.
            return 1.0 / (self.size * (1.0 / conditions.repelled_per_s - 0.5 * (SHORT_S.0 + SHORT_S.1)));
        }
        let diameter = drop_diameter_mm(conditions);
        let section = std::f64::consts::FRAC_PI_4 * conditions.wire_diameter_mm * conditions.wire_diameter_mm;
        let volume = std::f64::consts::PI / 6.0 * diameter * diameter * diameter * self.size;
        conditions.feed_mm_per_s * section / volume
    }
}

/// The mode the conditions make.
pub fn mode(conditions: &Conditions) -> Mode {
    if conditions.repelled_per_s > 0.0 {
        Mode::Repelled
    } else if conditions.gas_sprays && conditions.current_a >= spray_transition_a(conditions.wire_diameter_mm)
    {
        Mode::Spray
    } else {
        Mode::Globular
    }
}

/// Usual diameter of a drop, mm. Common practice, no source: about the wire's in spray, twice that
/// in globular transfer; a repelled drop is what the feed gives at its stated rate.
fn drop_diameter_mm(conditions: &Conditions) -> f64 {
    match mode(conditions) {
        Mode::Spray => 0.9 * conditions.wire_diameter_mm,
        Mode::Globular => 2.0 * conditions.wire_diameter_mm,
        Mode::Repelled => {
            let wire = conditions.wire_diameter_mm;
            libm::cbrt(1.5 * wire * wire * conditions.feed_mm_per_s / conditions.repelled_per_s)
        }
    }
}
