//! No stop may come later or be looser than it was.
//!
//! Decides: which settings of two procedures differ, and which of these make a stop later, looser or milder.
//! Assumes: the settings are those that the core runs on, so that what a file leaves out counts as well.

use bandward::procedure::{Limits, Range};
use bandward::rule::Side;
use bandward::{Procedure, Quantity, Rule, Severity};

/// A setting that differs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Rule or quantity, and key.
    pub what: String,
    /// Does it make a stop later, looser or milder?
    pub looser_stop: bool,
}

/// Every setting that differs between the two.
pub fn changes(before: &Procedure, after: &Procedure) -> Vec<Change> {
    let mut changes = Vec::new();
    for rule in Rule::ALL {
        of_alarm(&mut changes, before, after, rule);
    }
    for quantity in Quantity::ALL {
        of_ranges(&mut changes, before, after, quantity);
    }
    changes
}

/// A rule can stop where its severity is a stop, or its quantity has a floor under which it lies.
fn can_stop(procedure: &Procedure, rule: Rule) -> bool {
    let has_floor = |quantity| procedure.limits(quantity).is_some_and(|limits| limits.floor.is_some());
    let tells_floor = |quantity| match quantity {
        Quantity::Voltage => rule == Rule::TransferLowVoltage,
        _ => quantity.rule(Side::Low) == Some(rule),
    };
    Quantity::ALL.into_iter().any(|quantity| tells_floor(quantity) && has_floor(quantity))
        || procedure.alarm(rule).severity == Severity::Stop
}

fn of_alarm(changes: &mut Vec<Change>, before: &Procedure, after: &Procedure, rule: Rule) {
    let (old, new) = (before.alarm(rule), after.alarm(rule));
    let can_stop = can_stop(before, rule);
    let mut note = |key: &str, differs: bool, looser: bool| {
        if differs {
            changes.push(Change { what: format!("{}.{key}", rule.name()), looser_stop: can_stop && looser });
        }
    };
    note("on_delay", old.on_delay_us != new.on_delay_us, new.on_delay_us > old.on_delay_us);
    note("off_delay", old.off_delay_us != new.off_delay_us, new.off_delay_us < old.off_delay_us);
    note("deadband", old.deadband != new.deadband, new.deadband < old.deadband);
    note("latched", old.latched != new.latched, old.latched);
    note("severity", old.severity != new.severity, new.severity < old.severity);
    let asks_again = |us: u32| if us == 0 { u32::MAX } else { us };
    note(
        "re_alarm",
        old.re_alarm_us != new.re_alarm_us,
        asks_again(new.re_alarm_us) > asks_again(old.re_alarm_us),
    );
}

fn of_ranges(changes: &mut Vec<Change>, before: &Procedure, after: &Procedure, quantity: Quantity) {
    let of = |procedure: &Procedure| procedure.limits(quantity).copied();
    let (Some(old), new) = (of(before), of(after)) else {
        if of(after).is_some() {
            changes.push(Change { what: format!("{} given", quantity.table_name()), looser_stop: false });
        }
        return;
    };
    let new = new.unwrap_or(Limits { recommended: None, allowed: None, floor: None });
    let rules = [Side::Low, Side::High].map(|side| quantity.rule(side));
    let stops = rules.into_iter().flatten().any(|rule| before.alarm(rule).severity == Severity::Stop);
    let mut note = |key: &str, differs: bool, looser: bool| {
        if differs {
            changes.push(Change { what: format!("{}.{key}", quantity.table_name()), looser_stop: looser });
        }
    };
    note("floor", old.floor != new.floor, old.floor > new.floor);
    note("allowed", old.allowed != new.allowed, stops && is_wider(old.allowed, new.allowed));
    note("recommended", old.recommended != new.recommended, false);
}

fn is_wider(old: Option<Range>, new: Option<Range>) -> bool {
    match (old, new) {
        (Some(old), Some(new)) => new.low < old.low || new.high > old.high,
        (Some(_), None) => true,
        (None, _) => false,
    }
}
