//! One joint: the unit of the trade, a number of bands in one or more places.
//!
//! Decides: what the bands of a joint come to together, and whether it is complete.
//! Assumes: it is told of every band, and of every alarm.
//! Never: is green because nothing was seen.

use crate::judge::judgement::Moment;
use crate::procedure::JointPlan;
use crate::record::band::{BandRecord, Ending};
use crate::record::proof::{Outcome, Proof};
use crate::rule::{Rule, RuleSet};
use crate::units::CoolingRate;

/// Why a joint is not complete, each alone enough to cost it its proof.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Shortfall {
    /// No band was laid.
    NoBand,
    /// Other channels show that something was welded where no arc was seen.
    WeldingUnseen,
    /// Fewer bands than the procedure gives.
    BandsMissing,
    /// More bands than the procedure gives.
    BandsExtra,
    /// The arc stopped for good before a full turn.
    BandBrokenOff,
    /// The data ended, or had a hole too long to join, within a band.
    DataEndedInBand,
    /// The arc already burned when the data began.
    StartUnseen,
    /// The measuring failed, or data are missing, between bands, so that an arc may have been missed.
    UnseenBetweenBands,
    /// The carriage does not show that each group got its bands, in a place of its own.
    GroupsNotProven,
}

impl Shortfall {
    /// All of them, in order.
    pub const ALL: [Self; 9] = [
        Self::NoBand,
        Self::WeldingUnseen,
        Self::BandsMissing,
        Self::BandsExtra,
        Self::BandBrokenOff,
        Self::DataEndedInBand,
        Self::StartUnseen,
        Self::UnseenBetweenBands,
        Self::GroupsNotProven,
    ];
    /// Its name in output.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NoBand => "no-band",
            Self::WeldingUnseen => "welding-unseen",
            Self::BandsMissing => "bands-missing",
            Self::BandsExtra => "bands-extra",
            Self::BandBrokenOff => "band-broken-off",
            Self::DataEndedInBand => "data-ended-in-band",
            Self::StartUnseen => "start-unseen",
            Self::UnseenBetweenBands => "unseen-between-bands",
            Self::GroupsNotProven => "groups-not-proven",
        }
    }
}

/// A set of reasons why a joint is not complete.
///
/// ```
/// use bandward::record::joint::{Shortfall, Shortfalls};
///
/// let why = Shortfalls::NONE.with(Shortfall::BandsMissing);
/// assert!(why.contains(Shortfall::BandsMissing) && !why.is_empty());
/// assert_eq!(Shortfall::BandsMissing.name(), "bands-missing");
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", serde(transparent))]
pub struct Shortfalls(u16);

impl Shortfalls {
    /// None.
    pub const NONE: Self = Self(0);
    /// With one more.
    #[must_use]
    pub const fn with(self, shortfall: Shortfall) -> Self {
        Self(self.0 | 1_u16.wrapping_shl(shortfall as u32))
    }
    /// Is it one of them?
    pub const fn contains(self, shortfall: Shortfall) -> bool {
        self.0 & 1_u16.wrapping_shl(shortfall as u32) != 0
    }
    /// Is there none?
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }
    /// Those there are, in order.
    pub fn iter(self) -> impl Iterator<Item = Shortfall> {
        Shortfall::ALL.into_iter().filter(move |&shortfall| self.contains(shortfall))
    }
}

/// A joint that is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct JointRecord {
    /// Counted from 1 since the monitor started.
    pub joint: u16,
    /// First instant of arc, µs; of a joint without a band, when it was begun.
    pub start_us: u64,
    /// When it ended, µs.
    pub end_us: u64,
    /// Bands laid.
    pub bands: u16,
    /// Bands the procedure gives; 0: none given.
    pub bands_expected: u16,
    /// What it comes to.
    pub outcome: Outcome,
    /// Rules about the weld that were broken, in any band or between them.
    pub broken: RuleSet,
    /// Rules that were not proven in some band.
    pub not_proven: RuleSet,
    /// Why it is not complete.
    pub shortfalls: Shortfalls,
    /// What became of the limit of how fast it cools after its last band.
    pub cooling: Proof,
    /// Its fastest fall of temperature after its last band, over ten minutes, where it was watched.
    pub fastest_cooling: Option<CoolingRate>,
}

impl JointRecord {
    /// Nothing yet.
    pub const fn empty() -> Self {
        Self {
            joint: 0,
            start_us: 0,
            end_us: 0,
            bands: 0,
            bands_expected: 0,
            outcome: Outcome::NotAsked,
            broken: RuleSet::EMPTY,
            not_proven: RuleSet::EMPTY,
            shortfalls: Shortfalls::NONE,
            cooling: Proof::NotAsked,
            fastest_cooling: None,
        }
    }
}

impl Default for JointRecord {
    fn default() -> Self {
        Self::empty()
    }
}

/// The joint under way.
#[derive(Clone, Copy, Debug)]
pub(crate) struct JointSoFar {
    record: JointRecord,
    worst_band: Outcome,
    /// For how long, all in all, two channels showed welding.
    welding_unseen_us: u32,
    /// For how long three have now.
    plainly_us: u32,
    /// When they last did; 0: never.
    plainly_at_us: u64,
}

/// What looks like welding for longer than this, without an arc, is welding that was not seen where bands are
/// missing, µs.
const WELDING_UNSEEN_US: u32 = 10_000_000;
/// And what plainly looks like it for so long at a stretch is, whatever else was laid, µs: gas before and after
/// an arc flows for a shorter time.
const PLAINLY_US: u32 = 15_000_000;
/// So many channels show it plainly.
const PLAIN_SIGNS: u8 = 3;

impl JointSoFar {
    pub(crate) const fn begin(joint: u16, now_us: u64) -> Self {
        Self {
            record: JointRecord { joint, start_us: now_us, end_us: now_us, ..JointRecord::empty() },
            worst_band: Outcome::NotAsked,
            welding_unseen_us: 0,
            plainly_us: 0,
            plainly_at_us: 0,
        }
    }
    pub(crate) const fn number(&self) -> u16 {
        self.record.joint
    }
    /// Has a band been laid?
    pub(crate) const fn has_bands(&self) -> bool {
        self.record.bands > 0
    }
    /// Bands finished.
    pub(crate) const fn bands(&self) -> u16 {
        self.record.bands
    }
    /// Is there nothing yet for which it cannot be complete?
    pub(crate) const fn is_whole(&self) -> bool {
        self.record.shortfalls.is_empty()
    }
    pub(crate) const fn broken(&self) -> RuleSet {
        self.record.broken
    }
    /// What the finished bands come to.
    pub(crate) const fn worst_band(&self) -> Outcome {
        self.worst_band
    }
    /// Has a band been laid, or was something plainly welded without being seen?
    pub(crate) const fn has_begun(&self) -> bool {
        self.has_bands() || self.plainly_at_us > 0
    }
    /// So many other channels show welding while no arc is seen.
    pub(crate) fn note_signs(&mut self, signs: u8, moment: &Moment) {
        if signs >= 2 {
            self.welding_unseen_us = self.welding_unseen_us.saturating_add(moment.elapsed_us);
        }
        if signs < PLAIN_SIGNS {
            self.plainly_us = 0;
            return;
        }
        self.plainly_us = self.plainly_us.saturating_add(moment.elapsed_us);
        if self.plainly_us >= PLAINLY_US {
            self.plainly_at_us = moment.now_us;
            self.short_of(Shortfall::WeldingUnseen);
        }
    }
    /// When its last band ended, µs.
    pub(crate) const fn last_band_us(&self) -> u64 {
        self.record.end_us
    }
    /// When something was last plainly welded unseen, µs; 0: never.
    pub(crate) const fn welding_unseen_at_us(&self) -> u64 {
        self.plainly_at_us
    }
    /// Data are missing for long enough that a band may lie there.
    pub(crate) const fn note_hole(&mut self) {
        self.short_of(Shortfall::UnseenBetweenBands);
    }
    /// An alarm was raised, or became worse.
    pub(crate) fn take_alarm(&mut self, rule: Rule, breaks: bool, in_band: bool) {
        if breaks {
            self.record.broken = self.record.broken.with(rule);
        } else if rule.is_about_measuring() && !in_band {
            self.short_of(Shortfall::UnseenBetweenBands);
        }
    }
    pub(crate) fn take_band(&mut self, band: &BandRecord) {
        let record = &mut self.record;
        if record.bands == 0 {
            record.start_us = band.start_us;
        }
        record.bands = record.bands.saturating_add(1);
        record.end_us = band.end_us;
        record.broken = record.broken.union(band.broken());
        record.not_proven = record.not_proven.union(band.not_proven());
        self.worst_band = self.worst_band.max(band.outcome);
        if band.start_unseen {
            self.short_of(Shortfall::StartUnseen);
        }
        match band.ending {
            Ending::DataEnded => self.short_of(Shortfall::DataEndedInBand),
            Ending::BrokenOff => self.short_of(Shortfall::BandBrokenOff),
            Ending::ArcOff | Ending::SteppedOn => {}
        }
    }
    /// A limit of the joint itself is broken.
    pub(crate) const fn broke(&mut self, rule: Rule) {
        self.record.broken = self.record.broken.with(rule);
    }
    /// How it cooled: with that it is done.
    pub(crate) fn take_cooling(&mut self, cooling: Proof, fastest: Option<CoolingRate>) {
        let record = &mut self.record;
        (record.cooling, record.fastest_cooling) = (cooling, fastest);
        match cooling.outcome() {
            Outcome::Broken => record.broken = record.broken.with(Rule::CoolingFast),
            Outcome::NotProven => record.not_proven = record.not_proven.with(Rule::CoolingFast),
            Outcome::NotAsked | Outcome::Proven => {}
        }
    }
    pub(crate) const fn short_of(&mut self, shortfall: Shortfall) {
        self.record.shortfalls = self.record.shortfalls.with(shortfall);
    }
    /// The record, as if the joint were done now.
    pub(crate) fn finish(mut self, now_us: u64, plan: &JointPlan, asks: bool) -> JointRecord {
        let (bands, expected) = (self.record.bands, plan.bands);
        if bands == 0 {
            self.short_of(Shortfall::NoBand);
        } else if bands < expected {
            self.short_of(Shortfall::BandsMissing);
        } else if expected > 0 && bands > expected {
            self.short_of(Shortfall::BandsExtra);
        }
        // A dry run before a joint that is complete is none.
        if self.welding_unseen_us > WELDING_UNSEEN_US && (bands == 0 || bands < expected) {
            self.short_of(Shortfall::WeldingUnseen);
        }
        let mut record = self.record;
        record.bands_expected = expected;
        record.end_us = record.end_us.max(now_us);
        record.outcome = if !record.broken.is_empty() || self.worst_band == Outcome::Broken {
            Outcome::Broken
        } else if !asks {
            Outcome::NotAsked
        } else if record.shortfalls.is_empty() {
            self.worst_band.max(record.cooling.outcome())
        } else {
            Outcome::NotProven
        };
        record
    }
}
