//! What may be asked of a proposal.

use super::cost::Costs;
use super::tunable::Tunable;

/// False alarms an hour where no other budget is given: one in ten minutes, the long-term average of
/// all alarms that an operator can very likely live with (ANSI/ISA-18.2 and IEC 62682, from memory).
pub const BUDGET_PER_HOUR: f64 = 6.0;
/// How much later alarms may come where nothing else is said, s.
pub const DELAY_ALLOWANCE_S: f64 = 1.0;

/// What may be asked of a proposal.
#[derive(Clone, Debug)]
pub struct Wish {
    /// False alarms an hour that can be lived with.
    pub budget_per_hour: f64,
    /// How much later than now the faults of a rule may be found, in the mean, s.
    pub delay_allowance_s: f64,
    /// What things cost.
    pub costs: Costs,
    /// What may be made looser although it is of a rule that can stop the weld.
    pub loosen: Vec<Tunable>,
}
