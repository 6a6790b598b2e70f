//! Records of joints, as `replay --json` writes them.
//!
//! Decides: what is taken of a record, how long that may be, and the order of the joints.
//! Assumes: nothing; whatever is wrong in a file is told with its place.
//! Never: judges a band anew; the record says how it stood. Holds what is not taken of a record.

mod text;

use super::measure::Measure;
use crate::identity::Context;
use crate::input::diagnostic::{InputError, InputErrors};
use crate::output::printable;
use crate::trace::fault::Faults;
use bandward::Outcome;
use jiff::Timestamp;
use jiff::civil::DateTime;
use serde_json::{Map, Value};
use std::fmt;

/// No figure of a weld is larger, in any unit of the record.
const LARGEST: f64 = 1e9;

/// What is followed of one band.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// Its number within the joint, from 1.
    pub band: u64,
    /// Was nothing outside the procedure?
    pub is_within_procedure: bool,
    /// Was it seen from its beginning to its end?
    pub is_whole: bool,
    /// Its figures, in the order of [`Measure::ALL`].
    pub values: [Option<f64>; Measure::COUNT],
}

/// One joint.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The trace it was made from.
    pub name: String,
    /// When it began, where that is known.
    pub start: Option<String>,
    /// Was nothing outside the procedure, within bands and between them?
    pub is_within_procedure: bool,
    /// How it stood to the procedure it was replayed with.
    pub outcome: Outcome,
    /// What else is known about it.
    pub context: Context,
    /// Its bands.
    pub bands: Vec<Band>,
    /// Readings of it that cannot be true, and were left out.
    pub impossible: Vec<String>,
}

impl Record {
    /// May it be part of a baseline: is it neither broken nor not proven?
    pub const fn is_sound(&self) -> bool {
        matches!(self.outcome, Outcome::Proven | Outcome::NotAsked)
    }
    /// The temperature of the work before its first band, degC.
    pub fn work_at_start_c(&self) -> Option<f64> {
        let preheat = Measure::ALL.iter().position(|measure| *measure == Measure::Preheat)?;
        self.bands.iter().find(|band| band.band == 1)?.values.get(preheat).copied().flatten()
    }
    /// When it was welded: as it was told, else when its log began.
    pub fn begun(&self) -> Option<&str> {
        self.context.welded_at.as_deref().or(self.start.as_deref())
    }
    /// When it began, written as `like` is.
    pub fn moment_like(&self, like: &Moment) -> Option<Moment> {
        let start = self.begun()?;
        match like {
            Moment::Instant(_) => start.parse().ok().map(Moment::Instant),
            Moment::Civil(_) if start.parse::<Timestamp>().is_ok() => None,
            Moment::Civil(_) => start.parse().ok().map(Moment::Civil),
        }
    }
}

/// A time, as people and loggers write it.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub enum Moment {
    /// An instant: a time with its offset.
    Instant(Timestamp),
    /// What a clock on the wall shows.
    Civil(DateTime),
}

impl Moment {
    /// Reads a time such as `2026-03-04T07:15:00`, with an offset or without, or a date.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        text.parse().ok().map(Self::Instant).or_else(|| text.parse().ok().map(Self::Civil))
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Instant(instant) => instant.fmt(out),
            Self::Civil(civil) => civil.fmt(out),
        }
    }
}

/// What a file of records holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Read {
    /// The records.
    pub records: Vec<Record>,
    /// Logs that could not be replayed, of which there is no record.
    pub failed: usize,
}

/// Reads the text of a file: one record, one after another, or arrays of them; `file` is its name in messages.
/// The summary of many logs is passed over.
///
/// # Errors
/// All faults in the text.
pub fn read(file: &str, text: &str) -> Result<Read, InputErrors> {
    let mut reader = Reader::new(file);
    let read = reader.all(text).map_err(|error| {
        let error = text::clearer(text).unwrap_or(error);
        let line = text.lines().nth(error.line().saturating_sub(1)).unwrap_or("");
        let at = error.column().saturating_sub(1).min(line.len());
        let words = error.to_string();
        let problem = words.split(" at line ").next().unwrap_or(&words);
        InputError::in_line(file, error.line().max(1), line, at..at, "")
            .problem(format!("this is no JSON: {problem}"))
            .allowed("what `bandward replay --json` prints")
    })?;
    if reader.faults.is_empty() { Ok(read) } else { Err(reader.faults.take()) }
}

/// As [`read`], the records alone.
///
/// # Errors
/// As [`read`].
pub fn parse(file: &str, text: &str) -> Result<Vec<Record>, InputErrors> {
    Ok(read(file, text)?.records)
}

/// Takes a record that this program has just made.
///
/// # Errors
/// None, as long as this file reads what the other one writes.
pub fn of_replay(name: &str, value: &Value) -> Result<Record, InputErrors> {
    let mut reader = Reader::new(name);
    let record = reader.record(value, "");
    record.ok_or_else(|| reader.faults.take())
}

const A_RECORD: &str = "a record as `bandward replay --json` prints it";

struct Reader<'f> {
    file: &'f str,
    faults: Faults,
    /// Faults so far, those that are not listed too.
    count: u64,
    /// Readings of the record under way that cannot be true.
    impossible: Vec<String>,
}

impl<'f> Reader<'f> {
    fn new(file: &'f str) -> Self {
        Self { file, faults: Faults::new(file), count: 0, impossible: Vec::new() }
    }
    fn tell(&mut self, field: &str, allowed: &str, problem: impl FnOnce() -> String) {
        self.count += 1;
        self.faults.add(|file| InputError::in_file(file, field).problem(problem()).allowed(allowed));
    }
    fn fault(&mut self, field: &str, found: Option<&Value>, allowed: &str) {
        self.tell(field, allowed, || {
            found.map_or("is missing".to_owned(), |value| invalid(&value.to_string()))
        });
    }
    fn record(&mut self, value: &Value, place: &str) -> Option<Record> {
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

fn invalid(written: &str) -> String {
    let mut shown: String = written.chars().take(40).collect();
    if shown.len() < written.len() {
        shown.push_str("...");
    }
    format!("invalid value `{shown}`")
}

/// As the record says. One of an older form that is not within its procedure may be broken.
fn outcome(record: &Map<String, Value>) -> Outcome {
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

/// How the joints came into their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// By the time each began.
    ByStart,
    /// By the time each was welded, which some of them tell beside their logs.
    ByWelded,
    /// As they were given, because not all tell when they began, or not all in the same way.
    AsGiven,
}

impl Order {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::ByStart => "by the time each joint began",
            Self::ByWelded => {
                "by the time each joint was welded, as it was told, else by the time its log began"
            }
            Self::AsGiven => {
                "as the records were given; not all tell when they began, or not in the same way"
            }
        }
    }
}

/// Puts records into the order of time, where they all tell it: in instants, or all in civil time.
pub fn sort(records: &mut [Record]) -> Order {
    let instant = |record: &Record| record.begun()?.parse::<Timestamp>().ok();
    let civil = |record: &Record| record.begun()?.parse::<DateTime>().ok();
    if records.iter().all(|record| instant(record).is_some()) {
        records.sort_by_key(instant);
    } else if records.iter().all(|record| instant(record).is_none() && civil(record).is_some()) {
        records.sort_by_key(civil);
    } else {
        return Order::AsGiven;
    }
    if records.iter().any(|record| record.context.welded_at.is_some()) {
        Order::ByWelded
    } else {
        Order::ByStart
    }
}
