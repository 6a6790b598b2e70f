//! The settings a procedure gives: each with what to aim at and what is allowed.
//!
//! Decides: which settings there are, what is physically possible for each, and whether the ranges of
//! one fit each other.
//! Assumes: values are in the house units of [`Dimension`].
//! Never: judges a reading.

use super::bounds::{Bounds, Extent};
use super::document::{Located, Section};
use super::quantity::{Dimension, UnitSystem, format};
use bandward::Quantity;
use bandward::procedure::{Limits, Range};
use bandward::rule::Side;

/// What a setting is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// A quantity the monitor judges while welding.
    Judged(Quantity),
    /// Electrical stick-out: from the contact tip to the work, mm.
    StickOut,
    /// Depth of the contact tip within the nozzle, mm.
    TipRecess,
    /// Torch angle from the plumb line, degrees.
    TorchAngle,
    /// Distance of the torch from the top centre of the joint, mm.
    TorchOffset,
}

impl Subject {
    /// All of them: the judged quantities first.
    pub fn all() -> impl Iterator<Item = Self> {
        Quantity::ALL.into_iter().map(Self::Judged).chain([
            Self::StickOut,
            Self::TipRecess,
            Self::TorchAngle,
            Self::TorchOffset,
        ])
    }
    /// The table of a procedure file that gives it.
    pub const fn table_name(self) -> &'static str {
        match self {
            Self::Judged(quantity) => quantity.table_name(),
            Self::StickOut => "stick_out",
            Self::TipRecess => "tip_recess",
            Self::TorchAngle => "torch_angle",
            Self::TorchOffset => "torch_offset",
        }
    }
    /// What it is called.
    pub fn title(self) -> String {
        match self {
            Self::StickOut => "stick-out".to_owned(),
            Self::Judged(Quantity::StepOver) => "step-over".to_owned(),
            other => other.table_name().replace('_', " "),
        }
    }
    /// What it is measured in.
    pub const fn dimension(self) -> Dimension {
        self.dimension_and_possible().0
    }
    /// What a machine of the trade could be set to, in the house unit: wide enough for all, so that
    /// only slips of the pen fall outside (common practice, no source).
    pub const fn possible(self) -> (f64, f64) {
        self.dimension_and_possible().1
    }
    const fn dimension_and_possible(self) -> (Dimension, (f64, f64)) {
        match self {
            Self::Judged(quantity) => match quantity {
                Quantity::Current => (Dimension::Current, (0.0, 1500.0)),
                Quantity::Voltage => (Dimension::Voltage, (0.0, 150.0)),
                Quantity::ShortCircuitRate => (Dimension::EventRate, (0.0, 1000.0)),
                Quantity::GasFlow => (Dimension::Flow, (0.0, 100.0)),
                Quantity::GasPreflow | Quantity::GasPostflow => (Dimension::Duration, (0.0, 600.0)),
                Quantity::WeaveRate => (Dimension::Rate, (0.0, 1000.0)),
                Quantity::WeaveWidth | Quantity::WeaveCentreDrift | Quantity::StepOver => {
                    (Dimension::Length, (0.0, 500.0))
                }
                Quantity::TurnTime => (Dimension::Duration, (1.0, 3600.0)),
                Quantity::Overlap => (Dimension::Angle, (0.0, 360.0)),
                Quantity::CoolantFlow => (Dimension::LiquidFlow, (0.0, 100.0)),
                Quantity::Preheat | Quantity::Interpass => (Dimension::Temperature, (-50.0, 1000.0)),
                Quantity::WireFeed => (Dimension::WireSpeed, (0.0, 50_000.0)),
                Quantity::BandHeight => (Dimension::Length, (0.0, 100.0)),
                Quantity::Cooling => (Dimension::CoolingRate, (0.0, 10_000.0)),
            },
            Self::StickOut => (Dimension::Length, (0.0, 100.0)),
            Self::TipRecess => (Dimension::Length, (-20.0, 20.0)),
            Self::TorchAngle => (Dimension::Angle, (-90.0, 90.0)),
            // An offset is a distance; the side of the top centre is measured by itself.
            Self::TorchOffset => (Dimension::Length, (0.0, 500.0)),
        }
    }
    /// Does it go in proportion to the diameter of the joint?
    pub const fn goes_with_diameter(self) -> bool {
        matches!(self, Self::TorchOffset | Self::Judged(Quantity::TurnTime))
    }
    /// May it have a floor, below which welding must stop?
    pub const fn may_have_floor(self) -> bool {
        matches!(self, Self::Judged(quantity) if quantity.rule(Side::Low).is_some())
    }
}

/// One setting of a procedure, in the house unit of its dimension.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// What it is about.
    pub subject: Subject,
    /// The single value to aim at, where one is written.
    pub target: Option<f64>,
    /// Where it should be.
    pub recommended: Option<Bounds>,
    /// Where it must be.
    pub allowed: Option<Bounds>,
    /// Below it welding must stop.
    pub floor: Option<f64>,
    /// It never costs a band its proof where the trace does not allow it to be judged.
    pub is_judged_where_possible: bool,
    /// Below this temperature, °C, it no longer matters: of the cooling alone.
    pub until_c: Option<f64>,
}

impl Setting {
    /// The value to aim at: the one written, or the middle of the narrowest range.
    pub fn aim(&self) -> Option<f64> {
        let middle = |bounds: Option<Bounds>| bounds.and_then(Bounds::middle);
        self.target.or_else(|| middle(self.recommended)).or_else(|| middle(self.allowed))
    }
    /// The value to set it to: what to aim at, or the end of a range that is open on one side.
    pub fn value_to_set(&self) -> Option<f64> {
        let end = |bounds: Option<Bounds>| bounds.and_then(|bounds| bounds.ends().next());
        self.aim().or_else(|| end(self.recommended)).or_else(|| end(self.allowed)).or(self.floor)
    }
    /// The same setting on a joint `factor` times as large: a turn time at the same surface speed, an
    /// offset at the same angle, are in proportion to the diameter. Geometry.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        let range = |bounds: Bounds| Bounds {
            low: bounds.low.map(|low| low * factor),
            high: bounds.high.map(|high| high * factor),
        };
        Self {
            target: self.target.map(|target| target * factor),
            recommended: self.recommended.map(range),
            allowed: self.allowed.map(range),
            floor: self.floor.map(|floor| floor * factor),
            ..*self
        }
    }
    /// Its ranges in raw units of `fraction_bits`, for the core. An open end of the recommended range
    /// ends where the allowed one does.
    pub fn limits(&self, fraction_bits: u32) -> Limits {
        let raw = |value: f64| raw_value(value, fraction_bits);
        let range = |bounds: Bounds| Range {
            low: bounds.low.map_or(i32::MIN, raw),
            high: bounds.high.map_or(i32::MAX, raw),
        };
        let narrowed = self.recommended.map(|inner| Bounds {
            low: inner.low.or(self.allowed.and_then(|outer| outer.low)),
            high: inner.high.or(self.allowed.and_then(|outer| outer.high)),
        });
        Limits {
            recommended: narrowed.map(range),
            allowed: self.allowed.map(range),
            floor: self.floor.map(raw),
        }
    }
    /// Reads one from its table, which is closed; `None` where there is no table or a fault in it.
    pub(super) fn read(section: Section<'_>, subject: Subject, system: UnitSystem) -> Option<Self> {
        let reader = Reader { section: &section, subject, system };
        let recommended = section.extent("recommended", subject.dimension());
        let allowed = reader.allowed();
        let floor =
            if subject.may_have_floor() { section.quantity("floor", subject.dimension()) } else { None };
        let (target, range) = match recommended.as_ref().map(|extent| extent.value) {
            Some(Extent::Target(value)) => (Some(value), None),
            Some(Extent::Range(bounds)) => (None, Some(bounds)),
            None => (None, None),
        };
        let is_sound = reader.check(recommended.as_ref(), allowed.as_ref(), floor.as_ref());
        if section.is_bare() {
            section.fault(
                section.place(),
                "nothing is given here",
                "`recommended`, `allowed`, or no such table",
            );
        }
        let until_c = reader.until();
        let judged = section.choice("judged", &[("always", false), ("where the trace allows", true)]);
        let is_judged_where_possible = judged.is_some_and(|judged| judged.value);
        let is_given = section.is_present() && is_sound;
        section.finish();
        let allowed = allowed.map(|bounds| bounds.value);
        let floor = floor.map(|floor| floor.value);
        is_given.then_some(Self {
            subject,
            target,
            recommended: range,
            allowed,
            floor,
            is_judged_where_possible,
            until_c,
        })
    }
}

/// The nearest raw value; what is too large is held at the end of the range.
pub(crate) fn raw_value(value: f64, fraction_bits: u32) -> i32 {
    // `as` holds at the ends of the range.
    (value * (1_u64 << fraction_bits) as f64).round() as i32
}

struct Reader<'s, 'd> {
    section: &'s Section<'d>,
    subject: Subject,
    system: UnitSystem,
}

impl Reader<'_, '_> {
    fn show(&self, value: f64) -> String {
        format(value, self.subject.dimension(), self.system)
    }
    /// Down to where the joint must cool slowly; a limit of it without that would never be proven.
    fn until(&self) -> Option<f64> {
        if self.subject != Subject::Judged(Quantity::Cooling) {
            return None;
        }
        let section = self.section;
        if section.is_present() {
            section
                .require("until", "the temperature below which it no longer matters, such as \"150 degC\"");
        }
        if section.has("until") && !section.has("allowed") && !section.has("recommended") {
            section.fault(
                section.place(),
                "`until` without a limit",
                "`allowed`, such as \"at most 50 degC/h\"",
            );
        }
        let until =
            section.quantity_within("until", Dimension::Temperature, 0.0..=1000.0, "0 degC to 1000 degC")?;
        Some(until.value)
    }
    fn allowed(&self) -> Option<Located<Bounds>> {
        let Located { value, place } = self.section.extent("allowed", self.subject.dimension())?;
        match value {
            Extent::Range(value) => Some(Located { value, place }),
            Extent::Target(value) => {
                let value = self.show(value);
                let allowed = format!("[\"{value}\", \"...\"], \"at least {value}\" or \"at most {value}\"");
                self.section.fault(&place, format!("{value} alone is no range"), allowed);
                None
            }
        }
    }
    /// Do the ranges make sense, each alone and one with another? What is itself impossible is not held
    /// against the others.
    fn check(
        &self,
        recommended: Option<&Located<Extent>>,
        allowed: Option<&Located<Bounds>>,
        floor: Option<&Located<f64>>,
    ) -> bool {
        let inner = recommended.map(|extent| {
            let value = match extent.value {
                Extent::Target(value) => Bounds::between(value, value),
                Extent::Range(bounds) => bounds,
            };
            Located { value, place: extent.place.clone() }
        });
        let sound_inner = inner.as_ref().filter(|range| self.is_sound(range));
        let sound_outer = allowed.filter(|range| self.is_sound(range));
        let sound_floor = floor.filter(|floor| self.is_possible(floor.value, floor));
        let is_each_sound = sound_inner.is_some() == inner.is_some()
            && sound_outer.is_some() == allowed.is_some()
            && sound_floor.is_some() == floor.is_some();
        let is_inside = self.is_inside(sound_inner, sound_outer);
        self.is_below(sound_floor, sound_inner, sound_outer) && is_inside && is_each_sound
    }
    fn is_inside(&self, inner: Option<&Located<Bounds>>, outer: Option<&Located<Bounds>>) -> bool {
        let (Some(inner), Some(outer)) = (inner, outer) else { return true };
        let is_inside = inner.value.ends().all(|end| outer.value.contains(end));
        if !is_inside {
            let problem = "reaches outside the allowed range";
            self.section.fault(&inner.place, problem, self.show_bounds(outer.value));
        }
        is_inside
    }
    fn is_below(
        &self,
        floor: Option<&Located<f64>>,
        inner: Option<&Located<Bounds>>,
        outer: Option<&Located<Bounds>>,
    ) -> bool {
        let lowest = inner.into_iter().chain(outer).filter_map(|range| range.value.low).reduce(f64::min);
        let (Some(floor), Some(low)) = (floor, lowest) else { return true };
        if floor.value > low {
            let problem = "the floor is above the low end of a range";
            self.section.fault(
                &floor.place,
                problem,
                self.show_bounds(Bounds { low: None, high: Some(low) }),
            );
        }
        floor.value <= low
    }
    fn is_sound(&self, range: &Located<Bounds>) -> bool {
        if range.value.is_reversed() {
            let swapped = Bounds { low: range.value.high, high: range.value.low };
            self.section.fault(&range.place, "the low end is above the high end", self.show_bounds(swapped));
            return false;
        }
        range.value.ends().all(|end| self.is_possible(end, range))
    }
    fn is_possible<T>(&self, value: f64, at: &Located<T>) -> bool {
        let (low, high) = self.subject.possible();
        let is_possible = (low..=high).contains(&value);
        if !is_possible {
            let problem = format!("{} is not possible", self.show(value));
            self.section.fault(&at.place, problem, self.show_bounds(Bounds::between(low, high)));
        }
        is_possible
    }
    fn show_bounds(&self, bounds: Bounds) -> String {
        match (bounds.low, bounds.high) {
            (Some(low), Some(high)) => format!("{} to {}", self.show(low), self.show(high)),
            (Some(low), None) => format!("at least {}", self.show(low)),
            (None, Some(high)) => format!("at most {}", self.show(high)),
            (None, None) => "anything".to_owned(),
        }
    }
}
