//! The turning pipe, and an encoder that is not quite in its middle.
//!
//! Decides: where the pipe is and what the encoder says.
//! Assumes: the encoder rides on the pipe, so that it sees a slip in the chuck.

use super::noise::in_steps;
use super::random::Chance;

/// Pipe, drive and encoder.
#[derive(Clone, Debug)]
pub struct Spindle {
    /// Angle of the pipe, degrees, running on.
    pub pipe_deg: f64,
    /// Speed of the pipe, degrees a second.
    pub speed_deg_s: f64,
    /// Counts that the encoder did not give, degrees.
    lost_deg: f64,
    encoder: Encoder,
    belt: f64,
}

/// How the encoder reads.
#[derive(Clone, Copy, Debug)]
pub struct Encoder {
    /// Counts a turn.
    pub counts: f64,
    /// Amplitude of its error once a turn, degrees.
    pub eccentric_deg: f64,
    /// Where the error is nought, degrees.
    pub eccentric_at_deg: f64,
    /// Falls back to 0 at 360?
    pub wraps: bool,
    /// Counts down as the joint turns the way it should?
    pub counts_down: bool,
    /// Gives a rising run of degrees, from anywhere.
    pub zero_deg: f64,
}

impl Encoder {
    /// One as shops have them.
    pub fn drawn(chance: &mut Chance) -> Self {
        Self {
            counts: chance.pick(&[1024.0, 1440.0, 2000.0, 3600.0, 4096.0, 65_536.0]),
            eccentric_deg: chance.between(0.02, 0.35),
            eccentric_at_deg: chance.between(0.0, 360.0),
            wraps: chance.happens(0.6),
            counts_down: true,
            zero_deg: chance.between(0.0, 360.0),
        }
    }
}

impl Spindle {
    /// At rest.
    pub fn new(encoder: Encoder) -> Self {
        Self { pipe_deg: 0.0, speed_deg_s: 0.0, lost_deg: 0.0, encoder, belt: 0.0 }
    }
    /// Carries on by `dt_s` towards the speed asked for; `held` is the share of the motion that the chuck
    /// passes on, `seen` the share of the counts that come through.
    pub fn step(&mut self, dt_s: f64, asked_deg_s: f64, held: f64, seen: f64) {
        // A gear motor: full speed in some 0.4 s.
        let most = 12.0 * dt_s;
        self.belt += (asked_deg_s - self.belt).clamp(-most, most);
        // The belt's seam: half a percent, a few times a turn.
        let seam = 1.0 + 0.005 * (self.pipe_deg.to_radians() * 3.3).sin();
        self.speed_deg_s = self.belt * seam * held;
        let moved = self.speed_deg_s * dt_s;
        self.pipe_deg += moved;
        self.lost_deg += moved * (1.0 - seen);
    }
    /// What the encoder says, degrees.
    pub fn reading_deg(&self) -> f64 {
        let Encoder { counts, eccentric_deg, eccentric_at_deg, wraps, counts_down, zero_deg } = self.encoder;
        let error = eccentric_deg * (self.pipe_deg - eccentric_at_deg).to_radians().sin();
        let seen = self.pipe_deg - self.lost_deg + error;
        let angle = zero_deg + if counts_down { -seen } else { seen };
        let stepped = in_steps(angle, 360.0 / counts);
        if wraps { stepped.rem_euclid(360.0) } else { stepped }
    }
}
