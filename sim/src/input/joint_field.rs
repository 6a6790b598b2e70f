//! What can be stated about a joint, wherever it is written: on the command line, in a file beside the trace, in a
//! column of the log.
//!
//! Decides: which fields there are, what may be written for each, and when two statements say the same.
//! Never: decides which of two statements is true.

use super::quantity::{Dimension, UnitSystem, format};
use super::written_quantity::{QuantityError, parse};
use crate::output::printable;
use jiff::Timestamp;
use jiff::fmt::temporal::Pieces;

/// Something that can be stated about a joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum JointField {
    /// The serial of the pipe or tool joint.
    Serial,
    /// The end of the pipe.
    End,
    /// The machine.
    Machine,
    /// Who welded.
    Operator,
    /// The spool, or the batch of wire.
    Spool,
    /// The gas bottle, or its batch.
    Bottle,
    /// The certificate of the gas.
    GasCertificate,
    /// The contact tip.
    Tip,
    /// The name of the procedure.
    Procedure,
    /// Its revision.
    Revision,
    /// Outside diameter of the tool joint.
    OutsideDiameter,
    /// Temperature of the shop.
    Ambient,
    /// When it was welded.
    WeldedAt,
    /// New bands, or a repair.
    Work,
    /// Was anything left of old bands?
    OldBands,
}

/// What was stated of a field.
#[derive(Clone, Debug, PartialEq)]
pub enum Stated {
    /// Words.
    Text(String),
    /// A size in the house unit.
    Size(f64),
    /// Yes or no.
    Flag(bool),
}

/// Why a text is not accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotStated {
    /// What is wrong.
    pub problem: String,
    /// What could stand there instead.
    pub allowed: String,
}

/// People write to the hour when a joint was welded. Invented.
const SAME_TIME_S: f64 = 3600.0;
/// Two thermometers of one shop. Invented.
const SAME_AMBIENT_C: f64 = 2.0;
/// Longer names are no names.
const LONGEST: usize = 120;

/// Between which sizes the outside diameter of a tool joint lies, mm: API joints have some 33 to 216 mm (from memory);
/// shops weld larger ones.
pub const LEAST_DIAMETER_MM: f64 = 20.0;
/// See [`LEAST_DIAMETER_MM`].
pub const MOST_DIAMETER_MM: f64 = 1000.0;

/// What a time must be.
const WITH_OFFSET: &str =
    "local time with its offset, such as \"2026-03-04T07:15:00+01:00\", of 1990 or later";

impl JointField {
    /// All of them, in the order in which they are shown.
    pub const ALL: [Self; 15] = [
        Self::Serial,
        Self::End,
        Self::Machine,
        Self::Operator,
        Self::Spool,
        Self::Bottle,
        Self::GasCertificate,
        Self::Tip,
        Self::Procedure,
        Self::Revision,
        Self::OutsideDiameter,
        Self::Ambient,
        Self::WeldedAt,
        Self::Work,
        Self::OldBands,
    ];

    /// Its key, in files, layouts and records.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Serial => "serial",
            Self::End => "end",
            Self::Machine => "machine",
            Self::Operator => "operator",
            Self::Spool => "spool",
            Self::Bottle => "bottle",
            Self::GasCertificate => "gas_certificate",
            Self::Tip => "tip",
            Self::Procedure => "procedure",
            Self::Revision => "revision",
            Self::OutsideDiameter => "outside_diameter",
            Self::Ambient => "ambient",
            Self::WeldedAt => "welded_at",
            Self::Work => "work",
            Self::OldBands => "old_bands",
        }
    }
    /// What it is called.
    pub fn title(self) -> String {
        self.key().replace('_', " ")
    }
    /// Does a joint of which two sources say different things cost its proof? It may be another joint then, or
    /// judged by limits that are not its own.
    pub const fn costs_proof(self) -> bool {
        matches!(
            self,
            Self::Serial | Self::Procedure | Self::Revision | Self::OutsideDiameter | Self::End | Self::Work
        )
    }
    /// The words it may be, where it is one of a few.
    const fn words(self) -> Option<[&'static str; 2]> {
        match self {
            Self::End => Some(["pin", "box"]),
            Self::Work => Some(["new", "repair"]),
            Self::OldBands => Some(["yes", "no"]),
            _ => None,
        }
    }
    const fn dimension(self) -> Option<(Dimension, f64, f64)> {
        match self {
            Self::OutsideDiameter => Some((Dimension::Length, LEAST_DIAMETER_MM, MOST_DIAMETER_MM)),
            Self::Ambient => Some((Dimension::Temperature, -60.0, 60.0)),
            _ => None,
        }
    }
    /// What may be written for it, where that is more than a text.
    pub fn allowed(self) -> Option<String> {
        if let Some((dimension, low, high)) = self.dimension() {
            let [low, high] = [low, high].map(|end| format(end, dimension, UnitSystem::Metric));
            return Some(format!("a number with its unit, in {}; {low} to {high}", dimension.unit_list()));
        }
        let words = self.words().filter(|_| self != Self::OldBands);
        let words = words.map(|words| format!("\"{}\", \"{}\"", words[0], words[1]));
        words.or_else(|| (self == Self::WeldedAt).then(|| WITH_OFFSET.to_owned()))
    }
    /// Reads what was written for it; nothing for blanks.
    ///
    /// # Errors
    /// Says why it cannot be accepted.
    pub fn parse(self, text: &str) -> Result<Option<Stated>, NotStated> {
        let text = text.trim();
        if text.is_empty() {
            return Ok(None);
        }
        if let Some((dimension, low, high)) = self.dimension() {
            return size(text, dimension, low, high).map(Some);
        }
        if let Some(words) = self.words() {
            let word = words.into_iter().find(|word| word.eq_ignore_ascii_case(text));
            let stated = |word: &str| match self {
                Self::OldBands => Stated::Flag(word == "yes"),
                _ => Stated::Text(word.to_owned()),
            };
            return word.map(|word| Some(stated(word))).ok_or_else(|| NotStated {
                problem: format!("`{text}` is not one of its choices"),
                allowed: format!("\"{}\" or \"{}\"", words[0], words[1]),
            });
        }
        if self == Self::WeldedAt && instant(text).is_none() {
            return Err(NotStated {
                problem: format!("`{text}` is no time with its offset"),
                allowed: WITH_OFFSET.to_owned(),
            });
        }
        if text.chars().count() > LONGEST {
            return Err(NotStated {
                problem: format!("a {} of {} characters", self.title(), text.chars().count()),
                allowed: format!("at most {LONGEST} characters"),
            });
        }
        Ok(Some(Stated::Text(printable(text).into_owned())))
    }
    /// Do two statements say the same? Names are compared without regard to case and to how many blanks there are.
    pub fn is_same(self, one: &Stated, other: &Stated) -> bool {
        match (one, other) {
            (Stated::Text(one), Stated::Text(other)) if self == Self::WeldedAt => {
                let seconds = |text: &str| text.parse::<Timestamp>().map(|time| time.as_second() as f64);
                match (seconds(one), seconds(other)) {
                    (Ok(one), Ok(other)) => (one - other).abs() <= SAME_TIME_S,
                    _ => false,
                }
            }
            (Stated::Text(one), Stated::Text(other)) => folded(one) == folded(other),
            (Stated::Size(one), Stated::Size(other)) if self == Self::OutsideDiameter => {
                (one / other - 1.0).abs() <= SAME_DIAMETER
            }
            (Stated::Size(one), Stated::Size(other)) => (one - other).abs() <= SAME_AMBIENT_C,
            (one, other) => one == other,
        }
    }
    /// How a statement reads.
    pub fn show(self, stated: &Stated, system: UnitSystem) -> String {
        match stated {
            Stated::Text(text) => text.clone(),
            Stated::Flag(flag) => if *flag { "yes" } else { "no" }.to_owned(),
            Stated::Size(size) => {
                self.dimension().map_or(size.to_string(), |(dimension, ..)| format(*size, dimension, system))
            }
        }
    }
}

/// A time with its offset, as it can be written on a weld: no place on Earth is more than 14 h ahead of UTC or 12 h
/// behind it (from memory), and nothing was logged before 1990.
pub fn instant(text: &str) -> Option<Timestamp> {
    let pieces = Pieces::parse(text).ok()?;
    let hours = f64::from(pieces.to_numeric_offset()?.seconds()) / 3600.0;
    let is_possible = (-12.0..=14.0).contains(&hours) && (1990..=2200).contains(&pieces.date().year());
    text.parse().ok().filter(|_| is_possible)
}

/// A name without what does not tell it from another.
pub fn folded(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

fn size(text: &str, dimension: Dimension, low: f64, high: f64) -> Result<Stated, NotStated> {
    let value = parse(text, dimension).map_err(|error| NotStated {
        problem: error.problem(text, dimension),
        allowed: QuantityError::allowed(dimension),
    })?;
    if (low..=high).contains(&value) {
        return Ok(Stated::Size(value));
    }
    let [low, high] = [low, high].map(|end| format(end, dimension, UnitSystem::Metric));
    Err(NotStated { problem: format!("`{text}` is not possible"), allowed: format!("{low} to {high}") })
}

/// A diameter within this share is the same: wear of a joint in use. Invented.
pub const SAME_DIAMETER: f64 = 0.01;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_said_in_another_way_is_the_same() {
        let text = |text: &str| Stated::Text(text.to_owned());
        for (field, one, other, is_same) in [
            (JointField::Serial, text("TJ-1042"), text("tj-1042"), true),
            (JointField::Serial, text("TJ 1042"), text("TJ  1042"), true),
            (JointField::Serial, text("TJ-1042"), text("TJ-1024"), false),
            // 06:15 UTC is 07:15 an hour east of it.
            (JointField::WeldedAt, text("2026-03-04T07:15:00+01:00"), text("2026-03-04T06:15:00Z"), true),
            (JointField::WeldedAt, text("2026-03-04T07:15:00+01:00"), text("2026-03-04T07:15:01Z"), false),
            (JointField::OutsideDiameter, Stated::Size(127.0), Stated::Size(126.0), true),
            (JointField::OutsideDiameter, Stated::Size(127.0), Stated::Size(120.0), false),
            (JointField::OldBands, Stated::Flag(true), Stated::Flag(false), false),
        ] {
            assert_eq!(field.is_same(&one, &other), is_same, "{field:?}: {one:?} {other:?}");
        }
    }

    #[test]
    fn what_may_be_written_is_said_where_something_else_is() {
        let read = |field: JointField, text: &str| field.parse(text);
        assert_eq!(read(JointField::End, " Pin "), Ok(Some(Stated::Text("pin".to_owned()))));
        assert_eq!(read(JointField::OldBands, "no"), Ok(Some(Stated::Flag(false))));
        assert_eq!(read(JointField::OutsideDiameter, "5 in"), Ok(Some(Stated::Size(127.0))));
        assert_eq!(read(JointField::Serial, "  "), Ok(None));
        for (field, text, allowed) in [
            (JointField::End, "middle", "\"pin\" or \"box\""),
            (JointField::Work, "old", "\"new\" or \"repair\""),
            (JointField::WeldedAt, "2026-03-04 07:15", "with its offset"),
            (JointField::OutsideDiameter, "5 V", "such as"),
            (JointField::Ambient, "400 degC", "-60 degC to 60 degC"),
        ] {
            let refused = read(field, text).expect_err(text);
            assert!(refused.allowed.contains(allowed), "{text}: {refused:?}");
        }
    }
}
