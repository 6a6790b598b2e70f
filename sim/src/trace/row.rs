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
    #[inline]
    pub fn to_sample(&self) -> Sample {
        // All channels in one way, several at once; the spindle's angle is put right below.
        let values = self.values.map(|value| value.unwrap_or(f64::NAN));
        let raws: [i32; Channel::COUNT] =
            std::array::from_fn(|at| nearest((values[at] * STEPS[at]).clamp(LEAST, MOST)));
        let mut sample = Sample::at(self.time_us);
        for channel in Channel::ALL {
            let at = channel as usize;
            if !values[at].is_nan() {
                let raw = if channel == Channel::Spindle { raw_angle(values[at]) } else { raws[at] };
                sample = sample.with_raw(channel, raw);
            }
        }
        if self.is_wait_unknown { sample.after_unknown_wait() } else { sample }
    }
}

/// Steps of the core in the unit of each channel.
const STEPS: [f64; Channel::COUNT] = {
    let mut steps = [0.0; Channel::COUNT];
    let mut at = 0;
    while at < Channel::COUNT {
        steps[at] = (1_u64 << Channel::ALL[at].fraction_bits()) as f64;
        at += 1;
    }
    steps
};
const LEAST: f64 = i32::MIN as f64;
const MOST: f64 = i32::MAX as f64;

/// The core's raw reading for a value in the unit of the channel.
pub fn raw_from_value(channel: Channel, value: f64) -> i32 {
    if channel == Channel::Spindle {
        return raw_angle(value);
    }
    let raw = (value * STEPS[channel as usize]).clamp(LEAST, MOST);
    if raw.is_nan() { 0 } else { nearest(raw) }
}

/// An angle in degrees: it wraps, a full turn is 2^32, which is zero again.
#[inline]
fn raw_angle(degrees: f64) -> i32 {
    let turns = degrees / 360.0;
    // Down, which as a function is a call; what is so large has no fraction anyway.
    let whole = turns as i64 as f64;
    let whole = if turns.abs() < LARGE { whole - f64::from(u8::from(whole > turns)) } else { turns };
    let within = (turns - whole) * 4_294_967_296.0;
    if within.is_nan() { 0 } else { nearest(within) }
}

/// A double of this size has no fraction: 2^52.
const LARGE: f64 = 4_503_599_627_370_496.0;

/// The lowest 32 bits of the nearest whole number, halves away from zero, of a value of no more than 2^33. Without a branch
/// and without a conversion: behind a sum with 1.5 x 2^52 stand the bits of the whole number nearest, of two the even one.
#[inline]
fn nearest(value: f64) -> i32 {
    const SHIFT: f64 = 1.5 * LARGE;
    let even = (value + SHIFT) - SHIFT;
    let rest = value - even;
    let up = if (rest >= 0.5) & (value > 0.0) { 1.0 } else { 0.0 };
    let down = if (rest <= -0.5) & (value < 0.0) { 1.0 } else { 0.0 };
    (even + up - down + SHIFT).to_bits() as i32
}

/// The value in the unit of the channel for a raw reading of the core (0 to 360 for the spindle).
pub fn value_from_raw(channel: Channel, raw: i32) -> f64 {
    if channel == Channel::Spindle {
        return f64::from(raw as u32) / 4_294_967_296.0 * 360.0;
    }
    f64::from(raw) / f64::from(1_u32 << channel.fraction_bits())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the long way says: the whole number nearest, halves away from zero.
    fn plainly(channel: Channel, value: f64) -> i32 {
        if channel == Channel::Spindle {
            let turns = value / 360.0;
            return ((turns - turns.floor()) * 4_294_967_296.0).round() as u64 as u32 as i32;
        }
        let raw = value * 2_f64.powi(channel.fraction_bits() as i32);
        raw.clamp(f64::from(i32::MIN), f64::from(i32::MAX)).round() as i32
    }

    #[test]
    fn every_value_is_rounded_to_the_nearest_step() {
        let ends = [
            0.0,
            -0.0,
            1e-20,
            -1e-20,
            1e9,
            -1e9,
            1e18,
            -1e18,
            1e300,
            -1e300,
            f64::INFINITY,
            f64::NEG_INFINITY,
        ];
        let halves = (-4000..4000).map(|step| f64::from(step) / f64::from(1 << 17));
        let many = (0..20_000).map(|step| f64::from(step * 7919 % 1_000_003) * 0.001 - 400.0);
        let odd = (1..300).map(|step| 0.1 * f64::from(step) * 10_f64.powi(step % 12));
        for value in ends.into_iter().chain(halves).chain(many).chain(odd) {
            for channel in Channel::ALL {
                let expected = plainly(channel, value);
                assert_eq!(raw_from_value(channel, value), expected, "{channel:?} {value}");
                let sample = Row::at(0).with(channel, value).to_sample();
                assert_eq!(sample.raw(channel), Some(expected), "{channel:?} {value}");
            }
        }
        for channel in Channel::ALL {
            assert_eq!(raw_from_value(channel, f64::NAN), 0);
            assert_eq!(Row::at(7).with(channel, f64::NAN).to_sample(), Sample::at(7));
        }
    }
}
