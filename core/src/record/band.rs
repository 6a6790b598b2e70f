//! The record of one band: everything a person asks about it afterwards, in a fixed size.
//!
//! Decides: what is kept of a band.
//! Assumes: the trackers have been asked while the band was open.
//! Never: fills a field that could not be measured: it stays absent.

use crate::by_rule::ByRule;
use crate::record::proof::{Outcome, Proof};
use crate::rule::RuleSet;
use crate::units::{
    Current, Degrees, Duration, EnergyPerLength, EventRate, FlowRate, Length, Power, Temperature, Voltage,
    WeaveRate, WireSpeed,
};

/// Mean, extremes and sample standard deviation (n - 1) of a quantity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Spread<Q> {
    /// Mean, rounded to nearest.
    pub mean: Q,
    /// Smallest.
    pub minimum: Q,
    /// Largest.
    pub maximum: Q,
    /// Sample standard deviation; zero for a single reading.
    pub deviation: Q,
}

/// How the wire feed behind a band height was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum WireFeedSource {
    /// Measured.
    Measured,
    /// Estimated from the current with the wire melting formula.
    EstimatedFromCurrent,
}

/// How a band came to its end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Ending {
    /// The arc went out and stayed out.
    #[default]
    ArcOff,
    /// The data ended, or had a hole too long to join, while the arc burned.
    DataEnded,
    /// The arc went out for good before a full turn.
    BrokenOff,
    /// The carriage stepped on while the arc burned: the next band began without a strike.
    SteppedOn,
}

/// One band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BandRecord {
    /// The joint it is on, counted from 1 since the monitor started.
    pub joint: u16,
    /// Counted from 1 on each joint.
    pub band: u16,
    /// The group of bands it belongs to, from 0.
    pub group: u8,
    /// It is the first of its group: preheat is judged, and no step-over.
    pub opens_group: bool,
    /// The arc burned on from the band before: it has no strike and no gas pre-flow of its own.
    pub stepped_in: bool,
    /// First instant of arc, µs.
    pub start_us: u64,
    /// Last instant of arc, µs.
    pub end_us: u64,
    /// Time the arc burned, outages taken out, µs.
    pub arc_time_us: u64,
    /// Samples with the arc burning.
    pub samples: u32,
    /// How it ended.
    pub ending: Ending,
    /// The arc already burned in the first sample: its start was not seen.
    pub start_unseen: bool,
    /// Outages within the band.
    pub outages: u16,
    /// Current over all samples with the arc burning.
    pub current: Option<Spread<Current>>,
    /// Voltage over all samples with the arc burning.
    pub voltage: Option<Spread<Voltage>>,
    /// Gas flow over all samples with the arc burning.
    pub gas: Option<Spread<FlowRate>>,
    /// Mean of the products of voltage and current (instantaneous power).
    pub arc_power: Option<Power>,
    /// Arc power over surface speed.
    pub arc_energy: Option<EnergyPerLength>,
    /// Complete weave cycles a minute.
    pub weave_rate: Option<Spread<WeaveRate>>,
    /// Mean peak-to-peak weave.
    pub weave_width: Option<Length>,
    /// Furthest the weave centre went from where it was at the start, or from the line of the bands before; or
    /// the carriage from where it stood.
    pub weave_centre_drift: Option<Length>,
    /// Angle turned under the arc, in the direction of travel.
    pub turned: Option<Degrees>,
    /// Mean time of a turn over the band.
    pub turn_time: Option<Duration>,
    /// Angle welded past one full turn; negative when the turn was not completed.
    pub overlap: Option<Degrees>,
    /// Carriage step from the band before; less than nothing against the direction of the steps before.
    pub step_over: Option<Length>,
    /// Short circuits a second.
    pub short_circuits: Option<EventRate>,
    /// Mean wire feed.
    pub wire_feed: Option<WireSpeed>,
    /// How it was found.
    pub wire_feed_source: Option<WireFeedSource>,
    /// Height expected from the volume of metal laid.
    pub band_height: Option<Length>,
    /// Gas flow before the arc; held at the time the trace could show.
    pub gas_preflow: Option<Duration>,
    /// Gas flow after the arc.
    pub gas_postflow: Option<Duration>,
    /// Lowest coolant flow.
    pub coolant_minimum: Option<FlowRate>,
    /// Work temperature as the arc started.
    pub work_at_start: Option<Temperature>,
    /// Time each rule's value was outside the allowed range, µs.
    pub outside_us: ByRule<u32>,
    /// Rules that broke a limit in this band, or found a fault of the weld or of the measuring.
    pub violated: RuleSet,
    /// Rules that found no more than a value outside its recommended range.
    pub advised: RuleSet,
    /// What became of every limit.
    pub proof: ByRule<Proof>,
    /// What the band comes to.
    pub outcome: Outcome,
}

impl BandRecord {
    /// Nothing yet.
    pub const fn empty() -> Self {
        Self {
            joint: 0,
            band: 0,
            group: 0,
            opens_group: false,
            stepped_in: false,
            start_us: 0,
            end_us: 0,
            arc_time_us: 0,
            samples: 0,
            ending: Ending::ArcOff,
            start_unseen: false,
            outages: 0,
            current: None,
            voltage: None,
            gas: None,
            arc_power: None,
            arc_energy: None,
            weave_rate: None,
            weave_width: None,
            weave_centre_drift: None,
            turned: None,
            turn_time: None,
            overlap: None,
            step_over: None,
            short_circuits: None,
            wire_feed: None,
            wire_feed_source: None,
            band_height: None,
            gas_preflow: None,
            gas_postflow: None,
            coolant_minimum: None,
            work_at_start: None,
            outside_us: ByRule::all(0),
            violated: RuleSet::EMPTY,
            advised: RuleSet::EMPTY,
            proof: ByRule::all(Proof::NotAsked),
            outcome: Outcome::NotAsked,
        }
    }
}

impl Default for BandRecord {
    fn default() -> Self {
        Self::empty()
    }
}

impl BandRecord {
    /// Rules about the weld that were broken.
    pub fn broken(&self) -> RuleSet {
        self.violated.minus(RuleSet::ABOUT_MEASURING)
    }
    /// Rules that cost the band its proof: those whose limits were not judged for as long as they apply, and
    /// those that found a fault of the measuring.
    pub fn not_proven(&self) -> RuleSet {
        self.proof
            .rules_where(|proof| proof.outcome() == Outcome::NotProven)
            .union(self.violated.intersection(RuleSet::ABOUT_MEASURING))
    }
    /// What the band comes to, once every limit has its proof.
    pub(crate) fn work_out_outcome(&mut self, asks: bool) {
        let seen_whole = !self.start_unseen && matches!(self.ending, Ending::ArcOff | Ending::SteppedOn);
        self.outcome = if !self.broken().is_empty() {
            Outcome::Broken
        } else if !asks {
            Outcome::NotAsked
        } else if seen_whole && self.not_proven().is_empty() {
            Outcome::Proven
        } else {
            Outcome::NotProven
        };
    }
}
