//! The file that says what was wrong in a trace.
//!
//! Decides: its form.
//! Assumes: nothing.
//! Never: takes half of a file: all that is wrong in it is told, with its line.
//!
//! It stands beside its trace: `joint.csv` has its own in `joint.truth.json`. `synth` writes it with a
//! made trace; beside a recorded one a person writes it by hand:
//!
//! ```json
//! { "faults": [
//!     { "rule": "gas-low", "start_s": 12.0, "end_s": 19.5 },
//!     { "rule": "signal-missing", "channel": "voltage", "start_s": 40.0, "end_s": 44.0 }
//! ] }
//! ```
//!
//! A fault has the `rule` that should raise (`null`: something was wrong that no rule is about), or `rules`
//! any of which should, or a `cause` by its name in the table of causes, whose rules should; `start_s` and
//! `end_s`; and may have a `channel`, a `kind` in words, the least `severity` that finds it, and
//! `outside_from_s`, from which on it could be seen at all. A trace without fault has an empty list. `scenario` and `seed` may name
//! traces of one kind. What else `synth` writes is passed over.

use super::marks::{Mark, Marks, micros};
use crate::findings::table::{Call, causes};
use crate::input::diagnostic::{InputError, InputErrors};
use crate::input::json_object::Object;
use crate::input::text_file;
use crate::output::named;
use crate::trace::fault::Faults;
use anyhow::Context as _;
use bandward::{Channel, Rule, Severity};
use serde::de::DeserializeOwned;
use serde_json::value::RawValue;
use std::collections::BTreeSet;
use std::ops::Range;
use std::path::Path;

const FORM: &str = "{ \"faults\": [ { \"rule\": \"gas-low\", \"start_s\": 12.0, \"end_s\": 19.5 } ] }";
const TIME: &str = "seconds from the start of the trace, 0 or more";
/// No trace is longer, s.
const LONGEST_S: f64 = 1e12;

const FILE_KEYS: [&str; 8] =
    ["scenario", "note", "seed", "sample_rate_hz", "faults", "bands", "joints", "habits"];
/// Those that are read first.
const FAULT_KEYS: [&str; 17] = [
    "rule",
    "rules",
    "cause",
    "severity",
    "kind",
    "channel",
    "start_s",
    "end_s",
    "outside_from_s",
    "note",
    "joint",
    "band",
    "from_deg",
    "to_deg",
    "size",
    "unit",
    "size_means",
];

type Fields<'a> = Object<&'a RawValue>;

impl Marks {
    /// Reads the file at `path`.
    ///
    /// # Errors
    /// It cannot be read, or what is in it makes no sense; the places are told.
    pub fn read(path: &Path, grace_s: f64, consequences_s: f64) -> anyhow::Result<Self> {
        let name = named(path);
        let text = text_file::read_list(path)
            .with_context(|| format!("cannot read {name}, which says what is wrong in its trace"))?;
        Ok(Self::parse(&name, &text, grace_s, consequences_s)?)
    }
    /// Reads the text of such a file; `file` is its name in messages.
    ///
    /// # Errors
    /// All that makes no sense, with its place.
    pub fn parse(file: &str, text: &str, grace_s: f64, consequences_s: f64) -> Result<Self, InputErrors> {
        let mut reader = Reader { text, faults: Faults::new(file) };
        let marks = reader.marks();
        let (grace_us, consequences_us) = (micros(grace_s), micros(consequences_s));
        let marks = marks.map(|marks| Self { grace_us, consequences_us, ..marks });
        marks.filter(|_| reader.faults.is_empty()).ok_or_else(|| reader.faults.take())
    }
}

struct Reader<'a> {
    text: &'a str,
    faults: Faults,
}

impl<'a> Reader<'a> {
    fn marks(&mut self) -> Option<Marks> {
        let fields = match serde_json::from_str::<Fields<'a>>(self.text) {
            Ok(fields) => fields,
            Err(error) => {
                self.not_json(&error);
                return None;
            }
        };
        self.known(&fields, &FILE_KEYS, "");
        let scenario = self.value(&fields, "", "scenario", "a name in quotes").unwrap_or_default();
        let seed = self.value(&fields, "", "seed", "a whole number, 0 or more").unwrap_or_default();
        let Some(list) = fields.get("faults") else {
            self.fault_at(0..1, "faults", "is missing", FORM);
            return None;
        };
        let Ok(entries) = serde_json::from_str::<Vec<&'a RawValue>>(list.get()) else {
            self.fault(list, "faults", "is no list", "a list of faults, empty where nothing was wrong");
            return None;
        };
        let marks = entries.iter().enumerate();
        let faults: Vec<_> =
            marks.map(|(index, entry)| self.mark(entry, &format!("faults[{}].", index + 1))).collect();
        let mut faults = faults.into_iter().collect::<Option<Vec<_>>>()?;
        // The same fault twice is no more evidence than once.
        let mut once = BTreeSet::new();
        faults.retain(|mark| once.insert(format!("{mark:?}")));
        Some(Marks { scenario, seed, faults, ..Marks::default() })
    }
    fn mark(&mut self, entry: &'a RawValue, place: &str) -> Option<Mark> {
        let fields = match serde_json::from_str::<Fields<'a>>(entry.get()) {
            Ok(fields) => fields,
            Err(error) => {
                let told = error.to_string();
                let told = told.split(" at line ").next().filter(|_| entry.get().starts_with('{'));
                self.fault(entry, place.trim_end_matches('.'), told.unwrap_or("is no fault"), FORM);
                return None;
            }
        };
        if !["rule", "rules", "cause"].iter().any(|key| fields.contains_key(*key)) {
            let allowed = "`rule`, `rules` or `cause`; or `\"rule\": null` where no rule is about it";
            self.fault(entry, &format!("{place}rule"), "is missing", allowed);
        }
        self.known(&fields, &FAULT_KEYS, place);
        let rules = self.rules(&fields, place);
        let severities = [Severity::Advise, Severity::Warn, Severity::Stop];
        let known = |name: &str| severities.into_iter().find(|severity| severity.name() == name);
        let severity = self.named(&fields, place, "severity", "advise, warn, stop", known);
        let channels = Channel::ALL.map(Channel::name).join(", ");
        let known = |name: &str| Channel::ALL.into_iter().find(|channel| channel.name() == name);
        let channel = self.named(&fields, place, "channel", &channels, known);
        let kind = self.value(&fields, place, "kind", "words in quotes");
        let [start_s, end_s] = ["start_s", "end_s"].map(|key| {
            if !fields.contains_key(key) {
                self.fault(entry, &format!("{place}{key}"), "is missing", TIME);
            }
            self.time(&fields, place, key)
        });
        let outside_from_s = self.time(&fields, place, "outside_from_s");
        let (start_s, end_s) = (start_s?, end_s?);
        if end_s < start_s {
            let allowed = format!("seconds from `start_s`, {start_s}, on");
            self.fault(fields.get("end_s")?, &format!("{place}end_s"), "is before the start", &allowed);
        }
        if let Some(from_s) = outside_from_s.filter(|from_s| !(start_s..=end_s).contains(from_s)) {
            let allowed = format!("seconds from `start_s`, {start_s}, to `end_s`, {end_s}");
            let problem = format!("{from_s} s is outside of the fault");
            self.fault(fields.get("outside_from_s")?, &format!("{place}outside_from_s"), &problem, &allowed);
        }
        Some(Mark {
            rules,
            kind,
            channel,
            severity,
            start_us: micros(start_s),
            end_us: micros(end_s),
            outside_from_us: micros(outside_from_s.unwrap_or(start_s)),
        })
    }
    /// Those of `rule`, `rules` and `cause`, in this order and each once.
    fn rules(&mut self, fields: &Fields<'a>, place: &str) -> Vec<Rule> {
        self.one_of(fields, place);
        let allowed = format!("{}; or none, where no rule is about it", Rule::ALL.map(Rule::name).join(", "));
        let mut rules: Vec<_> =
            self.named(fields, place, "rule", &allowed, Rule::from_name).into_iter().collect();
        let list: Option<Vec<String>> = self.value(fields, place, "rules", "a list of names of rules");
        for name in list.iter().flatten() {
            match (Rule::from_name(name), fields.get("rules")) {
                (Some(rule), _) => rules.push(rule),
                (None, Some(raw)) => {
                    self.fault(raw, &format!("{place}rules"), &format!("`{name}` is no rule"), &allowed);
                }
                (None, None) => {}
            }
        }
        let names: Vec<_> = causes().iter().map(|cause| cause.name.as_str()).collect();
        let known = |name: &str| causes().iter().find(|cause| cause.name == name);
        let cause = self.named(fields, place, "cause", &names.join(", "), known);
        rules.extend(cause.iter().flat_map(|cause| &cause.called_by).filter_map(|call| match call {
            Call::Alarm(rule) => Some(*rule),
            Call::Flutter | Call::Unproven(_) => None,
        }));
        let mut once: Vec<Rule> = Vec::new();
        for rule in rules {
            if !once.contains(&rule) {
                once.push(rule);
            }
        }
        once
    }
    /// Refuses more than one of the keys that say which rules should tell, and a list of none.
    fn one_of(&mut self, fields: &Fields<'a>, place: &str) {
        let is_given = |key: &&str| fields.get(*key).is_some_and(|raw| raw.get() != "null");
        let given: Vec<_> = ["rule", "rules", "cause"].into_iter().filter(is_given).collect();
        if let [first, .., second] = given[..] {
            let problem = format!("stands beside `{first}`");
            let allowed = "one of `rule`, `rules` and `cause`";
            if let Some(raw) = fields.get(second) {
                self.fault(raw, &format!("{place}{second}"), &problem, allowed);
            }
        }
        let list = fields
            .get("rules")
            .filter(|raw| serde_json::from_str(raw.get()).is_ok_and(|list: Vec<String>| list.is_empty()));
        if let Some(raw) = list {
            let allowed = "names of rules; `\"rule\": null` where no rule is about the fault";
            self.fault(raw, &format!("{place}rules"), "is empty", allowed);
        }
    }
    fn time(&mut self, fields: &Fields<'a>, place: &str, key: &str) -> Option<f64> {
        let time_s: f64 = self.value(fields, place, key, TIME)?;
        if (0.0..=LONGEST_S).contains(&time_s) {
            return Some(time_s);
        }
        self.fault(fields.get(key)?, &format!("{place}{key}"), "is no time in a trace", TIME);
        None
    }
    /// One of the things that have a name.
    fn named<T>(
        &mut self,
        fields: &Fields<'a>,
        place: &str,
        key: &str,
        allowed: &str,
        of_name: impl Fn(&str) -> Option<T>,
    ) -> Option<T> {
        let name: String = self.value(fields, place, key, allowed)?;
        let found = of_name(&name);
        if found.is_none() {
            self.fault(fields.get(key)?, &format!("{place}{key}"), &format!("`{name}` is no {key}"), allowed);
        }
        found
    }
    /// What stands there; none where nothing does, or null.
    fn value<T: DeserializeOwned>(
        &mut self,
        fields: &Fields<'a>,
        place: &str,
        key: &str,
        allowed: &str,
    ) -> Option<T> {
        let raw = fields.get(key).filter(|raw| raw.get() != "null")?;
        let value = serde_json::from_str(raw.get()).ok();
        if value.is_none() {
            let problem = format!("invalid value {}", raw.get());
            self.fault(raw, &format!("{place}{key}"), &problem, allowed);
        }
        value
    }
    /// Tells keys that nothing is known of: one that is misspelt would go unread.
    fn known(&mut self, fields: &Fields<'a>, keys: &[&str], place: &str) {
        for (key, raw) in fields.iter().filter(|(key, _)| !keys.contains(&key.as_str())) {
            self.fault(raw, &format!("{place}{key}"), "unknown key", &keys.join(", "));
        }
    }
    fn not_json(&mut self, error: &serde_json::Error) {
        // Said without its place, which the message shows.
        let told = error.to_string();
        let told = told.split(" at line ").next().unwrap_or_default();
        let line = self.text.lines().nth(error.line().saturating_sub(1)).unwrap_or_default();
        let start = error.column().saturating_sub(1).min(line.len());
        self.faults.add(|file| {
            let fault = InputError::in_line(file, error.line().max(1), line, start..start + 1, "");
            fault.problem(format!("not valid JSON: {told}")).allowed(FORM)
        });
    }
    fn fault(&mut self, raw: &RawValue, field: &str, problem: &str, allowed: &str) {
        self.fault_at(self.span(raw), field, problem, allowed);
    }
    fn fault_at(&mut self, span: Range<usize>, field: &str, problem: &str, allowed: &str) {
        let text = self.text;
        self.faults
            .add(|file| InputError::in_text(file, text, span, field).problem(problem).allowed(allowed));
    }
    /// Where a value stands: it borrows from the text.
    fn span(&self, raw: &RawValue) -> Range<usize> {
        let start = raw.get().as_ptr().addr().saturating_sub(self.text.as_ptr().addr());
        start..start + raw.get().len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_synth_writes_and_what_a_hand_writes_are_read() {
        let marks = Marks::parse(
            "x",
            r#"{ "scenario": "a", "seed": 7, "bands": [], "faults": [
                { "rule": null, "kind": "wind", "start_s": 1, "end_s": 2.5, "outside_from_s": 1.5, "size": 3.0 },
                { "rule": "signal-missing", "channel": "gas", "start_s": 3.0, "end_s": 3.0 }
            ] }"#,
            5.0,
            0.0,
        )
        .expect("it is sound");
        assert_eq!((marks.scenario.as_str(), marks.seed, marks.grace_us), ("a", 7, 5_000_000));
        let [wind, missing] = &marks.faults[..] else { panic!("{marks:?}") };
        assert_eq!((wind.lead(), wind.end_us, wind.outside_from_us), (None, 2_500_000, 1_500_000));
        assert_eq!((missing.lead(), missing.channel), (Some(Rule::SignalMissing), Some(Channel::Gas)));
        assert_eq!(missing.outside_from_us, 3_000_000);
    }

    #[test]
    fn every_fault_is_told_with_its_line() {
        let text = "{ \"faults\": [\n\
                    { \"rule\": \"gas-lo\", \"start_s\": 1, \"end_s\": 2 },\n\
                    { \"chanel\": \"gas\", \"start_s\": -1, \"end_s\": 2 },\n\
                    { \"start_s\": 3, \"end_s\": 2 },\n\
                    { \"start_s\": \"3\" },\n\
                    7\n\
                    ] }";
        let errors = Marks::parse("x.truth.json", text, 5.0, 0.0).expect_err("ten faults");
        let told: Vec<_> = errors.faults().iter().map(|one| (one.line, one.field.as_str())).collect();
        assert_eq!(
            told,
            [
                (2, "faults[1].rule"),
                (3, "faults[2].rule"),
                (3, "faults[2].chanel"),
                (3, "faults[2].start_s"),
                (4, "faults[3].rule"),
                (4, "faults[3].end_s"),
                (5, "faults[4].rule"),
                (5, "faults[4].end_s"),
                (5, "faults[4].start_s"),
                (6, "faults[5]"),
            ]
        );
        assert_eq!(errors.faults()[0].value, "\"gas-lo\"");
        assert!(errors.faults()[0].allowed.starts_with("voltage-low, voltage-high"));
    }

    #[test]
    fn what_is_no_marks_file_is_told() {
        for (text, line) in
            [("", 1), ("[1", 1), ("{\n\"faults\": [,]\n}", 2), ("{\"faults\": 3}", 1), ("{}", 1)]
        {
            let errors = Marks::parse("x", text, 5.0, 0.0).expect_err(text);
            assert_eq!(errors.faults().iter().map(|one| one.line).collect::<Vec<_>>(), [line], "{text}");
        }
    }
}
