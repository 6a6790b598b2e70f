//! A TOML document with the place of everything in it, and the faults found in it so far.
//!
//! Decides: what a key may hold, by the way it is asked for, and which keys are unknown: those nobody
//! asked for.
//! Assumes: a section is closed with [`Section::finish`] once everything it knows was asked for.
//! Never: stops at a fault; the reader goes on with what is left and the faults are told at the end. Keeps more
//! than the first [`LISTED`] of them.

use super::bounds::{self, Bounds, Extent};
use super::diagnostic::{InputError, InputErrors, LISTED};
use super::quantity::{self, Dimension, UnitSystem};
use super::source::Source;
use super::survey::{self, Form};
use super::written;
use super::written_quantity::{self, QuantityError};
use std::cell::RefCell;
use std::ops::{Range, RangeInclusive};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A TOML document under reading.
pub struct Document<'t> {
    source: &'t Source,
    root: DeTable<'t>,
    faults: RefCell<Faults>,
}

/// The faults found so far, those that stand first.
#[derive(Default)]
struct Faults {
    listed: Vec<Fault>,
    more: u64,
}

/// A fault whose line is not looked for yet: that takes as long as the text before it.
struct Fault {
    place: Place,
    problem: String,
    allowed: String,
}

impl Faults {
    fn add(&mut self, fault: Fault) {
        if self.listed.len() < LISTED {
            self.listed.push(fault);
            return;
        }
        self.more += 1;
        let last = self.listed.iter_mut().max_by_key(|listed| listed.place.span.start);
        if let Some(last) = last.filter(|last| last.place.span.start > fault.place.span.start) {
            *last = fault;
        }
    }
}

/// A value with the place it was written at.
#[derive(Clone, Debug, PartialEq)]
pub struct Located<T> {
    /// The value.
    pub value: T,
    /// Where it is written.
    pub place: Place,
}

/// A place in a document: the field, and the bytes it is written in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The field with the tables around it: `current.allowed`.
    pub field: String,
    /// Bytes of the text.
    pub span: Range<usize>,
}

impl<'t> Document<'t> {
    /// Begins to read what can be read of a source.
    pub fn new(source: &'t Source) -> Self {
        let (root, _) = DeTable::parse_recoverable(&source.readable);
        Self { source, root: root.into_inner(), faults: RefCell::default() }
    }
    /// The top of the document.
    pub fn root(&self) -> Section<'_> {
        let place = Place { field: String::new(), span: 0..0 };
        Section { document: self, table: Some(&self.root), place, asked: RefCell::default() }
    }
    /// Adds a fault.
    pub fn fault(&self, place: &Place, problem: impl Into<String>, allowed: impl Into<String>) {
        let (problem, allowed) = (problem.into(), allowed.into());
        self.faults.borrow_mut().add(Fault { place: place.clone(), problem, allowed });
    }
    /// Ends the reading.
    ///
    /// # Errors
    /// All faults, where there were any.
    pub fn finish(self) -> Result<(), InputErrors> {
        let Faults { listed, more } = self.faults.into_inner();
        let (file, text) = (&self.source.file, &self.source.text);
        let told = listed.into_iter().map(|Fault { place, problem, allowed }| {
            InputError::in_text(file, text, place.span, &place.field).problem(problem).allowed(allowed)
        });
        let faults: Vec<_> = self.source.faults.iter().cloned().chain(told).collect();
        if faults.is_empty() { Ok(()) } else { Err(InputErrors::new(faults).and_more(more)) }
    }
}

/// A table of a document; one that is not there behaves as an empty one.
pub struct Section<'d> {
    document: &'d Document<'d>,
    table: Option<&'d DeTable<'d>>,
    place: Place,
    asked: RefCell<Vec<&'static str>>,
}

impl<'d> Section<'d> {
    /// Is the table in the document?
    pub fn is_present(&self) -> bool {
        self.table.is_some()
    }
    /// Where the table's name stands.
    pub fn place(&self) -> &Place {
        &self.place
    }
    /// Adds a fault.
    pub fn fault(&self, place: &Place, problem: impl Into<String>, allowed: impl Into<String>) {
        self.document.fault(place, problem, allowed);
    }
    /// Is a key written here?
    pub fn has(&self, key: &'static str) -> bool {
        self.table.is_some_and(|table| table.contains_key(key))
    }
    /// Is the table in the document, with nothing in it?
    pub fn is_bare(&self) -> bool {
        self.document.source.faults.is_empty() && self.table.is_some_and(DeTable::is_empty)
    }
    /// The table `key` within this one.
    #[must_use]
    pub fn section(&self, key: &'static str) -> Section<'d> {
        self.note(key, || Form::Table);
        let (place, table) = match self.entry(key) {
            None => (self.place_of(key, self.place.span.clone()), None),
            Some((name, value)) => {
                if !value.get_ref().is_table() {
                    self.misfit(&self.place_of(key, value.span()), value.get_ref(), "a table");
                }
                (self.place_of(key, name), value.get_ref().as_table())
            }
        };
        Section { document: self.document, table, place, asked: RefCell::default() }
    }
    /// The tables of the list `[[key]]`, in order; their fields read `key[1].name`.
    pub fn sections(&self, key: &'static str) -> Vec<Section<'d>> {
        self.note(key, || Form::Tables);
        let Some((name, value)) = self.entry(key) else { return Vec::new() };
        let place = self.place_of(key, name);
        let Some(list) = value.get_ref().as_array() else {
            let allowed = format!("a list of tables, each below its own [[{}]]", place.field);
            self.misfit(&self.place_of(key, value.span()), value.get_ref(), &allowed);
            return Vec::new();
        };
        let tables = list.iter().enumerate().map(|(index, element)| {
            let field = format!("{}[{}]", place.field, index + 1);
            // A table under its own heading spans that heading.
            let place = Place { field, span: element.span() };
            if !element.get_ref().is_table() {
                self.misfit(&place, element.get_ref(), "a table");
            }
            let table = element.get_ref().as_table();
            Section { document: self.document, table, place, asked: RefCell::default() }
        });
        tables.collect()
    }
    /// A list of texts.
    pub fn texts(&self, key: &'static str) -> Option<Vec<Located<String>>> {
        self.note(key, || Form::Value("a list of texts in quotes".to_owned()));
        let (_, value) = self.entry(key)?;
        let place = self.place_of(key, value.span());
        let Some(list) = value.get_ref().as_array() else {
            self.misfit(&place, value.get_ref(), "a list of texts in quotes");
            return None;
        };
        let texts = list.iter().filter_map(|element| {
            let place = self.place_of(key, element.span());
            let text = element.get_ref().as_str().map(str::to_owned);
            if text.is_none() {
                self.misfit(&place, element.get_ref(), "a text in quotes");
            }
            text.map(|value| Located { value, place })
        });
        Some(texts.collect())
    }
    /// A text.
    pub fn text(&self, key: &'static str) -> Option<Located<String>> {
        self.value(key, "a text in quotes", |value| value.as_str().map(str::to_owned))
    }
    /// `true` or `false`.
    pub fn flag(&self, key: &'static str) -> Option<Located<bool>> {
        self.value(key, "true or false", DeValue::as_bool)
    }
    /// A whole number within a range.
    pub fn whole(&self, key: &'static str, range: Range<i64>) -> Option<Located<i64>> {
        let allowed = format!("a whole number from {} to {}", range.start, range.end - 1);
        self.value(key, &allowed, |value| {
            let integer = value.as_integer()?;
            i64::from_str_radix(integer.as_str(), integer.radix())
                .ok()
                .filter(|number| range.contains(number))
        })
    }
    /// A list of whole numbers, each within a range.
    pub fn wholes(&self, key: &'static str, range: Range<i64>) -> Option<Vec<Located<i64>>> {
        let allowed = format!("a list of whole numbers from {} to {}", range.start, range.end - 1);
        self.note(key, || Form::Value(allowed.clone()));
        let (_, value) = self.entry(key)?;
        let place = self.place_of(key, value.span());
        let Some(list) = value.get_ref().as_array() else {
            self.misfit(&place, value.get_ref(), &allowed);
            return None;
        };
        let numbers = list.iter().filter_map(|element| {
            let place = self.place_of(key, element.span());
            let integer = element.get_ref().as_integer();
            let number = integer
                .and_then(|integer| i64::from_str_radix(integer.as_str(), integer.radix()).ok())
                .filter(|number| range.contains(number));
            if number.is_none() {
                self.misfit(&place, element.get_ref(), &allowed);
            }
            number.map(|value| Located { value, place })
        });
        Some(numbers.collect())
    }
    /// A plain number.
    pub fn number(&self, key: &'static str) -> Option<Located<f64>> {
        self.value(key, "a number without a unit", plain_number)
    }
    /// One of a few names.
    pub fn choice<T: Copy>(&self, key: &'static str, choices: &[(&str, T)]) -> Option<Located<T>> {
        let names: Vec<_> = choices.iter().map(|(name, _)| *name).collect();
        let quoted = || names.iter().map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ");
        self.note(key, || Form::Value(quoted()));
        let text = self.value(key, &quoted(), |value| value.as_str().map(str::to_owned))?;
        let word = written::spoken(&text.value);
        if let Some((_, value)) = choices.iter().find(|(name, _)| *name == text.value || *name == word) {
            return Some(Located { value: *value, place: text.place });
        }
        let hint = suggestion(&text.value, &names);
        self.fault(&text.place, format!("`{}` is not one of its choices{hint}", text.value), quoted());
        None
    }
    /// A quantity, in the house unit of its dimension.
    pub fn quantity(&self, key: &'static str, dimension: Dimension) -> Option<Located<f64>> {
        self.note(key, || Form::Value(format!("a number with its unit, in {}", dimension.unit_list())));
        let (_, value) = self.entry(key)?;
        self.quantity_in(key, value, dimension)
    }
    /// A quantity within a range of the house unit; `allowed` tells the range.
    pub fn quantity_within(
        &self,
        key: &'static str,
        dimension: Dimension,
        range: RangeInclusive<f64>,
        allowed: &str,
    ) -> Option<Located<f64>> {
        self.note(key, || {
            Form::Value(format!("a number with its unit, in {}; {allowed}", dimension.unit_list()))
        });
        let quantity = self.quantity(key, dimension)?;
        if range.contains(&quantity.value) {
            return Some(quantity);
        }
        let value = quantity::format(quantity.value, dimension, UnitSystem::Metric);
        self.fault(&quantity.place, format!("{value} is not possible"), allowed);
        None
    }
    /// A range or a single value; a range may be an array of its two ends.
    pub fn extent(&self, key: &'static str, dimension: Dimension) -> Option<Located<Extent>> {
        self.note(key, || {
            let units = dimension.unit_list();
            Form::Value(format!(
                "a range: [\"low\", \"high\"], \"at least ...\", \"at most ...\", in {units}"
            ))
        });
        let (_, value) = self.entry(key)?;
        let place = self.place_of(key, value.span());
        let Some(array) = value.get_ref().as_array() else {
            let allowed =
                format!("a list of two texts or one text, each {}", QuantityError::allowed(dimension));
            let text = self.quantity_text(key, value, &allowed)?;
            return self.accept(text, dimension, bounds::parse);
        };
        let ends: Vec<_> = array.iter().collect();
        let [low, high] = ends[..] else {
            let allowed = format!("the low end and the high end, each {}", QuantityError::allowed(dimension));
            self.fault(&place, format!("a range has two ends, not {}", ends.len()), allowed);
            return None;
        };
        // Both ends are looked at, so that faults in both are told.
        let low = self.quantity_in(key, low, dimension);
        let high = self.quantity_in(key, high, dimension);
        let value = Extent::Range(Bounds::between(low?.value, high?.value));
        Some(Located { value, place })
    }
    /// Adds a fault where a key is not written.
    pub fn require(&self, key: &'static str, what: &str) {
        if self.document.source.faults.is_empty() && !self.has(key) {
            self.fault(&self.place, format!("`{key}` is missing"), what);
        }
    }
    /// Closes the section: keys nobody asked for are unknown.
    pub fn finish(self) {
        let asked = self.asked.borrow();
        for (key, _) in self.table.into_iter().flat_map(|table| table.iter()) {
            let name = key.get_ref().as_ref();
            if !asked.contains(&name) {
                let place = self.place_of(name, key.span());
                self.fault(&place, format!("not known{}", suggestion(name, &asked)), asked.join(", "));
            }
        }
    }

    pub(super) fn entry(&self, key: &'static str) -> Option<(Range<usize>, &'d Spanned<DeValue<'d>>)> {
        let mut asked = self.asked.borrow_mut();
        if !asked.contains(&key) {
            asked.push(key);
        }
        let (name, value) = self.table?.get_key_value(key)?;
        Some((name.span(), value))
    }
    /// For those who want to know which keys there are.
    pub(super) fn note(&self, key: &'static str, form: impl FnOnce() -> Form) {
        survey::note(|| self.place_of(key, 0..0).field, form);
    }
    pub(super) fn place_of(&self, key: &str, span: Range<usize>) -> Place {
        let field =
            if self.place.field.is_empty() { key.to_owned() } else { format!("{}.{key}", self.place.field) };
        Place { field, span }
    }
    pub(crate) fn value<T>(
        &self,
        key: &'static str,
        allowed: &str,
        read: impl FnOnce(&DeValue<'d>) -> Option<T>,
    ) -> Option<Located<T>> {
        self.note(key, || Form::Value(allowed.to_owned()));
        let (_, value) = self.entry(key)?;
        let place = self.place_of(key, value.span());
        if let Some(value) = read(value.get_ref()) {
            return Some(Located { value, place });
        }
        self.misfit(&place, value.get_ref(), allowed);
        None
    }
    pub(super) fn misfit(&self, place: &Place, value: &DeValue<'_>, allowed: &str) {
        let name = match value {
            DeValue::String(text) => format!("the text `{text}`"),
            DeValue::Integer(number) => format!("{number}"),
            DeValue::Float(number) => format!("{number}"),
            DeValue::Boolean(flag) => format!("{flag}"),
            DeValue::Datetime(date) => format!("the date {date}"),
            DeValue::Array(_) => "a list".to_owned(),
            DeValue::Table(_) => "a table".to_owned(),
        };
        self.fault(place, format!("invalid value: {name}"), allowed);
    }
    fn quantity_text(
        &self,
        key: &str,
        value: &'d Spanned<DeValue<'d>>,
        allowed: &str,
    ) -> Option<Located<&'d str>> {
        let place = self.place_of(key, value.span());
        if let Some(text) = value.get_ref().as_str() {
            return Some(Located { value: text, place });
        }
        self.misfit(&place, value.get_ref(), allowed);
        None
    }
    pub(super) fn quantity_in(
        &self,
        key: &str,
        value: &'d Spanned<DeValue<'d>>,
        dimension: Dimension,
    ) -> Option<Located<f64>> {
        let allowed = format!("a text with {}", QuantityError::allowed(dimension));
        let text = self.quantity_text(key, value, &allowed)?;
        self.accept(text, dimension, written_quantity::parse)
    }
    fn accept<T>(
        &self,
        text: Located<&str>,
        dimension: Dimension,
        parse: impl FnOnce(&str, Dimension) -> Result<T, QuantityError>,
    ) -> Option<Located<T>> {
        match parse(text.value, dimension) {
            Ok(value) => Some(Located { value, place: text.place }),
            Err(error) => {
                let problem = error.problem(text.value, dimension);
                self.fault(&text.place, problem, QuantityError::allowed(dimension));
                None
            }
        }
    }
}

/// What a name that is none of `names` may have been meant to be, as the end of a sentence.
pub fn suggestion(name: &str, names: &[&str]) -> String {
    let nearest = names.iter().map(|other| (strsim::damerau_levenshtein(name, other), other)).min();
    match nearest {
        // A third of the letters wrong is still a slip; more is another word.
        Some((distance, other)) if distance * 3 <= other.len().max(3) => format!("; did you mean `{other}`?"),
        _ => String::new(),
    }
}

/// A decimal number that is finite.
pub(super) fn plain_number(value: &DeValue<'_>) -> Option<f64> {
    let text = match value {
        DeValue::Float(float) => float.as_str(),
        DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str(),
        _ => return None,
    };
    text.parse().ok().filter(|number: &f64| number.is_finite())
}
