//! Values of a document that only layouts have: a column by name or number, and two points.
//!
//! Decides: what such a key may hold.
//! Never: asks whether the column is there.

use super::document::{Located, Section, plain_number};
use super::layout::ColumnName;
use super::quantity::Dimension;
use super::survey::Form;
use super::written_quantity::QuantityError;
use toml::Spanned;
use toml::de::DeValue;

/// More columns than any log has.
const MOST_COLUMNS: i64 = 10_000;

impl<'d> Section<'d> {
    /// A column: its name in the header row, or its number, from 1.
    pub fn column(&self, key: &'static str) -> Option<Located<ColumnName>> {
        let allowed = "the name of a column in quotes, or its number, from 1";
        let column = self.value(key, allowed, |value| match value {
            DeValue::String(name) => Some(ColumnName::Named(name.trim().to_owned())),
            value => plain_number(value)
                .filter(|number| number.fract() == 0.0 && (1.0..=MOST_COLUMNS as f64).contains(number))
                .map(|number| ColumnName::Numbered(number as usize)),
        })?;
        if column.value == ColumnName::Named(String::new()) {
            let allowed = "a name from the header row of the log";
            self.fault(&column.place, "the name of a column is empty", allowed);
            return None;
        }
        Some(column)
    }
    /// Two numbers without a unit.
    pub fn two_numbers(&self, key: &'static str) -> Option<Located<[f64; 2]>> {
        let [low, high] = self.pair(key, "two numbers without a unit, as the log has them: [4, 20]")?;
        let place = self.place_of(key, low.span().start..high.span().end);
        if let [Some(low), Some(high)] = [low, high].map(|end| plain_number(end.get_ref())) {
            return Some(Located { value: [low, high], place });
        }
        self.fault(&place, "these are not two numbers", "two numbers without a unit: [4, 20]");
        None
    }
    /// Two quantities, in the house unit.
    pub fn two_quantities(&self, key: &'static str, dimension: Dimension) -> Option<Located<[f64; 2]>> {
        let allowed = format!("a list of two texts, each {}", QuantityError::allowed(dimension));
        let [low, high] = self.pair(key, &allowed)?;
        let place = self.place_of(key, low.span().start..high.span().end);
        let [low, high] = [low, high].map(|end| self.quantity_in(key, end, dimension));
        Some(Located { value: [low?.value, high?.value], place })
    }

    fn pair(&self, key: &'static str, allowed: &str) -> Option<[&'d Spanned<DeValue<'d>>; 2]> {
        self.note(key, || Form::Value(allowed.to_owned()));
        let (_, value) = self.entry(key)?;
        let list: Vec<_> = value.get_ref().as_array().map(|list| list.iter().collect()).unwrap_or_default();
        if let [low, high] = list[..] {
            return Some([low, high]);
        }
        self.misfit(&self.place_of(key, value.span()), value.get_ref(), allowed);
        None
    }
}
