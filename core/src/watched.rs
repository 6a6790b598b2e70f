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
}

/// Places for what this build watches of a kind, one after another in the order of the kind.
macro_rules! places {
    ($kind:ident) => {
        impl $kind {
            /// How many of them this build watches.
            pub(crate) const WATCHED: usize = {
                let (mut count, mut rest) = (0_usize, Self::ALL.as_slice());
                while let Some((one, others)) = rest.split_first() {
                    count = count.saturating_add(one.is_watched() as usize);
                    rest = others;
                }
                count
            };
            /// One where some of them has no place.
            pub(crate) const LEFT_OUT: usize = (Self::WATCHED < Self::COUNT) as usize;
            /// Its place among those that this build watches; beyond them all for one that is left out.
            #[inline]
            pub(crate) const fn place(self) -> usize {
                const TABLE: [u8; $kind::COUNT] = {
                    let mut table = [NO_PLACE; $kind::COUNT];
                    let (mut slots, mut rest): (&mut [u8], &[$kind]) = (&mut table, &$kind::ALL);
                    let mut place = 0_u8;
                    while let (Some((slot, more)), Some((one, others))) =
                        (slots.split_first_mut(), rest.split_first())
                    {
                        if one.is_watched() {
                            *slot = place;
                            place = place.saturating_add(1);
                        }
                        (slots, rest) = (more, others);
                    }
                    table
                };
                // With everything watched a place is what it is among all.
                if Self::LEFT_OUT == 0 { self as usize } else { place_in(&TABLE, self as usize) }
            }
        }
    };
}

places!(Channel);
places!(Quantity);
places!(Rule);

/// Stands for "no place".
const NO_PLACE: u8 = u8::MAX;

const fn place_in(table: &[u8], index: usize) -> usize {
    match table.split_at_checked(index) {
        Some((_, [place, ..])) => *place as usize,
        _ => NO_PLACE as usize,
    }
}

/// How many of these this build watches.
pub(crate) const fn count_of(channels: &[Channel]) -> usize {
    let (mut count, mut rest) = (0_usize, channels);
    while let Some((channel, others)) = rest.split_first() {
        count = count.saturating_add(channel.is_watched() as usize);
        rest = others;
    }
    count
}

/// Those of them that this build watches, in their order; `N` as [`count_of`] says.
pub(crate) const fn here<const N: usize>(channels: &[Channel]) -> [Channel; N] {
    let (mut here, mut rest) = ([Channel::Current; N], channels);
    let mut slots = here.as_mut_slice();
    while let (Some((channel, others)), [slot, ..]) = (rest.split_first(), &mut *slots) {
        if channel.is_watched() {
            *slot = *channel;
            (_, slots) = slots.split_at_mut(1);
        }
        rest = others;
    }
    here
}

impl Channel {
    /// Those that this build watches, in order.
    pub(crate) const HERE: [Self; Self::WATCHED] = here(&Self::ALL);
}

/// Procedures have a place for all where they go over a wire or into flash: host and board know one by the checksum of
/// all that it says.
const ALL_IN_PROCEDURE: bool = cfg!(feature = "serde");

impl Rule {
    /// So many have a setting in a procedure.
    pub(crate) const IN_PROCEDURE: usize = if ALL_IN_PROCEDURE { Self::COUNT } else { Self::WATCHED };
    /// The place of its setting.
    #[inline]
    pub(crate) const fn place_in_procedure(self) -> usize {
        if ALL_IN_PROCEDURE { self as usize } else { self.place() }
    }
}

impl Quantity {
    /// So many have a range in a procedure.
    pub(crate) const IN_PROCEDURE: usize = if ALL_IN_PROCEDURE { Self::COUNT } else { Self::WATCHED };
    /// One where some of them has none.
    pub(crate) const WITHOUT_PLACE: usize = (Self::IN_PROCEDURE < Self::COUNT) as usize;
    /// The place of its range.
    #[inline]
    pub(crate) const fn place_in_procedure(self) -> usize {
        if ALL_IN_PROCEDURE { self as usize } else { self.place() }
    }
}
