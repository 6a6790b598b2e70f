//! What a good band is: the ranges, the alarm settings and the geometry. Immutable once checked.
//!
//! Decides: whether a procedure makes sense.
//! Assumes: values are in the raw units of [`Quantity::fraction_bits`].
//! Never: changes while a monitor runs.

pub use crate::rule::AlarmSetting;
use crate::rule::{Quantity, Rule};
use crate::sample::Channel;
use crate::units::{Current, Length, Voltage};
use serde::{Deserialize, Serialize};

/// The pole the electrode is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Polarity {
    /// Direct current, electrode positive (DCEP): readings are positive.
    ElectrodePositive,
    /// Direct current, electrode negative (DCEN): readings are negative.
    ElectrodeNegative,
}

/// A closed range of raw values; `i32::MIN` or `i32::MAX` leaves an end open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Range {
    /// Smallest value inside.
    pub low: i32,
    /// Largest value inside.
    pub high: i32,
}

/// The ranges of one quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Limits {
    /// Outside it: advise.
    pub recommended: Option<Range>,
    /// Outside it: warn (or what the rule's setting says).
    pub allowed: Option<Range>,
    /// Below it: stop.
    pub floor: Option<i32>,
}

/// What is wrong with a procedure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ProcedureError {
    /// The low end of a recommended range is above its high end: swap them.
    RecommendedReversed(Quantity),
    /// The low end of an allowed range is above its high end: swap them.
    AllowedReversed(Quantity),
    /// The recommended range reaches outside the allowed one: narrow it or widen the other.
    RecommendedOutsideAllowed(Quantity),
    /// The floor is above the low end of a range: lower it.
    FloorAboveRange(Quantity),
    /// A deadband must not be negative.
    DeadbandNegative(Rule),
    /// A diameter must be above zero.
    DiameterNotPositive,
    /// The deposition efficiency must be above 0 and at most 1000 thousandths.
    DepositionEfficiency,
    /// The low end of a sensor's range is not below its high end.
    SensorRange(Channel),
    /// The arc-off current must be positive and below the arc-on current.
    ArcThresholds,
}

impl Limits {
    /// Checks the ranges of `quantity` against each other.
    ///
    /// # Errors
    /// Says which range does not fit.
    pub const fn check(&self, quantity: Quantity) -> Result<(), ProcedureError> {
        if let Some(range) = self.recommended
            && range.low > range.high
        {
            return Err(ProcedureError::RecommendedReversed(quantity));
        }
        if let Some(range) = self.allowed
            && range.low > range.high
        {
            return Err(ProcedureError::AllowedReversed(quantity));
        }
        if let (Some(inner), Some(outer)) = (self.recommended, self.allowed)
            && (inner.low < outer.low || inner.high > outer.high)
        {
            return Err(ProcedureError::RecommendedOutsideAllowed(quantity));
        }
        if let (Some(floor), Some(outer)) = (self.floor, self.allowed)
            && floor > outer.low
        {
            return Err(ProcedureError::FloorAboveRange(quantity));
        }
        Ok(())
    }
}

/// Sizes that turn readings into energy and height.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Geometry {
    /// Outside diameter of the tool joint.
    pub outside_diameter: Option<Length>,
    /// Wire diameter.
    pub wire_diameter: Option<Length>,
    /// Share of the wire that stays in the band, in thousandths.
    pub deposition_efficiency_milli: u16,
    /// Electrical stick-out, for estimating wire feed from current.
    pub stick_out: Option<Length>,
    /// Width of a finished band where the weave is not measured.
    pub band_width: Option<Length>,
}

/// When the arc counts as burning, and how a band is cut out of the samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ArcSettings {
    /// The arc burns from this current (without sign).
    pub current_on: Current,
    /// The arc is out below this current (without sign).
    pub current_off: Current,
    /// A voltage (without sign) from which the circuit is open unless the current is live.
    pub open_circuit: Voltage,
    /// After the strike, ranges are not judged for this long, µs.
    pub strike_us: u32,
    /// Outages shorter than this belong to one band, µs.
    pub outage_join_us: u32,
    /// A hole in the data shorter than this, with the arc burning on both sides, belongs to one
    /// band, µs.
    pub gap_join_us: u32,
}

/// A whole procedure.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Procedure {
    /// The pole the electrode belongs on; without it polarity is not judged.
    pub polarity: Option<Polarity>,
    /// Sizes.
    pub geometry: Geometry,
    /// When the arc counts as burning.
    pub arc: ArcSettings,
    limits: [Option<Limits>; Quantity::COUNT],
    alarms: [AlarmSetting; Rule::COUNT],
    sensor_ranges: [Range; Channel::COUNT],
}

impl Procedure {
    /// Judges nothing that needs a range; everything else at its default.
    pub const fn new() -> Self {
        let mut alarms = [Rule::VoltageLow.default_setting(); Rule::COUNT];
        let mut rest: &mut [AlarmSetting] = &mut alarms;
        let mut rules: &[Rule] = &Rule::ALL;
        while let (Some((slot, slots)), Some((rule, others))) = (rest.split_first_mut(), rules.split_first())
        {
            *slot = rule.default_setting();
            rest = slots;
            rules = others;
        }
        Self {
            polarity: None,
            geometry: Geometry {
                outside_diameter: None,
                wire_diameter: None,
                deposition_efficiency_milli: 950,
                stick_out: None,
                band_width: None,
            },
            arc: ArcSettings {
                current_on: Current::from_milli(40_000),
                current_off: Current::from_milli(20_000),
                open_circuit: Voltage::from_milli(38_000),
                strike_us: 1_000_000,
                outage_join_us: 3_000_000,
                gap_join_us: 10_000_000,
            },
            limits: [None; Quantity::COUNT],
            alarms,
            sensor_ranges: DEFAULT_SENSOR_RANGES,
        }
    }
    /// The ranges of a quantity, where given.
    pub fn limits(&self, quantity: Quantity) -> Option<&Limits> {
        self.limits.get(quantity as usize).and_then(Option::as_ref)
    }
    /// The lower end of the allowed range of a quantity, else of the recommended one.
    pub(crate) fn least(&self, quantity: Quantity) -> Option<i32> {
        let limits = self.limits(quantity)?;
        limits.allowed.or(limits.recommended).map(|range| range.low)
    }
    /// How an alarm behaves.
    pub fn alarm(&self, rule: Rule) -> AlarmSetting {
        self.alarms.get(rule as usize).copied().unwrap_or_else(|| rule.default_setting())
    }
    /// The range a sensor can show; at or beyond its ends a reading is railed.
    pub fn sensor_range(&self, channel: Channel) -> Range {
        self.sensor_ranges.get(channel as usize).copied().unwrap_or(OPEN)
    }
    /// The ranges all sensors can show, in the order of [`Channel::ALL`].
    pub(crate) const fn sensor_ranges(&self) -> &[Range; Channel::COUNT] {
        &self.sensor_ranges
    }
    /// With the ranges of a quantity.
    ///
    /// # Errors
    /// Says which range does not fit; nothing has changed then.
    pub fn with_limits(mut self, quantity: Quantity, limits: Limits) -> Result<Self, ProcedureError> {
        limits.check(quantity)?;
        if let Some(slot) = self.limits.get_mut(quantity as usize) {
            *slot = Some(limits);
        }
        Ok(self)
    }
    /// With other behaviour of one alarm.
    ///
    /// # Errors
    /// [`ProcedureError::DeadbandNegative`].
    pub fn with_alarm(mut self, rule: Rule, setting: AlarmSetting) -> Result<Self, ProcedureError> {
        if setting.deadband < 0 {
            return Err(ProcedureError::DeadbandNegative(rule));
        }
        if let Some(slot) = self.alarms.get_mut(rule as usize) {
            *slot = setting;
        }
        Ok(self)
    }
    /// With the range a sensor can show, raw.
    ///
    /// # Errors
    /// [`ProcedureError::SensorRange`].
    pub fn with_sensor_range(mut self, channel: Channel, range: Range) -> Result<Self, ProcedureError> {
        if range.low >= range.high {
            return Err(ProcedureError::SensorRange(channel));
        }
        if let Some(slot) = self.sensor_ranges.get_mut(channel as usize) {
            *slot = range;
        }
        Ok(self)
    }
    /// Checks everything again: for a procedure that came over a wire or out of flash.
    ///
    /// # Errors
    /// The first thing that does not fit.
    pub fn check(&self) -> Result<(), ProcedureError> {
        for quantity in Quantity::ALL {
            if let Some(limits) = self.limits(quantity) {
                limits.check(quantity)?;
            }
        }
        for rule in Rule::ALL {
            if self.alarm(rule).deadband < 0 {
                return Err(ProcedureError::DeadbandNegative(rule));
            }
        }
        for channel in Channel::ALL {
            let range = self.sensor_range(channel);
            if range.low >= range.high {
                return Err(ProcedureError::SensorRange(channel));
            }
        }
        let geometry = &self.geometry;
        for diameter in [geometry.outside_diameter, geometry.wire_diameter, geometry.band_width] {
            if diameter.is_some_and(|length| length <= Length::ZERO) {
                return Err(ProcedureError::DiameterNotPositive);
            }
        }
        if geometry.deposition_efficiency_milli == 0 || geometry.deposition_efficiency_milli > 1000 {
            return Err(ProcedureError::DepositionEfficiency);
        }
        if self.arc.current_off <= Current::ZERO || self.arc.current_off >= self.arc.current_on {
            return Err(ProcedureError::ArcThresholds);
        }
        Ok(())
    }
}

impl Default for Procedure {
    fn default() -> Self {
        Self::new()
    }
}

const OPEN: Range = Range { low: i32::MIN, high: i32::MAX };

/// Wider than any sensor of the trade: what lies beyond is physically impossible on this machine.
const DEFAULT_SENSOR_RANGES: [Range; Channel::COUNT] = [
    within(Channel::Current, -1500, 1500),
    within(Channel::Voltage, -150, 150),
    within(Channel::Gas, -5, 100),
    within(Channel::Torch, -2000, 2000),
    OPEN,
    within(Channel::Wire, -1000, 50_000),
    within(Channel::Coolant, -5, 100),
    within(Channel::Work, -50, 1500),
    within(Channel::Carriage, -100_000, 100_000),
];

const fn within(channel: Channel, low: i32, high: i32) -> Range {
    let bits = channel.fraction_bits();
    Range { low: low.wrapping_shl(bits), high: high.wrapping_shl(bits) }
}
