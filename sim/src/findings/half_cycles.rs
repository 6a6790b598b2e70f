//! Half cycles of the weave, from the torch position.
//!
//! Decides: when the torch has crossed the centre of its weave.
//! Assumes: several positions a half cycle.
//! Never: judges; the core's own weave tracker does. This one tells how long and how wide each half
//! cycle was, so that rate and width have a course along the band.

/// Less movement than this is no weave, mm.
const LEAST_MM: f64 = 2.0;
/// The torch has crossed when it is this share of the width beyond the centre.
const BEYOND: f64 = 0.1;

/// A completed half cycle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HalfCycle {
    /// How long it took, µs; absent after an interruption.
    pub lasted_us: Option<u64>,
    /// From the outermost position before it to its own, mm.
    pub width_mm: f64,
}

/// Follows the torch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HalfCycles {
    low: f64,
    high: f64,
    outermost: f64,
    above: Option<bool>,
    crossed_us: Option<u64>,
}

impl HalfCycles {
    /// Has seen nothing.
    pub const fn new() -> Self {
        Self { low: f64::INFINITY, high: f64::NEG_INFINITY, outermost: 0.0, above: None, crossed_us: None }
    }
    /// Takes a position, mm; returns the half cycle that it completes.
    pub fn push(&mut self, now_us: u64, position: f64) -> Option<HalfCycle> {
        let Some(above) = self.above else {
            self.low = self.low.min(position);
            self.high = self.high.max(position);
            if self.high - self.low >= LEAST_MM {
                self.above = Some(position >= self.high);
                self.outermost = position;
            }
            return None;
        };
        self.outermost = if above { self.outermost.max(position) } else { self.outermost.min(position) };
        let beyond = BEYOND * (self.high - self.low).max(LEAST_MM) * if above { -1.0 } else { 1.0 };
        let line = f64::midpoint(self.low, self.high) + beyond;
        if above == (position > line) {
            return None;
        }
        if above {
            self.high = self.outermost;
        } else {
            self.low = self.outermost;
        }
        self.outermost = position;
        self.above = Some(!above);
        let lasted_us = self.crossed_us.replace(now_us).map(|before_us| now_us.saturating_sub(before_us));
        Some(HalfCycle { lasted_us, width_mm: self.high - self.low })
    }
    /// Time since the last crossing, µs.
    pub fn since_us(&self, now_us: u64) -> Option<u64> {
        self.crossed_us.map(|crossed_us| now_us.saturating_sub(crossed_us))
    }
    /// The torch was not watched for a while.
    pub fn interrupt(&mut self) {
        self.crossed_us = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sine_of_80_a_minute_and_24_mm_has_half_cycles_of_375_ms_and_24_mm() {
        let mut weave = HalfCycles::new();
        let halves: Vec<HalfCycle> = (0..2000)
            .filter_map(|index| {
                let time_s = f64::from(index) * 0.02;
                let position = 4.0 + 12.0 * (std::f64::consts::TAU * time_s * 80.0 / 60.0).sin();
                weave.push((time_s * 1e6) as u64, position)
            })
            .collect();
        assert!(halves.len() > 100);
        // The first few are still learning how wide the weave is.
        for half in &halves[4..] {
            assert!(half.lasted_us.expect("not the first").abs_diff(375_000) <= 20_000, "{half:?}");
            assert!((half.width_mm - 24.0).abs() < 0.1, "{half:?}");
        }
    }
}
