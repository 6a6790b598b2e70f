//! What has to be run to know how every setting does.
//!
//! Decides: which settings need the samples anew, and which rules are run for each of the others.
//! Assumes: a latched alarm is acknowledged at once, so that the next one shows; nobody shelves.
//! Never: runs anything.

use super::lane::RuleSetting;
use super::sweep::Sweep;
use super::tunable::{Tunable, with_values};
use anyhow::bail;
use bandward::rule::RuleSet;
use bandward::{Procedure, Rule};
use std::collections::HashMap;

/// No grid has more settings than this.
const MOST_SETTINGS: usize = 100_000;

/// No more settings than this need the samples anew: each is a monitor, in memory and in time.
const MOST_VARIANTS: usize = 2000;

/// One setting of every tunable.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// The values, a tunable each, in house units.
    pub values: Vec<(Tunable, f64)>,
    /// Whose samples: a place in [`Plan::variants`].
    pub variant: usize,
    /// The rules that are run for it: places in [`Plan::lanes`]. All others are its variant's.
    pub lanes: Vec<usize>,
}

/// All that has to be run.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Procedures that each need the samples; the first is the one that is tried.
    pub variants: Vec<Procedure>,
    /// So many of the variants, from the first, are tried as they are: one, or two side by side.
    pub tried: usize,
    /// Rules with a setting, each over the samples of a variant.
    pub lanes: Vec<(usize, RuleSetting)>,
    /// The settings.
    pub points: Vec<Point>,
    known: HashMap<(usize, RuleSetting), usize>,
}

impl Plan {
    /// The procedure alone.
    pub fn of(procedure: &Procedure) -> Self {
        Self {
            variants: vec![unlatched(procedure)],
            tried: 1,
            lanes: Vec::new(),
            points: Vec::new(),
            known: HashMap::new(),
        }
    }
    /// The procedure, and another one beside it.
    pub fn of_two(procedure: &Procedure, other: &Procedure) -> Self {
        let mut plan = Self::of(procedure);
        plan.variants.push(unlatched(other));
        plan.tried = 2;
        plan
    }
    /// The procedure, and all combinations of the values of the sweeps.
    ///
    /// # Errors
    /// There are too many, or the values do not fit the procedure.
    pub fn of_sweeps(procedure: &Procedure, sweeps: &[Sweep]) -> anyhow::Result<Self> {
        let mut plan = Self::of(procedure);
        let is_repeated = |at: usize| sweeps[..at].iter().any(|before| before.tunable == sweeps[at].tunable);
        if let Some(at) = (0..sweeps.len()).find(|&at| is_repeated(at)) {
            bail!("--sweep: {} is given twice; write all its values as one FROM:TO:STEP", sweeps[at].tunable);
        }
        let settings = sweeps.iter().try_fold(1_usize, |count, sweep| count.checked_mul(sweep.values.len()));
        if settings.is_none_or(|settings| settings > MOST_SETTINGS) {
            bail!("--sweep: more than {MOST_SETTINGS} settings; take larger steps or fewer tunables");
        }
        let mut points: Vec<Vec<(Tunable, f64)>> = vec![Vec::new()];
        for sweep in sweeps {
            let extended = points.iter().flat_map(|point| {
                let with = |value: &f64| [point.as_slice(), &[(sweep.tunable, *value)]].concat();
                sweep.values.iter().map(with)
            });
            points = extended.collect();
        }
        for point in points.iter().filter(|point| !point.is_empty()) {
            plan.add(point)?;
            if plan.variants.len() > MOST_VARIANTS {
                bail!(
                    "--sweep: more than {MOST_VARIANTS} settings need every sample anew; take larger steps (--help \
                     names the keys that are slower)"
                );
            }
        }
        Ok(plan)
    }
    /// With a setting more; returns its place in [`Plan::points`]. The rules that `values` names have a
    /// lane also where their values are the present ones, and one as it is beside it.
    ///
    /// # Errors
    /// The values do not fit the procedure.
    pub fn add(&mut self, values: &[(Tunable, f64)]) -> anyhow::Result<usize> {
        let tried = self.variants[0].clone();
        let deep: Vec<_> = values.iter().copied().filter(|(tunable, _)| tunable.reaches_samples()).collect();
        let of_variant = with_values(&tried, &deep)?;
        let is_other = |place: usize| place > 0 && place < self.tried;
        let known = self
            .variants
            .iter()
            .enumerate()
            .position(|(place, known)| *known == of_variant && !is_other(place));
        let variant = known.unwrap_or_else(|| {
            self.variants.push(of_variant);
            self.variants.len() - 1
        });
        let whole = with_values(&tried, values)?;
        for (tunable, _) in values.iter().filter(|(tunable, _)| !tunable.rule.is_about_a_channel()) {
            self.lane(0, RuleSetting::of(&tried, tunable.rule));
        }
        let lanes = Rule::ALL
            .into_iter()
            .filter(|rule| !rule.is_about_a_channel())
            .filter_map(|rule| {
                let setting = RuleSetting::of(&whole, rule);
                let is_named = values.iter().any(|(tunable, _)| tunable.rule == rule);
                let changed = setting != RuleSetting::of(&self.variants[variant], rule);
                (is_named || changed).then(|| self.lane(variant, setting))
            })
            .collect();
        self.points.push(Point { values: values.to_vec(), variant, lanes });
        Ok(self.points.len() - 1)
    }
    /// The present values of some tunables that were tried, as a setting.
    pub fn as_it_is(&self, tunables: impl Iterator<Item = Tunable>) -> Point {
        let present = &self.variants[0];
        let values: Vec<_> =
            tunables.filter_map(|tunable| Some((tunable, tunable.value(present)?))).collect();
        let rules = values.iter().map(|(tunable, _)| tunable.rule).fold(RuleSet::EMPTY, RuleSet::with);
        let lane = |rule| self.known.get(&(0, RuleSetting::of(present, rule))).copied();
        Point { values, variant: 0, lanes: rules.iter().filter_map(lane).collect() }
    }
    /// The rules whose findings are asked for in a variant.
    pub fn asked(&self, variant: usize) -> impl Iterator<Item = Rule> {
        let own = self.lanes.iter().filter(move |(of, _)| *of == variant);
        own.map(|(_, setting)| setting.rule())
    }
    /// The lane of a rule with one of the settings, where it has its own.
    pub fn lane_of(&self, point: &Point, rule: Rule) -> Option<usize> {
        point.lanes.iter().copied().find(|&lane| self.lanes[lane].1.rule() == rule)
    }

    fn lane(&mut self, variant: usize, setting: RuleSetting) -> usize {
        *self.known.entry((variant, setting)).or_insert_with(|| {
            self.lanes.push((variant, setting));
            self.lanes.len() - 1
        })
    }
}

/// As if every alarm were acknowledged at once.
fn unlatched(procedure: &Procedure) -> Procedure {
    Rule::ALL.into_iter().fold(procedure.clone(), |procedure, rule| {
        let alarm = bandward::procedure::AlarmSetting { latched: false, ..procedure.alarm(rule) };
        // The deadband is that of a sound procedure.
        procedure.clone().with_alarm(rule, alarm).unwrap_or(procedure)
    })
}
