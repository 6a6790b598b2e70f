//! A value against its ranges.
//!
//! Decides: how far outside a value is, with hysteresis.
//! Assumes: value, ranges and deadband are raw, of one quantity.
//! Never: knows about time; delays are the alarm's business.

use crate::procedure::{AlarmSetting, Limits, Range};
use crate::rule::{Rule, Severity, Side};

/// Which parts of the ranges a rule watches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tiers {
    /// Recommended and allowed range.
    Ranges,
    /// The floor alone.
    Floor,
    /// Recommended and allowed range and the floor.
    RangesAndFloor,
}

impl Tiers {
    /// Which parts of its ranges a rule watches.
    pub const fn of(rule: Rule) -> Self {
        match rule {
            Rule::TransferLowVoltage => Self::Floor,
            Rule::VoltageLow => Self::Ranges,
            _ => Self::RangesAndFloor,
        }
    }
}

/// How far outside, and the limit that was passed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standing {
    /// The worst tier that is violated; `None` inside.
    pub level: Option<Severity>,
    /// The limit of that tier; inside, the one nearest to being violated.
    pub limit: Option<i32>,
}

/// The limits a rule has, weakest first: (limit, severity beyond it).
fn tiers(limits: &Limits, side: Side, setting: &AlarmSetting, tiers: Tiers) -> [Option<(i32, Severity)>; 3] {
    let pick = |range: Range| match side {
        Side::Low => (range.low != i32::MIN).then_some(range.low),
        Side::High => (range.high != i32::MAX).then_some(range.high),
    };
    let with = |limit: Option<i32>, severity| limit.map(|limit| (limit, severity));
    let ranges = tiers != Tiers::Floor;
    let floor = tiers != Tiers::Ranges && side == Side::Low;
    [
        with(limits.recommended.filter(|_| ranges).and_then(pick), Severity::Advise),
        with(limits.allowed.filter(|_| ranges).and_then(pick), setting.severity),
        with(limits.floor.filter(|_| floor), Severity::Stop),
    ]
}

/// Can the rule be judged by these ranges at all?
pub fn has_limit(limits: &Limits, side: Side, setting: &AlarmSetting, which: Tiers) -> bool {
    tiers(limits, side, setting, which).iter().any(Option::is_some)
}

/// Is `value` inside every range and above the floor, whatever the deadband?
pub fn is_inside(value: i32, limits: &Limits) -> bool {
    let holds = |range: Option<Range>| range.is_none_or(|range| value >= range.low && value <= range.high);
    holds(limits.recommended) && holds(limits.allowed) && limits.floor.is_none_or(|floor| value >= floor)
}

/// Where `value` stands. `previous` is the level of the judgement before: what was outside stays
/// outside until it is back inside by the deadband.
pub fn stand(
    value: i32,
    limits: &Limits,
    side: Side,
    setting: &AlarmSetting,
    which: Tiers,
    previous: Option<Severity>,
) -> Standing {
    let mut standing = Standing { level: None, limit: None };
    for (limit, severity) in tiers(limits, side, setting, which).into_iter().flatten() {
        let deadband = if previous >= Some(severity) { setting.deadband } else { 0 };
        let outside = match side {
            Side::Low => value < limit.saturating_add(deadband),
            Side::High => value > limit.saturating_sub(deadband),
        };
        if outside && Some(severity) >= standing.level {
            standing = Standing { level: Some(severity), limit: Some(limit) };
        } else if standing.limit.is_none() {
            standing.limit = Some(limit);
        }
    }
    standing
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: Limits = Limits {
        recommended: Some(Range { low: 300, high: 340 }),
        allowed: Some(Range { low: 290, high: 350 }),
        floor: Some(280),
    };

    fn level(value: i32, side: Side, previous: Option<Severity>) -> Option<Severity> {
        let setting = AlarmSetting { deadband: 5, ..Rule::VoltageLow.default_setting() };
        stand(value, &LIMITS, side, &setting, Tiers::RangesAndFloor, previous).level
    }

    #[test]
    fn one_step_either_side_of_every_limit() {
        for (value, expected) in [
            (300, None),
            (299, Some(Severity::Advise)),
            (290, Some(Severity::Advise)),
            (289, Some(Severity::Warn)),
            (280, Some(Severity::Warn)),
            (279, Some(Severity::Stop)),
        ] {
            assert_eq!(level(value, Side::Low, None), expected, "{value}");
        }
        for (value, expected) in [
            (340, None),
            (341, Some(Severity::Advise)),
            (350, Some(Severity::Advise)),
            (351, Some(Severity::Warn)),
        ] {
            assert_eq!(level(value, Side::High, None), expected, "{value}");
        }
    }

    #[test]
    fn what_was_outside_comes_back_by_the_deadband() {
        let warn = Some(Severity::Warn);
        assert_eq!(level(294, Side::Low, warn), warn);
        assert_eq!(level(295, Side::Low, warn), Some(Severity::Advise));
        assert_eq!(level(305, Side::Low, Some(Severity::Advise)), None);
        assert_eq!(level(304, Side::Low, Some(Severity::Advise)), Some(Severity::Advise));
    }
}
