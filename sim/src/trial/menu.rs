//! The settings of some tunables, and how each did.
//!
//! Decides: which settings may be chosen at all, and which of them costs least.
//! Assumes: all points of a menu name the same tunables.
//! Never: offers a setting that loosens a stop unasked, misses a fault that is found as it is, or is later
//! than the allowance; nor one that loosens a rule on too few faults or on short ones.

use super::Sums;
use super::cost::Figures;
use super::guard::{loosens, loosens_a_stop, waits_too_long};
use super::margins::{FAULT_OUTLASTS, Thin, WIDE};
use super::plan::{Plan, Point};
use super::tunable::{Key, Tunable};
use super::wish::Wish;
use bandward::Rule;
use bandward::rule::RuleSet;

/// A setting, and how it did.
#[derive(Clone, Debug)]
pub struct Tried {
    /// Its place in the plan; none for the present one.
    pub point: Option<usize>,
    /// The values.
    pub values: Vec<(Tunable, f64)>,
    /// What happened, by all rules that the menu changes.
    pub figures: Figures,
    /// What that costs.
    pub cost: f64,
    /// How much later than now the faults of any of these rules that are found now are found, in the mean, s.
    later_s: f64,
    /// On-delay by the longest time for which good welding was outside; no more than [`WIDE`].
    margin: f64,
    /// The rules whose margin is less than [`WIDE`].
    pub thin: Vec<Thin>,
    /// How far it is from the present setting.
    distance: f64,
    /// An on-delay or a deadband is below the present and the usual one.
    is_bare: bool,
    /// It loosens a stop that was not named, waits too long to prove anything, or has too little behind it.
    is_barred: bool,
}

/// What may be chosen for some tunables.
pub struct Menu {
    /// The rules that the tunables name.
    pub named: RuleSet,
    /// As it is.
    pub now: Tried,
    /// What may be chosen; the present setting is not among it.
    pub settings: Vec<Tried>,
}

impl Menu {
    /// The menu of some points of a plan; none where there are none.
    pub fn of(plan: &Plan, fitted_on: &Sums, points: &[usize], wish: &Wish, least: u64) -> Option<Self> {
        let first = &plan.points[*points.first()?];
        let named = first.values.iter().map(|(tunable, _)| tunable.rule).fold(RuleSet::EMPTY, RuleSet::with);
        let rules = fitted_on.changed_by(plan, points.iter().map(|&at| &plan.points[at]));
        let scorer = Scorer { plan, fitted_on, rules, named, wish, least };
        let as_it_is = plan.as_it_is(first.values.iter().map(|(tunable, _)| *tunable));
        let now = scorer.tried(None, &as_it_is);
        let is_present = |tried: &Tried| tried.distance <= 1e-9;
        let tried = points.iter().map(|&at| scorer.tried(Some(at), &plan.points[at]));
        let allowance_s = wish.delay_allowance_s;
        let mut settings: Vec<_> =
            tried.filter(|one| !is_present(one) && one.may_replace(&now, allowance_s)).collect();
        // Without a guard only where none with one finds as much.
        let guarded = settings.iter().filter(|one| !one.is_bare).map(|one| one.figures.missed()).min();
        settings.retain(|one| !one.is_bare || guarded.is_none_or(|fewest| one.figures.missed() < fewest));
        Some(Self { named, now, settings })
    }
    /// The setting that costs least; among equals the one furthest from the next false alarm, then the
    /// nearest to the present one. None where none of them saves `least`.
    pub fn best(&self, least: f64) -> Option<&Tried> {
        let by_order = |one: &&Tried, other: &&Tried| {
            let by_cost = one.cost.total_cmp(&other.cost).then(other.margin.total_cmp(&one.margin));
            by_cost.then(one.distance.total_cmp(&other.distance))
        };
        self.settings.iter().min_by(by_order).filter(|best| is_worth(self.now.cost - best.cost, least))
    }
}

/// Is something saved, and at least `least`? A grain of either is the rounding of sums of seconds.
pub fn is_worth(saved: f64, least: f64) -> bool {
    saved > 1e-6 && saved >= least - 1e-9
}

impl Tried {
    fn may_replace(&self, now: &Self, allowance_s: f64) -> bool {
        let finds_more = self.figures.missed() < now.figures.missed();
        !self.is_barred
            && self.figures.missed_stops <= now.figures.missed_stops
            && self.figures.missed() <= now.figures.missed()
            && self.later_s <= allowance_s + 1e-6
            && (finds_more || !self.is_bare)
    }
}

/// What the settings of a menu are scored with.
struct Scorer<'a> {
    plan: &'a Plan,
    fitted_on: &'a Sums,
    rules: RuleSet,
    named: RuleSet,
    wish: &'a Wish,
    /// From fewer faults nothing is loosened.
    least: u64,
}

impl Scorer<'_> {
    fn tried(&self, place: Option<usize>, point: &Point) -> Tried {
        let procedure = &self.plan.variants[0];
        let scores: Vec<_> =
            self.rules.iter().map(|rule| self.fitted_on.at(self.plan, point, rule)).collect();
        let figures = Figures::of(&Sums::together(scores.into_iter()));
        let pairs = point.values.iter().map(|(tunable, value)| (*tunable, *value, tunable.value(procedure)));
        let margins = self.named.iter().map(|rule| self.margin(point, rule).0);
        let barred = |(tunable, value, _): (Tunable, f64, Option<f64>)| {
            let unasked = !self.wish.loosen.contains(&tunable) && loosens_a_stop(procedure, tunable, value);
            unasked || waits_too_long(procedure, tunable, value) || !self.is_proven(tunable, value)
        };
        // However faults are spread, one more is shorter than the shortest of n with a chance of 1 in n + 1:
        // among as many as these, about one.
        let is_looser = pairs.clone().any(|(tunable, value, _)| loosens(procedure, tunable, value));
        let risk = if is_looser { self.wish.costs.missed_warn } else { 0.0 };
        Tried {
            point: place,
            values: point.values.clone(),
            figures,
            cost: figures.cost(&self.wish.costs) + risk,
            later_s: self.later_s(point),
            margin: margins.fold(WIDE, f64::min),
            thin: self.named.iter().filter_map(|rule| self.thin(point, rule)).collect(),
            distance: pairs.clone().map(|(_, value, present)| distance(value, present)).sum(),
            is_bare: pairs.clone().any(|(tunable, value, present)| is_bare(tunable, value, present)),
            is_barred: pairs.clone().any(barred),
        }
    }
    /// Is there enough behind a value that loosens its rule?
    fn is_proven(&self, tunable: Tunable, value: f64) -> bool {
        if !loosens(&self.plan.variants[0], tunable, value) {
            return true;
        }
        let outlasts = |shortest_us: u64| shortest_us as f64 / 1e6 >= FAULT_OUTLASTS * value - 1e-6;
        let is_delay = tunable.key == Key::OnDelay;
        let shortest_us = self.fitted_on.shortest_found_us(self.plan, tunable.rule);
        self.fitted_on.found_by_itself(tunable.rule) >= self.least
            && (!is_delay || shortest_us.is_some_and(outlasts))
    }
    fn later_s(&self, point: &Point) -> f64 {
        let mean_s =
            |late_us: Vec<i64>| late_us.iter().sum::<i64>() as f64 / 1e6 / late_us.len().max(1) as f64;
        let all = self.rules.iter().flat_map(|rule| self.fitted_on.lateness(self.plan, point, rule));
        all.map(mean_s).fold(0.0, f64::max)
    }
    /// Margin, and the longest time outside, s.
    fn margin(&self, point: &Point, rule: Rule) -> (f64, Option<f64>) {
        let on_delay_s = self.on_delay_s(point, rule);
        match self.fitted_on.longest_us(self.plan, point, rule).map(|longest_us| longest_us as f64 / 1e6) {
            None => (WIDE, None),
            Some(longest_s) if longest_s > 0.0 => ((on_delay_s / longest_s).min(WIDE), Some(longest_s)),
            // Outside for one tick: any delay outlasts it.
            Some(longest_s) => (if on_delay_s > 0.0 { WIDE } else { 0.0 }, Some(longest_s)),
        }
    }
    fn thin(&self, point: &Point, rule: Rule) -> Option<Thin> {
        let (margin, longest_s) = self.margin(point, rule);
        let longest_s = longest_s.filter(|_| margin < WIDE)?;
        Some(Thin { rule, longest_s, on_delay_s: self.on_delay_s(point, rule) })
    }
    fn on_delay_s(&self, point: &Point, rule: Rule) -> f64 {
        let tunable = Tunable { rule, key: Key::OnDelay };
        let own = point.values.iter().find(|(other, _)| *other == tunable).map(|(_, value)| *value);
        own.or_else(|| tunable.value(&self.plan.variants[0])).unwrap_or(0.0)
    }
}

/// How far a value is from the present one, so that a delay compares with a voltage.
fn distance(value: f64, present: Option<f64>) -> f64 {
    present.map_or(0.0, |present| (value - present).abs() / (present.abs() + 0.1))
}

/// Is it an on-delay or a deadband below both the present and the usual one?
fn is_bare(tunable: Tunable, value: f64, present: Option<f64>) -> bool {
    let least = present.into_iter().chain(tunable.usual_value()).fold(f64::INFINITY, f64::min);
    matches!(tunable.key, Key::OnDelay | Key::Deadband) && value < least
}
