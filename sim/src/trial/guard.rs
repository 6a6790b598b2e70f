//! What may not be proposed about a rule that can stop the weld.
//!
//! Decides: which rules these are, and which values would have a stop come later, on less, or for less time.
//! Never: looks at a trace: what no trace shows is guarded as well.

use super::tunable::{Key, Tunable, with_values};
use bandward::judge::envelope::Tiers;
use bandward::judge::waits_too_long as proves_nothing;
use bandward::rule::Side;
use bandward::{Procedure, Rule, Severity};

/// Can an alarm of the rule be a stop: by its own severity, or by a floor?
pub fn can_stop(procedure: &Procedure, rule: Rule) -> bool {
    let floor = || {
        let (quantity, side) = rule.watches()?;
        procedure.limits(quantity)?.floor.filter(|_| side == Side::Low && Tiers::of(rule) != Tiers::Ranges)
    };
    procedure.alarm(rule).severity == Severity::Stop || floor().is_some()
}

/// Would this value have the rule say less or later: a longer delay, a limit further out, or a deadband that
/// keeps one alarm up in place of the next?
pub fn loosens(procedure: &Procedure, tunable: Tunable, value: f64) -> bool {
    let Some(present) = tunable.value(procedure) else { return false };
    let (is_more, is_less) = (value > present + 1e-6, value < present - 1e-6);
    match (tunable.key, tunable.rule.watches()) {
        (Key::OnDelay | Key::OffDelay | Key::Deadband, _)
        | (Key::Allowed | Key::Recommended, Some((_, Side::High))) => is_more,
        (Key::Allowed | Key::Recommended | Key::Floor, _) => is_less,
    }
}

/// Would this on-delay be longer than now, and so long that the rule proves nothing any more?
pub fn waits_too_long(procedure: &Procedure, tunable: Tunable, value: f64) -> bool {
    let is_longer = tunable.key == Key::OnDelay && loosens(procedure, tunable, value);
    let changed = || with_values(procedure, &[(tunable, value)]);
    is_longer && changed().is_ok_and(|changed| proves_nothing(tunable.rule, &changed))
}

/// Would this value loosen a stop: a longer on-delay, a shorter off-delay, a deadband that lets go sooner,
/// or a limit further out?
pub fn loosens_a_stop(procedure: &Procedure, tunable: Tunable, value: f64) -> bool {
    let Some(present) = tunable.value(procedure).filter(|_| can_stop(procedure, tunable.rule)) else {
        return false;
    };
    // Values are held in binary fractions and microseconds; less than a millionth is no change.
    let (is_more, is_less) = (value > present + 1e-6, value < present - 1e-6);
    let is_upper_end = matches!(tunable.rule.watches(), Some((_, Side::High)));
    match tunable.key {
        Key::OnDelay => is_more,
        Key::Allowed | Key::Recommended => {
            if is_upper_end {
                is_more
            } else {
                is_less
            }
        }
        Key::OffDelay | Key::Deadband | Key::Floor => is_less,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::procedure_file::ProcedureFile;

    #[test]
    fn a_stop_may_come_sooner_and_never_later() {
        let text = "[voltage]\nallowed = [\"29.5 V\", \"33.5 V\"]\nfloor = \"29 V\"\n[gas_flow]\nallowed = [\"15 L/min\", \
                    \"22 L/min\"]\nfloor = \"8 L/min\"\n[coolant_flow]\nallowed = \"at least 3 L/min\"\n\
                    [current]\nallowed = [\"280 A\", \"360 A\"]\n[alarm.current-high]\nseverity = \"stop\"\n";
        let procedure = ProcedureFile::parse("x", text).expect("it is sound").procedure;
        let loosens =
            |text: &str, value| loosens_a_stop(&procedure, Tunable::parse(text).expect("a tunable"), value);
        for (tunable, looser, tighter) in [
            ("transfer-low-voltage.on_delay", 0.6, 0.4),
            ("transfer-low-voltage.off_delay", 0.9, 1.1),
            ("transfer-low-voltage.deadband", 0.1, 0.6),
            ("transfer-low-voltage.floor", 28.0, 29.5),
            ("spindle-stall.on_delay", 1.5, 0.2),
            ("signal-missing.on_delay", 1.5, 0.2),
            // Its floor makes it a stop, and its delay is the stop's.
            ("gas-low.on_delay", 4.0, 0.2),
            ("gas-low.floor", 7.0, 9.0),
            ("current-high.allowed", 361.0, 359.0),
            ("current-high.on_delay", 0.6, 0.4),
        ] {
            assert!(loosens(tunable, looser) && !loosens(tunable, tighter), "{tunable}");
        }
        for tunable in ["voltage-low.on_delay", "current-low.on_delay", "coolant-low.on_delay"] {
            assert!(!loosens(tunable, 5.0), "{tunable} warns");
        }
    }
}
