//! The faults: what is wrong, how large, when, and what should be said of it.
//!
//! Decides: a fault's size, shape, place and strength at each instant.
//! Assumes: sizes are of the thing that breaks (volts at the source, share of the wire), not of what is read.
//! Never: knows how a monitor finds it.

use super::kinds::{FACTS, Facts, Kind};
use super::lies;
use super::random::Chance;
use super::shop;
use bandward::Channel;

/// How a fault comes and goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Shape {
    /// At once, for some seconds.
    Step,
    /// Growing, then held.
    Ramp,
    /// On for 3 s, off for 3 s.
    Intermittent,
    /// With the pipe, on every band.
    OnceATurn,
    /// All along one band.
    Band,
    /// From the second band on, to the end of the trace.
    Onwards,
    /// All along the joint.
    Joint,
    /// One act done wrongly.
    Act,
}

impl Shape {
    /// Its name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Step => "step",
            Self::Ramp => "ramp",
            Self::Intermittent => "intermittent",
            Self::OnceATurn => "once a turn",
            Self::Band => "a band",
            Self::Onwards => "from a band on",
            Self::Joint => "the joint",
            Self::Act => "one act",
        }
    }
}

/// One fault put into a joint.
#[derive(Clone, Copy, Debug)]
pub struct Fault {
    /// What is wrong.
    pub kind: Kind,
    /// How it comes and goes.
    pub shape: Shape,
    /// 0 just past the limit, 1 clear, 2 gross.
    pub rank: usize,
    /// Band, from 1; the one it happens in, or before which it happens.
    pub band: usize,
    /// Where in the band it begins, degrees welded.
    pub from_deg: f64,
    /// How long it lasts where it does not fill a band, s.
    pub lasts_s: f64,
    /// The channel that a lying sensor feeds.
    pub channel: Option<Channel>,
}

impl Fault {
    /// One of this kind, shape and rank, anywhere in a joint.
    pub fn drawn(
        kind: Kind,
        shape: Shape,
        rank: usize,
        channel: Option<Channel>,
        chance: &mut Chance,
    ) -> Self {
        let first = if FACTS[kind as usize].first_band_only { 1 } else { 2 };
        let last =
            if FACTS[kind as usize].first_band_only || shape == Shape::Onwards { first } else { shop::BANDS };
        let band = first + (chance.unit() * (last + 1 - first) as f64) as usize;
        let lasts_s = match (shape, kind) {
            (Shape::Step, Kind::ChuckSlip | Kind::EncoderLosing) => 3.0,
            (Shape::Step, Kind::ChuckStall) => [4.0, 6.0, 10.0][rank],
            (Shape::Step, Kind::ArcOut) => facts(kind).sizes[rank],
            (Shape::Step, _) => chance.between(15.0, 28.0),
            (Shape::Ramp, _) => 55.0,
            _ => 36.0,
        };
        Self { kind, shape, rank, band, from_deg: chance.between(50.0, 130.0), lasts_s, channel }
    }
    /// What is known of its kind.
    pub fn facts(&self) -> &'static Facts {
        facts(self.kind)
    }
    /// Its size in the unit of its kind.
    pub fn size(&self) -> f64 {
        self.facts().sizes[self.rank]
    }
    /// Its name in tables: the kind, and the channel of a lying sensor.
    pub fn name(&self) -> String {
        match self.channel {
            Some(channel) => format!("{} ({})", self.facts().name, channel.name()),
            None => self.facts().name.to_owned(),
        }
    }
    /// The rules any of which tells it: those of its kind, and for a lying sensor those of its channel, since
    /// a reading that stands at zero may well be what it shows.
    pub fn rules(&self) -> Vec<&'static str> {
        let of_channel = self.channel.map_or(&[][..], lies::rules);
        self.facts().rules.iter().chain(of_channel).copied().collect()
    }
    /// The causes any of which names it.
    pub fn causes(&self) -> Vec<&'static str> {
        let of_channel = self.channel.map_or(&[][..], lies::causes);
        self.facts().causes.iter().chain(of_channel).copied().collect()
    }
    /// Is it to be seen at this rate? A weave wants eight rows a cycle, also the fastest.
    pub fn can_be_seen_at(&self, rate_hz: f64) -> bool {
        let fastest_hz = shop::WEAVE_PER_MIN / 60.0 * 1.8;
        let of_weave = matches!(
            self.kind,
            Kind::WeaveSlow
                | Kind::WeaveFast
                | Kind::WeaveNarrow
                | Kind::WeaveWide
                | Kind::WeaveStopped
                | Kind::WeaveCollapsed
                | Kind::WeaveWanders
        );
        !of_weave || rate_hz >= 8.0 * fastest_hz
    }
    /// Strength from -1 to 1, `age_s` after it began, at an angle of the pipe; 0 once it is over.
    pub fn strength(&self, age_s: f64, pipe_deg: f64) -> f64 {
        let rise_s = 0.75 * self.lasts_s;
        match self.shape {
            Shape::OnceATurn => (pipe_deg - self.from_deg).to_radians().cos(),
            Shape::Band | Shape::Onwards | Shape::Joint | Shape::Act => 1.0,
            _ if age_s > self.lasts_s => 0.0,
            Shape::Step => 1.0,
            Shape::Ramp => (age_s / rise_s).min(1.0),
            Shape::Intermittent => f64::from(age_s % 6.0 < 3.0),
        }
    }
}

/// What is known of a kind.
pub fn facts(kind: Kind) -> &'static Facts {
    &FACTS[kind as usize]
}
