//! What several of the checks in `tests/` share.

pub mod browser;
pub mod flash;
pub mod heard;
pub mod program;
