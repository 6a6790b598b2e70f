//! An angle added up from a speed.
//!
//! Decides: that between two rows the speed goes straight from one to the other (the trapezoidal rule).
//! Assumes: where speeds are missing in between, the joint turned on at the mean of the two around them.
//! Never: gives an angle for a row without a speed.

use super::Row;
use bandward::Channel;

/// Adds up the speeds of a trace.
#[derive(Clone, Copy, Debug, Default)]
pub struct Turning {
    degrees: f64,
    /// Time, µs, and speed, degrees a second, of the last row that had one.
    last: Option<(u64, f64)>,
}

impl Turning {
    /// Puts the angle in the place of the speed.
    pub fn integrate(&mut self, row: &mut Row) {
        let cell = &mut row.values[Channel::Spindle as usize];
        let Some(speed) = *cell else { return };
        if let Some((time_us, before)) = self.last {
            // A row out of order adds nothing.
            let seconds = row.time_us.saturating_sub(time_us) as f64 / 1e6;
            self.degrees += f64::midpoint(before, speed) * seconds;
        }
        self.last = Some((row.time_us.max(self.last.map_or(0, |(time_us, _)| time_us)), speed));
        *cell = Some(self.degrees);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A turn in 90 s is 4 degrees a second: after 90 s it has gone round once.
    #[test]
    fn a_steady_speed_makes_a_turn() {
        let mut turning = Turning::default();
        let mut row = Row::default();
        for second in 0..=90 {
            row = Row::at(second * 1_000_000).with(Channel::Spindle, 4.0);
            turning.integrate(&mut row);
        }
        assert_eq!(row.get(Channel::Spindle), Some(360.0));
    }

    /// From 0 to 4 degrees a second in 2 s: 4 degrees. A missing speed in between changes nothing.
    #[test]
    fn a_ramp_and_a_hole() {
        let mut turning = Turning::default();
        let mut start = Row::at(0).with(Channel::Spindle, 0.0);
        let mut hole = Row::at(1_000_000);
        let mut end = Row::at(2_000_000).with(Channel::Spindle, 4.0);
        for row in [&mut start, &mut hole, &mut end] {
            turning.integrate(row);
        }
        assert_eq!([start, hole, end].map(|row| row.get(Channel::Spindle)), [Some(0.0), None, Some(4.0)]);
    }
}
