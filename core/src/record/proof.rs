//! What became of each limit in one band: held, broken, or not proven and why.
//!
//! Decides: the outcomes there are, and how they add up: a band is as bad as its worst limit, a joint as
//! its worst band.
//! Never: takes what was not seen for good.

use crate::by_rule::ByRule;
use crate::rule::Rule;

/// What a band, or a joint, comes to. The later, the worse.
///
/// ```
/// use bandward::Outcome;
///
/// // A joint is as bad as its worst band.
/// let bands = [Outcome::Proven, Outcome::NotProven, Outcome::Proven];
/// assert_eq!(bands.into_iter().max(), Some(Outcome::NotProven));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Outcome {
    /// The procedure asks for nothing.
    #[default]
    NotAsked,
    /// Every limit was judged for as long as it applies, and held.
    Proven,
    /// Nothing is broken, and not everything was seen.
    NotProven,
    /// A limit was broken.
    Broken,
}

impl Outcome {
    /// `not asked`, `proven`, `not proven` or `broken`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NotAsked => "not asked",
            Self::Proven => "proven",
            Self::NotProven => "not proven",
            Self::Broken => "broken",
        }
    }
}

/// Why a limit was not judged for as long as it applies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Why {
    /// Too little was seen for a value: the band was too short, or what is measured never settled.
    #[default]
    Unsettled,
    /// A channel it needs is not wired, or a size it needs is not given.
    NoChannel,
    /// Samples come too slowly.
    RateTooLow,
    /// The steps of the readings are too coarse.
    TooCoarse,
    /// A channel it needs gave nothing that can be trusted.
    ChannelLost,
    /// The angle falls where it should grow, or grows where it should fall, on every band: the pipe turns
    /// the wrong way, or the encoder counts the other way; the acquisition does not say which.
    SenseUnknown,
    /// There was a hole in the data.
    Gap,
    /// The arc already burned when the data began.
    StartUnseen,
    /// The data ended before it could be judged.
    EndUnseen,
    /// The procedure lets its alarm, or one about the measuring, come so late that a fault would pass before it.
    DelayTooLong,
    /// A channel it needs did not move where a living meter must: it may be dead.
    Motionless,
    /// What was read around the strike lies on both sides of the limit, or what was read soon after does not fit it.
    Contradicted,
    /// In the minutes that are not judged it fell by more than is allowed: heat that spreads, or a plunge.
    FellEarly,
    /// The gas flowed already as the data began, or as the arc before went out, or a slow meter shows it so: when it
    /// began to flow for this arc is not known.
    FlowedBefore,
}

/// What became of the limits that one rule watches, in one band.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Proof {
    /// The procedure gives no such limit.
    #[default]
    NotAsked,
    /// It does not apply to this band: a step-over before the first, a preheat after it.
    NotApplicable,
    /// It was judged for as long as it applies, and held.
    Held {
        /// Share of the arc time judged, percent; the rest is the time a value needs to settle.
        judged_percent: u8,
    },
    /// It was broken.
    Broken {
        /// Share of the arc time judged, percent.
        judged_percent: u8,
    },
    /// It was not broken where it was judged, and was not judged for as long as it applies.
    NotProven {
        /// Share of the arc time judged, percent.
        judged_percent: u8,
        /// Why not for all of it.
        why: Why,
        /// It is to be judged only where the trace allows: it does not cost the band its proof.
        waived: bool,
    },
}

impl Proof {
    /// Share of the arc time judged, percent, where the limit applies.
    pub const fn judged_percent(self) -> Option<u8> {
        match self {
            Self::NotAsked | Self::NotApplicable => None,
            Self::Held { judged_percent }
            | Self::Broken { judged_percent }
            | Self::NotProven { judged_percent, .. } => Some(judged_percent),
        }
    }
    /// Why it is not proven.
    pub const fn why(self) -> Option<Why> {
        match self {
            Self::NotProven { why, .. } => Some(why),
            _ => None,
        }
    }
    /// What it makes of its band.
    pub const fn outcome(self) -> Outcome {
        match self {
            Self::NotAsked | Self::NotApplicable => Outcome::NotAsked,
            Self::Held { .. } | Self::NotProven { waived: true, .. } => Outcome::Proven,
            Self::NotProven { waived: false, .. } => Outcome::NotProven,
            Self::Broken { .. } => Outcome::Broken,
        }
    }
}

/// What was judged in the open band.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Judged {
    /// For how long each rule was judged, µs, and how often 2^32 µs were full.
    time_us: ByRule<u32>,
    full: ByRule<u8>,
    /// What first kept a rule from being judged.
    why: ByRule<Option<Why>>,
}

impl Judged {
    /// Nothing yet.
    pub(crate) const fn empty() -> Self {
        Self { time_us: ByRule::all(0), full: ByRule::all(0), why: ByRule::all(None) }
    }
}

impl Judged {
    #[inline]
    pub(crate) fn judged(&mut self, rule: Rule, elapsed_us: u32) {
        // One at least: a rule that is judged once, at a moment, has been judged.
        let (time_us, is_full) = self.time_us.get(rule).overflowing_add(elapsed_us.max(1));
        self.time_us.set(rule, time_us);
        if is_full {
            self.full.set(rule, self.full.get(rule).saturating_add(1));
        }
    }
    pub(crate) fn hindered(&mut self, rule: Rule, why: Why) {
        if self.why.get(rule).is_none() {
            self.why.set(rule, Some(why));
        }
    }
    pub(crate) fn time_us(&self, rule: Rule) -> u64 {
        u64::from(self.full.get(rule)) << 32 | u64::from(self.time_us.get(rule))
    }
    pub(crate) fn why(&self, rule: Rule) -> Option<Why> {
        self.why.get(rule)
    }
}
