//! What outlives a power cut, and what the link gives out of it.
//!
//! Decides: that bands and joints are kept, one after another, and that those of a bench test are another kind: nobody
//! takes one for a weld who does not ask for it.
//! Never: says where; that is the journal's. Works out a stamp: it is of whoever keeps the record.

use crate::record::band::BandRecord;
use crate::record::joint::JointRecord;
use crate::record::stamp::Stamp;

/// Longest record in bytes, in the postcard format, with what belongs to it.
#[cfg(any(feature = "link", feature = "journal"))]
pub(crate) const LONGEST: usize = 1024;

/// What is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[allow(clippy::large_enum_variant)] // a board has no heap to put the larger one on
pub enum Kept {
    /// A band.
    Band(BandRecord),
    /// A joint, after its bands.
    Joint(JointRecord),
    /// A band of a bench test: nobody welded.
    BenchBand(BandRecord),
    /// A joint of a bench test, after its bands.
    BenchJoint(JointRecord),
}

impl Kept {
    /// Was it a bench test?
    pub const fn is_bench(&self) -> bool {
        matches!(self, Self::BenchBand(_) | Self::BenchJoint(_))
    }
    /// As if it had been welded: for who looks at bench tests on purpose.
    #[must_use]
    pub const fn as_welded(self) -> Self {
        match self {
            Self::Band(band) | Self::BenchBand(band) => Self::Band(band),
            Self::Joint(joint) | Self::BenchJoint(joint) => Self::Joint(joint),
        }
    }
}

/// A record with its stamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Stamped {
    /// What was judged.
    pub record: Kept,
    /// When, and of which piece.
    pub stamp: Stamp,
}

impl From<Kept> for Stamped {
    /// Of which nothing was told.
    fn from(record: Kept) -> Self {
        Self { record, stamp: Stamp::NONE }
    }
}
