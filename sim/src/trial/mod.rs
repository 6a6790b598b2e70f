//! A bench for thresholds: alarms held against what was wrong.
//!
//! Decides: how traces add up, and which of them settings are fitted on.
//! Assumes: each trace has its faults beside it; see [`marks`].
//! Never: judges a reading itself; every verdict is the core's.

pub mod input;
pub mod knob;
pub mod lane;
pub mod marks;
pub mod pass;
pub mod plan;
pub mod score;
pub mod suggest;

use bandward::Rule;
use marks::Marks;
use pass::TraceScore;
use plan::{Plan, Point};
use score::RuleScore;

/// What any number of traces came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sums {
    /// Traces.
    pub traces: u64,
    /// Rows.
    pub samples: u64,
    /// Length of all traces, µs.
    pub duration_us: u64,
    /// Time in which nothing was wrong, µs.
    pub sound_us: u64,
    /// For each variant of the plan, a score a rule.
    own: Vec<Vec<RuleScore>>,
    /// A score for each lane of the plan.
    lanes: Vec<RuleScore>,
}

impl Sums {
    /// Nothing yet.
    pub fn of(plan: &Plan) -> Self {
        Self {
            own: vec![vec![RuleScore::default(); Rule::COUNT]; plan.variants.len()],
            lanes: vec![RuleScore::default(); plan.lanes.len()],
            ..Self::default()
        }
    }
    /// Adds a trace.
    pub fn take(&mut self, trace: &TraceScore) {
        self.traces += 1;
        self.samples += trace.samples;
        self.duration_us += trace.duration_us;
        self.sound_us += trace.sound_us;
        self.add_scores(&trace.own, &trace.lanes);
    }
    /// Adds other traces.
    #[must_use]
    pub fn plus(mut self, other: &Self) -> Self {
        self.traces += other.traces;
        self.samples += other.samples;
        self.duration_us += other.duration_us;
        self.sound_us += other.sound_us;
        self.add_scores(&other.own, &other.lanes);
        self
    }
    fn add_scores(&mut self, own: &[Vec<RuleScore>], lanes: &[RuleScore]) {
        for (sum, score) in self.own.iter_mut().flatten().zip(own.iter().flatten()) {
            sum.add(score);
        }
        for (sum, score) in self.lanes.iter_mut().zip(lanes) {
            sum.add(score);
        }
    }
    /// Time in which nothing was wrong, h.
    pub fn sound_hours(&self) -> f64 {
        self.sound_us as f64 / 3.6e9
    }
    /// The score of a rule with the procedure as it is.
    pub fn as_it_is(&self, rule: Rule) -> &RuleScore {
        &self.own[0][rule as usize]
    }
    /// The score of a rule with one of the settings of `plan`.
    pub fn at(&self, plan: &Plan, point: &Point, rule: Rule) -> &RuleScore {
        let own_lane = point.lanes.iter().find(|&&lane| plan.lanes[lane].1.rule() == rule);
        own_lane.map_or(&self.own[point.variant][rule as usize], |&lane| &self.lanes[lane])
    }
    /// The scores of some rules together.
    pub fn together<'a>(scores: impl Iterator<Item = &'a RuleScore>) -> RuleScore {
        scores.fold(RuleScore::default(), |mut sum, score| {
            sum.add(score);
            sum
        })
    }
}

/// Which traces settings are not fitted on: of those with the same faults every second one, in the
/// order of scenario, seed and place.
pub fn held_out(marks: &[Marks]) -> Vec<bool> {
    let faults = |index: usize| -> Vec<_> {
        let mut rules: Vec<_> = marks[index].faults.iter().map(|mark| mark.rule).collect();
        rules.sort_unstable();
        rules
    };
    let mut order: Vec<_> = (0..marks.len())
        .map(|index| (faults(index), marks[index].scenario.as_str(), marks[index].seed, index))
        .collect();
    order.sort_unstable();
    let mut held = vec![false; marks.len()];
    let mut nth = 0;
    for (place, (rules, .., index)) in order.iter().enumerate() {
        let same = place.checked_sub(1).is_some_and(|before| order[before].0 == *rules);
        nth = if same { nth + 1 } else { 0 };
        held[*index] = nth % 2 == 1;
    }
    held
}
