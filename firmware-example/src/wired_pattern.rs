//! The joint of the pattern at the inputs of a board: counts, from which `acquisition` makes samples again.
//!
//! Decides: how an invented machine is wired: a converter of 16 bits, a cable, an encoder, a pulse meter, and in which
//! samples the slow channels are read.
//! Never: uses a float or a clock.

use crate::acquisition::{
    Acquirer, AnalogInputs, CableDrop, Calibration, CalibrationError, Counters, Encoder, FlowMeter, Source,
    Wiring,
};
use crate::pattern::{PERIOD_US, Pattern, SAMPLES};
use bandward::units::{Current, FlowRate, Length, Temperature, Voltage, WireSpeed};
use bandward::{Channel, Sample};

/// The highest count: of the highest reading. The lowest is that reading with the other sign.
const HIGHEST: i32 = 32_767;
/// Counts of the encoder in a turn.
const COUNTS_A_TURN: u32 = 10_000;
/// Pulses of the coolant meter a litre, over how long they are counted, µs, and samples a pulse: 6 L/min.
const COOLANT: (u32, u32) = (1000, 1_000_000);
const SAMPLES_A_PULSE: u32 = 60_000_000 / (6 * COOLANT.0 * PERIOD_US);
/// Between the meter of the voltage and the arc.
const CABLE: CableDrop = CableDrop::of_microohm(2_000);

/// The highest reading of an analog channel.
const fn highest(channel: Channel) -> i32 {
    match channel {
        Channel::Current => Current::from_milli(900_000).to_bits(),
        Channel::Voltage => Voltage::from_milli(150_000).to_bits(),
        Channel::Gas | Channel::Coolant => FlowRate::from_milli(50_000).to_bits(),
        Channel::Torch => Length::from_milli(100_000).to_bits(),
        Channel::Carriage => Length::from_milli(500_000).to_bits(),
        Channel::Work => Temperature::from_milli(500_000).to_bits(),
        Channel::Wire => WireSpeed::from_milli(20_000_000).to_bits(),
        Channel::Spindle => i32::MAX,
    }
}

/// When the slow channels are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turns {
    /// Each in a turn of its own, as a converter with a multiplexer does it.
    OneByOne,
    /// All in one sample.
    AtOnce,
}

/// What makes the samples.
///
/// # Errors
/// A value above is none that can be used.
pub fn acquirer(turns: Turns) -> Result<Acquirer, CalibrationError> {
    let mut wiring = [Wiring::NONE; Channel::COUNT];
    for (channel, slot) in Channel::ALL.into_iter().zip(&mut wiring) {
        let highest = highest(channel);
        let source = match channel {
            Channel::Spindle => Source::Quadrature(Encoder::try_new(COUNTS_A_TURN)?),
            Channel::Coolant => Source::Pulses(FlowMeter::try_new(COOLANT.0, COOLANT.1)?),
            _ => Source::Analog(Calibration::try_new((-HIGHEST, -highest), (HIGHEST, highest))?),
        };
        let (every, turn) = match channel {
            Channel::Current | Channel::Voltage => (1, 0),
            Channel::Gas | Channel::Torch => (100, 16),
            Channel::Spindle | Channel::Wire => (100, 50),
            Channel::Coolant => (100, 83),
            Channel::Work => (1000, 83),
            Channel::Carriage => (1000, 183),
        };
        *slot = Wiring { source, every, turn: if turns == Turns::AtOnce { 0 } else { turn } };
    }
    Ok(Acquirer::new(wiring, CABLE))
}

/// The inputs, one sample of the pattern after another; slow channels stand as they were read last.
#[derive(Clone, Debug)]
pub struct Inputs {
    pattern: Pattern,
    counts: [i32; Channel::COUNT],
    angle: u32,
    /// Turned since the start, in units of 2^-32 turn.
    turned: u64,
    index: u32,
    pulses: u32,
    from_us: u64,
}

impl Inputs {
    /// From the start of the pattern; its times count on from `from_us`.
    pub fn new(from_us: u64) -> Self {
        Self {
            pattern: Pattern::new(),
            counts: [0; Channel::COUNT],
            angle: 0,
            turned: 0,
            index: 0,
            pulses: 0,
            from_us,
        }
    }
    /// Goes on to the next sample, and says when it is, µs; nothing after the last.
    pub fn go_on(&mut self) -> Option<u64> {
        let sample = self.pattern.next()?;
        for channel in sample.present().iter() {
            self.show(channel, &sample);
        }
        self.index += 1;
        if self.index.is_multiple_of(SAMPLES_A_PULSE) {
            self.pulses = self.pulses.wrapping_add(1);
        }
        Some(self.from_us + sample.time_us)
    }
    fn show(&mut self, channel: Channel, sample: &Sample) {
        let mut reading = i64::from(sample.reading(channel));
        match channel {
            Channel::Spindle => {
                let moved = (reading as u32).wrapping_sub(self.angle);
                (self.angle, self.turned) = (reading as u32, self.turned + u64::from(moved));
                self.counts[channel as usize] = ((self.turned * u64::from(COUNTS_A_TURN)) >> 32) as i32;
                return;
            }
            Channel::Voltage => {
                // What the meter shows: the cable's part is in it.
                let amps = Current::from_bits(sample.reading(Channel::Current));
                let arc = Voltage::from_bits(reading as i32);
                reading += reading - i64::from(CABLE.compensate(arc, amps).to_bits());
            }
            _ => {}
        }
        self.counts[channel as usize] = (reading * i64::from(HIGHEST) / i64::from(highest(channel))) as i32;
    }
    /// How long the pattern is, µs.
    pub const fn length_us() -> u64 {
        SAMPLES as u64 * PERIOD_US as u64
    }
}

impl AnalogInputs for Inputs {
    #[inline]
    fn read(&mut self, channel: Channel) -> Option<i32> {
        self.counts.get(channel as usize).copied()
    }
}

impl Counters for Inputs {
    fn spindle(&mut self) -> Option<i32> {
        self.counts.get(Channel::Spindle as usize).copied()
    }
    fn pulses(&mut self, _: Channel) -> Option<u32> {
        Some(self.pulses)
    }
}
