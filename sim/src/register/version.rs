//! What tells a register from other files, and its schemas from each other.

/// Tells a register from other `SQLite` files: "band" in ASCII, where `SQLite` keeps the number of a program.
pub const APPLICATION_ID: i64 = 0x6261_6E64;
/// The version of the schema that this program writes.
pub const VERSION: i64 = STEPS as i64;
/// Steps that lead there from an empty file.
pub(super) const STEPS: usize = 5;
