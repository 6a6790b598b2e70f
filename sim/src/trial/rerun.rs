//! What is kept of a proposal, run once more: all of it, all but each part, and what each part of the traces
//! is tried with.
//!
//! Decides: which settings that takes, and how two of them compare.
//! Assumes: the values of all that is kept fit together.
//! Never: decides what is kept; see [`super::propose`].

use super::Sums;
use super::plan::{Plan, Point};
use super::score::RuleScore;
use super::tally::{Fate, fate};
use super::tunable::{Tunable, with_values};
use bandward::{Procedure, Rule};

/// All rules together, with a setting or as it is.
pub(super) fn together(sums: &Sums, plan: &Plan, point: Option<&Point>) -> RuleScore {
    Sums::together(Rule::ALL.into_iter().map(|rule| match point {
        Some(point) => sums.at(plan, point, rule),
        None => sums.as_it_is(rule),
    }))
}

/// Faults that must stop the weld and are found later with a setting than as it is, or not any more.
pub(super) fn stops_worse(sums: &Sums, plan: &Plan, point: &Point) -> u64 {
    let worse = |(place, fault): &(u32, &super::tally::Fault)| {
        let now = fate(fault, *place, |rule| &sums.own[0][rule as usize]);
        let then = fate(fault, *place, |rule| sums.tally(plan, point, rule));
        match (now, then) {
            (Fate::Found { hit: now, .. }, Fate::Found { hit: then, .. }) => {
                then.delay_us > now.delay_us || then.counted_us() > now.counted_us()
            }
            (Fate::Found { .. }, _) => true,
            _ => false,
        }
    };
    (0_u32..).zip(&sums.faults).filter(|(_, fault)| fault.is_stop).filter(worse).count() as u64
}

/// One run of what is kept: all of it, without each part, and what each part of the traces is tried with.
pub(super) struct Rerun {
    /// The settings.
    pub plan: Plan,
    /// The place of all that is kept.
    pub whole: Option<usize>,
    /// That of all but one, for each.
    pub without: Vec<Option<usize>>,
    /// What is fitted without each part of the traces.
    pub of_folds: Vec<Option<usize>>,
}

impl Rerun {
    pub(super) fn of(
        procedure: &Procedure,
        kept: &[(Values, (f64, f64))],
        of_folds: &[Values],
    ) -> anyhow::Result<Self> {
        let mut plan = Plan::of(procedure);
        let mut add = |values: Values| -> anyhow::Result<Option<usize>> {
            // A part of what was fitted together need not fit alone: then the present values stay.
            let fits = !values.is_empty() && with_values(procedure, &values).is_ok();
            fits.then(|| plan.add(&values)).transpose()
        };
        let all_but = |left_out: Option<usize>| -> Values {
            let parts = kept.iter().enumerate().filter(|(place, _)| Some(*place) != left_out);
            parts.flat_map(|(_, (values, _))| values.iter().copied()).collect()
        };
        let whole = add(all_but(None))?;
        let without = (0..kept.len()).map(|place| add(all_but(Some(place)))).collect::<Result<_, _>>()?;
        let of_folds = of_folds.iter().map(|values| add(values.clone())).collect::<Result<_, _>>()?;
        Ok(Self { plan, whole, without, of_folds })
    }
    pub(super) fn score(&self, sums: &Sums, point: Option<usize>) -> RuleScore {
        together(sums, &self.plan, point.map(|at| &self.plan.points[at]))
    }
    pub(super) fn compared(&self, sums: &Sums, point: Option<usize>) -> Compared {
        Compared {
            traces: sums.traces,
            sound_us: sums.sound_us,
            now: self.score(sums, None),
            proposed: self.score(sums, point),
        }
    }
    /// All parts of the traces, each with what was fitted on the others.
    pub(super) fn kept_out(&self, folds: &[Sums]) -> Option<Compared> {
        let parts = folds.iter().zip(&self.of_folds).map(|(sums, point)| self.compared(sums, *point));
        parts.filter(|_| folds.len() > 1).reduce(|mut one, other| {
            one.traces += other.traces;
            one.sound_us += other.sound_us;
            one.now.add(&other.now);
            one.proposed.add(&other.proposed);
            one
        })
    }
    pub(super) fn stops_worse(&self, sums: &Sums, point: Option<usize>) -> u64 {
        point.map_or(0, |at| stops_worse(sums, &self.plan, &self.plan.points[at]))
    }
}

pub(super) type Values = Vec<(Tunable, f64)>;

/// How the present and the proposed values did on some traces.
#[derive(Clone, Debug)]
pub struct Compared {
    /// So many traces.
    pub traces: u64,
    /// Time in which nothing was wrong, µs.
    pub sound_us: u64,
    /// All rules together, as it is.
    pub now: RuleScore,
    /// All rules together, as proposed.
    pub proposed: RuleScore,
}
