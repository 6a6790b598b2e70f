//! What moves and what flows: weave, chuck, gas and coolant lines.
//!
//! Decides: how each follows what it is told.
//! Assumes: first-order lags; a weave of half cosines with a dwell at either end.
//! Never: knows about the arc.

use std::f64::consts::PI;

/// A weave drive with dwell and backlash.
#[derive(Clone, Debug, Default)]
pub struct Weave {
    /// Share of a cycle that has passed, 0 to 1.
    phase: f64,
    output_mm: f64,
}

/// What a weave drive is told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WeaveSetting {
    /// Complete cycles a minute; 0 holds it where it is.
    pub per_min: f64,
    /// Drive amplitude either side of the centre, mm.
    pub amplitude_mm: f64,
    /// Share of the cycle spent standing at either end, 0 to 0.4.
    pub dwell: f64,
    /// Play between drive and torch, mm.
    pub backlash_mm: f64,
    /// Centre, mm.
    pub centre_mm: f64,
}

impl Weave {
    /// Back to the centre, about to move towards larger positions.
    pub fn park(&mut self, setting: &WeaveSetting) {
        self.phase = (0.5 - setting.dwell) / 2.0;
        self.output_mm = 0.0;
    }
    /// Lets `step_s` pass.
    pub fn advance(&mut self, setting: &WeaveSetting, step_s: f64) {
        self.phase += setting.per_min / 60.0 * step_s;
        self.phase -= libm::floor(self.phase);
        let drive = setting.amplitude_mm * profile(self.phase, setting.dwell);
        // The torch only moves when the play is used up.
        let play = setting.backlash_mm / 2.0;
        self.output_mm = self.output_mm.clamp(drive - play, drive + play);
    }
    /// Torch position across the band, mm.
    pub fn position_mm(&self, setting: &WeaveSetting) -> f64 {
        setting.centre_mm + self.output_mm
    }
}

/// One cycle from -1 to 1 and back, standing at either end for `dwell` of it.
fn profile(phase: f64, dwell: f64) -> f64 {
    let travel = 0.5 - dwell;
    let (half, sign) = if phase < 0.5 { (phase, -1.0) } else { (phase - 0.5, 1.0) };
    sign * libm::cos(PI * (half / travel).min(1.0))
}

/// A chuck that turns the pipe.
#[derive(Clone, Debug, Default)]
pub struct Chuck {
    drive_deg_per_s: f64,
    /// Angle of the pipe since the start of the trace in the direction of travel, degrees.
    pub pipe_deg: f64,
}

/// The drive of a chuck follows its command with this lag, s. Invented.
const CHUCK_LAG_S: f64 = 0.05;

impl Chuck {
    /// Lets `step_s` pass: the drive is told `command_deg_per_s`, the pipe follows but for `slip`
    /// (0 holds fast, 1 stands still); the speed swings by `unevenness` once a turn.
    pub fn advance(&mut self, command_deg_per_s: f64, slip: f64, unevenness: f64, step_s: f64) {
        self.drive_deg_per_s = lag(self.drive_deg_per_s, command_deg_per_s, CHUCK_LAG_S, step_s);
        let swing = 1.0 + unevenness * libm::sin(self.pipe_deg.to_radians());
        self.pipe_deg += self.drive_deg_per_s * swing * (1.0 - slip) * step_s;
    }
}

/// A valve and the line behind it.
#[derive(Clone, Debug, Default)]
pub struct Line {
    /// Flow, L/min.
    pub flow_lpm: f64,
}

impl Line {
    /// Lets `step_s` pass towards `target_lpm` with the line's lag.
    pub fn advance(&mut self, target_lpm: f64, lag_s: f64, step_s: f64) {
        self.flow_lpm = lag(self.flow_lpm, target_lpm, lag_s, step_s);
    }
}

/// A first-order lag, stepped exactly.
pub fn lag(value: f64, target: f64, time_s: f64, step_s: f64) -> f64 {
    target + (value - target) * libm::exp(-step_s / time_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SETTING: WeaveSetting =
        WeaveSetting { per_min: 75.0, amplitude_mm: 13.0, dwell: 0.1, backlash_mm: 0.0, centre_mm: 1.0 };

    fn extremes(setting: &WeaveSetting) -> (f64, f64, f64) {
        let mut weave = Weave::default();
        weave.park(setting);
        let (mut low, mut high, mut at_end) = (f64::MAX, f64::MIN, 0.0);
        for _ in 0..8000 {
            weave.advance(setting, 0.001);
            let position = weave.position_mm(setting);
            (low, high) = (low.min(position), high.max(position));
            if (position - setting.centre_mm).abs() > setting.amplitude_mm * 0.999 {
                at_end += 0.001;
            }
        }
        (low, high, at_end / 8.0)
    }

    #[test]
    fn a_weave_reaches_both_ends_and_dwells_there() {
        let (low, high, at_end) = extremes(&SETTING);
        assert!((low - -12.0).abs() < 1e-3 && (high - 14.0).abs() < 1e-3);
        // Two dwells of 0.1 of a cycle, and the slow ends of the half cosines.
        assert!((0.2..0.25).contains(&at_end), "{at_end}");
    }

    #[test]
    fn backlash_takes_its_own_size_off_the_width() {
        let (low, high, _) = extremes(&WeaveSetting { backlash_mm: 3.0, ..SETTING });
        assert!((high - low - 23.0).abs() < 1e-2);
    }

    #[test]
    fn a_chuck_turns_once_in_its_turn_time_and_loses_what_slips() {
        let mut chuck = Chuck::default();
        for _ in 0..80_000 {
            chuck.advance(4.5, 0.0, 0.004, 0.001);
        }
        // 80 s at 4.5 degrees a second, less what the lag costs at the start.
        assert!((chuck.pipe_deg - 360.0 + 4.5 * CHUCK_LAG_S).abs() < 0.05, "{}", chuck.pipe_deg);
        let before = chuck.pipe_deg;
        for _ in 0..1000 {
            chuck.advance(4.5, 0.6, 0.0, 0.001);
        }
        assert!((chuck.pipe_deg - before - 1.8).abs() < 1e-6);
    }
}
