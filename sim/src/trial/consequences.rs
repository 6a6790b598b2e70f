//! Which alarms follow from a fault that is over, and which stand in for another.
//!
//! Decides: for each rule, the rules that its fault may break later on. Common practice, no source.
//! Never: looks at a time; how long a fault may be followed is asked by the caller.

use bandward::{Channel, Rule};

/// What a fault of some rules brings later on.
struct Followed {
    by: &'static [Rule],
    brings: &'static [Rule],
}

use Rule as R;

/// The height of a whole band, its overlap and the heat at the next one are judged after the fault that
/// spoilt them; a step that went wrong has the next one begin in the wrong place.
const TABLE: [Followed; 7] = [
    Followed {
        by: &[
            R::VoltageLow,
            R::VoltageHigh,
            R::TransferLowVoltage,
            R::TransferShortCircuits,
            R::TransferShortCircuitsLow,
            R::CurrentLow,
            R::CurrentHigh,
            R::WireFeedLow,
            R::WireFeedHigh,
        ],
        brings: &[R::BandHeightLow, R::BandHeightHigh, R::InterpassLow, R::InterpassHigh],
    },
    Followed {
        by: &[R::WeaveRateLow, R::WeaveRateHigh, R::WeaveWidthLow, R::WeaveWidthHigh, R::WeaveCentreDrift],
        brings: &[R::BandHeightLow, R::BandHeightHigh, R::StepOverLow, R::StepOverHigh],
    },
    Followed {
        by: &[R::TurnTimeFast, R::TurnTimeSlow, R::SpindleSlip, R::SpindleStall, R::SpindleReversed],
        brings: &[
            R::OverlapShort,
            R::OverlapLong,
            R::BandHeightLow,
            R::BandHeightHigh,
            R::InterpassLow,
            R::InterpassHigh,
        ],
    },
    Followed {
        by: &[R::ArcOutage],
        brings: &[
            R::GasPreflow,
            R::GasPostflow,
            R::OverlapShort,
            R::BandHeightLow,
            R::BandHeightHigh,
            R::StepOverLow,
            R::InterpassLow,
            R::InterpassHigh,
        ],
    },
    Followed { by: &[R::GasLow], brings: &[R::GasPreflow, R::GasPostflow] },
    Followed {
        by: &[R::StepOverLow, R::StepOverHigh],
        brings: &[R::StepOverLow, R::StepOverHigh, R::WeaveCentreDrift],
    },
    Followed {
        by: &[R::PreheatLow, R::PreheatHigh, R::InterpassLow, R::InterpassHigh],
        brings: &[R::InterpassLow, R::InterpassHigh],
    },
];

/// May an alarm of `rule` be a late consequence of a fault of `fault`? What was measured wrongly on a
/// channel may show in every rule that cannot do without it and is judged over a long stretch.
pub fn follows(rule: Rule, fault: Rule, channel: Option<Channel>) -> bool {
    let by_table = TABLE.iter().any(|row| row.by.contains(&fault) && row.brings.contains(&rule));
    let is_of_channel = || channel.is_some_and(|channel| rule.needs().contains(channel));
    by_table || (fault.is_about_measuring() && is_judged_late(rule) && is_of_channel())
}

/// Is it judged once a band, or over a large part of one?
fn is_judged_late(rule: Rule) -> bool {
    let over_a_stretch = matches!(
        rule,
        R::BandHeightLow | R::BandHeightHigh | R::WeaveCentreDrift | R::TurnTimeFast | R::TurnTimeSlow
    );
    rule.is_of_a_moment() || over_a_stretch
}

/// Does a stop of `rule` tell of a fault of `fault` as well: the same quantity at the same end of its
/// range, or the turning of the pipe?
pub fn stands_for(rule: Rule, fault: Rule) -> bool {
    let same_end = rule != fault && rule.watches().is_some() && rule.watches() == fault.watches();
    let turning = matches!(
        (rule, fault),
        (R::SpindleStall, R::SpindleSlip | R::TurnTimeSlow) | (R::SpindleReversed, R::SpindleSlip)
    );
    same_end || turning
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stop_tells_of_the_milder_fault_of_its_quantity_only() {
        assert!(stands_for(Rule::TransferLowVoltage, Rule::VoltageLow));
        assert!(stands_for(Rule::SpindleStall, Rule::SpindleSlip));
        assert!(!stands_for(Rule::TransferLowVoltage, Rule::VoltageHigh));
        assert!(!stands_for(Rule::TransferLowVoltage, Rule::CurrentLow));
        let many = Rule::ALL.into_iter().filter(|&rule| stands_for(rule, rule)).count();
        assert_eq!(many, 0, "a rule needs nobody to stand for itself");
    }

    #[test]
    fn what_follows_is_what_is_judged_later() {
        assert!(follows(Rule::OverlapShort, Rule::SpindleStall, None));
        assert!(!follows(Rule::GasLow, Rule::SpindleStall, None));
        assert!(follows(Rule::TurnTimeFast, Rule::SignalMissing, Some(Channel::Spindle)));
        assert!(!follows(Rule::GasLow, Rule::SignalMissing, Some(Channel::Spindle)));
        assert!(!follows(Rule::GasLow, Rule::SignalMissing, Some(Channel::Gas)));
        // What is judged all the time follows from nothing that is over.
        let all = Rule::ALL.into_iter().flat_map(|rule| Rule::ALL.map(|fault| (rule, fault)));
        for (rule, fault) in all.filter(|(rule, _)| !is_judged_late(*rule)) {
            assert!(!follows(rule, fault, Some(Channel::Gas)), "{} {}", rule.name(), fault.name());
        }
    }
}
