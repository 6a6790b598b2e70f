//! How the board is reached over Modbus.
//!
//! Decides: which addresses and speeds there are, and how long the silence is that ends a frame: "MODBUS over Serial
//! Line" V1.02, an open standard, from memory.

use super::request::BROADCAST;

/// A character on the line: start, eight bits, parity or a second stop, stop.
const BITS_A_CHARACTER: u64 = 11;
/// Above this the silence between frames no longer shrinks with the characters.
const FAST_BAUD: u32 = 19_200;
const FAST_SILENCE_US: u32 = 1750;

/// Why settings cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SettingsError {
    /// A board has an address of 1 to 247: 0 is told to all, those above are reserved.
    Address,
    /// The line has 300 to 1,000,000 baud.
    Baud,
}

/// How the board is reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    pub(super) address: u8,
    pub(super) character_us: u32,
    silence_us: u32,
}

impl Settings {
    /// By this address, on a line of this speed.
    ///
    /// # Errors
    /// [`SettingsError`].
    pub const fn try_new(address: u8, baud: u32) -> Result<Self, SettingsError> {
        if address == BROADCAST || address > 247 {
            return Err(SettingsError::Address);
        }
        if baud < 300 || baud > 1_000_000 {
            return Err(SettingsError::Baud);
        }
        let silence_us = if baud > FAST_BAUD { FAST_SILENCE_US } else { half_characters_us(7, baud) };
        Ok(Self { address, character_us: half_characters_us(2, baud), silence_us })
    }
    /// A frame has ended once the line was silent for so long, µs.
    pub const fn silence_us(&self) -> u32 {
        self.silence_us
    }
}

/// The time of so many half characters, µs, rounded up.
const fn half_characters_us(halves: u64, baud: u32) -> u32 {
    (halves * BITS_A_CHARACTER * 1_000_000).div_ceil(2 * baud as u64) as u32
}
