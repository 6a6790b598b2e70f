//! The weave: a torch that swings across the band.
//!
//! Decides: the torch's place at a phase of the cycle, in several shapes.

use super::random::Chance;
use std::f64::consts::TAU;

/// How the torch swings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Swing {
    /// Crank and rod.
    Sine,
    /// A screw that is turned round at once.
    Triangle,
    /// A screw with a dwell at both ends.
    Trapezoid,
    /// Longer at one end than at the other.
    Lopsided,
    /// A screw with play: the torch stands while the nut crosses it.
    Play,
}

impl Swing {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Sine, Self::Triangle, Self::Trapezoid, Self::Lopsided, Self::Play];

    /// Place from -1 to 1 at a phase from 0 to 1.
    pub fn place(self, phase: f64) -> f64 {
        match self {
            Self::Sine => (TAU * phase).sin(),
            Self::Triangle | Self::Play => ramps(phase, 0.0, 0.0),
            Self::Trapezoid => ramps(phase, 0.12, 0.12),
            Self::Lopsided => ramps(phase, 0.26, 0.05),
        }
    }
}

/// Up, dwell, down, dwell: the two dwells are shares of the cycle.
fn ramps(phase: f64, top: f64, bottom: f64) -> f64 {
    let ramp = (1.0 - top - bottom) / 2.0;
    match phase {
        up if up < ramp => 2.0 * up / ramp - 1.0,
        dwell if dwell < ramp + top => 1.0,
        down if down < 2.0 * ramp + top => 1.0 - 2.0 * (down - ramp - top) / ramp,
        _ => -1.0,
    }
}

/// The oscillator.
#[derive(Clone, Debug)]
pub struct Weave {
    swing: Swing,
    phase: f64,
    play_mm: f64,
    /// Where the torch hangs, mm.
    pub torch_mm: f64,
    cycle_width: f64,
    cycle_rate: f64,
}

impl Weave {
    /// At rest.
    pub fn new(swing: Swing, chance: &mut Chance) -> Self {
        let play_mm = if swing == Swing::Play { chance.between(0.6, 1.6) } else { 0.0 };
        Self { swing, phase: 0.0, play_mm, torch_mm: 0.0, cycle_width: 1.0, cycle_rate: 1.0 }
    }
    /// Carries on by `dt_s` at this rate and width about this centre; each cycle differs a little.
    pub fn step(&mut self, dt_s: f64, per_min: f64, width_mm: f64, centre_mm: f64, chance: &mut Chance) {
        self.phase += per_min * self.cycle_rate / 60.0 * dt_s;
        if self.phase >= 1.0 {
            self.phase = self.phase.fract();
            self.cycle_width = chance.around(1.0, 0.004);
            self.cycle_rate = chance.around(1.0, 0.006);
        }
        // The drive swings wider by the play, so that the torch covers the width asked for.
        let swung_mm = width_mm * self.cycle_width + self.play_mm;
        let drive_mm = centre_mm + self.swing.place(self.phase) * swung_mm / 2.0;
        let half_play = self.play_mm / 2.0;
        self.torch_mm = self.torch_mm.clamp(drive_mm - half_play, drive_mm + half_play);
    }
}
