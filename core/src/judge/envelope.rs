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

    /// A rule that watches the ranges, the floor, or both; the severity of each limit and what has none.
    #[test]
    fn a_rule_watches_its_own_tiers() {
        let setting =
            AlarmSetting { deadband: 0, severity: Severity::Warn, ..Rule::VoltageLow.default_setting() };
        let low = |value, which| stand(value, &LIMITS, Side::Low, &setting, which, None);
        assert_eq!(low(279, Tiers::Ranges), Standing { level: Some(Severity::Warn), limit: Some(290) });
        assert_eq!(low(279, Tiers::Floor), Standing { level: Some(Severity::Stop), limit: Some(280) });
        assert_eq!(low(280, Tiers::Floor), Standing { level: None, limit: Some(280) });
        assert_eq!(
            low(279, Tiers::RangesAndFloor),
            Standing { level: Some(Severity::Stop), limit: Some(280) }
        );
        // Inside, the limit that comes first; outside, the one of the worst tier.
        assert_eq!(low(320, Tiers::RangesAndFloor), Standing { level: None, limit: Some(300) });
        assert_eq!(
            low(295, Tiers::RangesAndFloor),
            Standing { level: Some(Severity::Advise), limit: Some(300) }
        );
        // A floor has no upper side.
        let high = stand(500, &LIMITS, Side::High, &setting, Tiers::Floor, None);
        assert_eq!(high, Standing { level: None, limit: None });
        assert_eq!(Tiers::of(Rule::TransferLowVoltage), Tiers::Floor);
        assert_eq!(Tiers::of(Rule::VoltageLow), Tiers::Ranges);
        assert_eq!(Tiers::of(Rule::CurrentLow), Tiers::RangesAndFloor);
    }

    /// A stop of the allowed range is as grave as the floor, which is further out and is the one that is told.
    #[test]
    fn of_two_limits_as_grave_the_further_one_is_told() {
        let setting =
            AlarmSetting { deadband: 0, severity: Severity::Stop, ..Rule::VoltageLow.default_setting() };
        let standing = stand(279, &LIMITS, Side::Low, &setting, Tiers::RangesAndFloor, None);
        assert_eq!(standing, Standing { level: Some(Severity::Stop), limit: Some(280) });
        // An advice as the severity of the allowed range is never milder than what stands already.
        let setting = AlarmSetting { severity: Severity::Advise, ..setting };
        let standing = stand(285, &LIMITS, Side::Low, &setting, Tiers::RangesAndFloor, None);
        assert_eq!(standing, Standing { level: Some(Severity::Advise), limit: Some(290) });
    }

    #[test]
    fn an_open_end_is_no_limit() {
        let setting = Rule::VoltageLow.default_setting();
        let open = |low, high| Limits { recommended: None, allowed: Some(Range { low, high }), floor: None };
        for (limits, side, expected) in [
            (open(i32::MIN, 9), Side::Low, false),
            (open(i32::MIN, 9), Side::High, true),
            (open(9, i32::MAX), Side::Low, true),
            (open(9, i32::MAX), Side::High, false),
            (Limits { recommended: None, allowed: None, floor: Some(1) }, Side::Low, true),
            (Limits { recommended: None, allowed: None, floor: Some(1) }, Side::High, false),
        ] {
            assert_eq!(has_limit(&limits, side, &setting, Tiers::RangesAndFloor), expected, "{limits:?}");
        }
        let floor = Limits { recommended: None, allowed: None, floor: Some(1) };
        assert!(!has_limit(&floor, Side::Low, &setting, Tiers::Ranges));
        assert!(!has_limit(&open(9, 10), Side::Low, &setting, Tiers::Floor));
    }

    #[test]
    fn inside_is_on_or_within_every_limit() {
        for (value, expected) in [(299, false), (300, true), (340, true), (341, false)] {
            assert_eq!(is_inside(value, &LIMITS), expected, "{value}");
        }
        let one = |recommended, allowed, floor| Limits { recommended, allowed, floor };
        let range = Some(Range { low: 290, high: 350 });
        for (value, expected) in [(289, false), (290, true), (350, true), (351, false)] {
            assert_eq!(is_inside(value, &one(range, None, None)), expected, "{value}");
            assert_eq!(is_inside(value, &one(None, range, None)), expected, "{value}");
        }
        assert!(is_inside(280, &one(None, None, Some(280))));
        assert!(!is_inside(279, &one(None, None, Some(280))));
        assert!(is_inside(0, &one(None, None, None)));
    }

    #[test]
    fn above_too_what_was_outside_comes_back_by_the_deadband() {
        let warn = Some(Severity::Warn);
        assert_eq!(level(346, Side::High, warn), warn);
        assert_eq!(level(345, Side::High, warn), Some(Severity::Advise));
        assert_eq!(level(335, Side::High, warn), None);
        assert_eq!(level(336, Side::High, warn), Some(Severity::Advise));
        // What was only advised against has no deadband at the limit beyond.
        assert_eq!(level(346, Side::High, Some(Severity::Advise)), Some(Severity::Advise));
        assert_eq!(level(284, Side::Low, Some(Severity::Stop)), Some(Severity::Stop));
        assert_eq!(level(285, Side::Low, Some(Severity::Stop)), warn);
    }
}
