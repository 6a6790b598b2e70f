//! One row of a trace, and its way into the fixed-point world of the core.

use bandward::{Channel, Sample};

/// No arc burns with less, A, V.
const OUT: f64 = 5.0;

/// Readings of one instant, in the unit of each channel (A, V, L/min, mm, degrees, mm/min, °C).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Row {
    /// Time in microseconds since the start of the trace.
    pub time_us: u64,
    /// A reading a channel, in the order of [`Channel::ALL`]; absent where there is none.
    pub values: [Option<f64>; Channel::COUNT],
    /// How long after the row before it was read is not known, whatever their times say.
    pub is_wait_unknown: bool,
}

impl Row {
    /// A row with no reading.
    pub fn at(time_us: u64) -> Self {
        Self { time_us, values: [None; Channel::COUNT], is_wait_unknown: false }
    }
    /// With a reading.
    #[must_use]
    pub fn with(mut self, channel: Channel, value: f64) -> Self {
        self.values[channel as usize] = Some(value);
        self
    }
    /// The reading of a channel.
    pub fn get(&self, channel: Channel) -> Option<f64> {
        self.values[channel as usize]
    }
    /// May an arc burn in it? Where neither current nor voltage is read, nobody knows.
    pub fn may_burn(&self) -> bool {
        let is_out = |channel| self.get(channel).map(|value| value.abs() < OUT);
        !is_out(Channel::Current).or_else(|| is_out(Channel::Voltage)).unwrap_or(false)
    }
    /// The row of a sample of the core.
    pub fn of_sample(sample: &Sample) -> Self {
        let mut row = Self::at(sample.time_us);
        row.is_wait_unknown = sample.is_after_unknown_wait();
        for channel in sample.present().iter() {
            row.values[channel as usize] = sample.raw(channel).map(|raw| value_from_raw(channel, raw));
        }
        row
    }
    /// Rounded to the resolution of the core. What is too large is held at the end of the range,
    /// where the core calls it railed; what is no number is absent.
    pub fn to_sample(&self) -> Sample {
        let mut sample = Sample::at(self.time_us);
        for channel in Channel::ALL {
            if let Some(value) = self.get(channel).filter(|value| !value.is_nan()) {
                sample = sample.with_raw(channel, raw_from_value(channel, value));
            }
        }
        if self.is_wait_unknown { sample.after_unknown_wait() } else { sample }
    }
}

/// The core's raw reading for a value in the unit of the channel.
pub fn raw_from_value(channel: Channel, value: f64) -> i32 {
    if channel == Channel::Spindle {
        let turns = value / 360.0;
        // A wrapping angle: a full turn is 2^32, which is zero again.
        return rounded((turns - turns.floor()) * 4_294_967_296.0) as u32 as i32;
    }
    let raw = value * f64::from(1_u32 << channel.fraction_bits());
    rounded(raw.clamp(f64::from(i32::MIN), f64::from(i32::MAX))) as i32
}

/// To the nearest whole number, halves away from zero, for values far within an i64; what is no
/// number is zero. Several times as fast as `f64::round`, which is a call.
fn rounded(value: f64) -> i64 {
    let whole = value as i64;
    let rest = value - whole as f64;
    whole + i64::from(rest >= 0.5) - i64::from(rest <= -0.5)
}

/// The value in the unit of the channel for a raw reading of the core (0 to 360 for the spindle).
pub fn value_from_raw(channel: Channel, raw: i32) -> f64 {
    if channel == Channel::Spindle {
        return f64::from(raw as u32) / 4_294_967_296.0 * 360.0;
    }
    f64::from(raw) / f64::from(1_u32 << channel.fraction_bits())
}
