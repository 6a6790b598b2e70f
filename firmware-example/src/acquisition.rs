//! From counts to samples.
//!
//! Decides: how raw counts become readings in the units of the core, and how often a channel is read.
//! Assumes: counters wrap at 32 bits and never move half a wrap between two readings.
//! Never: invents a reading: what the hardware does not give, or what cannot be worked out, is absent from the
//! sample.

use bandward::sample::ChannelSet;
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
    /// Rise over run, 16 fraction bits, and how far from the low point it serves: nowhere where it is too steep, or the
    /// points too far apart.
    slope: i32,
    near: u32,
}

/// So many counts from the low point a slope of 16 fraction bits is off by less than one raw step.
const NEAR: u32 = 1 << 16;
/// A slope below it times [`NEAR`], and twice a run below it, are numbers of 32 bits.
const SHORT: i64 = 1 << 30;

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
        let (rise, run) = (rise * sign, run * sign);
        let slope = (rise * (2 << 16) + run).div_euclid(2 * run);
        // No count is so far from the low point that their difference wraps to a near one.
        let is_short =
            run < SHORT && -SHORT < slope && slope < SHORT && -SHORT < low.0 as i64 && (low.0 as i64) < SHORT;
        let (slope, near) = if is_short { (slope as i32, NEAR) } else { (0, 0) };
        Ok(Self { count: low.0, raw: low.1, rise, run, slope, near })
    }
    /// The raw reading at `count`, rounded to nearest, held at the ends of the range.
    #[inline]
    pub fn apply(&self, count: i32) -> i32 {
        let from_low = count.wrapping_sub(self.count);
        if from_low.cast_unsigned().wrapping_add(self.near) < 2 * self.near {
            self.apply_near(from_low)
        } else {
            self.apply_far(count)
        }
    }
    /// Without a division: what the slope gives is the quotient or one beside it, as the remainder tells, which is of
    /// 32 bits then.
    #[inline]
    fn apply_near(&self, from_low: i32) -> i32 {
        let (rise, run) = (self.rise as i32, self.run as i32);
        let near = ((i64::from(from_low) * i64::from(self.slope) + (1 << 15)) >> 16) as i32;
        let left = from_low.wrapping_mul(rise).wrapping_add(run >> 1).wrapping_sub(near.wrapping_mul(run));
        let mend = i32::from(left >= run) - i32::from(left < 0);
        self.raw.saturating_add(near + mend)
    }
    #[inline(never)]
    fn apply_far(&self, count: i32) -> i32 {
        let from_low = i64::from(count) - i64::from(self.count);
        let scaled = from_low.saturating_mul(self.rise).saturating_add(self.run / 2);
        let raw = scaled.div_euclid(self.run).saturating_add(i64::from(self.raw));
        raw.clamp(i64::from(i32::MIN), i64::from(i32::MAX)) as i32
    }
}

/// The voltage the welding cable takes away between the meter and the arc.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CableDrop {
    /// V/A, 30 fraction bits.
    slope: i32,
}

impl CableDrop {
    /// By the resistance of cable and return between the points the meter sees, µΩ. One of an ohm or more is no cable, and
    /// taken for one of just under an ohm.
    pub const fn of_microohm(resistance: u32) -> Self {
        let resistance = if resistance < 1_000_000 { resistance as u64 } else { 999_999 };
        Self { slope: (((resistance << 30) + 500_000) / 1_000_000) as i32 }
    }
    /// Does it take nothing?
    pub const fn is_nothing(self) -> bool {
        self.slope == 0
    }
    /// Arc voltage: meter voltage less current times resistance (Ohm's law), the nearest but for a
    /// hundredth of a raw step.
    #[inline]
    pub const fn compensate(self, meter: Voltage, current: Current) -> Voltage {
        const { assert!(Voltage::FRACTION_BITS == Current::FRACTION_BITS) };
        let drop = (current.to_bits() as i64 * self.slope as i64 + (1 << 29)) >> 30;
        Voltage::from_bits(meter.to_bits().saturating_sub(drop as i32))
    }
}

/// Turns a quadrature count into an angle. Behind a gear the counts of one turn are no whole number: then so
/// many counts come in so many turns (a belt of 60 to 47 teeth and 2,400 counts: 144,000 counts in 47 turns).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Encoder {
    counts: u32,
    turns: u32,
    /// 2^64 over the counts, rounded up: an angle by multiplying.
    angle_a_count: u64,
    last: Option<i32>,
    /// Counts times turns since the first, but for whole turns.
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
        let angle_a_count = (u64::MAX / counts as u64).saturating_add(1);
        Ok(Self { counts, turns, angle_a_count, last: None, position: 0 })
    }
    /// The angle at `count` in units of 2^-32 turn, to within one, counted from the first count seen. A count that
    /// wraps at 32 bits makes no jump, whatever the counts a turn.
    pub fn angle(&mut self, count: i32) -> u32 {
        let moved = i64::from(count.wrapping_sub(self.last.unwrap_or(count))) * i64::from(self.turns);
        self.last = Some(count);
        let (position, round) = (i64::from(self.position) + moved, i64::from(self.counts));
        // Less than a turn between two readings, as ever, takes no division.
        self.position = match position {
            _ if (0..round).contains(&position) => position,
            _ if (round..2 * round).contains(&position) => position - round,
            _ if (-round..0).contains(&position) => position + round,
            _ => position.rem_euclid(round),
        } as u32;
        // Whole turns fall off the top.
        let (low, high) = (self.angle_a_count as u32, (self.angle_a_count >> 32) as u32);
        let of_low = (u64::from(self.position) * u64::from(low)) >> 32;
        self.position.wrapping_mul(high).wrapping_add(of_low as u32)
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
            self.flow = Some(self.over(elapsed_us, pulses.wrapping_sub(start)));
            self.start = Some((time_us, pulses));
        }
        self.flow
    }
    /// So many pulses in so long.
    #[inline(never)]
    fn over(&self, elapsed_us: u64, counted: u32) -> FlowRate {
        // Litres a minute, 12 fraction bits.
        const SCALE: u64 = 60_000_000 << FlowRate::FRACTION_BITS;
        let pulses_a_litre = u64::from(self.pulses_a_litre);
        // A quotient of a quotient is that by the product, and 64 bits are enough for 75 million pulses.
        let scaled = match u64::from(counted).checked_mul(SCALE) {
            Some(scaled) => u128::from(scaled / pulses_a_litre / elapsed_us),
            None => {
                u128::from(counted) * u128::from(SCALE) / u128::from(pulses_a_litre) / u128::from(elapsed_us)
            }
        };
        FlowRate::from_bits(i32::try_from(scaled).unwrap_or(i32::MAX))
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

impl Source {
    /// What a channel reads now, raw.
    #[inline]
    fn read(
        &mut self,
        channel: Channel,
        time_us: u64,
        inputs: &mut (impl AnalogInputs + Counters),
    ) -> Option<i32> {
        match self {
            Self::Analog(calibration) => inputs.read(channel).map(|count| calibration.apply(count)),
            _ => self.read_counter(channel, time_us, inputs),
        }
    }
    #[inline(never)]
    fn read_counter(&mut self, channel: Channel, time_us: u64, inputs: &mut impl Counters) -> Option<i32> {
        match self {
            Self::None | Self::Analog(_) => None,
            Self::Pulses(meter) => {
                inputs.pulses(channel).and_then(|pulses| meter.flow(time_us, pulses)).map(FlowRate::to_bits)
            }
            Self::Quadrature(encoder) => inputs.spindle().map(|count| encoder.angle(count).cast_signed()),
        }
    }
}

/// A channel, its source, and when it is read.
///
/// A converter with a multiplexer takes slow channels one after the other, not all at one time. So does this program: a
/// sample that brings one of them costs a board less than one that brings all, and the longest sample decides how fast a
/// processor must be. Give each slow channel a turn of its own; two whose `every` have a common divisor never meet
/// where their turns differ by no multiple of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wiring {
    /// Where its counts come from.
    pub source: Source,
    /// Read in every so many samples: 1 for every one.
    pub every: u16,
    /// In which of them: 0 for the first; counted on from the start where it is `every` or more.
    pub turn: u16,
}

impl Wiring {
    /// Not wired.
    pub const NONE: Self = Self { source: Source::None, every: 1, turn: 0 };
}

/// When a channel that is not read in every sample is read next.
#[derive(Clone, Copy, Debug)]
struct Turn {
    every: u32,
    /// Samples until then from the last in which any of them was due.
    wait: u32,
}

impl Turn {
    /// Of a channel that is read in every sample, or never: nothing is due then.
    const NONE: Self = Self { every: u32::MAX, wait: u32::MAX };
}

/// Makes samples.
#[derive(Clone, Debug)]
pub struct Acquirer {
    wiring: [Wiring; Channel::COUNT],
    cable: CableDrop,
    /// Channels that are read in every sample.
    steady: ChannelSet,
    turns: [Turn; Channel::COUNT],
    /// The shortest of them, and how much of it is left.
    wait: u32,
    left: u32,
    /// The last current, and for how many samples it still stands for the one under way.
    current: Option<(i32, u16)>,
}

impl Acquirer {
    /// With the wiring of every channel, in the order of [`Channel::ALL`].
    pub const fn new(wiring: [Wiring; Channel::COUNT], cable: CableDrop) -> Self {
        let mut steady = ChannelSet::EMPTY;
        let mut turns = [Turn::NONE; Channel::COUNT];
        let mut channels: &[Channel] = &Channel::ALL;
        while let Some((&channel, rest)) = channels.split_first() {
            channels = rest;
            let Wiring { source, every, turn } = wiring[channel as usize];
            if matches!(source, Source::None) {
                continue;
            }
            if every <= 1 {
                steady = steady.with(channel);
            } else {
                turns[channel as usize] = Turn { every: every as u32, wait: (turn % every) as u32 + 1 };
            }
        }
        // All look ahead from the sample before the first.
        Self { wiring, cable, steady, turns, wait: 1, left: 1, current: None }
    }
    /// The channels that are wired.
    pub fn channels(&self) -> ChannelSet {
        let wired = Channel::ALL.into_iter().zip(&self.wiring).filter(|(_, w)| w.source != Source::None);
        wired.fold(ChannelSet::EMPTY, |set, (channel, _)| set.with(channel))
    }
    /// Reads what is due at `time_us`.
    #[inline]
    pub fn sample(&mut self, time_us: u64, inputs: &mut (impl AnalogInputs + Counters)) -> Sample {
        let mut due = self.steady;
        self.left -= 1;
        if self.left == 0 {
            due = due.union(self.due_in_their_turn());
        }
        let [of_current, of_voltage, ..] = &mut self.wiring;
        let amps = if due.contains(Channel::Current) {
            of_current.source.read(Channel::Current, time_us, inputs)
        } else {
            None
        };
        let volts = if due.contains(Channel::Voltage) {
            of_voltage.source.read(Channel::Voltage, time_us, inputs)
        } else {
            None
        };
        let volts = if self.cable.is_nothing() { volts } else { self.at_the_arc(amps, volts) };
        let sample = match (amps, volts) {
            (Some(amps), Some(volts)) => Sample::electrical(time_us, amps, volts),
            (Some(amps), None) => Sample::at(time_us).with_raw(Channel::Current, amps),
            (None, Some(volts)) => Sample::at(time_us).with_raw(Channel::Voltage, volts),
            (None, None) => Sample::at(time_us),
        };
        let slow = due.minus(ChannelSet::ELECTRICAL);
        if slow.is_empty() { sample } else { self.add_slow(sample, slow, inputs) }
    }
    #[inline(never)]
    fn add_slow(
        &mut self,
        mut sample: Sample,
        mut rest: ChannelSet,
        inputs: &mut (impl AnalogInputs + Counters),
    ) -> Sample {
        while let Some(channel) = rest.first() {
            rest = rest.without(channel);
            if let Some(wiring) = self.wiring.get_mut(channel as usize)
                && let Some(raw) = wiring.source.read(channel, sample.time_us, inputs)
            {
                sample = sample.with_raw(channel, raw);
            }
        }
        sample
    }
    /// Those that are not read in every sample and are in this one; and finds when the next of them is.
    #[inline(never)]
    fn due_in_their_turn(&mut self) -> ChannelSet {
        let (mut due, mut next) = (0, u32::MAX);
        let (mut bit, passed) = (1, self.wait);
        for turn in &mut self.turns {
            let mut wait = turn.wait - passed;
            if wait == 0 {
                due |= bit;
                wait = turn.every;
            }
            turn.wait = wait;
            next = next.min(wait);
            bit <<= 1;
        }
        (self.wait, self.left) = (next, next);
        ChannelSet::from_bits(due)
    }
    /// A current that is not read in every sample stands for those after it, until it should have come again.
    #[inline(never)]
    fn current_that_stands(&mut self, amps: Option<i32>) -> Option<i32> {
        let every = self.wiring.get(Channel::Current as usize).map_or(1, |wiring| wiring.every.max(1));
        self.current = match amps {
            Some(amps) => Some((amps, every - 1)),
            None => self.current.and_then(|(amps, left)| Some((amps, left.checked_sub(1)?))),
        };
        self.current.map(|(amps, _)| amps)
    }
    /// The voltage at the arc in place of that at the meter: absent where the current that flows is not known
    /// and the cable takes some.
    #[inline]
    fn at_the_arc(&mut self, amps: Option<i32>, volts: Option<i32>) -> Option<i32> {
        let amps = if self.steady.contains(Channel::Current) { amps } else { self.current_that_stands(amps) };
        let amps = amps?;
        Some(self.cable.compensate(Voltage::from_bits(volts?), Current::from_bits(amps)).to_bits())
    }
}
