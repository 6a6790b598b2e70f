//! What this build watches: which channels and rules its features leave in; of a quantity its row says so (`rule`).
//!
//! Decides: which channels belong to `motion`, `gas` and `heat`. A channel that is left out counts as not
//! wired, whatever the acquisition and the samples say: its rules are not judged, and say so.
//! Assumes: [`crate::procedure::Procedure::check`] refuses a limit on what is left out.
//! Never: changes while it runs.

use crate::rule::Rule;
use crate::sample::{Channel, ChannelSet};

/// No feature is left out.
const EVERYTHING: bool =
    cfg!(all(feature = "motion", feature = "transfer", feature = "gas", feature = "heat"));

impl Channel {
    /// Does this build watch the channel?
    pub const fn is_watched(self) -> bool {
        match self {
            Self::Current | Self::Voltage | Self::Wire => true,
            Self::Torch | Self::Spindle | Self::Carriage => cfg!(feature = "motion"),
            Self::Gas | Self::Coolant => cfg!(feature = "gas"),
            Self::Work => cfg!(feature = "heat"),
        }
    }
}

impl ChannelSet {
    /// The channels this build watches.
    pub const WATCHED: Self = {
        let (mut watched, mut rest) = (Self::EMPTY, Channel::ALL.as_slice());
        while let Some((channel, others)) = rest.split_first() {
            if channel.is_watched() {
                watched = watched.with(*channel);
            }
            rest = others;
        }
        watched
    };
}

impl Rule {
    /// Does this build judge the rule?
    pub const fn is_watched(self) -> bool {
        let is_judged = match self.watches() {
            Some((quantity, _)) => quantity.is_watched(),
            None => true,
        };
        is_judged && ChannelSet::WATCHED.contains_all(self.needs())
    }
    /// Rules of this build that have an alarm of their own.
    pub(crate) const PLACES: usize = {
        let (mut count, mut rest) = (0_usize, Self::ALL.as_slice());
        while let Some((rule, others)) = rest.split_first() {
            count = count.saturating_add((rule.is_watched() && !rule.is_about_a_channel()) as usize);
            rest = others;
        }
        count
    };
    /// The place of its alarm among them; beyond them all for a rule that has none.
    #[inline]
    pub(crate) fn place(self) -> usize {
        const TABLE: [u8; Rule::COUNT] = places();
        // With everything watched the order of the rules is that of the places.
        if EVERYTHING {
            return self as usize;
        }
        TABLE.get(self as usize).map_or(usize::MAX, |&place| usize::from(place))
    }
}

#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)] // evaluated when it is built
const fn places() -> [u8; Rule::COUNT] {
    let mut table = [u8::MAX; Rule::COUNT];
    let (mut at, mut place) = (0, 0);
    while at < Rule::COUNT {
        if Rule::ALL[at].is_watched() && !Rule::ALL[at].is_about_a_channel() {
            let is_in_order = place as usize == at || at == Rule::COUNT - 1;
            assert!(is_in_order || !EVERYTHING, "rules about channels stand together, before the last");
            table[at] = place;
            place += 1;
        }
        at += 1;
    }
    table
}
