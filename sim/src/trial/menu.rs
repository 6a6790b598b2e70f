//! The settings of some tunables, and how each did.
//!
//! Decides: which settings may be chosen at all, and which of them keeps furthest from false alarms.
//! Assumes: all points of a menu name the same tunables.
//! Never: weighs one tunable's menu against another's.

use super::Sums;
use super::margins::{DEVIATIONS, Thin, WIDE};
use super::plan::{Plan, Point};
use super::tunable::{Key, Tunable};
use bandward::Rule;
use bandward::rule::RuleSet;

/// A setting, and how it did.
#[derive(Clone, Debug)]
pub struct Tried {
    /// The values.
    pub values: Vec<(Tunable, f64)>,
    /// Are these the present ones?
    pub is_present: bool,
    /// Faults found.
    pub found: u64,
    /// Faults missed.
    pub missed: u64,
    /// False alarms.
    pub false_alarms: u64,
    /// Alarms that repeat what was found, or stand beside another fault.
    pub nuisance: u64,
    /// Mean delay, or where nothing was found, the on-delay, s.
    pub late_s: f64,
    /// On-delay by the longest time for which good welding was outside; no more than [`WIDE`].
    pub margin: f64,
    /// That time, of the rule with the least margin, s.
    pub longest_s: Option<f64>,
    /// Deadband by [`DEVIATIONS`] of the value on good welding; no more than 1.
    pub cover: f64,
    /// The deviation, of the rule with the least cover, in its house unit.
    pub deviation: Option<f64>,
    /// The rules whose margin is less than [`WIDE`].
    pub thin: Vec<Thin>,
    /// How far it is from the present setting.
    distance: f64,
    /// An on-delay or a deadband is below the present and the usual one.
    is_bare: bool,
}

/// What may be chosen for some tunables.
pub struct Menu {
    /// The rules whose scores the tunables change.
    pub rules: RuleSet,
    /// As it is.
    pub now: Tried,
    /// What may be chosen; never empty.
    pub settings: Vec<Tried>,
}

impl Menu {
    /// The menu of some points of a plan; none where there are none.
    pub fn of(plan: &Plan, fitted_on: &Sums, points: &[usize]) -> Option<Self> {
        let first = &plan.points[*points.first()?];
        let named = first.values.iter().map(|(tunable, _)| tunable.rule).fold(RuleSet::EMPTY, RuleSet::with);
        let rules = fitted_on.changed_by(plan, points.iter().map(|&at| &plan.points[at]));
        let scorer = Scorer { plan, fitted_on, rules, named };
        let settings: Vec<_> = points.iter().map(|&at| scorer.tried(&plan.points[at])).collect();
        let now = scorer.tried(&plan.as_it_is(first.values.iter().map(|(tunable, _)| *tunable)));
        Some(Self { rules, settings: eligible(&settings, &now), now })
    }
    /// The soonest; of those that are equally late the one with the fewest false alarms, then the nearest
    /// to the present one.
    pub fn soonest(&self) -> usize {
        let by_order = |&one: &usize, &other: &usize| self.settings[one].order(&self.settings[other]);
        (0..self.settings.len()).min_by(by_order).unwrap_or(0)
    }
    /// The one with the widest margin among those that have no more false alarms than `setting` and come no
    /// more than `allowance_s` later.
    pub fn robust<'a>(&'a self, setting: &'a Tried, allowance_s: f64) -> &'a Tried {
        // A grain of time for the rounding of means.
        let latest_s = setting.late_s + allowance_s + 1e-6;
        let may = |other: &&Tried| other.late_s <= latest_s && other.false_alarms <= setting.false_alarms;
        let rank = |one: &Tried, other: &Tried| {
            let by_margin = other.margin.total_cmp(&one.margin).then(other.cover.total_cmp(&one.cover));
            by_margin.then(other.is_present.cmp(&one.is_present)).then(one.order(other))
        };
        self.settings.iter().filter(may).min_by(|one, other| rank(one, other)).unwrap_or(setting)
    }
}

impl Tried {
    fn order(&self, other: &Self) -> std::cmp::Ordering {
        let by_time = self.late_s.total_cmp(&other.late_s);
        let by_count = (self.false_alarms, self.nuisance).cmp(&(other.false_alarms, other.nuisance));
        by_time.then(by_count).then(self.distance.total_cmp(&other.distance))
    }
    /// Is anything of it below what it is in the present setting?
    fn is_less_guarded_than(&self, now: &Self) -> bool {
        let guards = |(tunable, _): &&(Tunable, f64)| matches!(tunable.key, Key::OnDelay | Key::Deadband);
        let pairs = self.values.iter().zip(&now.values).filter(|(own, _)| guards(own));
        pairs.into_iter().any(|((_, value), (_, present))| value < present)
    }
}

/// Those that miss the fewest, without more nuisance than now, and not without a guard unless all the
/// others miss more.
fn eligible(settings: &[Tried], now: &Tried) -> Vec<Tried> {
    let fewest = settings.iter().map(|setting| setting.missed).min().unwrap_or(0);
    let best: Vec<_> = settings.iter().filter(|setting| setting.missed == fewest).cloned().collect();
    let quiet = |setting: &Tried| setting.missed < now.missed || setting.nuisance <= now.nuisance;
    // Without a fault to find there is no reason to be less guarded than now.
    let has_faults = now.found + now.missed > 0;
    let guarded = |setting: &Tried| !setting.is_bare && (has_faults || !setting.is_less_guarded_than(now));
    let filters: [&dyn Fn(&Tried) -> bool; 3] =
        [&|setting| quiet(setting) && guarded(setting), &|setting| guarded(setting), &|setting| {
            quiet(setting)
        }];
    let mut kept =
        filters.iter().map(|keep| best.iter().filter(|setting| keep(setting)).cloned().collect::<Vec<_>>());
    kept.find(|kept| !kept.is_empty()).unwrap_or(best)
}

/// What the settings of a menu are scored with.
struct Scorer<'a> {
    plan: &'a Plan,
    fitted_on: &'a Sums,
    rules: RuleSet,
    named: RuleSet,
}

impl Scorer<'_> {
    fn tried(&self, point: &Point) -> Tried {
        let procedure = &self.plan.variants[0];
        let score = |rule| self.fitted_on.at(self.plan, point, rule);
        let all = Sums::together(self.rules.iter().map(score));
        let own = Sums::together(self.named.iter().map(score));
        let pairs = point.values.iter().map(|(tunable, value)| (*tunable, *value, tunable.value(procedure)));
        let margins: Vec<_> = self.named.iter().map(|rule| self.margin(point, rule)).collect();
        let least = margins.iter().min_by(|one, other| one.0.total_cmp(&other.0));
        let covers: Vec<_> = self.named.iter().map(|rule| self.cover(point, rule)).collect();
        let narrowest = covers.iter().min_by(|one, other| one.0.total_cmp(&other.0));
        let waits_s = self.named.iter().map(|rule| self.on_delay_s(point, rule)).fold(0.0, f64::max);
        Tried {
            values: point.values.clone(),
            is_present: pairs.clone().all(|(_, value, present)| present == Some(value)),
            found: all.hits(),
            missed: all.missed,
            false_alarms: all.false_alarms,
            nuisance: all.repeats + all.beside,
            late_s: own.mean_delay_s().unwrap_or(waits_s),
            margin: least.map_or(WIDE, |least| least.0),
            longest_s: least.and_then(|least| least.1),
            cover: narrowest.map_or(1.0, |narrowest| narrowest.0),
            deviation: narrowest.and_then(|narrowest| narrowest.1),
            thin: self.named.iter().filter_map(|rule| self.thin(point, rule)).collect(),
            distance: pairs.clone().map(|(_, value, present)| distance(value, present)).sum(),
            is_bare: pairs.clone().any(|(tunable, value, present)| is_bare(tunable, value, present)),
        }
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
    /// How much of the deadband that is wide enough there is, and the deviation of the value.
    fn cover(&self, point: &Point, rule: Rule) -> (f64, Option<f64>) {
        let Some((quantity, _)) = rule.watches() else { return (1.0, None) };
        let deadband = self.value(point, Tunable { rule, key: Key::Deadband });
        let deviation = self.fitted_on.deviation(rule);
        let deviation = deviation.map(|raw| raw / (1_u64 << quantity.fraction_bits()) as f64);
        match (deadband, deviation) {
            (Some(deadband), Some(deviation)) if deviation > 0.0 => {
                ((deadband / (DEVIATIONS * deviation)).min(1.0), Some(deviation))
            }
            _ => (1.0, None),
        }
    }
    fn on_delay_s(&self, point: &Point, rule: Rule) -> f64 {
        self.value(point, Tunable { rule, key: Key::OnDelay }).unwrap_or(0.0)
    }
    /// The value of a tunable in a setting, which may leave it as it is.
    fn value(&self, point: &Point, tunable: Tunable) -> Option<f64> {
        let own = point.values.iter().find(|(other, _)| *other == tunable).map(|(_, value)| *value);
        own.or_else(|| tunable.value(&self.plan.variants[0]))
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
