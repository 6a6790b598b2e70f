//! A joint made of whole numbers, the same on every machine, to measure and compare with.
//!
//! Decides: what the samples are. An invented machine: 10,000 samples a second of current and
//! voltage with short circuits, noise and ripple; every 100th sample also carries gas, torch, spindle, wire and
//! coolant; every 1,000th work temperature and carriage. Two bands, the second with faults; at its end the carriage steps on under the arc.
//! Never: uses a float or a clock.

use bandward::procedure::{Limits, Polarity, Procedure, Range, Rotation, SoundProcedure};
use bandward::units::{Current, FlowRate, Length, Temperature, Voltage, WireSpeed};
use bandward::{Channel, Quantity, Sample};

/// Time between samples, µs.
pub const PERIOD_US: u32 = 100;
/// Samples from cold to cold.
pub const SAMPLES: u32 = 1_000_000;

const ARC: [core::ops::Range<u32>; 2] = [50_000..430_000, 520_000..900_000];
/// Where the carriage stands, mm / 1000: in the first band, in the second, and after its step under the arc.
const PLACES: [i64; 3] = [0, 25_000, 50_000];
const STEPS_AT: u32 = 885_000;
const GAS: [core::ops::Range<u32>; 2] = [30_000..450_000, 500_000..920_000];

/// Makes the joint, sample by sample.
#[derive(Clone, Debug, Default)]
pub struct Pattern {
    index: u32,
    noise: u32,
    spindle: u32,
}

impl Pattern {
    /// From the start.
    pub fn new() -> Self {
        Self::default()
    }
    /// Evenly spread between -`half` and `half`; a linear congruential generator modulo 2^32.
    fn noise(&mut self, half: i32) -> i32 {
        self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let spread = (2 * half + 1) as u64;
        ((u64::from(self.noise) * spread) >> 32) as i32 - half
    }
    fn electrical(&mut self, sample: Sample) -> Sample {
        let i = self.index;
        if !ARC.iter().any(|arc| arc.contains(&i)) {
            let (current, voltage) = (self.noise(512), self.noise(1024));
            return sample.with_raw(Channel::Current, current).with_raw(Channel::Voltage, voltage);
        }
        // Short circuits of 2 ms, 60 a second; in the faulty stretch of the second band the arc is
        // also too short.
        let short = i % 166 < 20;
        let faulty = (700_000..760_000).contains(&i);
        let volts = if short {
            12
        } else if faulty {
            22
        } else {
            29
        };
        let amperes = if short { 360 } else { 280 };
        let voltage = Voltage::from_milli(volts * 1000).to_bits() + self.noise(6000);
        let current = Current::from_milli(amperes * 1000).to_bits() + self.noise(32_000);
        sample.with_raw(Channel::Current, current).with_raw(Channel::Voltage, voltage)
    }
    fn slow(&mut self, sample: Sample) -> Sample {
        let i = self.index;
        let arc = ARC.iter().any(|arc| arc.contains(&i));
        let gas_on = GAS.iter().any(|gas| gas.contains(&i)) && !(800_000..820_000).contains(&i);
        let gas = FlowRate::from_milli(if gas_on { 18_000 } else { 0 }).to_bits() + self.noise(400);
        // 120 weaves a minute, 20 mm wide: 5,000 samples there and back.
        let phase = (i % 5000) as i32;
        let torch = if phase < 2500 { phase } else { 5000 - phase } * 8;
        let torch = Length::from_milli(i64::from(torch)).to_bits() + self.noise(200);
        let wire = WireSpeed::from_milli(if arc { 6_000_000 } else { 0 }).to_bits() + self.noise(2000);
        let coolant = FlowRate::from_milli(6000).to_bits() + self.noise(400);
        sample
            .with_raw(Channel::Gas, gas)
            .with_raw(Channel::Torch, torch)
            .with_raw(Channel::Spindle, self.spindle as i32)
            .with_raw(Channel::Wire, wire)
            .with_raw(Channel::Coolant, coolant)
    }
}

impl Iterator for Pattern {
    type Item = Sample;

    fn next(&mut self) -> Option<Sample> {
        if self.index >= SAMPLES {
            return None;
        }
        let i = self.index;
        let mut sample = self.electrical(Sample::at(u64::from(i) * u64::from(PERIOD_US)));
        if i.is_multiple_of(100) {
            sample = self.slow(sample);
        }
        if i.is_multiple_of(1000) {
            let work = Temperature::from_milli(120_000 + i64::from(i) / 10).to_bits() + self.noise(300);
            let carriage =
                Length::from_milli(PLACES[usize::from(i >= 470_000) + usize::from(i >= STEPS_AT)]).to_bits();
            sample = sample.with_raw(Channel::Work, work).with_raw(Channel::Carriage, carriage);
        }
        if ARC.iter().any(|arc| arc.contains(&i)) {
            // A turn in 36 s.
            self.spindle = self.spindle.wrapping_add(11_930);
        }
        self.index += 1;
        Some(sample)
    }
}

/// A procedure that judges every quantity, so that nothing is left out of the measuring.
pub static PROCEDURE: SoundProcedure = match SoundProcedure::of(procedure()) {
    Ok(sound) => sound,
    Err(_) => panic!("it does not make sense, and does not compile"),
};

const LIMITS: [(Quantity, i64, i64, Option<i64>); 17] = [
    (Quantity::Current, 200_000, 350_000, None),
    (Quantity::Voltage, 26_000, 32_000, Some(24_000)),
    (Quantity::ShortCircuitRate, 20_000, 100_000, None),
    (Quantity::GasFlow, 14_000, 24_000, Some(5_000)),
    (Quantity::GasPreflow, 500, 10_000, None),
    (Quantity::GasPostflow, 1_000, 10_000, None),
    (Quantity::WeaveRate, 100_000, 140_000, None),
    (Quantity::WeaveWidth, 17_000, 23_000, None),
    (Quantity::WeaveCentreDrift, 0, 3_000, None),
    (Quantity::TurnTime, 30_000, 42_000, None),
    (Quantity::StepOver, 20_000, 30_000, None),
    (Quantity::Overlap, 10_000, 40_000, None),
    (Quantity::CoolantFlow, 3_000, 10_000, Some(500)),
    (Quantity::Preheat, 100_000, 200_000, None),
    (Quantity::Interpass, 100_000, 250_000, None),
    (Quantity::WireFeed, 5_000_000, 7_000_000, None),
    (Quantity::BandHeight, 300, 1_200, None),
];

const fn procedure() -> Procedure {
    let mut procedure = Procedure::new();
    procedure.polarity = Some(Polarity::ElectrodePositive);
    procedure.joint.bands = 2;
    procedure.joint.rotation = Some(Rotation::Clockwise);
    procedure.geometry.outside_diameter = Some(Length::from_milli(165_000));
    procedure.geometry.wire_diameter = Some(Length::from_milli(1_600));
    procedure.geometry.stick_out = Some(Length::from_milli(25_000));
    let mut table: &[_] = &LIMITS;
    while let Some((&(quantity, low, high, floor), rest)) = table.split_first() {
        let bits = quantity.fraction_bits();
        let allowed = Some(Range { low: raw(low, bits), high: raw(high, bits) });
        let floor = match floor {
            Some(floor) => Some(raw(floor, bits)),
            None => None,
        };
        procedure = match procedure.with_limits(quantity, Limits { recommended: allowed, allowed, floor }) {
            Ok(with) => with,
            Err(_) => panic!("an end that is not in order, and does not compile"),
        };
        table = rest;
    }
    procedure
}

const fn raw(milli: i64, bits: u32) -> i32 {
    ((milli << bits) / 1000) as i32
}

/// How the samples of the pattern come.
pub fn acquisition() -> bandward::monitor::Acquisition {
    bandward::monitor::Acquisition {
        gap_tolerance_us: 10 * PERIOD_US,
        spindle_sense: Some(bandward::procedure::Rotation::Clockwise),
        ..bandward::monitor::Acquisition::every(PERIOD_US, bandward::sample::ChannelSet::ALL)
    }
}
