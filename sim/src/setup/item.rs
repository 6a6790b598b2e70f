//! What is measured before the arc, in the order a person walks around the machine.
//!
//! Decides: which settings there are, how each is called, and what may be written for it.
//! Assumes: sizes are in the house unit of their dimension.
//! Never: judges one.

use crate::input::gas_mixture::{GasMixture, MixtureError};
use crate::input::joint_field::{LEAST_DIAMETER_MM, MOST_DIAMETER_MM};
use crate::input::quantity::{Dimension, UnitSystem, format, shown_symbol};
use crate::input::setting::Subject;
use crate::input::written::spoken;
use crate::input::written_quantity::{QuantityError, parse};
use bandward::Quantity;

/// Something that is measured, or looked at, before the arc.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Item {
    /// Outside diameter of the joint.
    OutsideDiameter,
    /// Which way the joint turns, seen towards the chuck.
    Rotation,
    /// What is left of old bands where the new ones go, and whether their wire goes with the new one.
    OldBand,
    /// Height of what is left of an old band above the joint.
    OldBandHeight,
    /// The pole the electrode is on.
    Polarity,
    /// Wire diameter.
    WireDiameter,
    /// Bore of the gas nozzle.
    NozzleBore,
    /// The side of the top centre that the torch stands on, seen towards the chuck.
    TorchSide,
    /// What the shielding gas is made of.
    GasMixture,
    /// Does the torch coolant run before the arc does?
    CoolantBeforeArc,
    /// A setting that the procedure gives ranges for.
    Ranged(Subject),
}

/// Something a setting can be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measured {
    /// One of the words of its item.
    Word(&'static str),
    /// A gas.
    Gas(GasMixture),
    /// A size, in the house unit.
    Size(f64),
}

/// What may be written for an item.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// One of these words.
    Words(&'static [&'static str]),
    /// A gas.
    Gas,
    /// A size within a range of the house unit.
    Size(Dimension, (f64, f64)),
}

/// Why a text is not accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// What is wrong.
    pub problem: String,
    /// What could stand there instead.
    pub allowed: String,
}

const fn judged(quantity: Quantity) -> Item {
    Item::Ranged(Subject::Judged(quantity))
}

impl Item {
    /// Preheat of the work.
    pub const PREHEAT: Self = judged(Quantity::Preheat);
    /// Time of one turn.
    pub const TURN_TIME: Self = judged(Quantity::TurnTime);
    /// Weave width.
    pub const WEAVE_WIDTH: Self = judged(Quantity::WeaveWidth);
    /// Carriage step.
    pub const STEP_OVER: Self = judged(Quantity::StepOver);
    /// Welding current.
    pub const CURRENT: Self = judged(Quantity::Current);
    /// Arc voltage.
    pub const VOLTAGE: Self = judged(Quantity::Voltage);
    /// Shielding gas flow.
    pub const GAS_FLOW: Self = judged(Quantity::GasFlow);
    /// Torch coolant flow.
    pub const COOLANT_FLOW: Self = judged(Quantity::CoolantFlow);
    /// Complete weave cycles over time.
    pub const WEAVE_RATE: Self = judged(Quantity::WeaveRate);
    /// Distance of the torch from the top centre.
    pub const TORCH_OFFSET: Self = Self::Ranged(Subject::TorchOffset);
    /// Torch angle.
    pub const TORCH_ANGLE: Self = Self::Ranged(Subject::TorchAngle);
    /// Depth of the tip in the nozzle.
    pub const TIP_RECESS: Self = Self::Ranged(Subject::TipRecess);
    /// Stick-out.
    pub const STICK_OUT: Self = Self::Ranged(Subject::StickOut);
    /// Wire feed.
    pub const WIRE_FEED: Self = Self::Ranged(Subject::Judged(Quantity::WireFeed));

    /// All of them, under the place where they are measured.
    pub const PLACES: [(&'static str, &'static [Self]); 5] = [
        (
            "at the joint",
            &[Self::OutsideDiameter, Self::Rotation, Self::OldBand, Self::OldBandHeight, Self::PREHEAT],
        ),
        (
            "at the torch",
            &[
                Self::Polarity,
                Self::WireDiameter,
                Self::NozzleBore,
                Self::TIP_RECESS,
                Self::STICK_OUT,
                Self::TORCH_ANGLE,
                Self::TorchSide,
                Self::TORCH_OFFSET,
            ],
        ),
        ("at the drives", &[Self::TURN_TIME, Self::WEAVE_WIDTH, Self::WEAVE_RATE, Self::STEP_OVER]),
        ("at gas and water", &[Self::GasMixture, Self::GAS_FLOW, Self::CoolantBeforeArc, Self::COOLANT_FLOW]),
        ("at the welder, on a scrap piece", &[Self::WIRE_FEED, Self::CURRENT, Self::VOLTAGE]),
    ];

    /// All of them, in order.
    pub fn all() -> impl Iterator<Item = Self> {
        Self::PLACES.into_iter().flat_map(|(_, items)| items.iter().copied())
    }
    /// The key in a setup file.
    pub const fn key(self) -> &'static str {
        match self {
            Self::OutsideDiameter => "outside_diameter",
            Self::Rotation => "rotation",
            Self::OldBand => "old_band",
            Self::OldBandHeight => "old_band_height",
            Self::Polarity => "polarity",
            Self::WireDiameter => "wire_diameter",
            Self::NozzleBore => "nozzle_bore",
            Self::TorchSide => "torch_side",
            Self::GasMixture => "gas_mixture",
            Self::CoolantBeforeArc => "coolant_before_arc",
            Self::Ranged(subject) => subject.table_name(),
        }
    }
    /// What it is called.
    pub fn title(self) -> String {
        match self {
            Self::Ranged(subject) => subject.title(),
            other => other.key().replace('_', " "),
        }
    }
    /// How to find it out.
    pub const fn how(self) -> &'static str {
        match self {
            Self::OutsideDiameter => "across the joint where the bands go",
            Self::Rotation => "seen towards the chuck",
            Self::OldBand => {
                "anything left of one where the new bands go? does its wire go with the new one, by their makers?"
            }
            Self::OldBandHeight => "what is left of it, above the joint",
            Self::Polarity => "DCEP: electrode positive; DCEN: electrode negative",
            Self::WireDiameter => "as printed on the spool",
            Self::NozzleBore => "inside, at the mouth",
            Self::TorchSide => "of the top centre, seen towards the chuck",
            Self::GasMixture => "as printed on the bottle",
            Self::CoolantBeforeArc => {
                "does water come back before the arc? \"not cooled\": a torch without water"
            }
            Self::Ranged(subject) => how_to_measure(subject),
        }
    }
    /// What may be written for it.
    pub const fn kind(self) -> Kind {
        match self {
            Self::OutsideDiameter => Kind::Size(Dimension::Length, (LEAST_DIAMETER_MM, MOST_DIAMETER_MM)),
            Self::Rotation => Kind::Words(&["clockwise", "counter-clockwise"]),
            Self::OldBand => Kind::Words(&["none", "compatible", "incompatible", "unknown"]),
            Self::OldBandHeight => Kind::Size(Dimension::Length, (0.0, 20.0)),
            Self::Polarity => Kind::Words(&["DCEP", "DCEN"]),
            Self::WireDiameter => Kind::Size(Dimension::Length, (0.1, 10.0)),
            Self::NozzleBore => Kind::Size(Dimension::Length, (1.0, 100.0)),
            Self::TorchSide => Kind::Words(&["left", "right"]),
            Self::GasMixture => Kind::Gas,
            Self::CoolantBeforeArc => Kind::Words(&["yes", "no", "not cooled"]),
            Self::Ranged(subject) => Kind::Size(subject.dimension(), subject.possible()),
        }
    }
    /// What may be written for it, in words.
    pub fn allowed(self) -> String {
        match self.kind() {
            Kind::Words(words) => quoted(words),
            Kind::Gas => MixtureError::ALLOWED.to_owned(),
            Kind::Size(dimension, (low, high)) => {
                let [low, high] = [low, high].map(|end| format(end, dimension, UnitSystem::Metric));
                format!("a number with its unit, in {}; {low} to {high}", dimension.unit_list())
            }
        }
    }
    /// Reads what was written for it.
    ///
    /// # Errors
    /// Says why it cannot be accepted.
    pub fn parse(self, text: &str) -> Result<Measured, Refusal> {
        let refuse = |problem, allowed| Err(Refusal { problem, allowed });
        match self.kind() {
            Kind::Words(words) => match words.iter().find(|word| word.eq_ignore_ascii_case(spoken(text))) {
                Some(word) => Ok(Measured::Word(word)),
                None => refuse(format!("`{text}` is not one of its choices"), quoted(words)),
            },
            Kind::Gas => GasMixture::parse(text)
                .map(Measured::Gas)
                .or_else(|error| refuse(error.to_string(), MixtureError::ALLOWED.to_owned())),
            Kind::Size(dimension, (low, high)) => match parse(text, dimension) {
                Err(error) => refuse(error.problem(text, dimension), QuantityError::allowed(dimension)),
                Ok(value) if (low..=high).contains(&value) => Ok(Measured::Size(value)),
                Ok(_) => {
                    let [low, high] = [low, high].map(|end| format(end, dimension, UnitSystem::Metric));
                    refuse(format!("`{text}` is not possible"), format!("{low} to {high}"))
                }
            },
        }
    }
    /// What a person typed, as it would stand in a file: the unit that was asked for added to a bare
    /// number, the beginning of a word made whole.
    pub fn complete(self, typed: &str, system: UnitSystem) -> String {
        let typed = typed.trim();
        match self.kind() {
            Kind::Words(words) => {
                let begins = |word: &&&str| word.to_lowercase().starts_with(&typed.to_lowercase());
                let mut candidates = words.iter().filter(begins);
                match (candidates.next(), candidates.next()) {
                    (Some(word), None) => (*word).to_owned(),
                    _ => typed.to_owned(),
                }
            }
            Kind::Size(dimension, _) if parse(typed, dimension) == Err(QuantityError::NoUnit) => {
                format!("{typed} {}", shown_symbol(dimension, system))
            }
            Kind::Size(..) | Kind::Gas => typed.to_owned(),
        }
    }
    /// How a value of it reads.
    pub fn show(self, value: Measured, system: UnitSystem) -> String {
        match (value, self.kind()) {
            (Measured::Word(word), _) => word.to_owned(),
            (Measured::Gas(gas), _) => gas.to_string(),
            (Measured::Size(size), Kind::Size(dimension, _)) => format(size, dimension, system),
            (Measured::Size(size), _) => size.to_string(),
        }
    }
    /// What may be typed for it, for a prompt.
    pub fn prompt(self, system: UnitSystem) -> String {
        match self.kind() {
            Kind::Words(words) => words.join(" or "),
            Kind::Gas => "such as 98Ar/2O2".to_owned(),
            Kind::Size(dimension, _) => shown_symbol(dimension, system).to_owned(),
        }
    }
}

fn quoted(words: &[&str]) -> String {
    let quoted: Vec<_> = words.iter().map(|word| format!("{word:?}")).collect();
    quoted.join(", ")
}

const fn how_to_measure(subject: Subject) -> &'static str {
    match subject {
        Subject::Judged(Quantity::Preheat) => "on the joint, beside the first band",
        Subject::Judged(Quantity::TurnTime) => "a full turn by the watch, without the arc; 2:39 will do",
        Subject::Judged(Quantity::WeaveWidth) => "from end to end of the torch's swing",
        Subject::Judged(Quantity::WeaveRate) => {
            "complete cycles, there and back, in a minute; or counted by a stopwatch: 40 in 30 s"
        }
        Subject::Judged(Quantity::StepOver) => "from one band to the next",
        Subject::Judged(Quantity::GasFlow) => "at the nozzle, not at the bottle",
        Subject::Judged(Quantity::CoolantFlow) => "where the water comes back",
        Subject::Judged(Quantity::WireFeed) => "wire run out in ten seconds, times six",
        Subject::Judged(Quantity::BandHeight) => "above the joint",
        Subject::Judged(_) => "mean over some seconds",
        Subject::StickOut => "from the contact tip to the work",
        Subject::TipRecess => "how deep the contact tip sits in the nozzle",
        Subject::TorchAngle => "from the plumb line",
        Subject::TorchOffset => "along the level, from the top centre of the joint",
    }
}
