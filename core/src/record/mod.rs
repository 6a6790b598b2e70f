//! What is kept of a weld: the sums of the open band, the record of a finished one, what was judged.
//!
//! Decides: nothing; each part is a file.
//! Never: holds a value against a range.

pub mod band;
pub(crate) mod bands;
pub(crate) mod cooling;
pub mod coverage;
pub(crate) mod crater_fill;
pub(crate) mod early_gas;
pub(crate) mod early_wire;
pub mod joint;
pub mod kept;
pub(crate) mod places;
pub(crate) mod preflow;
pub mod proof;
pub mod stamp;
pub(crate) mod tally;
mod turning;
pub(crate) mod work_after;
