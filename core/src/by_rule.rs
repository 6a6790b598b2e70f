//! One value for each rule.
//!
//! Decides: that a value is found by its rule, never by a number. Each rule that this build watches has a place; those
//! that it leaves out share the value that all begin with.
//! Never: grows.

#[cfg(feature = "serde")]
pub(crate) mod form;

use crate::rule::{Rule, RuleSet};

/// One value for each rule.
///
/// A rule that this build does not watch ([`Rule::is_watched`]) keeps the value that all begin with.
///
/// ```
/// use bandward::{Rule, by_rule::ByRule};
///
/// let mut seconds = ByRule::all(0_u32);
/// seconds.set(Rule::GasLow, 12);
/// assert_eq!((seconds.get(Rule::GasLow), seconds.get(Rule::GasHigh)), (12, 0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ByRule<T>(Values<T>);

/// Of the rules that this build watches, and of all others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Values<T> {
    watched: [T; Rule::WATCHED],
    left_out: [T; Rule::LEFT_OUT],
}

impl<T: Copy> ByRule<T> {
    /// The same value for every rule.
    pub const fn all(value: T) -> Self {
        Self(Values { watched: [value; Rule::WATCHED], left_out: [value; Rule::LEFT_OUT] })
    }
    /// The value of a rule.
    #[inline]
    pub fn get(&self, rule: Rule) -> T {
        let Values { watched, left_out } = &self.0;
        let [first, ..] = watched;
        // With everything watched a rule is always within; without a panic path the first stands for "never".
        *watched.get(rule.place()).or(left_out.first()).unwrap_or(first)
    }
    /// Changes the value of a rule that this build watches.
    #[inline]
    pub fn set(&mut self, rule: Rule, value: T) {
        if let Some(slot) = self.0.watched.get_mut(rule.place()) {
            *slot = value;
        }
    }
    /// Every rule with its value, in the order of [`Rule::ALL`].
    pub fn iter(&self) -> impl Iterator<Item = (Rule, T)> {
        Rule::ALL.into_iter().map(|rule| (rule, self.get(rule)))
    }
    /// The rules of whose value something holds, among those that this build watches.
    pub(crate) fn rules_where(&self, holds: impl Fn(&T) -> bool) -> RuleSet {
        RuleSet::of_watched(&self.0.watched, holds)
    }
}

impl<T: Copy + Default> Default for ByRule<T> {
    fn default() -> Self {
        Self::all(T::default())
    }
}

#[cfg(feature = "defmt")]
impl<T: defmt::Format + Copy> defmt::Format for ByRule<T> {
    fn format(&self, formatter: defmt::Formatter<'_>) {
        defmt::write!(formatter, "{=[?]}", Rule::ALL.map(|rule| self.get(rule)).as_slice());
    }
}
