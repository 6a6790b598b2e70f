//! The temperature of the joint where a sensor looks at it.
//!
//! Decides: the work temperature beside the bands.
//! Assumes: a ring near the bands that takes the arc's heat, and a body behind it; air takes heat from
//! both. Two lumps, with invented figures: enough for a slow reading between bands.

/// The joint as two lumps.
#[derive(Clone, Copy, Debug)]
pub struct Heat {
    /// Ring under and beside the bands, degrees Celsius.
    pub ring_c: f64,
    body_c: f64,
}

/// J/K.
const RING_J_PER_K: f64 = 9_000.0;
const BODY_J_PER_K: f64 = 20_000.0;
/// W/K.
const RING_TO_BODY: f64 = 70.0;
const TO_AIR: f64 = 2.2;
const AIR_C: f64 = 18.0;
/// Share of the arc's power that stays in the joint.
const STAYS: f64 = 0.75;

impl Heat {
    /// Soaked evenly.
    pub fn soaked(at_c: f64) -> Self {
        Self { ring_c: at_c, body_c: at_c }
    }
    /// Carries on by `dt_s` with so much arc power.
    pub fn step(&mut self, dt_s: f64, arc_w: f64) {
        let between = RING_TO_BODY * (self.ring_c - self.body_c);
        let ring_air = TO_AIR * (self.ring_c - AIR_C);
        let body_air = TO_AIR * (self.body_c - AIR_C);
        self.ring_c += (STAYS * arc_w - between - ring_air) * dt_s / RING_J_PER_K;
        self.body_c += (between - body_air) * dt_s / BODY_J_PER_K;
    }
}
