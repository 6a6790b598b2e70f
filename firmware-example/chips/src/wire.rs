//! From pulses of a measuring wheel to the speed of the wire.
//!
//! Decides: over how long pulses are counted.
//! Assumes: the count wraps at 32 bits, and never moves a whole wrap in one window.
//! Never: gives a speed before the first window is over, or for a wheel that is not known.

use bandward::units::WireSpeed;

/// Turns pulses into a wire speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WireWheel {
    micrometres_a_pulse: u32,
    window_us: u32,
    start: Option<(u64, u32)>,
    speed: Option<WireSpeed>,
}

impl WireWheel {
    /// A wheel of so much wire a pulse, counted over windows of `window_us`.
    pub const fn new(micrometres_a_pulse: u32, window_us: u32) -> Self {
        Self { micrometres_a_pulse, window_us, start: None, speed: None }
    }
    /// The speed over the last whole window.
    pub fn speed(&mut self, time_us: u64, pulses: u32) -> Option<WireSpeed> {
        let (start_us, start) = *self.start.get_or_insert((time_us, pulses));
        let elapsed_us = time_us.saturating_sub(start_us);
        if elapsed_us > 0 && elapsed_us >= u64::from(self.window_us) {
            let counted = u128::from(pulses.wrapping_sub(start));
            // um over us is m/s; there are 60,000 mm/min in it.
            let scaled =
                (counted * u128::from(self.micrometres_a_pulse) * 60_000) << WireSpeed::FRACTION_BITS;
            let bits = scaled / u128::from(elapsed_us);
            self.speed = Some(WireSpeed::from_bits(i32::try_from(bits).unwrap_or(i32::MAX)));
            self.start = Some((time_us, pulses));
        }
        self.speed
    }
    /// What was counted before is of no use.
    pub fn lose(&mut self) {
        self.start = None;
        self.speed = None;
    }
}
