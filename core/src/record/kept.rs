//! What outlives a power cut, and what the link gives out of it.
//!
//! Decides: that bands and joints are kept, one after another.
//! Never: says where; that is the journal's.

use crate::record::band::BandRecord;
use crate::record::joint::JointRecord;

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
}
