//! A flash device in memory that holds its user to the rules and loses power on demand.
//!
//! Decides: the rules of NOR flash. Erasing sets whole pages to ones; programming happens in whole
//! words, clears bits only, and only in words that are all ones; everything lies on its boundary.
//! Assumes: power fails between two bytes, of a program or of an erase.
//! Never: forgives: a broken rule is an error, and so is everything after the power is gone.

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};

/// A device of `PAGES` pages of `PAGE` bytes, programmed in words of `WORD` bytes.
#[derive(Clone)]
pub struct Flash<const PAGES: usize, const PAGE: usize, const WORD: usize> {
    bytes: Vec<u8>,
    /// Bytes that may still be written or erased before the power fails.
    power: Option<u64>,
    dead: bool,
    /// Work done so far.
    pub counts: Counts,
}

/// Work done by a device.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Calls to read.
    pub reads: u64,
    /// Bytes programmed.
    pub bytes_programmed: u64,
    /// Bytes erased.
    pub bytes_erased: u64,
}

impl Counts {
    /// Bytes changed: the places where the power can fail.
    pub fn bytes_changed(&self) -> u64 {
        self.bytes_programmed + self.bytes_erased
    }
}

/// What went wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Beyond the end of the device.
    OutOfBounds,
    /// Not on a boundary.
    NotAligned,
    /// A word was programmed again without an erasure.
    ProgrammedTwice,
    /// The power is gone.
    NoPower,
}

impl NorFlashError for Fault {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Self::NotAligned => NorFlashErrorKind::NotAligned,
            _ => NorFlashErrorKind::Other,
        }
    }
}

impl<const PAGES: usize, const PAGE: usize, const WORD: usize> Default for Flash<PAGES, PAGE, WORD> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const PAGES: usize, const PAGE: usize, const WORD: usize> Flash<PAGES, PAGE, WORD> {
    /// Bytes in the device.
    pub const SIZE: usize = PAGES * PAGE;

    /// An erased device with power.
    pub fn new() -> Self {
        Self { bytes: vec![0xff; Self::SIZE], power: None, dead: false, counts: Counts::default() }
    }
    /// The power will fail when one byte more than this many is to be changed.
    #[must_use]
    pub fn failing_after(mut self, bytes: u64) -> Self {
        self.power = Some(bytes);
        self
    }
    /// Power is back; what is in the device is as it was.
    #[must_use]
    pub fn powered_again(mut self) -> Self {
        self.power = None;
        self.dead = false;
        self
    }
    /// Changes the bits of one byte that are set in `mask`, whatever the rules: the device is damaged.
    pub fn damage(&mut self, at: usize, mask: u8) {
        self.bytes[at] ^= mask;
    }
    /// Puts another byte in the place of one, whatever the rules.
    pub fn fill(&mut self, at: usize, byte: u8) {
        self.bytes[at] = byte;
    }
    /// What stands there.
    pub fn byte(&self, at: usize) -> u8 {
        self.bytes[at]
    }
    /// Is there power?
    pub fn has_power(&self) -> bool {
        !self.dead
    }
    fn check(&self, from: usize, to: usize, boundary: usize) -> Result<(), Fault> {
        if !self.has_power() {
            Err(Fault::NoPower)
        } else if from > to || to > Self::SIZE {
            Err(Fault::OutOfBounds)
        } else if !from.is_multiple_of(boundary) || !to.is_multiple_of(boundary) {
            Err(Fault::NotAligned)
        } else {
            Ok(())
        }
    }
    fn is_free(&self, word: usize) -> bool {
        self.bytes[word * WORD..(word + 1) * WORD].iter().all(|&byte| byte == 0xff)
    }
    fn spend(&mut self) -> Result<(), Fault> {
        match &mut self.power {
            Some(0) => {
                self.dead = true;
                Err(Fault::NoPower)
            }
            Some(left) => {
                *left -= 1;
                Ok(())
            }
            None => Ok(()),
        }
    }
}

impl<const PAGES: usize, const PAGE: usize, const WORD: usize> ErrorType for Flash<PAGES, PAGE, WORD> {
    type Error = Fault;
}

impl<const PAGES: usize, const PAGE: usize, const WORD: usize> ReadNorFlash for Flash<PAGES, PAGE, WORD> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Fault> {
        let from = offset as usize;
        self.check(from, from + bytes.len(), Self::READ_SIZE)?;
        bytes.copy_from_slice(&self.bytes[from..from + bytes.len()]);
        self.counts.reads += 1;
        Ok(())
    }
    fn capacity(&self) -> usize {
        Self::SIZE
    }
}

impl<const PAGES: usize, const PAGE: usize, const WORD: usize> NorFlash for Flash<PAGES, PAGE, WORD> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Fault> {
        let (from, to) = (from as usize, to as usize);
        self.check(from, to, PAGE)?;
        for at in from..to {
            self.spend()?;
            self.bytes[at] = 0xff;
            self.counts.bytes_erased += 1;
        }
        Ok(())
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Fault> {
        let from = offset as usize;
        self.check(from, from + bytes.len(), WORD)?;
        for (at, byte) in (from..).zip(bytes) {
            if at.is_multiple_of(WORD) && !self.is_free(at / WORD) {
                return Err(Fault::ProgrammedTwice);
            }
            self.spend()?;
            self.bytes[at] &= byte;
            self.counts.bytes_programmed += 1;
        }
        Ok(())
    }
}
