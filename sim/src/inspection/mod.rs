//! The finished bands: what was found on them, against the procedure and against what was to be expected.
//!
//! Decides: the verdict on each finding, and the deposition efficiency that the measured heights speak for.
//! Assumes: gauges and thermometers are honest.
//! Never: replaces the inspector, nor calls a band sound that nobody looked at.

mod cooling;
pub mod course;
pub mod efficiency;
mod gauge;
pub mod judge;
pub mod sheet;
mod student;

pub use judge::{Check, Found, JudgedInspection, Verdict};
pub use sheet::Inspection;
