//! Everything a trial came to, and what follows from it.
//!
//! Decides: what counts as good, and which settings no other beats.
//! Assumes: scores of the settings of its plan.
//! Never: formats.

use crate::input::quantity::UnitSystem;
use crate::trial::Sums;
use crate::trial::bench::Difference;
use crate::trial::cost::Figures;
use crate::trial::marks::Mark;
use crate::trial::pass::Told;
use crate::trial::plan::{Plan, Point};
use crate::trial::proposal::Proposal;
use crate::trial::score::RuleScore;
use crate::trial::sweep::Sweep;
use crate::trial::wish::Wish;
use bandward::rule::RuleSet;
use bandward::{Procedure, Rule, Severity};

/// What is proposed, as it is handed over.
pub struct Proposed {
    /// The values, and what stands behind them.
    pub proposal: Proposal,
    /// Tables to be pasted; none where the proposal is not confirmed.
    pub tables: Option<String>,
    /// The file that was written.
    pub written: Option<String>,
}

/// Another procedure on the same traces.
pub struct Against {
    /// What it is called.
    pub title: String,
    /// What makes the two hard to compare.
    pub warnings: Vec<String>,
    /// Its variant of the plan.
    pub variant: usize,
    /// Faults that fare otherwise, with their trace.
    pub differences: Vec<(String, Difference)>,
    /// Its false alarms and misses, with their trace.
    pub told: Vec<(String, Told)>,
}

/// Everything a trial came to.
pub struct Results<'a> {
    /// The procedure, for people.
    pub title: String,
    /// The procedure that was tried.
    pub procedure: &'a Procedure,
    /// The units it is shown in.
    pub system: UnitSystem,
    /// Alarms count from here.
    pub severity: Severity,
    /// How long after its end a fault may be found, s.
    pub grace_s: f64,
    /// What was asked of a proposal; its budget is that of the whole trial.
    pub wish: Wish,
    /// All traces together.
    pub sums: &'a Sums,
    /// What was run.
    pub plan: &'a Plan,
    /// What was swept.
    pub sweeps: &'a [Sweep],
    /// The rules whose scores the settings change.
    pub about: RuleSet,
    /// Misses and false alarms, with their trace.
    pub told: Vec<(String, Told)>,
    /// Spans in which something was wrong that no rule is about, with their trace.
    pub without_rule: Vec<(String, Mark)>,
    /// What is proposed, and how it does.
    pub proposed: Option<Proposed>,
    /// Another procedure beside it.
    pub against: Option<Against>,
}

impl Results<'_> {
    /// All rules together, with the procedure as it is.
    pub fn as_it_is(&self) -> RuleScore {
        Sums::together(Rule::ALL.into_iter().map(|rule| self.sums.as_it_is(rule)))
    }
    /// All rules together, with one of the procedures that are tried.
    pub fn of_variant(&self, variant: usize) -> RuleScore {
        Sums::together(Rule::ALL.into_iter().map(|rule| self.sums.of_variant(variant, rule)))
    }
    /// What a score costs.
    pub fn cost(&self, score: &RuleScore) -> f64 {
        Figures::of(score).cost(&self.wish.costs)
    }
    /// Was every fault judged and found, and are false alarms within the budget?
    pub fn is_good(&self) -> bool {
        let all = self.as_it_is();
        let lost = all.missed() + all.not_judged();
        lost == 0 && all.false_alarms as f64 <= self.wish.budget_per_hour * self.sums.sound_hours()
    }
    /// How the rules that the sweeps change do with one of the settings.
    pub fn at(&self, point: &Point) -> RuleScore {
        Sums::together(self.about.iter().map(|rule| self.sums.at(self.plan, point, rule)))
    }
    /// Are these the values of the procedure?
    pub fn is_present(&self, point: &Point) -> bool {
        point.values.iter().all(|(tunable, value)| {
            tunable.value(self.procedure).is_some_and(|present| (present - value).abs() < 1e-3)
        })
    }
    /// Are these the values that are proposed?
    pub fn is_proposed(&self, point: &Point) -> bool {
        let proposed = self.proposed.as_ref().filter(|proposed| proposed.proposal.is_confirmed());
        let Some(proposed) = proposed else { return false };
        let changes = proposed.proposal.values();
        point.values.iter().all(|(tunable, value)| {
            let change = changes.iter().find(|(other, _)| other == tunable).map(|(_, value)| *value);
            change.or_else(|| tunable.value(self.procedure)).is_some_and(|own| (own - value).abs() < 1e-3)
        })
    }
    /// The settings that no other beats in misses, false alarms and mean delay.
    pub fn front(&self) -> Vec<(&Point, RuleScore)> {
        let mut all: Vec<_> = self.plan.points.iter().map(|point| (point, self.at(point))).collect();
        let key =
            |score: &RuleScore| (score.missed(), score.false_alarms, score.mean_delay_s().unwrap_or(0.0));
        all.sort_by(|(_, one), (_, other)| {
            let (one, other) = (key(one), key(other));
            (one.0, one.1).cmp(&(other.0, other.1)).then(one.2.total_cmp(&other.2))
        });
        let mut front: Vec<(&Point, RuleScore)> = Vec::new();
        for (point, score) in all {
            let (missed, false_alarms, late_s) = key(&score);
            let is_beaten = front.iter().any(|(_, other)| {
                let other = key(other);
                other.0 <= missed && other.1 <= false_alarms && other.2 <= late_s
            });
            if !is_beaten {
                front.push((point, score));
            }
        }
        front
    }
}
