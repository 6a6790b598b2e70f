//! What several of the checks in `tests/` share.

pub mod browser;
pub mod emulator;
pub mod fake_board;
pub mod flash;
pub mod heard;
pub mod image;
pub mod made;
pub mod plain_joint;
pub mod program;
pub mod said;
pub mod second;
pub mod spoilt;
