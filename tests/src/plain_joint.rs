//! A joint from formulas alone: two bands on which every quantity has one known value.
//!
//! Decides: those values. They are invented, plausible, and so plain that what each quantity must read is
//! known without any model: a sine for the weave, a straight line for the angle, constants for the rest,
//! with a wobble in the last digits.
//! Never: uses the welding process of the program.

use crate::heard::{arc, raw, with};
use bandward::procedure::{Limits, Range, Rotation};
use bandward::rule::{Quantity, Side};
use bandward::units::{Length, Temperature};
use bandward::{Channel, Procedure, Rule, Sample};

/// What is laid, and how.
#[derive(Clone, Copy, Debug)]
pub struct PlainJoint {
    /// Samples a second.
    pub rate_hz: f64,
    /// Bands.
    pub bands: u32,
    /// A channel that is never there.
    pub without: Option<Channel>,
    /// A channel that gives nothing from this time on, s.
    pub blind_from_s: Option<(Channel, f64)>,
    /// Angle falls instead of growing, on bands from this one on.
    pub falls_from_band: Option<u32>,
    /// The data end at this time, s.
    pub ends_s: f64,
    /// The arc of the last band goes out for good at this angle, degrees.
    pub last_band_deg: f64,
    /// Where the carriage is, mm, on a band (from 0) after a part of it, in turns.
    pub carriage_mm: fn(u32, f64) -> f64,
    /// On top of the torch reading, mm, on a band (from 0) after a part of it, in turns.
    pub torch_mm: fn(u32, f64) -> f64,
    /// The data go on for so long after the last band, s.
    pub goes_on_s: f64,
    /// The temperature of the work so long, s, after the last band, degC.
    pub cools: fn(f64) -> f64,
}

/// Current, A.
pub const CURRENT_A: f64 = 320.0;
/// Voltage between short circuits, V.
pub const VOLTAGE_V: f64 = 31.5;
/// Gas flow while it flows, L/min.
pub const GAS_LPM: f64 = 17.5;
/// Gas before the arc, s.
pub const PREFLOW_S: f64 = 3.0;
/// Gas after the arc, s.
pub const POSTFLOW_S: f64 = 6.0;
/// Weave, peak to peak, mm.
pub const WEAVE_MM: f64 = 25.0;
/// Weave cycles a minute.
pub const WEAVE_PER_MIN: f64 = 80.0;
/// The centre of the weave wanders this far over a band, mm.
pub const DRIFT_MM: f64 = 1.5;
/// Time of a turn, s.
pub const TURN_S: f64 = 60.0;
/// A band runs on for so long past a turn, degrees.
pub const OVERLAP_DEG: f64 = 10.0;
/// Step from band to band, mm.
pub const STEP_MM: f64 = 23.0;
/// Coolant, L/min.
pub const COOLANT_LPM: f64 = 6.0;
/// Work before the first band, degC.
pub const PREHEAT_C: f64 = 200.0;
/// Work before the later ones, degC.
pub const INTERPASS_C: f64 = 250.0;
/// Even fall of the work after the last band of a joint that is watched as it cools, degC/h.
pub const COOLING_C_PER_H: f64 = 60.0;
/// It is watched down to here, degC.
pub const COOL_C: f64 = 230.0;
/// Wire feed, mm/min.
pub const WIRE_MM_PER_MIN: f64 = 7250.0;
/// Outside diameter, mm.
pub const DIAMETER_MM: f64 = 88.9;
/// Wire diameter, mm.
pub const WIRE_MM: f64 = 1.6;
/// Short circuits a second, each of 2 ms.
pub const SHORTS_PER_S: f64 = 4.0;
const SHORT_S: f64 = 0.002;
const SHORT_V: f64 = 5.0;

// Longer than the work's temperature is looked back on, twice.
const GAP_S: f64 = 30.0;
const BAND_S: f64 = TURN_S * (360.0 + OVERLAP_DEG) / 360.0;

/// Down to where a limit of this quantity holds, where it is of the cooling.
pub fn cool(quantity: Quantity) -> Option<Temperature> {
    (quantity == Quantity::Cooling).then_some(Temperature::from_milli((COOL_C * 1000.0) as i64))
}

impl Default for PlainJoint {
    fn default() -> Self {
        Self::PLAIN
    }
}

impl PlainJoint {
    /// Two bands at 50 samples a second, every channel there, nothing wrong.
    pub const PLAIN: Self = Self {
        rate_hz: 50.0,
        bands: 2,
        without: None,
        blind_from_s: None,
        falls_from_band: None,
        ends_s: f64::INFINITY,
        last_band_deg: 360.0 + OVERLAP_DEG,
        carriage_mm: |band, _| f64::from(band) * STEP_MM,
        torch_mm: |_, _| 0.0,
        goes_on_s: POSTFLOW_S + 5.0,
        cools: |_| INTERPASS_C,
    };
    /// As the plain one, watched until it has cooled evenly to [`COOL_C`].
    pub const COOLING: Self = Self {
        goes_on_s: 3600.0 * (INTERPASS_C - COOL_C) / COOLING_C_PER_H + 120.0,
        cools: |since_s| INTERPASS_C - COOLING_C_PER_H / 3600.0 * since_s,
        ..Self::PLAIN
    };
    /// The one on which a rule has something to judge.
    pub fn that_shows(rule: Rule) -> Self {
        match rule {
            Rule::CoolingFast => Self::COOLING,
            Rule::SpindleReversed => Self { falls_from_band: Some(1), ..Self::PLAIN },
            _ => Self::PLAIN,
        }
    }
    /// When the arc of the last band goes out, s.
    pub fn ends_at_s(&self) -> f64 {
        Self::strike_s(self.bands - 1) + self.band_s(self.bands - 1)
    }
    /// When the arc of a band (from 0) is struck, s.
    pub fn strike_s(band: u32) -> f64 {
        10.0 + f64::from(band) * (BAND_S + GAP_S)
    }
    /// What a quantity reads on it, in its unit, from the constants alone; the height by conservation of
    /// volume with a yield of 95 %.
    pub fn reads(quantity: Quantity) -> f64 {
        match quantity {
            Quantity::Current => CURRENT_A,
            Quantity::Voltage => VOLTAGE_V,
            Quantity::ShortCircuitRate => SHORTS_PER_S,
            Quantity::GasFlow => GAS_LPM,
            Quantity::GasPreflow => PREFLOW_S,
            Quantity::GasPostflow => POSTFLOW_S,
            Quantity::WeaveRate => WEAVE_PER_MIN,
            Quantity::WeaveWidth => WEAVE_MM,
            Quantity::WeaveCentreDrift => DRIFT_MM,
            Quantity::TurnTime => TURN_S,
            Quantity::StepOver => STEP_MM,
            Quantity::Overlap => OVERLAP_DEG,
            Quantity::CoolantFlow => COOLANT_LPM,
            Quantity::Preheat => PREHEAT_C,
            Quantity::Interpass => INTERPASS_C,
            Quantity::Cooling => COOLING_C_PER_H,
            Quantity::WireFeed => WIRE_MM_PER_MIN,
            Quantity::BandHeight => {
                let section_mm2 = std::f64::consts::PI / 4.0 * WIRE_MM * WIRE_MM;
                let speed_mm_per_s = std::f64::consts::PI * DIAMETER_MM / TURN_S;
                WIRE_MM_PER_MIN / 60.0 * section_mm2 * 0.95 / speed_mm_per_s / WEAVE_MM
            }
        }
    }
    /// A procedure that gives one limit alone, the one of `rule`, and of which this joint falls short by a
    /// good part of what it reads, or the way round it turns; `None` for other rules that watch no quantity.
    ///
    /// # Panics
    /// Never: one end of a range fits itself.
    pub fn procedure_it_breaks(rule: Rule) -> Option<Procedure> {
        if rule == Rule::SpindleReversed {
            let mut procedure = Procedure::new();
            procedure.joint.rotation = Some(Rotation::Clockwise);
            return Some(procedure);
        }
        let (quantity, side) = rule.watches()?;
        let value = Self::reads(quantity);
        let distance = (value.abs() * 0.15).max(0.3);
        let range = match side {
            Side::Low => Range { low: raw(value + distance, quantity.fraction_bits()), high: i32::MAX },
            Side::High => Range { low: i32::MIN, high: raw(value - distance, quantity.fraction_bits()) },
        };
        let mut procedure = Procedure::new();
        procedure.geometry.outside_diameter = Some(Length::from_milli((DIAMETER_MM * 1000.0) as i64));
        procedure.geometry.wire_diameter = Some(Length::from_milli((WIRE_MM * 1000.0) as i64));
        let limits = Limits { recommended: None, allowed: Some(range), floor: None };
        procedure.cooling_until = cool(quantity);
        Some(procedure.with_limits(quantity, limits).expect("one end of a range fits itself"))
    }
    fn band_s(&self, band: u32) -> f64 {
        if band + 1 == self.bands { TURN_S * self.last_band_deg / 360.0 } else { BAND_S }
    }
    /// All its samples.
    pub fn samples(self) -> impl Iterator<Item = Sample> {
        let end_s = self.ends_at_s() + self.goes_on_s;
        let count = (end_s.min(self.ends_s) * self.rate_hz) as u64;
        (0..count).map(move |index| self.sample(index as f64 / self.rate_hz))
    }
    fn sample(&self, now_s: f64) -> Sample {
        let band =
            (0..self.bands).rev().find(|&band| now_s >= Self::strike_s(band) - GAP_S / 2.0).unwrap_or(0);
        let since_s = now_s - Self::strike_s(band);
        let length_s = self.band_s(band);
        let burns = (0.0..length_s).contains(&since_s);
        let bare = Sample::at((now_s * 1e6).round() as u64);
        let shorted = (now_s * SHORTS_PER_S).fract() < SHORT_S * SHORTS_PER_S && self.rate_hz >= 2000.0;
        let mut sample = match (burns, shorted) {
            (true, false) => arc(bare, CURRENT_A, VOLTAGE_V),
            (true, true) => arc(bare, CURRENT_A, SHORT_V),
            (false, _) => with(with(bare, Channel::Current, 0.0), Channel::Voltage, 0.0),
        };
        let flows = (-PREFLOW_S..length_s + POSTFLOW_S).contains(&since_s);
        // Every sensor's last digits move.
        let wobble = 1.0 + 1e-4 * (now_s * 37.0).sin();
        let turned_s = now_s.min(Self::strike_s(band) + length_s + 0.5);
        let turned_deg = 360.0 * turned_s / TURN_S;
        let falls = self.falls_from_band.is_some_and(|first| band >= first);
        let drift_mm = DRIFT_MM * (since_s / BAND_S).clamp(0.0, 1.0);
        let laid_turns = since_s.clamp(0.0, length_s) / TURN_S;
        let cooled_s = now_s - self.ends_at_s();
        let work_c = match band {
            _ if cooled_s >= 0.0 => (self.cools)(cooled_s),
            0 => PREHEAT_C,
            _ => INTERPASS_C,
        };
        let readings = [
            (Channel::Gas, if flows { GAS_LPM * wobble } else { 0.0 }),
            (
                Channel::Torch,
                WEAVE_MM / 2.0 * (std::f64::consts::TAU * WEAVE_PER_MIN / 60.0 * now_s).sin()
                    + drift_mm
                    + (self.torch_mm)(band, laid_turns),
            ),
            (Channel::Spindle, if falls { -turned_deg } else { turned_deg }),
            (Channel::Wire, if burns { WIRE_MM_PER_MIN * wobble } else { 0.0 }),
            (Channel::Coolant, COOLANT_LPM * wobble),
            (Channel::Work, work_c * wobble),
            (Channel::Carriage, (self.carriage_mm)(band, laid_turns)),
        ];
        for (channel, value) in readings {
            sample = with(sample, channel, value);
        }
        self.seen(sample, now_s)
    }
    fn seen(&self, sample: Sample, now_s: f64) -> Sample {
        let is_blind =
            |channel| self.blind_from_s.is_some_and(|(blind, from_s)| blind == channel && now_s >= from_s);
        let left =
            sample.present().iter().filter(|&channel| self.without != Some(channel) && !is_blind(channel));
        left.fold(Sample::at(sample.time_us), |kept, channel| kept.with_raw(channel, sample.reading(channel)))
    }
}
