//! From counts to samples.
//!
//! Decides: how raw counts become readings in the units of the core, and how often a channel is read.
//! Assumes: counters wrap at 32 bits and never move half a wrap between two readings.
//! Never: invents a reading: what the hardware does not give, or what cannot be worked out, is absent from the
//! sample.

use bandward::units::{Current, FlowRate, Voltage};
use bandward::{Channel, Sample};

/// What an analog-to-digital converter's driver implements.
pub trait AnalogInputs {
    /// The newest conversion of `channel` in counts; `None` where there is none or it failed.
    fn read(&mut self, channel: Channel) -> Option<i32>;
}

/// What the drivers of counters implement.
pub trait Counters {
    /// The quadrature count of the spindle encoder; wraps.
    fn spindle(&mut self) -> Option<i32>;
    /// Pulses of the flow meter of `channel` since power-on; wraps.
    fn pulses(&mut self, channel: Channel) -> Option<u32>;
}

/// Why a calibration cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CalibrationError {
    /// Both points have the same count: choose two further apart.
    SameCount,
    /// The encoder has no counts a turn, or is counted over no turn: both must be at least one.
    CountsATurn,
    /// The flow meter has no pulses a litre: it must have at least one.
    PulsesALitre,
}

/// A straight line through two calibration points.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Calibration {
    count: i32,
    raw: i32,
    rise: i64,
    run: i64,
}

impl Calibration {
    /// Through two points of (count, raw reading); see [`Channel::fraction_bits`].
    ///
    /// # Errors
    /// [`CalibrationError::SameCount`].
    pub const fn try_new(low: (i32, i32), high: (i32, i32)) -> Result<Self, CalibrationError> {
        let run = high.0 as i64 - low.0 as i64;
        let rise = high.1 as i64 - low.1 as i64;
        if run == 0 {
            return Err(CalibrationError::SameCount);
        }
        // The run is kept above zero, so that halves round alike on both sides.
        let sign = if run < 0 { -1 } else { 1 };
        Ok(Self { count: low.0, raw: low.1, rise: rise * sign, run: run * sign })
    }
    /// The raw reading at `count`, rounded to nearest, held at the ends of the range.
    pub fn apply(&self, count: i32) -> i32 {
        let from_low = i64::from(count) - i64::from(self.count);
        let scaled = from_low.saturating_mul(self.rise).saturating_add(self.run / 2);
        let raw = scaled.div_euclid(self.run).saturating_add(i64::from(self.raw));
        raw.clamp(i64::from(i32::MIN), i64::from(i32::MAX)) as i32
    }
}

/// The voltage the welding cable takes away between the meter and the arc.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CableDrop {
    /// Resistance of cable and return between the points the meter sees, µΩ.
    pub resistance_microohm: u32,
}

impl CableDrop {
    /// Arc voltage: meter voltage less current times resistance (Ohm's law).
    pub fn compensate(&self, meter: Voltage, current: Current) -> Voltage {
        const STEPS: i64 = 1 << (Voltage::FRACTION_BITS - Current::FRACTION_BITS);
        let microvolts = i64::from(current.to_bits()) * i64::from(self.resistance_microohm);
        let drop = microvolts.saturating_mul(STEPS).saturating_add(500_000).div_euclid(1_000_000);
        let volts = i64::from(meter.to_bits()).saturating_sub(drop);
        Voltage::from_bits(volts.clamp(i64::from(i32::MIN), i64::from(i32::MAX)) as i32)
    }
}

/// Turns a quadrature count into an angle. Behind a gear the counts of one turn are no whole number: then so
/// many counts come in so many turns (a belt of 60 to 47 teeth and 2,400 counts: 144,000 counts in 47 turns).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Encoder {
    counts: u32,
    turns: u32,
    last: Option<i32>,
    position: u32,
}

impl Encoder {
    /// With this many counts a turn of the work, gearing included.
    ///
    /// # Errors
    /// [`CalibrationError::CountsATurn`].
    pub const fn try_new(counts_a_turn: u32) -> Result<Self, CalibrationError> {
        Self::try_geared(counts_a_turn, 1)
    }
    /// With `counts` in `turns` turns of the work.
    ///
    /// # Errors
    /// [`CalibrationError::CountsATurn`].
    pub const fn try_geared(counts: u32, turns: u32) -> Result<Self, CalibrationError> {
        if counts == 0 || turns == 0 {
            return Err(CalibrationError::CountsATurn);
        }
        Ok(Self { counts, turns, last: None, position: 0 })
    }
    /// The angle at `count` in units of 2^-32 turn, counted from the first count seen. A count that
    /// wraps at 32 bits makes no jump, whatever the counts a turn.
    pub fn angle(&mut self, count: i32) -> u32 {
        let moved = count.wrapping_sub(self.last.unwrap_or(count));
        self.last = Some(count);
        let round = i64::from(self.counts);
        self.position = (i64::from(self.position) + i64::from(moved)).rem_euclid(round) as u32;
        let turned = (u128::from(self.position) * u128::from(self.turns)) << 32;
        // Whole turns fall off the top.
        (turned / u128::from(self.counts)) as u32
    }
}

/// Turns pulses of a flow meter into a flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FlowMeter {
    pulses_a_litre: u32,
    window_us: u32,
    start: Option<(u64, u32)>,
    flow: Option<FlowRate>,
}

impl FlowMeter {
    /// With this many pulses a litre, counted over windows of `window_us` µs.
    ///
    /// # Errors
    /// [`CalibrationError::PulsesALitre`].
    pub const fn try_new(pulses_a_litre: u32, window_us: u32) -> Result<Self, CalibrationError> {
        if pulses_a_litre == 0 {
            return Err(CalibrationError::PulsesALitre);
        }
        Ok(Self { pulses_a_litre, window_us, start: None, flow: None })
    }
    /// The flow over the last whole window; absent before the first is over.
    pub fn flow(&mut self, time_us: u64, pulses: u32) -> Option<FlowRate> {
        let (start_us, start) = *self.start.get_or_insert((time_us, pulses));
        let elapsed_us = time_us.saturating_sub(start_us);
        if elapsed_us > 0 && elapsed_us >= u64::from(self.window_us) {
            let counted = u128::from(pulses.wrapping_sub(start));
            // Litres a minute, 12 fraction bits.
            let scaled =
                counted * 60_000_000 * 4096 / (u128::from(self.pulses_a_litre) * u128::from(elapsed_us));
            self.flow = Some(FlowRate::from_bits(i32::try_from(scaled).unwrap_or(i32::MAX)));
            self.start = Some((time_us, pulses));
        }
        self.flow
    }
}

/// How one channel is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Not wired.
    None,
    /// An analog input.
    Analog(Calibration),
    /// A pulse counter.
    Pulses(FlowMeter),
    /// The quadrature counter.
    Quadrature(Encoder),
}

/// A channel, its source, and how often it is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wiring {
    /// Where its counts come from.
    pub source: Source,
    /// Read in every so many samples: 1 for every one. Slow channels differ in their turn, so that
    /// they do not all come in one sample.
    pub every: u16,
}

impl Wiring {
    /// Not wired.
    pub const NONE: Self = Self { source: Source::None, every: 1 };
}

/// Makes samples.
#[derive(Clone, Debug)]
pub struct Acquirer {
    wiring: [Wiring; Channel::COUNT],
    cable: CableDrop,
    index: u32,
    /// The last current, and for how many samples it still stands for the one under way.
    current: Option<(Current, u32)>,
}

impl Acquirer {
    /// With the wiring of every channel, in the order of [`Channel::ALL`].
    pub const fn new(wiring: [Wiring; Channel::COUNT], cable: CableDrop) -> Self {
        Self { wiring, cable, index: 0, current: None }
    }
    /// The channels that are wired.
    pub fn channels(&self) -> bandward::sample::ChannelSet {
        let wired = Channel::ALL.into_iter().zip(&self.wiring).filter(|(_, w)| w.source != Source::None);
        wired.fold(bandward::sample::ChannelSet::EMPTY, |set, (channel, _)| set.with(channel))
    }
    /// Reads what is due at `time_us`.
    pub fn sample(&mut self, time_us: u64, inputs: &mut (impl AnalogInputs + Counters)) -> Sample {
        let mut sample = Sample::at(time_us);
        for (channel, wiring) in Channel::ALL.into_iter().zip(&mut self.wiring) {
            let every = u32::from(wiring.every.max(1));
            if !self.index.wrapping_add(channel as u32).is_multiple_of(every) {
                continue;
            }
            let raw = match &mut wiring.source {
                Source::None => None,
                Source::Analog(calibration) => inputs.read(channel).map(|count| calibration.apply(count)),
                Source::Pulses(meter) => inputs
                    .pulses(channel)
                    .and_then(|pulses| meter.flow(time_us, pulses))
                    .map(FlowRate::to_bits),
                Source::Quadrature(encoder) => {
                    inputs.spindle().map(|count| encoder.angle(count).cast_signed())
                }
            };
            if let Some(raw) = raw {
                sample = sample.with_raw(channel, raw);
            }
        }
        self.index = self.index.wrapping_add(1);
        self.at_the_arc(sample)
    }
    /// The voltage at the arc in place of that at the meter: absent where the current that flows is not known
    /// and the cable takes some.
    fn at_the_arc(&mut self, sample: Sample) -> Sample {
        let every = self.wiring.get(Channel::Current as usize).map_or(1, |wiring| wiring.every.max(1));
        self.current = match sample.raw(Channel::Current) {
            Some(raw) => Some((Current::from_bits(raw), u32::from(every) - 1)),
            None => self.current.and_then(|(amps, left)| Some((amps, left.checked_sub(1)?))),
        };
        let Some(volts) = sample.raw(Channel::Voltage).map(Voltage::from_bits) else { return sample };
        match self.current {
            Some((amps, _)) => sample.voltage(self.cable.compensate(volts, amps)),
            None if self.cable.resistance_microohm == 0 => sample,
            None => sample.without(Channel::Voltage),
        }
    }
}
