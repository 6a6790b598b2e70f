//! A bench for thresholds: alarms held against what was wrong.
//!
//! Decides: how traces add up, and which of them settings are fitted on.
//! Assumes: each trace has its faults beside it; see [`marks`].
//! Never: judges a reading itself; every verdict is the core's.

pub mod bench;
pub mod excursion;
pub mod input;
pub mod lane;
pub mod margins;
pub mod marks;
mod marks_file;
pub mod menu;
pub mod noise;
pub mod pass;
pub mod plan;
pub mod score;
pub mod suggest;
pub mod sweep;
pub mod tunable;

use bandward::Rule;
use bandward::rule::RuleSet;
use marks::Marks;
use noise::Noise;
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
    /// For each lane, the longest time for which its cause lasted on good welding, µs.
    longest_us: Vec<Option<u64>>,
    /// For each rule that has a lane, how far its value wanders on good welding.
    noise: Vec<Noise>,
}

impl Sums {
    /// Nothing yet.
    pub fn of(plan: &Plan) -> Self {
        Self {
            own: vec![vec![RuleScore::default(); Rule::COUNT]; plan.variants.len()],
            lanes: vec![RuleScore::default(); plan.lanes.len()],
            longest_us: vec![None; plan.lanes.len()],
            noise: vec![Noise::default(); Rule::COUNT],
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
        self.add_sound(&trace.longest_us, &trace.noise);
    }
    /// Adds other traces.
    #[must_use]
    pub fn plus(mut self, other: &Self) -> Self {
        self.traces += other.traces;
        self.samples += other.samples;
        self.duration_us += other.duration_us;
        self.sound_us += other.sound_us;
        self.add_scores(&other.own, &other.lanes);
        self.add_sound(&other.longest_us, &other.noise);
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
    fn add_sound(&mut self, longest_us: &[Option<u64>], noise: &[Noise]) {
        for (longest, other) in self.longest_us.iter_mut().zip(longest_us) {
            *longest = (*longest).max(*other);
        }
        for (sum, other) in self.noise.iter_mut().zip(noise) {
            sum.add(other);
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
        let own = &self.own[point.variant][rule as usize];
        plan.lane_of(point, rule).map_or(own, |lane| &self.lanes[lane])
    }
    /// The longest time for which the cause of a rule lasted on good welding, with one of the settings of
    /// `plan` that names the rule, µs; none where it never was there.
    pub fn longest_us(&self, plan: &Plan, point: &Point, rule: Rule) -> Option<u64> {
        plan.lane_of(point, rule).and_then(|lane| self.longest_us[lane])
    }
    /// How far the value of a rule that a setting names wanders on good welding: its standard deviation,
    /// raw.
    pub fn deviation(&self, rule: Rule) -> Option<f64> {
        self.noise[rule as usize].deviation()
    }
    /// The rules that some settings name, and those that fare otherwise with any of them than as it is.
    pub fn changed_by<'a>(&self, plan: &Plan, points: impl Iterator<Item = &'a Point>) -> RuleSet {
        points.fold(RuleSet::EMPTY, |rules, point| {
            let named = point.values.iter().map(|(tunable, _)| tunable.rule);
            let differs = |rule: &Rule| self.at(plan, point, *rule) != self.as_it_is(*rule);
            named.chain(Rule::ALL.into_iter().filter(differs)).fold(rules, RuleSet::with)
        })
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
