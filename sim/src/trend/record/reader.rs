//! What stands in a record, with the faults found in it.
//!
//! Decides: which keys are taken, and what each may hold.
//! Never: stops at a fault; the reader goes on with what is left and the faults are told at the end.

use super::{Band, Record};
use crate::identity::Context;
use crate::input::diagnostic::InputError;
use crate::output::printable;
use crate::trace::fault::Faults;
use crate::trend::measure::Measure;
use bandward::Outcome;
use serde_json::{Map, Value};

/// No figure of a weld is larger, in any unit of the record.
const LARGEST: f64 = 1e9;

/// What a file of records holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Read {
    /// The records.
    pub records: Vec<Record>,
    /// Logs that could not be replayed, of which there is no record.
    pub failed: usize,
}

pub(super) const A_RECORD: &str = "a record as `bandward replay --json` prints it";

pub(super) struct Reader<'f> {
    pub(super) file: &'f str,
    pub(super) faults: Faults,
    /// Faults so far, those that are not listed too.
    pub(super) count: u64,
    /// Readings of the record under way that cannot be true.
    pub(super) impossible: Vec<String>,
}

impl<'f> Reader<'f> {
    pub(super) fn new(file: &'f str) -> Self {
        Self { file, faults: Faults::new(file), count: 0, impossible: Vec::new() }
    }
    pub(super) fn tell(&mut self, field: &str, allowed: &str, problem: impl FnOnce() -> String) {
        self.count += 1;
        self.faults.add(|file| InputError::in_file(file, field).problem(problem()).allowed(allowed));
    }
    fn fault(&mut self, field: &str, found: Option<&Value>, allowed: &str) {
        self.tell(field, allowed, || {
            found.map_or("is missing".to_owned(), |value| invalid(&value.to_string()))
        });
    }
    pub(super) fn record(&mut self, value: &Value, place: &str) -> Option<Record> {
        let Some(record) = value.as_object() else {
            self.fault(place.trim_end_matches('.'), Some(value), A_RECORD);
            return None;
        };
        let is_within_procedure = self.is_within(record, place);
        let Some(bands) = record.get("bands").and_then(Value::as_array) else {
            self.fault(&format!("{place}bands"), record.get("bands"), "an array of bands");
            return None;
        };
        let trace = record.get("trace").and_then(Value::as_object);
        let text = |key| trace.and_then(|trace| trace.get(key)).and_then(Value::as_str);
        let text = |key| text(key).map(|text| printable(text).into_owned());
        let faults = self.count;
        let bands: Vec<_> = bands
            .iter()
            .enumerate()
            .filter_map(|(index, band)| self.band(band, &format!("{place}bands[{index}].")))
            .collect();
        let context = self.context(record, place);
        (self.count == faults).then_some(())?;
        // A joint is as bad as its worst band, whatever else its record says.
        let is_broken = bands.iter().any(|band| !band.is_within_procedure);
        Some(Record {
            name: text("path").unwrap_or_else(|| self.file.to_owned()),
            start: text("start"),
            is_within_procedure: is_within_procedure? && !is_broken,
            outcome: if is_broken { Outcome::Broken } else { outcome(record) },
            context: context?,
            bands,
            impossible: std::mem::take(&mut self.impossible),
        })
    }
    /// What else a record tells; absent and null are not known.
    fn context(&mut self, record: &Map<String, Value>, place: &str) -> Option<Context> {
        let found = record.get("context").filter(|value| !value.is_null());
        let Some(found) = found else { return Some(Context::default()) };
        let Some(context) = found.as_object() else {
            self.fault(&format!("{place}context"), Some(found), "null, or an object");
            return None;
        };
        let faults = self.count;
        let mut text = |key: &str| {
            let value = context.get(key).filter(|value| !value.is_null())?;
            if !value.is_string() {
                self.fault(&format!("{place}context.{key}"), Some(value), "null, or a text");
            }
            value.as_str().map(|text| printable(text).into_owned())
        };
        let keys = ["machine", "operator", "spool", "bottle", "tip", "procedure", "revision", "welded_at"];
        let [machine, operator, spool, bottle, tip, procedure, revision, welded_at] = keys.map(&mut text);
        let mut number = |key: &str, least: f64| {
            let value = context.get(key).filter(|value| !value.is_null())?;
            let number = value.as_f64().filter(|number| (least..=LARGEST).contains(number));
            if number.is_none() {
                self.fault(
                    &format!("{place}context.{key}"),
                    Some(value),
                    "null, or a number that can be true",
                );
            }
            number
        };
        let outside_diameter_mm = number("outside_diameter_mm", 1.0);
        let ambient_c = number("ambient_c", -273.0);
        let context = Context {
            machine,
            operator,
            spool,
            bottle,
            tip,
            procedure,
            revision,
            outside_diameter_mm,
            ambient_c,
            welded_at,
            ..Context::default()
        };
        (self.count == faults).then_some(context)
    }
    /// Is nothing broken? What is only not proven, or was not asked for, is no sign of a drift; a record of an
    /// older form tells only whether it was within.
    fn is_within(&mut self, record: &Map<String, Value>, place: &str) -> Option<bool> {
        match record.get("outcome").and_then(Value::as_str) {
            Some(outcome) => Some(outcome != Outcome::Broken.name()),
            None => self.flag(record, place, "within_procedure"),
        }
    }
    fn band(&mut self, value: &Value, place: &str) -> Option<Band> {
        let Some(record) = value.as_object() else {
            self.fault(place.trim_end_matches('.'), Some(value), "an object: one band");
            return None;
        };
        let number =
            record.get("band").and_then(Value::as_u64).filter(|number| (1..=65_535).contains(number));
        if number.is_none() {
            self.fault(&format!("{place}band"), record.get("band"), "a whole number from 1 to 65535");
        }
        let is_within_procedure = self.is_within(record, place);
        let measured = record.get("wire_feed_source").and_then(Value::as_str) == Some("measured");
        let mut values = [None; Measure::COUNT];
        for (&measure, value) in Measure::ALL.iter().zip(&mut values) {
            let is_followed = measure != Measure::WireFeed || measured;
            // A number that is wrong hides no fault in what stands beside it.
            if is_followed && number.is_none_or(|number| measure.is_of_band(number)) {
                *value = self.figure(record, place, measure).filter(|&figure| {
                    let is_possible = measure.is_possible(figure);
                    if let (false, Some(band)) = (is_possible, number) {
                        let title = measure.description().title;
                        self.impossible.push(format!("band {band}: {title} {figure}"));
                    }
                    is_possible
                });
            }
        }
        let is_seen = record.get("start_unseen") != Some(&Value::Bool(true));
        let is_ended = record.get("ending").and_then(Value::as_str) != Some("data-ended");
        Some(Band {
            band: number?,
            is_within_procedure: is_within_procedure?,
            is_whole: is_seen && is_ended,
            values,
        })
    }
    fn flag(&mut self, record: &Map<String, Value>, place: &str, key: &str) -> Option<bool> {
        let found = record.get(key);
        let flag = found.and_then(Value::as_bool);
        if flag.is_none() {
            self.fault(&format!("{place}{key}"), found, "true or false");
        }
        flag
    }
    /// What is absent or null was not measured; anything else must be a number.
    fn figure(&mut self, record: &Map<String, Value>, place: &str, measure: Measure) -> Option<f64> {
        let (key, part) = measure.description().field;
        let mut found = record.get(key).filter(|value| !value.is_null())?;
        let mut field = format!("{place}{key}");
        if let Some(part) = part {
            let Some(parts) = found.as_object() else {
                self.fault(&field, Some(found), "null, or an object with mean, min, max and sd");
                return None;
            };
            found = parts.get(part).filter(|value| !value.is_null())?;
            field = format!("{field}.{part}");
        }
        let number = found.as_f64().filter(|number| number.abs() <= LARGEST);
        if number.is_none() {
            self.fault(&field, Some(found), "null, or a number no larger than 1e9 either way");
        }
        number
    }
}

pub(super) fn invalid(written: &str) -> String {
    let mut shown: String = written.chars().take(40).collect();
    if shown.len() < written.len() {
        shown.push_str("...");
    }
    format!("invalid value `{shown}`")
}

/// As the record says. One of an older form that is not within its procedure may be broken.
pub(super) fn outcome(record: &Map<String, Value>) -> Outcome {
    let named = record.get("outcome").and_then(Value::as_str);
    let known = [Outcome::NotAsked, Outcome::Proven, Outcome::NotProven, Outcome::Broken];
    match (named, record.get("within_procedure")) {
        (Some(name), _) => {
            known.into_iter().find(|outcome| outcome.name() == name).unwrap_or(Outcome::NotProven)
        }
        (None, Some(Value::Bool(true))) => Outcome::Proven,
        (None, _) => Outcome::Broken,
    }
}
