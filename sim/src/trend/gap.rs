//! What the records of joints lack, which nobody should take for steady.
//!
//! Decides: which gaps are told.
//! Assumes: records as they were read.
//! Never: guesses what was meant.

use super::record::{Moment, Record};

/// Something that a record lacks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Gap {
    /// It has no band.
    NoBand {
        /// The joint, counted from 0.
        joint: usize,
    },
    /// Its beginning, or when it was welded, is no date or time, so the order of all joints is in doubt.
    NoTime {
        /// The joint, counted from 0.
        joint: usize,
        /// What stands there.
        told: String,
    },
    /// A reading cannot be true, and is left out.
    Impossible {
        /// The joint, counted from 0.
        joint: usize,
        /// Which reading.
        reading: String,
    },
}

impl Gap {
    /// The joint, counted from 0.
    pub const fn joint(&self) -> usize {
        match self {
            Self::NoBand { joint } | Self::NoTime { joint, .. } | Self::Impossible { joint, .. } => *joint,
        }
    }
    /// In words, after the joint.
    pub fn words(&self) -> String {
        match self {
            Self::NoBand { .. } => "no band in its record".to_owned(),
            Self::NoTime { told, .. } => {
                format!("`{told}` is no time; all joints stand in the order they were given")
            }
            Self::Impossible { reading, .. } => format!("{reading} cannot be true; it is left out"),
        }
    }
}

/// All gaps of records.
pub(super) fn of(records: &[Record]) -> impl Iterator<Item = Gap> {
    records.iter().enumerate().flat_map(|(joint, record)| {
        let no_time = record.begun().filter(|told| Moment::parse(told).is_none());
        let no_time = no_time.map(|told| Gap::NoTime { joint, told: told.to_owned() });
        let no_band = record.bands.is_empty().then_some(Gap::NoBand { joint });
        let impossible =
            record.impossible.iter().cloned().map(move |reading| Gap::Impossible { joint, reading });
        no_band.into_iter().chain(no_time).chain(impossible).collect::<Vec<_>>()
    })
}
