//! Ranges as people write them.
//!
//! Decides: what `280 to 360 A`, `at least 3 L/min` and a single value mean.
//! Assumes: nothing.
//! Never: checks a range against another; the procedure does.

use super::quantity::Dimension;
use super::written;
use super::written_quantity::{self, QuantityError};

/// A closed range in a house unit; an end that is `None` is open.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bounds {
    /// Smallest value inside.
    pub low: Option<f64>,
    /// Largest value inside.
    pub high: Option<f64>,
}

impl Bounds {
    /// A range with both ends.
    pub const fn between(low: f64, high: f64) -> Self {
        Self { low: Some(low), high: Some(high) }
    }
    /// Is the low end above the high end?
    pub fn is_reversed(self) -> bool {
        matches!((self.low, self.high), (Some(low), Some(high)) if low > high)
    }
    /// Is a value inside?
    pub fn contains(self, value: f64) -> bool {
        self.low.is_none_or(|low| value >= low) && self.high.is_none_or(|high| value <= high)
    }
    /// Its ends, where it has them.
    pub fn ends(self) -> impl Iterator<Item = f64> {
        self.low.into_iter().chain(self.high)
    }
    /// Its middle, where it has both ends.
    pub fn middle(self) -> Option<f64> {
        Some(f64::midpoint(self.low?, self.high?))
    }
}

/// What a text gives: a range, or one value to aim at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Extent {
    /// A single value.
    Target(f64),
    /// A range.
    Range(Bounds),
}

/// Reads `A to B unit`, `A unit to B unit`, `at least A unit`, `at most B unit` or `A unit`.
///
/// # Errors
/// Says why the text is none of these.
pub fn parse(text: &str, dimension: Dimension) -> Result<Extent, QuantityError> {
    let text = written::plain(text.trim());
    if let Some(low) = text.strip_prefix("at least ") {
        let low = Some(written_quantity::parse(low, dimension)?);
        return Ok(Extent::Range(Bounds { low, high: None }));
    }
    if let Some(high) = text.strip_prefix("at most ") {
        let high = Some(written_quantity::parse(high, dimension)?);
        return Ok(Extent::Range(Bounds { low: None, high }));
    }
    let Some((low, high)) = text.split_once(" to ") else {
        return written_quantity::parse(&text, dimension).map(Extent::Target);
    };
    let end = written_quantity::parse(high, dimension)?;
    let start = match written_quantity::parse(low, dimension) {
        // "280 to 360 A": the unit stands once, at the end.
        Err(QuantityError::NoUnit) => {
            let (_, unit) = written_quantity::split_number(high.trim())?;
            written_quantity::parse(&format!("{low} {unit}"), dimension)?
        }
        other => other?,
    };
    Ok(Extent::Range(Bounds::between(start, end)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_read_as_written() {
        let range = |text| parse(text, Dimension::Length);
        assert_eq!(range("25 to 28 mm"), Ok(Extent::Range(Bounds::between(25.0, 28.0))));
        assert_eq!(range("25 mm to 2.8 cm"), Ok(Extent::Range(Bounds::between(25.0, 28.0))));
        assert_eq!(range("3/4 to 1 1/4 in"), Ok(Extent::Range(Bounds::between(19.05, 31.75))));
        assert_eq!(range("at most 2 mm"), Ok(Extent::Range(Bounds { low: None, high: Some(2.0) })));
        assert_eq!(range("at least 2 mm"), Ok(Extent::Range(Bounds { low: Some(2.0), high: None })));
        assert_eq!(range(" 2 mm "), Ok(Extent::Target(2.0)));
        assert_eq!(range("2 to mm"), Err(QuantityError::NoNumber));
        assert_eq!(range("2 to 3"), Err(QuantityError::NoUnit));
        assert_eq!(range("2 V to 3 mm"), Err(QuantityError::WrongUnit("V".to_owned())));
    }
}
