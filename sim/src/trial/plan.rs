//! What has to be run to know how every setting does.
//!
//! Decides: which settings need the samples anew, and which rules are run for each of the others.
//! Assumes: a latched alarm is acknowledged at once, so that the next one shows; nobody shelves.
//! Never: runs anything.

use super::knob::{Knob, with_values};
use super::lane::RuleSetting;
use bandward::{Procedure, Rule};
use std::collections::HashMap;

/// One setting of every knob.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// The values, a knob each, in house units.
    pub values: Vec<f64>,
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
            lanes: Vec::new(),
            points: Vec::new(),
            known: HashMap::new(),
        }
    }
    /// With a setting more; returns its place in [`Plan::points`].
    ///
    /// # Errors
    /// The values do not fit the procedure.
    pub fn add(&mut self, values: &[(Knob, f64)]) -> anyhow::Result<usize> {
        let tried = self.variants[0].clone();
        let deep: Vec<_> = values.iter().copied().filter(|(knob, _)| knob.reaches_samples()).collect();
        let of_variant = with_values(&tried, &deep)?;
        let known = self.variants.iter().position(|known| *known == of_variant);
        let variant = known.unwrap_or_else(|| {
            self.variants.push(of_variant);
            self.variants.len() - 1
        });
        let whole = with_values(&tried, values)?;
        let lanes = Rule::ALL
            .into_iter()
            .filter(|rule| !rule.is_about_a_channel())
            .filter_map(|rule| {
                let setting = RuleSetting::of(&whole, rule);
                let changed = setting != RuleSetting::of(&self.variants[variant], rule);
                changed.then(|| self.lane(variant, setting))
            })
            .collect();
        let values = values.iter().map(|(_, value)| *value).collect();
        self.points.push(Point { values, variant, lanes });
        Ok(self.points.len() - 1)
    }
    /// The rules whose findings are asked for in a variant.
    pub fn asked(&self, variant: usize) -> impl Iterator<Item = Rule> {
        let own = self.lanes.iter().filter(move |(of, _)| *of == variant);
        own.map(|(_, setting)| setting.rule())
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
