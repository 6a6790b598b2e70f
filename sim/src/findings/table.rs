//! The table of causes, built into the program.
//!
//! Decides: the form of the table.
//! Assumes: the table in `causes.toml` is sound; a test reads all of it.
//! Never: looks at a trace.

use super::sign::Sign;
use bandward::Rule;
use bandward::record::proof::Why;
use serde::{Deserialize, Deserializer};
use std::sync::LazyLock;

/// What calls for a cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Call {
    /// An alarm of a rule.
    Alarm(Rule),
    /// Flutter of current and voltage.
    Flutter,
    /// A limit that was not proven, for this reason.
    Unproven(Why),
}

/// The reasons that say what may be wrong, and not only that something was not seen: what each is called in the
/// table, and what it says.
const TELLING: [(Why, &str, &str); 2] = [
    (Why::Motionless, "unproven motionless", "the reading did not move where it must"),
    (Why::SenseUnknown, "unproven sense-unknown", "the angle runs the other way than the rotation asks for"),
];

/// What a reason says that calls for causes.
pub fn telling(why: Why) -> Option<&'static str> {
    TELLING.iter().find(|(known, ..)| *known == why).map(|&(_, _, words)| words)
}

impl<'de> Deserialize<'de> for Call {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let rule = Rule::from_name(&text).map(Self::Alarm);
        let why = || TELLING.iter().find(|(_, name, _)| *name == text).map(|&(why, ..)| Self::Unproven(why));
        let call = rule.or_else(|| (text == "flutter").then_some(Self::Flutter)).or_else(why);
        call.ok_or_else(|| {
            serde::de::Error::custom(format!("`{text}` is no rule, not `flutter`, and no reason that calls"))
        })
    }
}

/// A cause and its signs.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cause {
    /// Its name.
    pub name: String,
    /// What it is, in words.
    pub words: String,
    /// What to check first.
    pub look_at: String,
    /// What calls for it.
    pub called_by: Vec<Call>,
    /// Its signs, each with the share of the score its absence takes.
    #[serde(default)]
    pub signs: Vec<(Sign, f64)>,
    /// Its highest score: less than 1 for one that a trace alone cannot tell from another.
    #[serde(default = "certain")]
    pub at_most: f64,
}

const fn certain() -> f64 {
    1.0
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    cause: Vec<Cause>,
}

/// Every cause.
///
/// # Panics
/// Never: a test reads the table.
pub fn causes() -> &'static [Cause] {
    static CAUSES: LazyLock<Vec<Cause>> = LazyLock::new(|| {
        let table: Table = toml::from_str(include_str!("causes.toml")).expect("the table of causes is sound");
        table.cause
    });
    &CAUSES
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::process::Kind;

    #[test]
    fn every_rule_calls_for_a_cause_and_every_kind_of_fault_is_one() {
        let calls = |rule| causes().iter().any(|cause| cause.called_by.contains(&Call::Alarm(rule)));
        for rule in Rule::ALL {
            assert!(calls(rule), "{}", rule.name());
        }
        for kind in Kind::ALL {
            let name = kind.description().name;
            assert!(causes().iter().any(|cause| cause.name == name), "{name}");
        }
    }

    #[test]
    fn every_cause_is_named_once_called_and_weighed_by_shares() {
        for (index, cause) in causes().iter().enumerate() {
            assert!(!cause.called_by.is_empty() && !cause.words.is_empty() && !cause.look_at.is_empty());
            let mut shares = cause.signs.iter().map(|(_, weight)| weight).chain([&cause.at_most]);
            assert!(shares.all(|share| (0.0..=1.0).contains(share)), "{}", cause.name);
            assert!(causes()[..index].iter().all(|other| other.name != cause.name), "{}", cause.name);
        }
    }

    #[test]
    fn a_sign_that_does_not_exist_is_refused() {
        for words in ["current wobbles", "alarm gas-lost", "no such sign", "current"] {
            assert!(Sign::try_from(words.to_owned()).is_err(), "{words}");
        }
    }
}
