//! What a good band is: the ranges, the alarm settings and the geometry. Immutable once checked.
//!
//! Decides: whether a procedure makes sense.
//! Assumes: values are in the raw units of [`Quantity::fraction_bits`].
//! Never: changes while a monitor runs.

pub use crate::rule::AlarmSetting;
use crate::rule::{Quantity, QuantitySet, Rule, Side};
use crate::units::{Current, Length, Temperature, Voltage};
use core::fmt;

/// The pole the electrode is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Polarity {
    /// Direct current, electrode positive (DCEP): readings are positive.
    ElectrodePositive,
    /// Direct current, electrode negative (DCEN): readings are negative.
    ElectrodeNegative,
}

/// A closed range of raw values; `i32::MIN` or `i32::MAX` leaves an end open.
///
/// ```
/// use bandward::units::Current;
///
/// let range = Current::amps(280).to(Current::amps(360));
/// assert!((range.low..=range.high).contains(&Current::amps(320).to_bits()));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Range {
    /// Smallest value inside.
    pub low: i32,
    /// Largest value inside.
    pub high: i32,
}

/// The ranges of one quantity, in the raw units of [`Quantity::fraction_bits`]: those of the unit that
/// [`Quantity`] names beside it.
///
/// ```
/// use bandward::procedure::Limits;
/// use bandward::units::Voltage;
///
/// const VOLTAGE: Limits = Limits::allowed(Voltage::volts(30).to(Voltage::volts(33)))
///     .recommending(Voltage::volts(31).to(Voltage::volts(32)))
///     .never_below(Voltage::volts(29).to_bits());
/// assert!(VOLTAGE.recommended.is_some());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Limits {
    /// Outside it: advise.
    pub recommended: Option<Range>,
    /// Outside it: warn (or what the rule's setting says).
    pub allowed: Option<Range>,
    /// Below it: stop.
    pub floor: Option<i32>,
}

/// What is wrong with a procedure; in words by its `Display`.
///
/// ```
/// use bandward::{Procedure, Quantity, procedure::Limits, units::Current};
///
/// let swapped = Limits::allowed(Current::amps(360).to(Current::amps(280)));
/// let error = Procedure::new().with_limits(Quantity::Current, swapped).unwrap_err();
/// assert_eq!(error.to_string(), "[current] the allowed range begins above its end: swap them");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
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
    /// The arc-off current must be positive and below the arc-on current.
    ArcThresholds,
    /// The groups together must have as many bands as the joint.
    Groups,
    /// The distance of the carriage that ends a joint must be above zero.
    JointSign,
    /// This end of a range, or a floor, is watched by no rule, or the quantity is left out of this build by its
    /// features (see [`crate::watched`]): it would never be judged.
    NoJudge(Quantity, Side),
    /// A limit of the cooling and the temperature down to which it holds go together: give both or neither.
    CoolingUntil,
    /// A direction of turning, or a carriage that ends a joint, in a build without the feature `motion`: it would
    /// never be judged.
    NoMotion,
}

impl fmt::Display for ProcedureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (quantity, words) = match *self {
            Self::RecommendedReversed(quantity) => {
                (quantity, "the recommended range begins above its end: swap them")
            }
            Self::AllowedReversed(quantity) => {
                (quantity, "the allowed range begins above its end: swap them")
            }
            Self::RecommendedOutsideAllowed(quantity) => {
                (quantity, "the recommended range reaches outside the allowed one: narrow it")
            }
            Self::FloorAboveRange(quantity) => {
                (quantity, "the floor is above the low end of a range: lower it")
            }
            Self::NoJudge(quantity, Side::Low) => (quantity, "nothing judges that it is too low"),
            Self::NoJudge(quantity, Side::High) => (quantity, "this build does not watch it"),
            Self::DeadbandNegative(rule) => {
                return write!(f, "[alarm.{}] the deadband is negative", rule.name());
            }
            Self::DiameterNotPositive => return f.write_str("a diameter or width is not above zero"),
            Self::DepositionEfficiency => {
                return f.write_str("the deposition efficiency is not from 0.1 % to 100 %");
            }
            Self::ArcThresholds => {
                return f.write_str("the arc-off current is not above zero and below the arc-on current");
            }
            Self::Groups => return f.write_str("the groups together do not have as many bands as the joint"),
            Self::JointSign => {
                return f.write_str("the carriage distance that ends a joint is not above zero");
            }
            Self::CoolingUntil => {
                return f.write_str("[cooling] a limit and the temperature it holds down to go together");
            }
            Self::NoMotion => return f.write_str("this build does not follow the motion"),
        };
        write!(f, "[{}] {words}", quantity.table_name())
    }
}

impl core::error::Error for ProcedureError {}

impl Limits {
    /// What is allowed; nothing is recommended within it, and there is no floor.
    pub const fn allowed(range: Range) -> Self {
        Self { recommended: None, allowed: Some(range), floor: None }
    }
    /// With a recommended range within the allowed one.
    #[must_use]
    pub const fn recommending(self, range: Range) -> Self {
        Self { recommended: Some(range), ..self }
    }
    /// With a floor, raw: below it is a stop.
    #[must_use]
    pub const fn never_below(self, floor: i32) -> Self {
        Self { floor: Some(floor), ..self }
    }
    /// A low end above zero, or a floor, of a quantity that no rule watches for being low. (Every quantity is
    /// watched for being high.) A size is never below zero.
    const fn has_unjudged_low_end(&self, quantity: Quantity) -> bool {
        if quantity.rule(Side::Low).is_some() {
            return false;
        }
        self.floor.is_some()
            || matches!(self.recommended, Some(range) if range.low > 0)
            || matches!(self.allowed, Some(range) if range.low > 0)
    }
    /// Checks the ranges of `quantity` against each other.
    ///
    /// # Errors
    /// Says which range does not fit.
    pub const fn check(&self, quantity: Quantity) -> Result<(), ProcedureError> {
        if !quantity.is_watched() {
            return Err(ProcedureError::NoJudge(quantity, Side::High));
        }
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
        if self.has_unjudged_low_end(quantity) {
            return Err(ProcedureError::NoJudge(quantity, Side::Low));
        }
        Ok(())
    }
}

/// Sizes that turn readings into energy and height.
///
/// ```
/// use bandward::{Procedure, procedure::Geometry, units::Length};
///
/// let mut procedure = Procedure::new();
/// procedure.geometry = Geometry {
///     outside_diameter: Some(Length::inches(5, 0, 1)),
///     wire_diameter: Some(Length::inches(0, 1, 16)),
///     band_width: Some(Length::inches(1, 3, 16)),
///     ..procedure.geometry
/// };
/// assert!(procedure.check().is_ok());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
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
    /// How much wider the band is than the weave.
    pub run_out: Length,
}

impl Geometry {
    /// Are the sizes given that a band's height is worked out with?
    pub(crate) const fn gives_height(&self, weave_is_measured: bool) -> bool {
        self.outside_diameter.is_some()
            && self.wire_diameter.is_some()
            && (weave_is_measured || self.band_width.is_some())
    }
    /// Width that is laid where the torch weaves over `weave_width`: the pool runs out by as much as the
    /// procedure's band is wider than its weave.
    pub fn laid_width(&self, weave_width: Option<Length>) -> Option<Length> {
        weave_width.map(|width| width.saturating_add(self.run_out)).or(self.band_width)
    }
}

/// When the arc counts as burning, and how a band is cut out of the samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
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
    /// Past a full turn, the arc may be ramped down for this long at its end to fill the crater, µs; with 0 no
    /// ramp is taken for a crater fill.
    pub crater_fill_us: u32,
}

/// Which way the joint turns, seen towards the chuck.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Rotation {
    /// As the hands of a clock: readings of the spindle grow, unless the acquisition says otherwise.
    Clockwise,
    /// The other way.
    CounterClockwise,
}

/// Most groups of bands on one joint.
pub const MOST_GROUPS: usize = 4;

/// What belongs to one joint, and by which signs the next one begins. A marker always begins one.
///
/// ```
/// use bandward::{Procedure, ProcedureError, procedure::JointPlan};
///
/// let mut procedure = Procedure::new();
/// // Three bands on the pin, two on the box.
/// procedure.joint = JointPlan { bands: 5, groups: [3, 2, 0, 0], ..JointPlan::NONE };
/// assert_eq!(procedure.check(), Ok(()));
/// procedure.joint.bands = 4;
/// assert_eq!(procedure.check(), Err(ProcedureError::Groups));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct JointPlan {
    /// Bands on one joint; 0 where none are given.
    pub bands: u16,
    /// Bands in each group (pin and box, or other places): the travel between groups is no step-over, and
    /// each group has its own preheat. All 0: one group.
    pub groups: [u8; MOST_GROUPS],
    /// Which way it turns.
    pub rotation: Option<Rotation>,
    /// Without an arc, a carriage further than this from the last band means that the joint is done.
    pub ends_with_carriage_beyond: Option<Length>,
    /// Without an arc for this long the joint is done, µs.
    pub ends_with_arc_off_us: Option<u32>,
}

impl JointPlan {
    /// Nothing is given: all bands are of one joint.
    pub const NONE: Self = Self {
        bands: 0,
        groups: [0; MOST_GROUPS],
        rotation: None,
        ends_with_carriage_beyond: None,
        ends_with_arc_off_us: None,
    };
    /// Bands of the group with this number, from 0; none where there is no such group.
    pub fn group(&self, number: u8) -> Option<u8> {
        self.groups.get(usize::from(number)).copied().filter(|&bands| bands > 0)
    }
    const fn check(&self) -> Result<(), ProcedureError> {
        let mut in_groups = 0_u16;
        let mut groups: &[u8] = &self.groups;
        while let Some((bands, others)) = groups.split_first() {
            in_groups = in_groups.saturating_add(*bands as u16);
            groups = others;
        }
        if in_groups > 0 && in_groups != self.bands {
            return Err(ProcedureError::Groups);
        }
        if is_nothing(self.ends_with_carriage_beyond) {
            return Err(ProcedureError::JointSign);
        }
        Ok(())
    }
}

/// A length that is given, and is not above zero.
const fn is_nothing(length: Option<Length>) -> bool {
    matches!(length, Some(length) if length.to_bits() <= 0)
}

/// A whole procedure.
///
/// ```
/// use bandward::{Procedure, Quantity, procedure::{Limits, Polarity}, units::Current};
///
/// let mut procedure = Procedure::new()
///     .limited(Quantity::Current, Limits::allowed(Current::amps(280).to(Current::amps(360))));
/// procedure.polarity = Some(Polarity::ElectrodePositive);
/// assert!(procedure.asks() && procedure.limits(Quantity::Voltage).is_none());
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Procedure {
    /// The pole the electrode belongs on; without it polarity is not judged.
    pub polarity: Option<Polarity>,
    /// Sizes.
    pub geometry: Geometry,
    /// When the arc counts as burning.
    pub arc: ArcSettings,
    /// What belongs to one joint.
    pub joint: JointPlan,
    /// Below it, how fast the joint cools no longer matters: given with a limit of [`Quantity::Cooling`].
    pub cooling_until: Option<Temperature>,
    limits: [Option<Limits>; Quantity::IN_PROCEDURE],
    #[cfg_attr(feature = "serde", serde(with = "crate::by_rule::form"))]
    alarms: [AlarmSetting; Rule::IN_PROCEDURE],
    /// Quantities that never cost a band its proof where the trace does not allow them to be judged.
    where_possible: QuantitySet,
    /// Quantities that a range was given for and that have no place for it: it is refused.
    #[cfg_attr(feature = "serde", serde(skip))]
    without_place: [QuantitySet; Quantity::WITHOUT_PLACE],
}

impl Procedure {
    /// Judges nothing that needs a range; everything else at its default.
    pub const fn new() -> Self {
        let mut alarms = [Rule::VoltageLow.default_setting(); Rule::IN_PROCEDURE];
        let mut rules: &[Rule] = &Rule::ALL;
        while let Some((rule, others)) = rules.split_first() {
            if let Some(slot) = slot_of(&mut alarms, rule.place_in_procedure()) {
                *slot = rule.default_setting();
            }
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
                run_out: Length::ZERO,
            },
            arc: ArcSettings {
                current_on: Current::from_milli(40_000),
                current_off: Current::from_milli(20_000),
                open_circuit: Voltage::from_milli(38_000),
                strike_us: 1_000_000,
                outage_join_us: 3_000_000,
                gap_join_us: 10_000_000,
                crater_fill_us: 4_000_000,
            },
            joint: JointPlan::NONE,
            cooling_until: None,
            limits: [None; Quantity::IN_PROCEDURE],
            alarms,
            where_possible: QuantitySet::EMPTY,
            without_place: [QuantitySet::EMPTY; Quantity::WITHOUT_PLACE],
        }
    }
    /// The ranges of a quantity, where given.
    pub fn limits(&self, quantity: Quantity) -> Option<&Limits> {
        self.limits.get(quantity.place_in_procedure()).and_then(Option::as_ref)
    }
    /// The lower end of the allowed range of a quantity, else of the recommended one.
    pub(crate) fn least(&self, quantity: Quantity) -> Option<i32> {
        let limits = self.limits(quantity)?;
        limits.allowed.or(limits.recommended).map(|range| range.low)
    }
    /// The least step from band to band, raw.
    pub(crate) fn least_step(&self) -> Option<i32> {
        let band_width = self.geometry.band_width.map(Length::to_bits);
        self.least(Quantity::StepOver).or(band_width).filter(|&step| step > 0)
    }
    /// How an alarm behaves.
    pub fn alarm(&self, rule: Rule) -> AlarmSetting {
        let [first, ..] = &self.alarms;
        match self.alarms.get(rule.place_in_procedure()) {
            Some(setting) => *setting,
            // Every rule has a place: without a panic path the first stands for "never".
            None if Rule::IN_PROCEDURE == Rule::COUNT => *first,
            // What this build does not watch behaves as a rule does that the procedure says nothing of.
            None => rule.default_setting(),
        }
    }
    /// With the ranges of a quantity.
    ///
    /// # Errors
    /// Says which range does not fit; nothing has changed then.
    pub const fn with_limits(self, quantity: Quantity, limits: Limits) -> Result<Self, ProcedureError> {
        match limits.check(quantity) {
            Ok(()) => Ok(self.limited(quantity, limits)),
            Err(error) => Err(error),
        }
    }
    /// With the ranges of a quantity, unchecked as yet: for a procedure written in code, which
    /// [`SoundProcedure::of`] checks whole.
    ///
    /// ```
    /// use bandward::{Procedure, ProcedureError, Quantity, SoundProcedure};
    /// use bandward::{procedure::Limits, units::Current};
    ///
    /// let swapped = Limits::allowed(Current::amps(360).to(Current::amps(280)));
    /// let refused = SoundProcedure::of(Procedure::new().limited(Quantity::Current, swapped));
    /// assert_eq!(refused, Err(ProcedureError::AllowedReversed(Quantity::Current)));
    /// ```
    #[must_use]
    pub const fn limited(mut self, quantity: Quantity, limits: Limits) -> Self {
        if let Some(slot) = slot_of(&mut self.limits, quantity.place_in_procedure()) {
            *slot = Some(limits);
        } else if let Some(slot) = slot_of(&mut self.without_place, 0) {
            *slot = slot.with(quantity);
        }
        self
    }
    /// With a quantity judged only where the trace allows it: then it never costs a band its proof, and is
    /// listed all the same.
    #[must_use]
    pub const fn judged_where_possible(mut self, quantity: Quantity) -> Self {
        self.where_possible = self.where_possible.with(quantity);
        self
    }
    /// Is a quantity judged only where the trace allows it?
    pub const fn is_judged_where_possible(&self, quantity: Quantity) -> bool {
        self.where_possible.contains(quantity)
    }
    const fn is_cooling_limited(&self) -> bool {
        matches!(place_of(&self.limits, Quantity::Cooling.place_in_procedure()), Some(Some(_)))
    }
    /// Does it give anything that a weld could break?
    pub fn asks(&self) -> bool {
        self.polarity.is_some()
            || self.joint.rotation.is_some()
            || self.joint.bands > 0
            || self.limits.iter().any(Option::is_some)
    }
    /// With other behaviour of one alarm.
    ///
    /// # Errors
    /// [`ProcedureError::DeadbandNegative`].
    pub const fn with_alarm(mut self, rule: Rule, setting: AlarmSetting) -> Result<Self, ProcedureError> {
        if setting.deadband < 0 {
            return Err(ProcedureError::DeadbandNegative(rule));
        }
        if let Some(slot) = slot_of(&mut self.alarms, rule.place_in_procedure()) {
            *slot = setting;
        }
        Ok(self)
    }
    /// Checks everything again: for a procedure that came over a wire or out of flash.
    ///
    /// # Errors
    /// The first thing that does not fit.
    pub const fn check(&self) -> Result<(), ProcedureError> {
        let mut quantities: &[Quantity] = &Quantity::ALL;
        while let Some((&quantity, others)) = quantities.split_first() {
            if let Some(Some(limits)) = place_of(&self.limits, quantity.place_in_procedure())
                && let Err(error) = limits.check(quantity)
            {
                return Err(error);
            }
            if matches!(place_of(&self.without_place, 0), Some(refused) if refused.contains(quantity)) {
                return Err(ProcedureError::NoJudge(quantity, Side::High));
            }
            quantities = others;
        }
        let mut rules: &[Rule] = &Rule::ALL;
        while let Some((&rule, others)) = rules.split_first() {
            let setting = place_of(&self.alarms, rule.place_in_procedure());
            if matches!(setting, Some(setting) if setting.deadband < 0) {
                return Err(ProcedureError::DeadbandNegative(rule));
            }
            rules = others;
        }
        let Geometry { outside_diameter, wire_diameter, band_width, .. } = self.geometry;
        if is_nothing(outside_diameter) || is_nothing(wire_diameter) || is_nothing(band_width) {
            return Err(ProcedureError::DiameterNotPositive);
        }
        if !matches!(self.geometry.deposition_efficiency_milli, 1..=1000) {
            return Err(ProcedureError::DepositionEfficiency);
        }
        if let Err(error) = self.joint.check() {
            return Err(error);
        }
        if self.cooling_until.is_some() != self.is_cooling_limited() {
            return Err(ProcedureError::CoolingUntil);
        }
        let asks_for_motion = self.joint.rotation.is_some() || self.joint.ends_with_carriage_beyond.is_some();
        if asks_for_motion && !cfg!(feature = "motion") {
            return Err(ProcedureError::NoMotion);
        }
        let ArcSettings { current_on, current_off, .. } = self.arc;
        if current_off.to_bits() <= 0 || current_off.to_bits() >= current_on.to_bits() {
            return Err(ProcedureError::ArcThresholds);
        }
        Ok(())
    }
}

/// What stands at a place, where there is such a one.
const fn place_of<T>(values: &[T], place: usize) -> Option<&T> {
    match values.split_at_checked(place) {
        Some((_, [value, ..])) => Some(value),
        _ => None,
    }
}

/// The same, to be changed.
const fn slot_of<T>(values: &mut [T], place: usize) -> Option<&mut T> {
    match values.split_at_mut_checked(place) {
        Some((_, [value, ..])) => Some(value),
        _ => None,
    }
}

/// A procedure that was checked: the only kind that can be watched by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SoundProcedure(Procedure);

impl SoundProcedure {
    /// Judges nothing that needs a range.
    pub const NONE: Self = Self(Procedure::new());
    /// Checks a procedure; one that is written in code, while it is compiled.
    ///
    /// ```
    /// use bandward::{Procedure, Quantity, SoundProcedure, procedure::Limits, units::Voltage};
    ///
    /// const WRITTEN: Procedure = Procedure::new().limited(
    ///     Quantity::Voltage,
    ///     Limits::allowed(Voltage::volts(30).to(Voltage::volts(33))).never_below(Voltage::volts(29).to_bits()),
    /// );
    /// static PROCEDURE: SoundProcedure = match SoundProcedure::of(WRITTEN) {
    ///     Ok(sound) => sound,
    ///     Err(_) => panic!("it does not make sense, and does not compile"),
    /// };
    /// assert!(PROCEDURE.asks());
    /// ```
    ///
    /// # Errors
    /// The first thing that does not fit.
    pub const fn of(procedure: Procedure) -> Result<Self, ProcedureError> {
        match procedure.check() {
            Ok(()) => Ok(Self(procedure)),
            Err(error) => Err(error),
        }
    }
}

impl TryFrom<Procedure> for SoundProcedure {
    type Error = ProcedureError;
    fn try_from(procedure: Procedure) -> Result<Self, ProcedureError> {
        Self::of(procedure)
    }
}

impl core::ops::Deref for SoundProcedure {
    type Target = Procedure;
    fn deref(&self) -> &Procedure {
        &self.0
    }
}

impl Default for Procedure {
    fn default() -> Self {
        Self::new()
    }
}
