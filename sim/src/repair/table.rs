//! The table of repairs, built into the program.
//!
//! Decides: the form of the table.
//! Assumes: the table in `actions.toml` is sound; a test reads all of it.
//! Never: looks at a trace.

use crate::input::inspection_limits::Look;
use bandward::Rule;
use serde::{Deserialize, Deserializer};
use std::sync::LazyLock;

/// Where a defect is to be expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Extent {
    /// Where the alarm stood.
    Stretch,
    /// At the start of the band.
    Start,
    /// Where the band's end meets its start.
    End,
    /// All round the band.
    Band,
    /// On all of the joint.
    Joint,
    /// Where the inspector found it.
    Found,
    /// The band needs no repair.
    Nowhere,
}

/// A defect and what to do about it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Action {
    /// What is to be expected.
    pub defect: String,
    /// Where.
    pub extent: Extent,
    /// What an inspector looks for, and found.
    #[serde(default)]
    pub look: Option<String>,
    /// The alarms that make one think of it.
    #[serde(deserialize_with = "rules")]
    pub rules: Vec<Rule>,
    /// What to do.
    #[serde(rename = "do")]
    pub what_to_do: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    action: Vec<Action>,
}

fn rules<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<Rule>, D::Error> {
    let rule = |name: &String| {
        Rule::from_name(name).ok_or_else(|| serde::de::Error::custom(format!("`{name}` is no rule")))
    };
    Vec::<String>::deserialize(deserializer)?.iter().map(rule).collect()
}

fn table() -> &'static Table {
    static TABLE: LazyLock<Table> = LazyLock::new(|| {
        toml::from_str(include_str!("actions.toml")).expect("the table of repairs is sound")
    });
    &TABLE
}

/// What to do after an alarm of a rule; nothing where the band needs no repair.
///
/// # Panics
/// Never: a test reads the table.
pub fn action(rule: Rule) -> Option<&'static Action> {
    table().action.iter().find(|action| action.rules.contains(&rule) && action.extent != Extent::Nowhere)
}

/// What to do where an inspector found something.
///
/// # Panics
/// Never: a test reads the table.
pub fn after_look(look: Look) -> Option<&'static Action> {
    table().action.iter().find(|action| action.look.as_deref() == Some(look.key()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_stands_in_the_table_once() {
        let table = table();
        let listed = || table.action.iter().flat_map(|action| &action.rules);
        for rule in Rule::ALL {
            assert_eq!(listed().filter(|listed| **listed == rule).count(), 1, "{}", rule.name());
        }
        for look in Look::ALL {
            assert!(after_look(look).is_some_and(|action| action.extent == Extent::Found), "{}", look.key());
        }
    }
}
