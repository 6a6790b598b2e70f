//! Limits built into a board, which no procedure from outside may pass.
//!
//! Decides: whether a procedure stays within them: its ranges and floors, when it takes an arc for an arc, how
//! long it waits before an alarm, and how grave its alarms are. All that could blind the monitor is here; what a
//! sensor can show is no part of a procedure.
//! Assumes: the integrator has set them for the machine.
//! Never: changes a procedure; it is refused whole.

use crate::procedure::{ArcSettings, Procedure, Range};
use crate::rule::{Quantity, Rule};
use crate::units::{Current, Temperature, Voltage};
use core::fmt;
use serde::{Deserialize, Serialize};

/// The limit that a procedure passes; in words by its `Display`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum HardLimit {
    /// It gives no allowed range for this quantity, or a wider one.
    Range(Quantity),
    /// It gives no floor for this quantity, or a lower one.
    Floor(Quantity),
    /// It has this quantity judged only where possible.
    Waived(Quantity),
    /// It does not say on which pole the electrode belongs.
    Polarity,
    /// The arc counts as burning only from a higher current, or as out only below a lower one.
    ArcCurrent,
    /// The circuit counts as open at a lower voltage.
    OpenCircuit,
    /// Nothing is judged for longer after the strike.
    StrikeTime,
    /// A longer outage, hole in the data or crater fill is taken as part of a band.
    JoinTime,
    /// The joint need cool slowly only down to a higher temperature, or not at all.
    CoolingUntil,
    /// This alarm waits for longer.
    OnDelay(Rule),
    /// This alarm is milder than it is where no procedure says anything.
    Severity(Rule),
}

impl fmt::Display for HardLimit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let built_in = "within the limits built into the board";
        let what = match self {
            Self::Range(quantity) => {
                return write!(f, "[{}] must give an allowed range {built_in}", quantity.table_name());
            }
            Self::Floor(quantity) => {
                return write!(f, "[{}] must give a floor {built_in}", quantity.table_name());
            }
            Self::Waived(quantity) => {
                let table = quantity.table_name();
                return write!(f, "[{table}] must be judged always, not only where possible");
            }
            Self::Severity(rule) => {
                return write!(f, "[alarm.{}] severity must not be milder than usual", rule.name());
            }
            Self::OnDelay(rule) => {
                return write!(f, "[alarm.{}] on_delay must be {built_in}", rule.name());
            }
            Self::Polarity => return f.write_str("[wire] must give the polarity"),
            Self::CoolingUntil => {
                return write!(f, "[cooling] must hold down to a temperature {built_in}");
            }
            Self::ArcCurrent => "the currents at which the arc burns and is out",
            Self::OpenCircuit => "the voltage of an open circuit",
            Self::StrikeTime => "the time after the strike",
            Self::JoinTime => "outages and crater fill",
        };
        write!(f, "{what} must be {built_in}")
    }
}

impl core::error::Error for HardLimit {}

/// The settings that decide when there is an arc, at their most lenient.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ArcBounds {
    /// The arc must count as burning from this current at the latest.
    pub highest_current_on: Current,
    /// The arc must count as out below this current at least: a band that never ends is never kept.
    pub lowest_current_off: Current,
    /// The circuit may count as open from this voltage at the earliest.
    pub lowest_open_circuit: Voltage,
    /// Longest time after the strike in which ranges are not judged, µs.
    pub longest_strike_us: u32,
    /// Longest outage, hole in the data or crater fill within a band, µs.
    pub longest_join_us: u32,
}

/// The widest that a procedure may set; what has no limit is left to the procedure.
///
/// ```
/// use bandward::link::hard_limits::{HardLimit, HardLimits};
/// use bandward::{Procedure, Quantity, units::Voltage};
///
/// let board = HardLimits::USUAL.with_floor(Quantity::Voltage, Voltage::volts(29).to_bits());
/// let refused = board.check(&Procedure::new()).unwrap_err();
/// assert_eq!(refused, HardLimit::Floor(Quantity::Voltage));
/// assert_eq!(refused.to_string(), "[voltage] must give a floor within the limits built into the board");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HardLimits {
    ranges: [Option<Range>; Quantity::COUNT],
    floors: [Option<i32>; Quantity::COUNT],
    arc: Option<ArcBounds>,
    highest_cooling_until: Option<Temperature>,
    longest_on_delay_us: Option<u32>,
    are_severities_kept: bool,
    is_polarity_required: bool,
}

impl HardLimits {
    /// Leaves everything to the procedure: for a bench, not for a machine.
    pub const NONE: Self = Self {
        ranges: [None; Quantity::COUNT],
        floors: [None; Quantity::COUNT],
        arc: None,
        highest_cooling_until: None,
        longest_on_delay_us: None,
        are_severities_kept: false,
        is_polarity_required: false,
    };
    /// What holds for every machine of this trade; add ranges and floors for yours. The arc counts as burning
    /// from 100 A and as out below 5 A, and no circuit below 30 V as open; 3 s after the strike ranges are judged;
    /// what joins two parts of a band takes 15 s at most; an alarm waits 5 s at most, and is no milder than where
    /// nobody says.
    /// Common practice, no source.
    pub const USUAL: Self = Self {
        arc: Some(ArcBounds {
            highest_current_on: Current::from_milli(100_000),
            lowest_current_off: Current::from_milli(5_000),
            lowest_open_circuit: Voltage::from_milli(30_000),
            longest_strike_us: 3_000_000,
            longest_join_us: 15_000_000,
        }),
        longest_on_delay_us: Some(5_000_000),
        are_severities_kept: true,
        ..Self::NONE
    };

    /// With the widest range of a quantity, raw (see [`Quantity::fraction_bits`]).
    #[must_use]
    pub fn with(mut self, quantity: Quantity, widest: Range) -> Self {
        if let Some(slot) = self.ranges.get_mut(quantity as usize) {
            *slot = Some(widest);
        }
        self
    }
    /// With the lowest floor of a quantity, raw: a procedure must give one, and no lower one.
    #[must_use]
    pub fn with_floor(mut self, quantity: Quantity, lowest: i32) -> Self {
        if let Some(slot) = self.floors.get_mut(quantity as usize) {
            *slot = Some(lowest);
        }
        self
    }
    /// With these bounds of what counts as an arc.
    #[must_use]
    pub const fn with_arc(mut self, bounds: ArcBounds) -> Self {
        self.arc = Some(bounds);
        self
    }
    /// With a procedure having to limit how fast the joint cools, down to this temperature at least.
    #[must_use]
    pub const fn with_highest_cooling_until(mut self, highest: Temperature) -> Self {
        self.highest_cooling_until = Some(highest);
        self
    }
    /// With the longest time for which an alarm may wait, µs; or as long as it waits where nobody says.
    #[must_use]
    pub const fn with_longest_on_delay(mut self, longest_us: u32) -> Self {
        self.longest_on_delay_us = Some(longest_us);
        self
    }
    /// With every alarm at least as grave as where no procedure says anything.
    #[must_use]
    pub const fn with_severities_kept(mut self) -> Self {
        self.are_severities_kept = true;
        self
    }
    /// With a procedure having to name the pole of the electrode.
    #[must_use]
    pub const fn with_polarity_required(mut self) -> Self {
        self.is_polarity_required = true;
        self
    }
    /// Checks a procedure against the limits. Where there is a limit, the procedure must give a value, no more
    /// lenient than it: a quantity that is not judged is the widest of all.
    ///
    /// # Errors
    /// The first limit that it passes.
    pub fn check(&self, procedure: &Procedure) -> Result<(), HardLimit> {
        for quantity in Quantity::ALL {
            self.check_quantity(quantity, procedure)?;
        }
        for rule in Rule::ALL {
            self.check_alarm(rule, procedure)?;
        }
        let is_watched = |highest| procedure.cooling_until.is_some_and(|until| until <= highest);
        if self.highest_cooling_until.is_some_and(|highest| !is_watched(highest)) {
            return Err(HardLimit::CoolingUntil);
        }
        if self.is_polarity_required && procedure.polarity.is_none() {
            return Err(HardLimit::Polarity);
        }
        self.arc.map_or(Ok(()), |bounds| bounds.check(&procedure.arc))
    }
    fn check_quantity(&self, quantity: Quantity, procedure: &Procedure) -> Result<(), HardLimit> {
        let limits = procedure.limits(quantity);
        let widest = self.ranges.get(quantity as usize).copied().flatten();
        let lowest = self.floors.get(quantity as usize).copied().flatten();
        let allowed = limits.and_then(|limits| limits.allowed);
        let is_within = |widest: Range| {
            allowed.is_some_and(|allowed| allowed.low >= widest.low && allowed.high <= widest.high)
        };
        let floor = limits.and_then(|limits| limits.floor);
        if widest.is_some_and(|widest| !is_within(widest)) {
            return Err(HardLimit::Range(quantity));
        }
        if lowest.is_some_and(|lowest| floor.is_none_or(|floor| floor < lowest)) {
            return Err(HardLimit::Floor(quantity));
        }
        let is_limited = widest.is_some() || lowest.is_some();
        if is_limited && procedure.is_judged_where_possible(quantity) {
            return Err(HardLimit::Waived(quantity));
        }
        Ok(())
    }
    fn check_alarm(&self, rule: Rule, procedure: &Procedure) -> Result<(), HardLimit> {
        let (setting, usual) = (procedure.alarm(rule), rule.default_setting());
        let longest_us = self.longest_on_delay_us.map(|longest_us| longest_us.max(usual.on_delay_us));
        if longest_us.is_some_and(|longest_us| setting.on_delay_us > longest_us) {
            return Err(HardLimit::OnDelay(rule));
        }
        if self.are_severities_kept && setting.severity < usual.severity {
            return Err(HardLimit::Severity(rule));
        }
        Ok(())
    }
}

impl ArcBounds {
    fn check(&self, arc: &ArcSettings) -> Result<(), HardLimit> {
        let longest_us = arc.outage_join_us.max(arc.gap_join_us).max(arc.crater_fill_us);
        if arc.current_on > self.highest_current_on || arc.current_off < self.lowest_current_off {
            Err(HardLimit::ArcCurrent)
        } else if arc.open_circuit < self.lowest_open_circuit {
            Err(HardLimit::OpenCircuit)
        } else if arc.strike_us > self.longest_strike_us {
            Err(HardLimit::StrikeTime)
        } else if longest_us > self.longest_join_us {
            Err(HardLimit::JoinTime)
        } else {
            Ok(())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::Limits;
    use crate::rule::Severity;

    fn procedure(low: i32, high: i32, floor: Option<i32>) -> Procedure {
        let allowed = Some(Range { low, high });
        Procedure::new().with_limits(Quantity::Voltage, Limits { recommended: None, allowed, floor }).unwrap()
    }

    #[test]
    fn one_step_beyond_either_end_is_refused() {
        let hard = HardLimits::NONE.with(Quantity::Voltage, Range { low: 100, high: 200 });
        for (low, high, fits) in [
            (100, 200, true),
            (101, 199, true),
            (99, 200, false),
            (100, 201, false),
            (i32::MIN, 200, false),
            (100, i32::MAX, false),
        ] {
            let expected = if fits { Ok(()) } else { Err(HardLimit::Range(Quantity::Voltage)) };
            assert_eq!(hard.check(&procedure(low, high, None)), expected, "{low} to {high}");
        }
        assert_eq!(HardLimits::NONE.check(&Procedure::new()), Ok(()));
    }

    #[test]
    fn a_quantity_that_is_not_judged_does_not_slip_through() {
        let hard = HardLimits::NONE.with(Quantity::GasFlow, Range { low: 0, high: 1 });
        let refused = Err(HardLimit::Range(Quantity::GasFlow));
        assert_eq!(hard.check(&procedure(100, 200, None)), refused);
        let hard = HardLimits::NONE.with(Quantity::Voltage, Range { low: 100, high: 200 });
        let waived = procedure(100, 200, None).judged_where_possible(Quantity::Voltage);
        assert_eq!(hard.check(&waived), Err(HardLimit::Waived(Quantity::Voltage)));
    }

    #[test]
    fn a_floor_must_be_there_and_no_lower() {
        let hard = HardLimits::NONE.with_floor(Quantity::Voltage, 90);
        for (floor, fits) in [(None, false), (Some(89), false), (Some(90), true), (Some(100), true)] {
            let expected = if fits { Ok(()) } else { Err(HardLimit::Floor(Quantity::Voltage)) };
            assert_eq!(hard.check(&procedure(100, 200, floor)), expected, "{floor:?}");
        }
    }

    #[test]
    fn one_step_beyond_any_bound_of_the_arc_is_refused() {
        let hard = HardLimits::USUAL;
        let with = |change: fn(&mut ArcSettings)| {
            let mut procedure = Procedure::new();
            change(&mut procedure.arc);
            hard.check(&procedure)
        };
        assert_eq!(hard.check(&Procedure::new()), Ok(()));
        assert_eq!(with(|arc| arc.current_on = Current::from_milli(100_000)), Ok(()));
        for (found, limit) in [
            (
                with(|arc| arc.current_on = Current::from_bits(Current::from_milli(100_000).to_bits() + 1)),
                HardLimit::ArcCurrent,
            ),
            (with(|arc| arc.current_off = Current::from_milli(4_999)), HardLimit::ArcCurrent),
            (with(|arc| arc.open_circuit = Voltage::from_milli(29_999)), HardLimit::OpenCircuit),
            (with(|arc| arc.strike_us = 3_000_001), HardLimit::StrikeTime),
            (with(|arc| arc.outage_join_us = 15_000_001), HardLimit::JoinTime),
            (with(|arc| arc.gap_join_us = 15_000_001), HardLimit::JoinTime),
            (with(|arc| arc.crater_fill_us = 15_000_001), HardLimit::JoinTime),
        ] {
            assert_eq!(found, Err(limit));
        }
        assert_eq!(
            HardLimits::NONE.with_polarity_required().check(&Procedure::new()),
            Err(HardLimit::Polarity)
        );
    }

    #[test]
    fn a_joint_must_be_watched_far_enough_down() {
        let hard = HardLimits::NONE.with_highest_cooling_until(Temperature::from_milli(150_000));
        for (until, fits) in
            [(None, false), (Some(150_000), true), (Some(150_001), false), (Some(90_000), true)]
        {
            let mut procedure = Procedure::new();
            procedure.cooling_until = until.map(Temperature::from_milli);
            let expected = if fits { Ok(()) } else { Err(HardLimit::CoolingUntil) };
            assert_eq!(hard.check(&procedure), expected, "{until:?}");
        }
    }

    #[test]
    fn no_alarm_waits_for_ever_or_is_made_mild() {
        for rule in Rule::ALL {
            let usual = rule.default_setting();
            let check =
                |setting| HardLimits::USUAL.check(&Procedure::new().with_alarm(rule, setting).unwrap());
            let mut late = usual;
            late.on_delay_us = 5_000_000;
            assert_eq!(check(late), Ok(()), "{}", rule.name());
            late.on_delay_us = 5_000_001;
            assert_eq!(check(late), Err(HardLimit::OnDelay(rule)));
            let mut mild = usual;
            mild.severity = Severity::Advise;
            let expected =
                if usual.severity > Severity::Advise { Err(HardLimit::Severity(rule)) } else { Ok(()) };
            assert_eq!(check(mild), expected, "{}", rule.name());
        }
    }
}
