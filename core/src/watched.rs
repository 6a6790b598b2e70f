//! What this build watches: which channels and rules its features leave in; of a quantity its row says so (`rule`).
//!
//! Decides: which channels belong to `motion`, `gas` and `heat`. A channel that is left out counts as not
//! wired, whatever the acquisition and the samples say: its rules are not judged, and say so.
//! Assumes: [`crate::procedure::Procedure::check`] refuses a limit on what is left out.
//! Never: changes while it runs.

use crate::rule::{Quantity, Rule};
use crate::sample::{Channel, ChannelSet};

/// With `motion` one, else none: as many of what follows the torch, the spindle or the carriage.
pub(crate) const MOTION: usize = cfg!(feature = "motion") as usize;
/// With `heat` one, else none.
pub(crate) const HEAT: usize = cfg!(feature = "heat") as usize;

/// What a build has only with a feature: `N` says so, as [`MOTION`] does. Without it it takes no place, and whatever
/// asks it compiles to nothing.
#[derive(Clone, Debug)]
pub(crate) struct Only<T, const N: usize>([T; N]);

impl<T: Copy, const N: usize> Only<T, N> {
    pub(crate) const fn new(value: T) -> Self {
        Self([value; N])
    }
    /// The value, and what stands for nothing where the build has none.
    #[inline]
    pub(crate) fn get(&self) -> T
    where
        T: Default,
    {
        self.0.first().copied().unwrap_or_default()
    }
}

impl<T, const N: usize> Only<T, N> {
    /// Of a value that cannot be copied.
    pub(crate) const fn of(values: [T; N]) -> Self {
        Self(values)
    }
    /// Changes it, where there is one.
    #[inline]
    pub(crate) fn set(&mut self, value: T) {
        if let Some(slot) = self.0.first_mut() {
            *slot = value;
        }
    }
    #[inline]
    pub(crate) fn as_ref(&self) -> Option<&T> {
        self.0.first()
    }
    #[inline]
    pub(crate) fn as_mut(&mut self) -> Option<&mut T> {
        self.0.first_mut()
    }
}

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
    /// So many rules have a setting in a procedure: see [`Quantity::IN_PROCEDURE`].
    pub(crate) const IN_PROCEDURE: usize = if cfg!(feature = "serde") { Self::COUNT } else { Self::WATCHED };
    /// The place of its setting.
    #[inline]
    pub(crate) const fn place_in_procedure(self) -> usize {
        if cfg!(feature = "serde") { self as usize } else { self.place() }
    }
    /// How many rules this build judges: each has a place of its own in what is kept by rule.
    pub(crate) const WATCHED: usize = {
        let (mut count, mut rest) = (0_usize, Self::ALL.as_slice());
        while let Some((rule, others)) = rest.split_first() {
            count = count.saturating_add(rule.is_watched() as usize);
            rest = others;
        }
        count
    };
    /// One where some rule has no such place.
    pub(crate) const LEFT_OUT: usize = (Self::WATCHED < Self::COUNT) as usize;
    /// Its place among the rules of this build, in their order; beyond them all for a rule that is left out.
    #[inline]
    pub(crate) const fn place(self) -> usize {
        const TABLE: [u8; Rule::COUNT] = rule_places();
        // With everything watched the order of the rules is that of the places.
        if Self::LEFT_OUT == 0 { self as usize } else { place_in(&TABLE, self as usize) }
    }
}

impl Quantity {
    /// So many quantities have a range in a procedure. One that goes over a wire or into flash says all that it said
    /// before, since host and board know it by its checksum: in a build with `serde` nothing is left out of it.
    pub(crate) const IN_PROCEDURE: usize = if cfg!(feature = "serde") { Self::COUNT } else { Self::WATCHED };
    /// One where some quantity has no such place.
    pub(crate) const WITHOUT_PLACE: usize = (Self::IN_PROCEDURE < Self::COUNT) as usize;
    /// The place of its range.
    #[inline]
    pub(crate) const fn place_in_procedure(self) -> usize {
        if cfg!(feature = "serde") { self as usize } else { self.place() }
    }
    /// How many quantities this build judges.
    pub(crate) const WATCHED: usize = {
        let (mut count, mut rest) = (0_usize, Self::ALL.as_slice());
        while let Some((quantity, others)) = rest.split_first() {
            count = count.saturating_add(quantity.is_watched() as usize);
            rest = others;
        }
        count
    };
    /// Its place among them, in their order; beyond them all for a quantity that is left out.
    #[inline]
    pub(crate) const fn place(self) -> usize {
        const TABLE: [u8; Quantity::COUNT] = quantity_places();
        if Self::WATCHED == Self::COUNT { self as usize } else { place_in(&TABLE, self as usize) }
    }
}

/// Stands for "no place".
const NO_PLACE: u8 = u8::MAX;

const fn place_in(table: &[u8], index: usize) -> usize {
    match table.split_at_checked(index) {
        Some((_, [place, ..])) => *place as usize,
        _ => NO_PLACE as usize,
    }
}

#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)] // evaluated when it is built
const fn rule_places() -> [u8; Rule::COUNT] {
    let mut table = [NO_PLACE; Rule::COUNT];
    let (mut at, mut place) = (0, 0);
    while at < Rule::COUNT {
        if Rule::ALL[at].is_watched() {
            table[at] = place;
            place += 1;
        }
        at += 1;
    }
    table
}

#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)] // evaluated when it is built
const fn quantity_places() -> [u8; Quantity::COUNT] {
    let mut table = [NO_PLACE; Quantity::COUNT];
    let (mut at, mut place) = (0, 0);
    while at < Quantity::COUNT {
        if Quantity::ALL[at].is_watched() {
            table[at] = place;
            place += 1;
        }
        at += 1;
    }
    table
}
