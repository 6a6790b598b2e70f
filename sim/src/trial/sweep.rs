//! The values of a tunable that are to be tried.
//!
//! Decides: how a sweep is written, and how many values it may have.
//! Assumes: numbers without a unit are in the house unit.
//! Never: asks whether a procedure would take the values.

use super::tunable::Tunable;
use crate::input::unit::Dimension;
use crate::input::written_quantity::{self, QuantityError};

/// A tunable and the values to try.
#[derive(Clone, Debug, PartialEq)]
pub struct Sweep {
    /// The tunable.
    pub tunable: Tunable,
    /// The values, in the house unit.
    pub values: Vec<f64>,
}

/// No sweep tries more values than this.
const MOST_VALUES: f64 = 10_000.0;

impl Sweep {
    /// The one written `RULE.KEY=from:to:step`; numbers without a unit are in the house unit.
    ///
    /// # Errors
    /// Says what is wrong, and what could stand there.
    pub fn parse(text: &str) -> Result<Self, String> {
        let form = "RULE.KEY=from:to:step, such as gas-low.on_delay=0.2:2:0.2";
        let (tunable, span) = text.split_once('=').ok_or_else(|| format!("`{text}` is not {form}"))?;
        let tunable = Tunable::parse(tunable)?;
        let parts: Vec<_> = span.split(':').collect();
        let &[from, to, step] = parts.as_slice() else { return Err(format!("`{span}` is not {form}")) };
        let dimension = tunable.dimension();
        let (from, to) = (number(from, dimension)?, number(to, dimension)?);
        let step = number(step, dimension.of_differences())?;
        if step <= 0.0 || to < from {
            return Err(format!("`{span}`: from must not be above to, and step must be above zero"));
        }
        // A grain of allowance, so that 0:1:0.1 reaches 1.
        let steps = ((to - from) / step + 1e-6).floor();
        if steps >= MOST_VALUES {
            return Err(format!("`{span}` is {steps} values; allowed are at most {MOST_VALUES}"));
        }
        let value = |index: u32| ((from + f64::from(index) * step) * 1e9).round() / 1e9;
        Ok(Self { tunable, values: (0..=steps as u32).map(value).collect() })
    }
}

fn number(text: &str, dimension: Dimension) -> Result<f64, String> {
    let house = dimension.units().first().map_or("", |unit| unit.symbol);
    let with_unit = match written_quantity::parse(text, dimension) {
        Err(QuantityError::NoUnit) => written_quantity::parse(&format!("{text} {house}"), dimension),
        other => other,
    };
    with_unit.map_err(|error| {
        format!("{}; allowed is {}", error.problem(text, dimension), QuantityError::allowed(dimension))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sweep_is_read_with_and_without_units() {
        let sweep = |text| Sweep::parse(text).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(sweep("gas-low.on_delay=0:1:0.25").values, [0.0, 0.25, 0.5, 0.75, 1.0]);
        assert_eq!(sweep("gas-low.off_delay=500 ms:1.5 s:500 ms").values, [0.5, 1.0, 1.5]);
        assert_eq!(sweep("voltage-low.allowed=29:29.3:0.1").values, [29.0, 29.1, 29.2, 29.3]);
        assert_eq!(sweep("interpass-high.deadband=0:18 degF:9 degF").values, [0.0, 5.0, 10.0]);
    }

    #[test]
    fn what_cannot_be_swept_is_told() {
        for (text, told) in [
            ("gas-low.on_delay", "is not RULE.KEY=from:to:step"),
            ("gas.on_delay=0:1:1", "`gas` is no rule"),
            ("gas-high.floor=0:1:1", "its keys are allowed, recommended, deadband, on_delay, off_delay"),
            ("transfer-low-voltage.allowed=0:1:1", "its keys are floor, deadband, on_delay, off_delay"),
            ("spindle-slip.deadband=0:1:1", "its keys are on_delay, off_delay"),
            ("gas-low.on_delay=0:1", "is not RULE.KEY=from:to:step"),
            ("gas-low.on_delay=2:1:1", "from must not be above to"),
            ("gas-low.on_delay=0:1:0", "step must be above zero"),
            ("gas-low.on_delay=0:1 V:1", "`V` in `1 V` is not a unit of a time"),
            ("gas-low.on_delay=0:3600:0.001", "at most 10000"),
        ] {
            let error = Sweep::parse(text).expect_err(text);
            assert!(error.contains(told), "{text}: {error}");
        }
    }
}
