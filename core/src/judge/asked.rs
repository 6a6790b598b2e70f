//! What a procedure asks for, by itself.
//!
//! Decides: which rules it wants judged, and how late an alarm may come and still judge anything.
//! Never: looks at a weld.

use crate::judge::envelope::{Tiers, has_limit};
use crate::procedure::Procedure;
use crate::rule::{Quantity, Rule};

/// Whoever asks for a turn time or an overlap asks for a pipe that turns.
pub(crate) const ASK_FOR_TURNING: [Quantity; 2] = [Quantity::TurnTime, Quantity::Overlap];

/// Does the procedure ask for it?
pub(crate) fn is_asked(rule: Rule, procedure: &Procedure) -> bool {
    if let Some((quantity, side)) = rule.watches() {
        let setting = procedure.alarm(rule);
        return procedure
            .limits(quantity)
            .is_some_and(|limits| has_limit(limits, side, &setting, Tiers::of(rule)));
    }
    match rule {
        Rule::SpindleSlip | Rule::SpindleStall => {
            ASK_FOR_TURNING.into_iter().any(|quantity| procedure.limits(quantity).is_some())
        }
        Rule::SpindleReversed => procedure.joint.rotation.is_some(),
        Rule::PolarityWrong => procedure.polarity.is_some(),
        // Whoever asks for anything asks for an arc that burns.
        Rule::ArcOutage => procedure.asks(),
        _ => false,
    }
}

/// A value may lie outside its range for so long before its alarm comes and still be judged, µs.
const VALUE_MAY_WAIT_US: u32 = 3_000_000;
/// An alarm about the measuring may come so late, µs.
const MEASURING_MAY_WAIT_US: u32 = 5_000_000;

/// Does the procedure let an alarm come so late that what it watches is as good as not judged: its own, or
/// one that tells that the measuring failed?
pub fn waits_too_long(rule: Rule, procedure: &Procedure) -> bool {
    alarm_waits_too_long(rule, procedure) || measuring_waits_too_long(procedure)
}

fn delay_us(rule: Rule, procedure: &Procedure) -> u32 {
    if rule.is_of_a_moment() { 0 } else { procedure.alarm(rule).on_delay_us }
}

/// Does the alarm of the rule itself come so late?
pub(crate) fn alarm_waits_too_long(rule: Rule, procedure: &Procedure) -> bool {
    // A fault of the weld may pass within a second.
    let usual_us = rule.default_setting().on_delay_us;
    let may_wait_us =
        if rule.watches().is_some() { VALUE_MAY_WAIT_US.max(usual_us) } else { usual_us.saturating_mul(2) };
    delay_us(rule, procedure) > may_wait_us
}

/// Does an alarm that tells that the measuring failed come so late? Then nothing is judged.
pub(crate) fn measuring_waits_too_long(procedure: &Procedure) -> bool {
    Rule::ABOUT_MEASURING.into_iter().any(|rule| delay_us(rule, procedure) > MEASURING_MAY_WAIT_US)
}
