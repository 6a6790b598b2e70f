//! What several of the checks in `tests/` share.

pub mod flash;
pub mod heard;
pub mod program;
