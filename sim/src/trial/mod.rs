//! A bench for thresholds: alarms held against what was wrong.
//!
//! Decides: how traces add up, and which of them settings are fitted on.
//! Assumes: each trace has its faults beside it; see [`marks`].
//! Never: judges a reading itself; every verdict is the core's.

pub mod bench;
mod consequences;
pub mod cost;
pub mod excursion;
pub mod folds;
pub mod guard;
pub mod input;
pub mod interval;
pub mod lane;
pub mod margins;
pub mod marks;
mod marks_file;
pub mod menu;
pub mod miss;
pub mod pass;
pub mod plan;
pub mod proposal;
pub mod propose;
pub mod rerun;
pub mod score;
pub mod suggest;
pub mod sweep;
pub mod tally;
pub mod tunable;
pub mod tuned_file;
pub mod unchanged;
pub mod watch;
pub mod wish;

use bandward::Rule;
use bandward::rule::RuleSet;
use marks::LEAD_US;
use pass::TraceScore;
use plan::{Plan, Point};
use score::RuleScore;
use tally::{Fault, RuleTally};

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
    /// The faults of all traces, one trace after the other.
    faults: Vec<Fault>,
    /// For each variant of the plan, a tally a rule.
    own: Vec<Vec<RuleTally>>,
    /// A tally for each lane of the plan.
    lanes: Vec<RuleTally>,
    /// For each lane, the longest time for which its cause lasted on good welding, µs.
    longest_us: Vec<Option<u64>>,
}

impl Sums {
    /// Nothing yet.
    pub fn of(plan: &Plan) -> Self {
        Self {
            own: vec![vec![RuleTally::default(); Rule::COUNT]; plan.variants.len()],
            lanes: vec![RuleTally::default(); plan.lanes.len()],
            longest_us: vec![None; plan.lanes.len()],
            ..Self::default()
        }
    }
    /// Adds a trace.
    pub fn take(&mut self, trace: &TraceScore) {
        self.traces += 1;
        self.samples += trace.samples;
        self.duration_us += trace.duration_us;
        self.sound_us += trace.sound_us;
        self.add(&trace.faults, &trace.own, &trace.lanes, &trace.longest_us);
    }
    /// Adds other traces.
    #[must_use]
    pub fn plus(mut self, other: &Self) -> Self {
        self.traces += other.traces;
        self.samples += other.samples;
        self.duration_us += other.duration_us;
        self.sound_us += other.sound_us;
        self.add(&other.faults, &other.own, &other.lanes, &other.longest_us);
        self
    }
    fn add(
        &mut self,
        faults: &[Fault],
        own: &[Vec<RuleTally>],
        lanes: &[RuleTally],
        longest_us: &[Option<u64>],
    ) {
        let so_far = self.faults.len() as u32;
        for (sum, tally) in self.own.iter_mut().flatten().zip(own.iter().flatten()) {
            sum.add(tally, so_far);
        }
        for (sum, tally) in self.lanes.iter_mut().zip(lanes) {
            sum.add(tally, so_far);
        }
        for (longest, other) in self.longest_us.iter_mut().zip(longest_us) {
            *longest = (*longest).max(*other);
        }
        self.faults.extend_from_slice(faults);
    }
    /// Time in which nothing was wrong, h.
    pub fn sound_hours(&self) -> f64 {
        self.sound_us as f64 / 3.6e9
    }
    /// The score of a rule with the procedure as it is.
    pub fn as_it_is(&self, rule: Rule) -> RuleScore {
        self.of_variant(0, rule)
    }
    /// The score of a rule with one of the variants of the plan as it is.
    pub fn of_variant(&self, variant: usize, rule: Rule) -> RuleScore {
        tally::score(&self.faults, rule, |rule| &self.own[variant][rule as usize])
    }
    /// The score of a rule with one of the settings of `plan`.
    pub fn at(&self, plan: &Plan, point: &Point, rule: Rule) -> RuleScore {
        tally::score(&self.faults, rule, |rule| self.tally(plan, point, rule))
    }
    fn tally(&self, plan: &Plan, point: &Point, rule: Rule) -> &RuleTally {
        let own = &self.own[point.variant][rule as usize];
        plan.lane_of(point, rule).map_or(own, |lane| &self.lanes[lane])
    }
    /// Faults that name one of these rules and could be judged as it is.
    pub fn faults_of(&self, rules: RuleSet) -> u64 {
        self.found_of(rules, |rule| &self.own[0][rule as usize]).1
    }
    /// The faults that the rule's own alarms find as it is, with the alarm.
    fn own_finds(&self, rule: Rule) -> impl Iterator<Item = (u32, &Fault, &tally::Candidate)> {
        let own = &self.own[0][rule as usize];
        let answered = (0_u32..).zip(&self.faults).filter(move |(_, fault)| fault.answering.contains(&rule));
        answered.filter_map(move |(place, fault)| Some((place, fault, own.candidate(place)?)))
    }
    /// How many faults the rule's own alarms find as it is; an alarm that had stood for long shows nothing.
    pub fn found_by_itself(&self, rule: Rule) -> u64 {
        let is_early = |found: &tally::Candidate| found.stood_us.is_some_and(|stood_us| stood_us > LEAD_US);
        self.own_finds(rule).filter(|(.., found)| !is_early(found)).count() as u64
    }
    /// How many faults the rule's own alarms find as it is, or with one of some settings: the most of them.
    pub fn most_found_by_itself(&self, plan: &Plan, points: &[usize], rule: Rule) -> u64 {
        let with = |&at: &usize| {
            let tally = self.tally(plan, &plan.points[at], rule);
            (0_u32..).zip(&self.faults).filter(|(place, _)| tally.candidate(*place).is_some()).count() as u64
        };
        points.iter().map(with).fold(self.found_by_itself(rule), u64::max)
    }
    /// For how long the shortest of the faults was outside that the rule's own alarms find as it is, µs: as
    /// its mark says, or as its alarm does, whichever is less.
    pub fn shortest_found_us(&self, plan: &Plan, rule: Rule) -> Option<u64> {
        let alarm = plan.variants[0].alarm(rule);
        let outside_us = |(_, fault, found): (u32, &Fault, &tally::Candidate)| {
            let seen_us = found.active_us + u64::from(alarm.on_delay_us);
            let marked_us = fault.end_us.saturating_sub(fault.outside_from_us);
            marked_us.min(seen_us.saturating_sub(alarm.off_delay_us.into()))
        };
        self.own_finds(rule).map(outside_us).min()
    }
    /// How much later than as it is a setting has faults found that are found now, µs: those that are
    /// counted under the rule, and those that its own alarms find, each by itself. One that is lost is as
    /// late as it could have been found.
    pub fn lateness(&self, plan: &Plan, point: &Point, rule: Rule) -> [Vec<i64>; 2] {
        let time = |us: u64| i64::try_from(us).unwrap_or(i64::MAX);
        let led = (0_u32..).zip(&self.faults).filter(|(_, fault)| fault.answering.contains(&rule));
        let led = led.filter_map(|(place, fault)| {
            let now = tally::fate(fault, place, |rule| &self.own[0][rule as usize]);
            let tally::Fate::Found { hit, .. } = now else { return None };
            if tally::booked_on(fault, &now) != Some(rule) {
                return None;
            }
            Some(match tally::fate(fault, place, |rule| self.tally(plan, point, rule)) {
                tally::Fate::Found { hit: then, .. } => {
                    let later = |of: fn(&score::Hit) -> u64| time(of(&then)) - time(of(&hit));
                    later(|hit| hit.delay_us).max(later(score::Hit::counted_us))
                }
                tally::Fate::Missed(miss) | tally::Fate::NotJudged(miss) => {
                    time(miss.window_us) - time(hit.delay_us)
                }
            })
        });
        let then = self.tally(plan, point, rule);
        let own = self.own_finds(rule).map(|(place, fault, now)| {
            let then_us = then.candidate(place).map_or(fault.deadline_us, |then| then.found_us);
            time(then_us) - time(now.found_us)
        });
        [led.collect(), own.collect()]
    }
    /// Of the faults that name one of these rules, how many are found with one of the settings of `plan`, and
    /// how many could be.
    pub fn found_at(&self, plan: &Plan, point: &Point, rules: RuleSet) -> (u64, u64) {
        self.found_of(rules, |rule| self.tally(plan, point, rule))
    }
    fn found_of<'a>(&self, rules: RuleSet, tally: impl Fn(Rule) -> &'a RuleTally) -> (u64, u64) {
        let named =
            (0_u32..).zip(&self.faults).filter(|(_, fault)| !fault.named.intersection(rules).is_empty());
        named.fold((0, 0), |(found, judged), (place, fault)| match tally::fate(fault, place, &tally) {
            tally::Fate::Found { .. } => (found + 1, judged + 1),
            tally::Fate::Missed(_) => (found, judged + 1),
            tally::Fate::NotJudged(_) => (found, judged),
        })
    }
    /// The longest time for which the cause of a rule lasted on good welding, with one of the settings of
    /// `plan` that names the rule, µs; none where it never was there.
    pub fn longest_us(&self, plan: &Plan, point: &Point, rule: Rule) -> Option<u64> {
        plan.lane_of(point, rule).and_then(|lane| self.longest_us[lane])
    }
    /// The rules that some settings name, and those that fare otherwise with any of them than as it is.
    pub fn changed_by<'a>(&self, plan: &Plan, points: impl Iterator<Item = &'a Point>) -> RuleSet {
        let as_it_is = Rule::ALL.map(|rule| self.as_it_is(rule));
        points.fold(RuleSet::EMPTY, |rules, point| {
            let named = point.values.iter().map(|(tunable, _)| tunable.rule);
            let rules = named.fold(rules, RuleSet::with);
            let may_differ = self.touched_by(plan, point).minus(rules);
            let differs = |rule: &Rule| self.at(plan, point, *rule) != as_it_is[*rule as usize];
            may_differ.iter().filter(differs).fold(rules, RuleSet::with)
        })
    }
    /// The rules whose alarms a setting may change, and those whose faults these may find.
    fn touched_by(&self, plan: &Plan, point: &Point) -> RuleSet {
        if point.variant != 0 {
            return Rule::ALL.into_iter().fold(RuleSet::EMPTY, RuleSet::with);
        }
        let own = point.lanes.iter().map(|&lane| plan.lanes[lane].1.rule());
        let own = own.fold(RuleSet::EMPTY, RuleSet::with);
        let is_touched = |fault: &&Fault| fault.answering.iter().any(|&rule| own.contains(rule));
        // Whether an alarm was the first about a fault changes the repeats of the others.
        let others = self.faults.iter().filter(is_touched).flat_map(|fault| fault.answering.iter().copied());
        others.fold(own, RuleSet::with)
    }
    /// The scores of some rules together.
    pub fn together(scores: impl Iterator<Item = RuleScore>) -> RuleScore {
        scores.fold(RuleScore::default(), |mut sum, score| {
            sum.add(&score);
            sum
        })
    }
}
