//! The form of one value for each rule on a wire and in flash.
//!
//! Decides: a tuple, one value after another; serde's own arrays end at 32. It is the same in every build.
//! Never: takes fewer values than there are rules. Of those that a build does not watch, [`ByRule`] has one for all.

use super::ByRule;
use crate::rule::Rule;
use core::fmt;
use core::marker::PhantomData;
use serde::de::{Error, SeqAccess, Visitor};
use serde::ser::SerializeTuple;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// What has a value for each rule.
pub(crate) trait OfEveryRule {
    type Value;
    fn value(&self, rule: Rule) -> Option<&Self::Value>;
}

/// What can be made of such values.
pub(crate) trait FromEveryRule {
    type Value;
    fn all(value: Self::Value) -> Self;
    fn slot(&mut self, rule: Rule) -> Option<&mut Self::Value>;
}

impl<T> OfEveryRule for ByRule<T> {
    type Value = T;
    fn value(&self, rule: Rule) -> Option<&T> {
        self.0.watched.get(rule.place()).or(self.0.left_out.first())
    }
}

impl<T: Copy> FromEveryRule for ByRule<T> {
    type Value = T;
    fn all(value: T) -> Self {
        Self::all(value)
    }
    fn slot(&mut self, rule: Rule) -> Option<&mut T> {
        self.0.watched.get_mut(rule.place()).or(self.0.left_out.first_mut())
    }
}

impl<T> OfEveryRule for [T; Rule::COUNT] {
    type Value = T;
    fn value(&self, rule: Rule) -> Option<&T> {
        self.get(rule as usize)
    }
}

impl<T: Copy> FromEveryRule for [T; Rule::COUNT] {
    type Value = T;
    fn all(value: T) -> Self {
        [value; Rule::COUNT]
    }
    fn slot(&mut self, rule: Rule) -> Option<&mut T> {
        self.get_mut(rule as usize)
    }
}

pub(crate) fn serialize<V: OfEveryRule<Value: Serialize>, S: Serializer>(
    values: &V,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    let mut tuple = serializer.serialize_tuple(Rule::COUNT)?;
    for value in Rule::ALL.into_iter().filter_map(|rule| values.value(rule)) {
        tuple.serialize_element(value)?;
    }
    tuple.end()
}

pub(crate) fn deserialize<'de, V: FromEveryRule<Value: Deserialize<'de>>, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<V, D::Error> {
    struct Values<V>(PhantomData<V>);
    impl<'de, V: FromEveryRule<Value: Deserialize<'de>>> Visitor<'de> for Values<V> {
        type Value = V;
        fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
            formatter.write_str("a value for each rule")
        }
        fn visit_seq<A: SeqAccess<'de>>(self, mut values: A) -> Result<V, A::Error> {
            let few = || A::Error::custom("too few values");
            let mut all = V::all(values.next_element()?.ok_or_else(few)?);
            for rule in Rule::ALL.into_iter().skip(1) {
                let value = values.next_element()?.ok_or_else(few)?;
                if let Some(slot) = all.slot(rule) {
                    *slot = value;
                }
            }
            Ok(all)
        }
    }
    deserializer.deserialize_tuple(Rule::COUNT, Values(PhantomData))
}

impl<T: Serialize> Serialize for ByRule<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serialize(self, serializer)
    }
}

impl<'de, T: Deserialize<'de> + Copy> Deserialize<'de> for ByRule<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserialize(deserializer)
    }
}
