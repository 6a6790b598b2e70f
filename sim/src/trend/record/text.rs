//! The text of records: what is looked at of it at all.
//!
//! Decides: which parts of a record are taken, and how long each may be.
//! Never: holds more of a list than one record.

use super::{A_RECORD, Reader, Record, invalid};
use serde::Deserialize;
use serde::de::{Deserializer as _, SeqAccess, Visitor};
use serde_json::value::RawValue;
use serde_json::{Map, Value};
use std::fmt;

/// Longest list of bands of one record, bytes: thousands of bands, and no joint has a hundred.
const LONGEST_BANDS: usize = 4 << 20;
/// Longest of what else is taken, bytes.
const LONGEST_PART: usize = 1 << 20;

/// What is taken of a record, not looked into yet; all else is passed over.
#[derive(Deserialize)]
struct Parts<'t> {
    #[serde(borrow)]
    trace: Option<&'t RawValue>,
    #[serde(borrow)]
    bands: Option<&'t RawValue>,
    #[serde(borrow)]
    context: Option<&'t RawValue>,
    #[serde(borrow)]
    outcome: Option<&'t RawValue>,
    #[serde(borrow)]
    within_procedure: Option<&'t RawValue>,
}

/// A list of records, taken one after another.
struct List<'r, 'f>(&'r mut Reader<'f>);

impl<'t> Visitor<'t> for List<'_, '_> {
    type Value = Vec<Record>;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("a list of records")
    }
    fn visit_seq<A: SeqAccess<'t>>(self, mut list: A) -> Result<Vec<Record>, A::Error> {
        let mut records = Vec::new();
        let mut index = 0_u64;
        while let Some(raw) = list.next_element::<&'t RawValue>()? {
            records.extend(self.0.raw_record(raw, &format!("[{index}].")));
            index += 1;
        }
        Ok(records)
    }
}

impl Reader<'_> {
    /// One record, or a list of them.
    pub(super) fn records(&mut self, text: &str) -> serde_json::Result<Vec<Record>> {
        if !text.trim_start().starts_with('[') {
            let raw: &RawValue = serde_json::from_str(text)?;
            return Ok(self.raw_record(raw, "").into_iter().collect());
        }
        let mut parser = serde_json::Deserializer::from_str(text);
        let records = parser.deserialize_seq(List(self))?;
        parser.end().map(|()| records)
    }
    fn raw_record(&mut self, raw: &RawValue, place: &str) -> Option<Record> {
        let name = place.trim_end_matches('.');
        if !raw.get().starts_with('{') {
            self.tell(name, A_RECORD, || invalid(raw.get()));
            return None;
        }
        let parts: Parts<'_> = match serde_json::from_str(raw.get()) {
            Ok(parts) => parts,
            Err(error) => {
                let words = error.to_string();
                let problem = words.split(" at line ").next().unwrap_or(&words);
                self.tell(name, A_RECORD, || problem.to_owned());
                return None;
            }
        };
        let Parts { trace, bands, context, outcome, within_procedure } = parts;
        let count = self.count;
        let record = [
            ("trace", trace, LONGEST_PART),
            ("bands", bands, LONGEST_BANDS),
            ("context", context, LONGEST_PART),
            ("outcome", outcome, LONGEST_PART),
            ("within_procedure", within_procedure, LONGEST_PART),
        ];
        let record: Map<String, Value> = record
            .into_iter()
            .filter_map(|(key, part, most)| Some((key.to_owned(), self.part(place, key, part?, most)?)))
            .collect();
        if self.count > count { None } else { self.record(&Value::Object(record), place) }
    }
    fn part(&mut self, place: &str, key: &str, raw: &RawValue, most: usize) -> Option<Value> {
        if raw.get().len() > most {
            let problem = || format!("is {} bytes long", raw.get().len());
            self.tell(&format!("{place}{key}"), &format!("{most} bytes or fewer"), problem);
            return None;
        }
        match serde_json::from_str(raw.get()) {
            Ok(value) => Some(value),
            Err(_) => {
                self.tell(&format!("{place}{key}"), A_RECORD, || invalid(raw.get()));
                None
            }
        }
    }
}
