//! The text of records: what is looked at of it at all.
//!
//! Decides: which parts of a record are taken, and how long each may be.
//! Never: holds more of a list than one record.

use super::Record;
use super::reader::{A_RECORD, Read, Reader, invalid};
use serde::Deserialize;
use serde::de::{Deserializer as _, IgnoredAny, SeqAccess, Visitor};
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

/// What tells that there is no record.
#[derive(Deserialize)]
struct Aside {
    failed: Option<IgnoredAny>,
    summary: Option<IgnoredAny>,
}

/// A list of records, taken one after another.
struct List<'r, 'f>(&'r mut Reader<'f>, &'r mut Read);

impl<'t> Visitor<'t> for List<'_, '_> {
    type Value = ();

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("a list of records")
    }
    fn visit_seq<A: SeqAccess<'t>>(self, mut list: A) -> Result<(), A::Error> {
        let mut index = 0_u64;
        while let Some(raw) = list.next_element::<&'t RawValue>()? {
            self.0.entry(raw, &format!("[{index}]."), self.1);
            index += 1;
        }
        Ok(())
    }
}

/// What is wrong with a text that is no JSON, in the words of a parser that builds all of it: they are clearer,
/// and cost memory, so that only a text of some size is worth them.
pub(super) fn clearer(text: &str) -> Option<serde_json::Error> {
    let values = || serde_json::Deserializer::from_str(text).into_iter::<Value>();
    (text.len() <= LONGEST_PART).then(values)?.find_map(Result::err)
}

impl Reader<'_> {
    /// One record, one after another, or lists of them.
    pub(super) fn all(&mut self, text: &str) -> serde_json::Result<Read> {
        let mut read = Read::default();
        let values = || serde_json::Deserializer::from_str(text).into_iter::<&RawValue>();
        let is_single = values().take(2).count() == 1;
        let mut index = 0_u64;
        for raw in values() {
            let raw = raw?;
            if raw.get().starts_with('[') {
                serde_json::Deserializer::from_str(raw.get()).deserialize_seq(List(self, &mut read))?;
            } else {
                let place = if is_single { String::new() } else { format!("[{index}].") };
                self.entry(raw, &place, &mut read);
            }
            index += 1;
        }
        // In a text without any value one is missing.
        if index == 0 { serde_json::from_str(text).map(|IgnoredAny| read) } else { Ok(read) }
    }
    /// Takes a record, a log that failed, or the summary of many.
    fn entry(&mut self, raw: &RawValue, place: &str, read: &mut Read) {
        let aside = Some(raw.get()).filter(|text| text.starts_with('{')).map(serde_json::from_str);
        match aside {
            Some(Ok(Aside { failed: Some(IgnoredAny), .. })) => read.failed += 1,
            Some(Ok(Aside { summary: Some(IgnoredAny), .. })) => {}
            _ => read.records.extend(self.raw_record(raw, place)),
        }
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
        let value = serde_json::from_str(raw.get()).ok();
        if value.is_none() {
            self.tell(&format!("{place}{key}"), A_RECORD, || invalid(raw.get()));
        }
        value
    }
}
