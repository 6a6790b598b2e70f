//! What can go wrong on a joint.
//!
//! Decides: the kinds of fault, which rule each should raise, what its size means and how it comes on.
//! Assumes: nothing.
//! Never: says how a fault acts; that is `effects`.

use crate::input::unit::Dimension;
use bandward::{Channel, Rule};
use std::ops::RangeInclusive;

/// How a fault comes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Course {
    /// At once (within some tenths of a second), and goes as it came.
    Sudden,
    /// Straight from nothing at its start to its full size at its end.
    Creeping,
}

/// When in a band a fault acts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// For a stretch of the weld.
    Weld,
    /// From making ready until the arc starts.
    BeforeArc,
    /// Over the whole band, from making ready until the gas stops.
    WholeBand,
    /// From the end of the arc.
    AfterArc,
    /// From the end of the last band on, while the joint cools.
    AfterJoint,
}

/// What there is to know about a kind of fault.
#[derive(Clone, Copy, Debug)]
pub struct Description {
    /// Name in scenario and truth files.
    pub name: &'static str,
    /// The rule it should raise, if one.
    pub rule: Option<Rule>,
    /// What its size measures: the value the rule's quantity goes to, or another figure named in
    /// `size_means`; `None` for a fault that has no size.
    pub size: Option<Dimension>,
    /// What its size means, in words.
    pub size_means: &'static str,
    /// How it comes on.
    pub course: Course,
    /// When it acts.
    pub stage: Stage,
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident $name:literal $rule:expr, $size:expr, $means:literal, $course:ident, $stage:ident;)*) => {
        /// A kind of fault.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum Kind { $($(#[$doc])* $kind,)* }

        impl Kind {
            /// All of them; the first of a rule is the one meant when only the rule is named.
            pub const ALL: &'static [Self] = &[$(Self::$kind,)*];
            /// What there is to know about it.
            pub const fn description(self) -> Description {
                match self {
                    $(Self::$kind => Description {
                        name: $name, rule: $rule, size: $size, size_means: $means,
                        course: Course::$course, stage: Stage::$stage,
                    },)*
                }
            }
        }
    };
}

use Dimension as D;
use Rule as R;

kinds! {
    /// The source is set too low.
    VoltageSetLow "voltage-set-low" Some(R::VoltageLow), Some(D::Voltage), "mean arc voltage", Sudden, Weld;
    /// The source is set too high.
    VoltageSetHigh "voltage-set-high" Some(R::VoltageHigh), Some(D::Voltage), "mean arc voltage", Sudden, Weld;
    /// The wire feeder is set too low.
    FeedSetLow "feed-set-low" Some(R::CurrentLow), Some(D::Current), "mean current", Sudden, Weld;
    /// The wire feeder is set too high.
    FeedSetHigh "feed-set-high" Some(R::CurrentHigh), Some(D::Current), "mean current", Sudden, Weld;
    /// The source sags below what the wire needs.
    SourceSagging "source-sagging" Some(R::TransferLowVoltage), Some(D::Voltage), "mean arc voltage", Sudden, Weld;
    /// The gas does not suit the wire: large drops bridge to the pool.
    GasMixtureWrong "gas-mixture-wrong" Some(R::TransferShortCircuits), Some(D::EventRate), "short circuits a second", Sudden, Weld;
    /// A leak or a kinked hose.
    GasLeak "gas-leak" Some(R::GasLow), Some(D::Flow), "gas flow", Sudden, Weld;
    /// The regulator lets too much through.
    GasOpened "gas-opened" Some(R::GasHigh), Some(D::Flow), "gas flow", Sudden, Weld;
    /// The gas valve opens late.
    GasValveLate "gas-valve-late" Some(R::GasPreflow), Some(D::Duration), "time from valve to arc", Sudden, BeforeArc;
    /// The gas valve shuts early.
    GasValveEarly "gas-valve-early" Some(R::GasPostflow), Some(D::Duration), "time from arc to valve", Sudden, AfterArc;
    /// The weave runs slowly or stands (0).
    WeaveSlow "weave-slow" Some(R::WeaveRateLow), Some(D::Rate), "weave cycles a minute", Sudden, Weld;
    /// The weave runs fast.
    WeaveFast "weave-fast" Some(R::WeaveRateHigh), Some(D::Rate), "weave cycles a minute", Sudden, Weld;
    /// The weave stroke is too short.
    WeaveNarrow "weave-narrow" Some(R::WeaveWidthLow), Some(D::Length), "weave width", Sudden, Weld;
    /// The weave stroke is too long.
    WeaveWide "weave-wide" Some(R::WeaveWidthHigh), Some(D::Length), "weave width", Sudden, Weld;
    /// The weave slides along the joint.
    WeaveWandering "weave-wandering" Some(R::WeaveCentreDrift), Some(D::Length), "distance of the weave centre from its place", Sudden, Weld;
    /// The pipe turns fast.
    TurningFast "turning-fast" Some(R::TurnTimeFast), Some(D::Duration), "turn time", Sudden, Weld;
    /// The pipe turns slowly.
    TurningSlow "turning-slow" Some(R::TurnTimeSlow), Some(D::Duration), "turn time", Sudden, Weld;
    /// The pipe slips in the chuck.
    ChuckSlip "chuck-slip" Some(R::SpindleSlip), Some(D::Share), "share of the speed that is lost", Sudden, Weld;
    /// The drive of the chuck stands still.
    ChuckStall "chuck-stall" Some(R::SpindleStall), None, "", Sudden, Weld;
    /// The carriage steps too little before the band.
    StepShort "step-short" Some(R::StepOverLow), Some(D::Length), "carriage step", Sudden, BeforeArc;
    /// The carriage steps too far before the band.
    StepLong "step-long" Some(R::StepOverHigh), Some(D::Length), "carriage step", Sudden, BeforeArc;
    /// The arc is stopped too soon after one turn.
    StoppedEarly "stopped-early" Some(R::OverlapShort), Some(D::Angle), "angle welded past one turn", Sudden, AfterArc;
    /// The arc goes out and is struck again.
    ArcOut "arc-out" Some(R::ArcOutage), None, "", Sudden, Weld;
    /// The leads are swapped.
    LeadsSwapped "leads-swapped" Some(R::PolarityWrong), None, "", Sudden, WholeBand;
    /// The coolant pump loses flow.
    CoolantLost "coolant-lost" Some(R::CoolantLow), Some(D::Flow), "coolant flow", Sudden, Weld;
    /// The band is started on work that is too hot.
    WorkHot "work-hot" Some(R::InterpassHigh), Some(D::Temperature), "work temperature as the arc starts", Sudden, BeforeArc;
    /// The band is started on work that is too cold.
    WorkCold "work-cold" Some(R::PreheatLow), Some(D::Temperature), "work temperature as the arc starts", Sudden, BeforeArc;
    /// A reading stands still to the last bit.
    ReadingFrozen "reading-frozen" Some(R::SignalStuck), None, "", Sudden, Weld;
    /// A reading goes to the end of its sensor's range.
    ReadingRailed "reading-railed" Some(R::SignalRailed), None, "", Sudden, Weld;
    /// A channel gives no reading.
    ReadingMissing "reading-missing" Some(R::SignalMissing), None, "", Sudden, Weld;
    /// An instrument shows zero: its cable is off, and its amplifier is not.
    ReadingDead "reading-dead" Some(R::SignalImplausible), None, "", Sudden, Weld;
    /// Rows are missing from the trace.
    RowsMissing "rows-missing" Some(R::SignalLate), None, "", Sudden, Weld;
    /// The torch creeps up, or the pipe runs away from it: longer stick-out, fewer amps.
    TorchCreepingUp "torch-creeping-up" Some(R::CurrentLow), Some(D::Current), "mean current in the end", Creeping, Weld;
    /// The feed rolls wear: the wire slips more and more.
    WireSlipping "wire-slipping" Some(R::CurrentLow), Some(D::Current), "mean current in the end", Creeping, Weld;
    /// The gas bottle runs out.
    BottleRunningOut "bottle-running-out" Some(R::GasLow), Some(D::Flow), "gas flow in the end", Creeping, Weld;
    /// The weave drive slips more and more.
    WeaveDriveSlipping "weave-drive-slipping" Some(R::WeaveRateLow), Some(D::Rate), "weave cycles a minute in the end", Creeping, Weld;
    /// The screw of the weave drive works loose: more and more play.
    WeaveScrewLoosening "weave-screw-loosening" Some(R::WeaveWidthLow), Some(D::Length), "weave width in the end", Creeping, Weld;
    /// The contact tip wears: the wire touches it now here, now there, and current and voltage flutter.
    ContactTipWear "contact-tip-wear" None, Some(D::Length), "wander of the point of contact, standard deviation, in the end", Creeping, Weld;
    /// Wind heaves arc and pool.
    Wind "wind" None, Some(D::Length), "heaving of arc and pool, standard deviation", Sudden, Weld;
    /// The encoder loses counts.
    EncoderLosingCounts "encoder-losing-counts" Some(R::SpindleSlip), Some(D::Share), "share of the counts that is lost", Sudden, Weld;
    /// The joint cools in the wind after its last band, whatever it should be put into.
    CooledUncovered "cooled-uncovered" Some(R::CoolingFast), Some(D::WindSpeed), "wind across the joint as it cools", Sudden, AfterJoint;
}

impl Kind {
    /// The kind of this name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|kind| kind.description().name == name)
    }
    /// The kind meant when only a rule is named; `None` where no kind of fault is made for the rule, or one that shows
    /// only in a trace that goes on for an hour after the joint.
    pub fn of_rule(rule: Rule) -> Option<Self> {
        Self::within_bands().find(|kind| kind.description().rule == Some(rule))
    }
    /// Those that act while the bands are laid: every trace of a joint can show them.
    pub fn within_bands() -> impl Iterator<Item = Self> {
        Self::ALL.iter().copied().filter(|kind| kind.description().stage != Stage::AfterJoint)
    }
    /// The rules for which there is a kind of fault, by name.
    pub fn rules() -> Vec<&'static str> {
        Rule::ALL.into_iter().filter(|&rule| Self::of_rule(rule).is_some()).map(Rule::name).collect()
    }
    /// Sizes that mean something, in the house unit of its size: wide enough for all machines, narrow
    /// enough that the model stands (common practice, no source).
    pub const fn possible_sizes(self) -> RangeInclusive<f64> {
        match (self, self.description().size) {
            (Self::TurningFast | Self::TurningSlow, _) => 5.0..=3600.0,
            // What a burner reaches, and what no joint is too hot at.
            (Self::WorkHot, _) => 100.0..=600.0,
            (_, Some(Dimension::WindSpeed)) => 0.5..=30.0,
            (_, Some(Dimension::Voltage)) => 10.0..=60.0,
            (_, Some(Dimension::Current)) => 50.0..=1000.0,
            (_, Some(Dimension::EventRate)) => 0.1..=150.0,
            (_, Some(Dimension::Rate)) => 0.0..=300.0,
            (_, Some(Dimension::Duration)) => 0.0..=600.0,
            (_, Some(Dimension::Angle)) => 0.0..=360.0,
            (_, Some(Dimension::Temperature)) => -50.0..=1000.0,
            (_, Some(Dimension::Share)) => 0.0..=1.0,
            (_, _) => 0.0..=200.0,
        }
    }
    /// The only band of `bands` laid under one arc that it can be in; `None` where any will do.
    pub const fn band_under_one_arc(self, bands: u16) -> Option<u16> {
        match self {
            Self::GasValveLate | Self::WorkHot | Self::WorkCold => Some(1),
            Self::GasValveEarly | Self::StoppedEarly | Self::CooledUncovered => Some(bands),
            _ => None,
        }
    }
    /// Is it a fault of one channel's instrument?
    pub const fn needs_channel(self) -> bool {
        matches!(self, Self::ReadingFrozen | Self::ReadingRailed | Self::ReadingMissing | Self::ReadingDead)
    }
}

/// Where a stretch of the weld begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// This long after the arc start, s.
    Seconds(f64),
    /// At this angle from the start of the band, degrees.
    Degrees(f64),
}

/// One fault of a joint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// What goes wrong.
    pub kind: Kind,
    /// On which joint, from 1.
    pub joint: u16,
    /// In which band of it, from 1.
    pub band: u16,
    /// Where it begins; only a fault of [`Stage::Weld`] asks.
    pub start: Start,
    /// How long it lasts, s, to the end of the arc at most; only a fault of [`Stage::Weld`] asks.
    pub duration_s: f64,
    /// How large, in the house unit of its size.
    pub size: f64,
    /// In which channel, for a fault of an instrument.
    pub channel: Option<Channel>,
}

/// A sudden fault needs this long to come and to go, s, and no more than a quarter of its time.
const SUDDEN_S: f64 = 0.3;
/// A pipe breaks loose in this time, s.
const SLIP_S: f64 = 0.1;
/// A weave slides no faster than this, mm/s.
const SLIDE_MM_PER_S: f64 = 0.8;

impl Fault {
    /// How much of the fault acts, 0 to 1, when it has lasted `lasted_s` and the weld would end
    /// `weld_s` after its beginning.
    pub fn share(&self, lasted_s: f64, weld_s: f64) -> f64 {
        let whole_s = self.duration_s.min(weld_s);
        if self.kind.description().course == Course::Creeping {
            return (lasted_s / whole_s).clamp(0.0, 1.0);
        }
        if self.start == Start::Seconds(0.0) {
            return 1.0;
        }
        let ease_s = match self.kind {
            Kind::ChuckSlip => SLIP_S,
            Kind::WeaveWandering => (self.size / SLIDE_MM_PER_S).max(SUDDEN_S),
            _ => SUDDEN_S.min(whole_s / 4.0),
        };
        (lasted_s / ease_s).min((self.duration_s - lasted_s) / ease_s).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rule_without_a_kind_watches_a_quantity_and_every_name_is_its_own() {
        for rule in Rule::ALL {
            match Kind::of_rule(rule) {
                Some(kind) => assert_eq!(kind.description().rule, Some(rule)),
                // Such a rule is tried by a limit short of what a good joint reads.
                None => assert!(rule.watches().is_some() || rule == Rule::SpindleReversed, "{}", rule.name()),
            }
        }
        for &kind in Kind::ALL {
            assert_eq!(Kind::from_name(kind.description().name), Some(kind));
        }
        assert_eq!(Kind::from_name("Gas-Leak"), None);
    }
}
