//! One value for each rule.
//!
//! Decides: that a value is found by its rule, never by a number.
//! Never: grows.

#[cfg(feature = "serde")]
mod form;

use crate::rule::Rule;

/// One value for each rule.
///
/// ```
/// use bandward::{Rule, by_rule::ByRule};
///
/// let mut seconds = ByRule::all(0_u32);
/// seconds.set(Rule::GasLow, 12);
/// assert_eq!((seconds.get(Rule::GasLow), seconds.get(Rule::GasHigh)), (12, 0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ByRule<T>([T; Rule::COUNT]);

impl<T: Copy> ByRule<T> {
    /// The same value for every rule.
    pub const fn all(value: T) -> Self {
        Self([value; Rule::COUNT])
    }
    /// The value of a rule.
    #[inline]
    pub fn get(&self, rule: Rule) -> T {
        let [first, ..] = self.0;
        // A rule is always within; without a panic path the first stands for "never".
        self.0.get(rule as usize).copied().unwrap_or(first)
    }
    /// Changes the value of a rule.
    #[inline]
    pub fn set(&mut self, rule: Rule, value: T) {
        if let Some(slot) = self.0.get_mut(rule as usize) {
            *slot = value;
        }
    }
    /// Every rule with its value, in the order of [`Rule::ALL`].
    pub fn iter(&self) -> impl Iterator<Item = (Rule, T)> {
        Rule::ALL.into_iter().zip(self.0)
    }
    /// In the order of [`Rule::ALL`].
    pub(crate) const fn values(&self) -> &[T; Rule::COUNT] {
        &self.0
    }
    /// From what each rule makes of itself.
    pub(crate) const fn slots(&mut self) -> &mut [T] {
        &mut self.0
    }
}

impl<T: Copy + Default> Default for ByRule<T> {
    fn default() -> Self {
        Self::all(T::default())
    }
}

#[cfg(feature = "defmt")]
impl<T: defmt::Format> defmt::Format for ByRule<T> {
    fn format(&self, formatter: defmt::Formatter<'_>) {
        defmt::write!(formatter, "{=[?]}", self.0.as_slice());
    }
}
