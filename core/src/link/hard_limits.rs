//! Limits built into a board, which no procedure from outside may widen.
//!
//! Decides: whether a procedure stays within them.
//! Assumes: the integrator has set them for the machine.
//! Never: changes a procedure; it is refused whole.

use crate::procedure::{Limits, Procedure, Range};
use crate::rule::Quantity;

/// The widest range a procedure may allow, a quantity; a quantity without one is left to the
/// procedure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HardLimits {
    ranges: [Option<Range>; Quantity::COUNT],
}

impl HardLimits {
    /// Leaves everything to the procedure.
    pub const NONE: Self = Self { ranges: [None; Quantity::COUNT] };

    /// With the widest range of a quantity, raw (see [`Quantity::fraction_bits`]).
    #[must_use]
    pub fn with(mut self, quantity: Quantity, widest: Range) -> Self {
        if let Some(slot) = self.ranges.get_mut(quantity as usize) {
            *slot = Some(widest);
        }
        self
    }
    /// Checks a procedure against the limits. Where there is a hard limit, the procedure must give
    /// an allowed range, no wider than it: a quantity that is not judged is the widest of all.
    ///
    /// # Errors
    /// The first quantity that reaches beyond.
    pub fn check(&self, procedure: &Procedure) -> Result<(), Quantity> {
        for (quantity, widest) in Quantity::ALL.into_iter().zip(self.ranges) {
            let allowed = procedure.limits(quantity).and_then(|limits: &Limits| limits.allowed);
            let within = |widest: Range| {
                allowed.is_some_and(|allowed| allowed.low >= widest.low && allowed.high <= widest.high)
            };
            if widest.is_some_and(|widest| !within(widest)) {
                return Err(quantity);
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn procedure(low: i32, high: i32) -> Procedure {
        let allowed = Some(Range { low, high });
        Procedure::new()
            .with_limits(Quantity::Voltage, Limits { recommended: None, allowed, floor: None })
            .unwrap()
    }

    #[test]
    fn one_step_beyond_either_end_is_refused() {
        let hard = HardLimits::NONE.with(Quantity::Voltage, Range { low: 100, high: 200 });
        for (low, high, fits) in [
            (100, 200, true),
            (101, 199, true),
            (99, 200, false),
            (100, 201, false),
            (i32::MIN, 200, false),
            (100, i32::MAX, false),
        ] {
            let expected = if fits { Ok(()) } else { Err(Quantity::Voltage) };
            assert_eq!(hard.check(&procedure(low, high)), expected, "{low} to {high}");
        }
        assert_eq!(HardLimits::NONE.check(&Procedure::new()), Ok(()));
    }

    #[test]
    fn a_quantity_that_is_not_judged_does_not_slip_through() {
        let hard = HardLimits::NONE.with(Quantity::GasFlow, Range { low: 0, high: 1 });
        assert_eq!(hard.check(&procedure(100, 200)), Err(Quantity::GasFlow));
    }
}
