//! The form of one value for each rule on a wire and in flash.
//!
//! Decides: a tuple, one value after another; serde's own arrays end at 32.
//! Never: takes fewer values than there are rules.

use super::ByRule;
use crate::rule::Rule;
use core::fmt;
use core::marker::PhantomData;
use serde::de::{Error, SeqAccess, Visitor};
use serde::ser::SerializeTuple;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

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
