//! What a board keeps in its flash over a power cut: band records and the procedure.
//!
//! Decides: nothing; each part is a file.
//! Never: is called by the monitor; a board writes between samples, never while the arc burns.

pub mod journal;
pub mod log;
#[cfg(feature = "link")]
pub mod procedure_store;
