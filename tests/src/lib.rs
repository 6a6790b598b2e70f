//! What several of the checks in `tests/` share.

pub mod axe;
pub mod broker;
pub mod browser;
pub mod drawn;
pub mod driven;
pub mod emulator;
pub mod fake_board;
pub mod flash;
pub mod heard;
pub mod host_board;
pub mod host_machine;
pub mod image;
pub mod line;
pub mod logged;
pub mod made;
pub mod many_links;
pub mod plain_joint;
pub mod program;
pub mod registered;
pub mod report_command;
pub mod said;
pub mod second;
pub mod served;
pub mod shop;
pub mod spoilt;
pub mod watched_flash;
