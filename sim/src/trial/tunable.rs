//! One number of a procedure that can be tried at other values.
//!
//! Decides: which numbers those are, how they are named, and which of them reach into the samples.
//! Assumes: the procedure is sound.
//! Never: leaves a procedure that the core would refuse.

use crate::input::quantity::{UnitSystem, format};
use crate::input::setting::Subject;
use crate::input::setting::raw_value;
use crate::input::unit::Dimension;
use crate::raw::from_raw;
use anyhow::{Context as _, bail};
use bandward::judge::envelope::Tiers;
use bandward::procedure::{AlarmSetting, Limits, ProcedureError};
use bandward::rule::Side;
use bandward::{Procedure, Quantity, Rule};
use std::fmt;

/// Which number of a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Key {
    /// The end of the allowed range that the rule watches.
    Allowed,
    /// The end of the recommended range that the rule watches.
    Recommended,
    /// The floor.
    Floor,
    /// How far back inside a value must come.
    Deadband,
    /// How long the cause must last.
    OnDelay,
    /// How long the cause must be gone.
    OffDelay,
}

impl Key {
    const ALL: [Self; 6] =
        [Self::Allowed, Self::Recommended, Self::Floor, Self::Deadband, Self::OnDelay, Self::OffDelay];
    /// As it is written in a sweep.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Allowed => "allowed",
            Self::Recommended => "recommended",
            Self::Floor => "floor",
            Self::Deadband => "deadband",
            Self::OnDelay => "on_delay",
            Self::OffDelay => "off_delay",
        }
    }
}

/// One number: a key of a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Tunable {
    /// The rule.
    pub rule: Rule,
    /// The key.
    pub key: Key,
}

impl fmt::Display for Tunable {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{}.{}", self.rule.name(), self.key.name())
    }
}

impl Tunable {
    /// The one written `RULE.KEY`.
    ///
    /// # Errors
    /// Says what is unknown, and what there is.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (rule, key) = text.split_once('.').ok_or_else(|| format!("`{text}` is not RULE.KEY"))?;
        let rule = Rule::from_name(rule).ok_or_else(|| {
            format!("`{rule}` is no rule; the rules are {}", Rule::ALL.map(Rule::name).join(", "))
        })?;
        let keys: Vec<_> = Key::ALL.into_iter().filter(|&key| Self { rule, key }.exists()).collect();
        let found = keys.iter().copied().find(|known| known.name() == key).ok_or_else(|| {
            let names: Vec<_> = keys.iter().map(|key| key.name()).collect();
            format!(
                "`{key}` is no key of {} that can be swept; its keys are {}",
                rule.name(),
                names.join(", ")
            )
        })?;
        Ok(Self { rule, key: found })
    }
    /// Every number of every rule, whether a procedure gives it or not.
    pub fn all() -> impl Iterator<Item = Self> {
        let of_rule = |rule| Key::ALL.into_iter().map(move |key| Self { rule, key });
        Rule::ALL.into_iter().flat_map(of_rule).filter(|tunable| tunable.exists())
    }
    /// Has the rule such a number?
    fn exists(self) -> bool {
        let tiers = Tiers::of(self.rule);
        match (self.key, self.rule.watches()) {
            // What is judged once a band knows no on-delay.
            (Key::OnDelay, _) if self.rule.is_of_a_moment() => false,
            (Key::OnDelay | Key::OffDelay, _) | (Key::Deadband, Some(_)) => true,
            (_, None) => false,
            (Key::Allowed | Key::Recommended, Some(_)) => tiers != Tiers::Floor,
            (Key::Floor, Some((_, side))) => tiers != Tiers::Ranges && side == Side::Low,
        }
    }
    /// Is it a delay?
    const fn is_delay(self) -> bool {
        matches!(self.key, Key::OnDelay | Key::OffDelay)
    }
    /// Does it change what is made of the samples, and not only what is called outside? The gas
    /// tracker goes by the lower end of the gas flow, the watch over pre-flow and post-flow ends when
    /// there was enough, the weave is followed up to its highest rate, and the rules about a channel
    /// take its readings away.
    pub const fn reaches_samples(self) -> bool {
        let range = matches!(self.key, Key::Allowed | Key::Recommended | Key::Floor);
        let rule = self.rule;
        let range_is_used =
            matches!(rule, Rule::GasLow | Rule::GasPreflow | Rule::GasPostflow | Rule::WeaveRateHigh);
        rule.is_about_a_channel() || (range && range_is_used)
    }
    /// What it is measured in.
    pub fn dimension(self) -> Dimension {
        match self.rule.watches() {
            Some((quantity, _)) if !self.is_delay() => {
                let dimension = Subject::Judged(quantity).dimension();
                if self.key == Key::Deadband { dimension.of_differences() } else { dimension }
            }
            _ => Dimension::Duration,
        }
    }
    /// The symbol of its house unit.
    pub fn unit(self) -> &'static str {
        self.dimension().units().first().map_or("", |unit| unit.symbol)
    }
    /// A value of it, for people.
    pub fn show(self, value: f64, system: UnitSystem) -> String {
        format(value, self.dimension(), system)
    }
    /// Its value in a procedure, in the house unit.
    pub fn value(self, procedure: &Procedure) -> Option<f64> {
        let alarm = procedure.alarm(self.rule);
        match (self.key, self.rule.watches()) {
            (Key::OnDelay, _) => Some(f64::from(alarm.on_delay_us) / 1e6),
            (Key::OffDelay, _) => Some(f64::from(alarm.off_delay_us) / 1e6),
            (Key::Deadband, Some((quantity, _))) => Some(from_raw(alarm.deadband, quantity.fraction_bits())),
            (_, Some((quantity, side))) => {
                let mut limits = *procedure.limits(quantity)?;
                let raw = *limit(&mut limits, side, self.key)?;
                (raw != i32::MIN && raw != i32::MAX).then(|| from_raw(raw, quantity.fraction_bits()))
            }
            (_, None) => None,
        }
    }
    /// Its value where a procedure says nothing of it: delays and deadbands have one.
    pub fn usual_value(self) -> Option<f64> {
        self.value(&Procedure::new())
    }
}

/// The number a key stands for, where it is given.
const fn limit(limits: &mut Limits, side: Side, key: Key) -> Option<&mut i32> {
    let range = match key {
        Key::Allowed => &mut limits.allowed,
        Key::Recommended => &mut limits.recommended,
        _ => return limits.floor.as_mut(),
    };
    match (range, side) {
        (Some(range), Side::Low) => Some(&mut range.low),
        (Some(range), Side::High) => Some(&mut range.high),
        (None, _) => None,
    }
}

/// A procedure with other values, in house units.
///
/// # Errors
/// The procedure does not give what is to be changed, or it would not fit together any more.
pub fn with_values(procedure: &Procedure, values: &[(Tunable, f64)]) -> anyhow::Result<Procedure> {
    let mut limits: Vec<(Quantity, Limits)> = Vec::new();
    let mut changed = procedure.clone();
    for &(tunable, value) in values {
        if tunable.value(procedure).is_none() {
            bail!("{tunable}: the procedure gives none, so there is nothing to be changed");
        }
        match (tunable.rule.watches(), tunable.key) {
            (Some((quantity, side)), Key::Allowed | Key::Recommended | Key::Floor) => {
                if !limits.iter().any(|(known, _)| *known == quantity) {
                    limits.extend(procedure.limits(quantity).map(|limits| (quantity, *limits)));
                }
                let own = limits.iter_mut().find(|(known, _)| *known == quantity);
                if let Some(raw) = own.and_then(|(_, limits)| limit(limits, side, tunable.key)) {
                    *raw = raw_value(value, quantity.fraction_bits());
                }
            }
            _ => changed = with_alarm_value(changed, tunable, value)?,
        }
    }
    let told = |error: ProcedureError| {
        let show = |(tunable, value): &(Tunable, f64)| {
            format!("{tunable} = {}", tunable.show(*value, UnitSystem::Metric))
        };
        let values: Vec<_> = values.iter().map(show).collect();
        anyhow::anyhow!("{}: {}", values.join(", "), refusal(error))
    };
    for (quantity, limits) in limits {
        changed = changed.with_limits(quantity, limits).map_err(told)?;
    }
    Ok(changed)
}

fn with_alarm_value(procedure: Procedure, tunable: Tunable, value: f64) -> anyhow::Result<Procedure> {
    let alarm = procedure.alarm(tunable.rule);
    let delay_us = || {
        let allowed = (0.0..=3600.0).contains(&value);
        allowed
            .then(|| (value * 1e6).round() as u32)
            .with_context(|| format!("{tunable}: {value} s is no delay; allowed are 0 s to 3600 s"))
    };
    let alarm = match (tunable.key, tunable.rule.watches()) {
        (Key::OnDelay, _) => AlarmSetting { on_delay_us: delay_us()?, ..alarm },
        (Key::OffDelay, _) => AlarmSetting { off_delay_us: delay_us()?, ..alarm },
        (_, Some((quantity, _))) => {
            AlarmSetting { deadband: raw_value(value, quantity.fraction_bits()), ..alarm }
        }
        (_, None) => alarm,
    };
    procedure
        .with_alarm(tunable.rule, alarm)
        .map_err(|_| anyhow::anyhow!("{tunable}: {value} is negative; a deadband is zero or more"))
}

const fn refusal(error: ProcedureError) -> &'static str {
    match error {
        ProcedureError::RecommendedOutsideAllowed(_) => {
            "the recommended range would reach outside the allowed one"
        }
        ProcedureError::FloorAboveRange(_) => "the floor would be above the low end of the allowed range",
        _ => "the low end of the range would be above its high end",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_procedure_that_would_not_fit_together_is_refused() {
        let text = "[voltage]\nrecommended = [\"30.5 V\", \"32.5 V\"]\nallowed = [\"29.5 V\", \"33.5 V\"]\n";
        let procedure =
            crate::input::procedure_file::ProcedureFile::parse("x", text).expect("it is sound").procedure;
        let tunable = |text| Tunable::parse(text).expect(text);
        let allowed = tunable("voltage-low.allowed");
        assert_eq!(allowed.value(&procedure), Some(29.5));
        let changed = with_values(&procedure, &[(allowed, 30.25)]).expect("it fits");
        assert_eq!(allowed.value(&changed), Some(30.25));
        assert_eq!(tunable("voltage-high.allowed").value(&changed), Some(33.5));
        let error = with_values(&procedure, &[(allowed, 30.75)]).expect_err("recommended from 30.5 V");
        assert_eq!(
            error.to_string(),
            "voltage-low.allowed = 30.75 V: the recommended range would reach outside the allowed one"
        );
        let both = [(allowed, 30.75), (tunable("voltage-low.recommended"), 31.0)];
        assert!(with_values(&procedure, &both).is_ok());
        let error = with_values(&procedure, &[(tunable("transfer-low-voltage.floor"), 28.0)]);
        assert!(error.expect_err("no floor").to_string().contains("the procedure gives none"));
    }
}
