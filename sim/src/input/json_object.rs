//! A JSON object none of whose keys may be given twice.
//!
//! Decides: nothing else; the parser itself would take the last of two.
//! Never: looks into a value.

use serde::de::{Deserialize, Deserializer, Error, MapAccess, Visitor};
use std::collections::BTreeMap;
use std::fmt::{Formatter, Result as FormatResult};
use std::marker::PhantomData;
use std::ops::Deref;

/// The values by their key.
pub struct Object<V>(BTreeMap<String, V>);

impl<V> Deref for Object<V> {
    type Target = BTreeMap<String, V>;

    fn deref(&self) -> &BTreeMap<String, V> {
        &self.0
    }
}

impl<'de, V: Deserialize<'de>> Deserialize<'de> for Object<V> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_map(Keys(PhantomData))
    }
}

struct Keys<V>(PhantomData<V>);

impl<'de, V: Deserialize<'de>> Visitor<'de> for Keys<V> {
    type Value = Object<V>;

    fn expecting(&self, formatter: &mut Formatter<'_>) -> FormatResult {
        formatter.write_str("an object")
    }
    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Object<V>, A::Error> {
        let mut values = BTreeMap::new();
        while let Some((key, value)) = access.next_entry::<String, V>()? {
            if values.contains_key(&key) {
                return Err(A::Error::custom(format!("key `{key}` is given twice")));
            }
            values.insert(key, value);
        }
        Ok(Object(values))
    }
}
