//! Where in the flash of each chip the program, the journal and the procedure lie.
//!
//! Decides: how much of the flash each of them has.
//! Assumes: pages of [`PAGE`] bytes on both; `memory.x` of each program gives the linker what is left to it here, which
//! a test compares.
//! Never: lets the journal grow into the program, or the procedure into the journal.

use core::ops::Range;

/// What is erased at once, on either chip.
pub const PAGE: u32 = 4096;

/// The parts of a flash, in bytes from its start.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FlashMap {
    /// The whole of it.
    pub bytes: u32,
    /// What is written in one go.
    pub word: u32,
    /// The program.
    pub program: Range<u32>,
    /// Records of bands and joints.
    pub journal: Range<u32>,
    /// The procedure.
    pub procedure: Range<u32>,
}

/// Of the STM32L4R5: two banks of 1 MiB. The program runs from the first while the second is written, so that no
/// sample waits.
pub const STM32L4R5: FlashMap = FlashMap {
    bytes: 2048 * 1024,
    word: 8,
    program: 0..1024 * 1024,
    journal: 1024 * 1024..1024 * 1024 + 32 * PAGE,
    procedure: 1024 * 1024 + 32 * PAGE..1024 * 1024 + 36 * PAGE,
};

/// Of a board with an RP2350 and 4 MiB, the least that is usual: its last 144 KiB. The chip writes whole pages of 256
/// bytes, and any part of them.
pub const RP2350: FlashMap = FlashMap {
    bytes: 4096 * 1024,
    word: 1,
    program: 0..4096 * 1024 - 36 * PAGE,
    journal: 4096 * 1024 - 36 * PAGE..4096 * 1024 - 4 * PAGE,
    procedure: 4096 * 1024 - 4 * PAGE..4096 * 1024,
};
