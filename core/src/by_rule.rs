//! One value for each rule.
//!
//! Decides: that a value is found by its rule, never by a number.
//! Never: grows; serde's own arrays end at 32, so its form (a tuple) is written here.

use crate::rule::Rule;
use core::fmt;
use core::marker::PhantomData;
use serde::de::{Error, SeqAccess, Visitor};
use serde::ser::SerializeTuple;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// One value for each rule.
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
    pub(crate) const fn values(&self) -> &[T] {
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

impl<T: Serialize> Serialize for ByRule<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut tuple = serializer.serialize_tuple(Rule::COUNT)?;
        for value in &self.0 {
            tuple.serialize_element(value)?;
        }
        tuple.end()
    }
}

impl<'de, T: Deserialize<'de> + Copy> Deserialize<'de> for ByRule<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Values<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de> + Copy> Visitor<'de> for Values<T> {
            type Value = ByRule<T>;
            fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
                formatter.write_str("a value for each rule")
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut values: A) -> Result<Self::Value, A::Error> {
                let few = || A::Error::custom("too few values");
                let mut all = ByRule::all(values.next_element()?.ok_or_else(few)?);
                for slot in all.0.iter_mut().skip(1) {
                    *slot = values.next_element()?.ok_or_else(few)?;
                }
                Ok(all)
            }
        }
        deserializer.deserialize_tuple(Rule::COUNT, Values(PhantomData))
    }
}
