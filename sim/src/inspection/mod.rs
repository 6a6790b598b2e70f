//! The finished bands: what was found on them, against the procedure and against what was to be expected.
//!
//! Decides: the verdict on each finding, and the deposition efficiency that the measured heights speak for.
//! Assumes: gauges and thermometers are honest.
//! Never: replaces the inspector, nor calls a band sound that nobody looked at.

pub mod check;
mod cooling;
pub mod course;
pub mod efficiency;
pub mod gauge;
pub mod judge;
pub mod sheet;
mod student;

pub use check::{Check, Found, Verdict};
pub use judge::JudgedInspection;
pub use sheet::Inspection;
