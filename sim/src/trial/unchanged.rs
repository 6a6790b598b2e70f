//! Why what was asked for, or might be expected, is not proposed.
//!
//! Decides: which of the rules of a proposal forbids a looser stop that was named.
//! Assumes: the proposal is settled.
//! Never: changes it.

use super::Sums;
use super::guard::{can_stop, loosens, waits_too_long};
use super::margins::{FAULT_OUTLASTS, LEAST_TO_LOOSEN};
use super::plan::Plan;
use super::proposal::{Proposal, Unchanged};
use super::suggest::LEAST_FAULTS;
use super::tunable::{Key, Tunable};
use bandward::rule::RuleSet;
use bandward::{Procedure, Rule};

impl Unchanged {
    /// What `proposal` leaves, of `plan` run on all traces; `named` may be looser.
    pub(super) fn of(
        (procedure, plan): (&Procedure, &Plan),
        all: &Sums,
        proposal: &Proposal,
        named: &[Tunable],
    ) -> Self {
        let values = proposal.values();
        let is_left = |tunable: &&Tunable| {
            let own = values.iter().find(|(other, _)| other == *tunable);
            !own.is_some_and(|(_, value)| loosens(procedure, **tunable, *value))
        };
        let reason = |tunable: &Tunable| (*tunable, why_not((procedure, plan), all, proposal, *tunable));
        let tried = plan.points.iter().flat_map(|point| point.values.iter().map(|(tunable, _)| tunable.rule));
        let tried = tried.fold(RuleSet::EMPTY, RuleSet::with);
        let dropped = proposal.dropped.iter().flat_map(|dropped| dropped.values.iter());
        let told = values.iter().chain(dropped).map(|(tunable, _)| tunable.rule);
        let told =
            told.chain(proposal.too_few.iter().map(|few| few.rule)).fold(RuleSet::EMPTY, RuleSet::with);
        let every = Rule::ALL.into_iter().fold(RuleSet::EMPTY, RuleSet::with);
        Self {
            not_loosened: named.iter().filter(is_left).map(reason).collect(),
            best_now: tried.minus(told),
            not_tried: every.minus(tried),
        }
    }
}

/// The first rule of a proposal that keeps a value from being looser.
fn why_not(
    (procedure, plan): (&Procedure, &Plan),
    all: &Sums,
    proposal: &Proposal,
    tunable: Tunable,
) -> String {
    let rule = tunable.rule;
    let values = plan.points.iter().flat_map(|point| &point.values);
    let looser: Vec<f64> = values
        .filter(|(other, value)| *other == tunable && loosens(procedure, tunable, *value))
        .map(|(_, value)| *value)
        .collect();
    let found = all.found_by_itself(rule);
    let shortest_s = all.shortest_found_us(plan, rule).map(|us| us as f64 / 1e6);
    let is_short = |shortest_s: &f64| looser.iter().all(|value| FAULT_OUTLASTS * value > shortest_s + 1e-6);
    let dropped =
        proposal.dropped.iter().find(|dropped| dropped.values.iter().any(|(own, _)| *own == tunable));
    let least =
        if proposal.too_few.iter().any(|few| few.rule == rule) { LEAST_FAULTS } else { LEAST_TO_LOOSEN };
    if !can_stop(procedure, rule) {
        "no alarm of this rule stops the weld, and nothing but its cost and its faults keeps it".to_owned()
    } else if looser.is_empty() {
        "no looser value of it was tried: give some with --sweep".to_owned()
    } else if found < least {
        format!("its own alarms found {found} faults, and it takes {least}")
    } else if let Some(dropped) = dropped {
        dropped.why.clone()
    } else if looser.iter().all(|value| waits_too_long(procedure, tunable, *value)) {
        "with any longer delay that was tried the rule proves nothing".to_owned()
    } else if let Some(shortest_s) = shortest_s.filter(|s| tunable.key == Key::OnDelay && is_short(s)) {
        format!(
            "the shortest fault found was outside for {shortest_s:.2} s, and a delay may be no longer than that by \
             {FAULT_OUTLASTS}"
        )
    } else {
        "no looser value costs less, within --delay-allowance and without a fault missed".to_owned()
    }
}
