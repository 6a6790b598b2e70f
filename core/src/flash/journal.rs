//! Records of bands and joints that outlive a power cut.
//!
//! Decides: how a record is stored: the version of its form, its number and the record in the postcard
//! format, then the CRC-32/ISO-HDLC of all that. Numbers count on over power cuts and joints, so that
//! nobody takes one joint's band for another's.
//! Assumes: [`crate::flash::log`] keeps whole entries.
//! Never: repeats a number that can still be read; takes an entry of another form, or a damaged one, for a
//! record.

use crate::checksum::crc;
use crate::flash::log::{Log, LogError};
pub use crate::record::kept::Kept;
use core::ops::{ControlFlow, Range};
use embedded_storage::nor_flash::NorFlash;

/// Raised with every change of [`crate::BandRecord`] or [`crate::JointRecord`]; entries of another form are passed over.
pub const FORM: u8 = 3;

/// Longest entry in bytes.
const LONGEST_ENTRY: usize = crate::record::kept::LONGEST;

const CRC_BYTES: usize = size_of::<u32>();

/// The journal of one board.
pub struct Journal<F: NorFlash> {
    log: Log<F>,
    next: u32,
}

impl<F: NorFlash> Journal<F> {
    /// Opens the journal in `range` of `flash` (see [`Log::new`]) and looks where it ended.
    ///
    /// # Errors
    /// [`LogError::Region`] or [`LogError::Flash`]; never because of what is in the flash.
    pub fn open(flash: F, range: Range<u32>) -> Result<Self, LogError> {
        let mut journal = Self { log: Log::new(flash, range)?, next: 0 };
        let mut next = 0;
        journal.read(0, |number, _| next = number.saturating_add(1))?;
        journal.next = next;
        Ok(journal)
    }
    /// Keeps a record and returns its number; the oldest are given up where there is no room.
    ///
    /// # Errors
    /// [`LogError::TooLarge`] where a page of the flash cannot hold a record, [`LogError::Flash`].
    pub fn append(&mut self, record: &Kept) -> Result<u32, LogError> {
        let mut entry = [0; LONGEST_ENTRY];
        let number = self.next;
        let length =
            postcard::to_slice(&(FORM, number, record), &mut entry).map_err(|_| LogError::TooLarge)?.len();
        let sum = crc(entry.get(..length).unwrap_or_default()).to_le_bytes();
        let whole = length.saturating_add(CRC_BYTES);
        entry.get_mut(length..whole).ok_or(LogError::TooLarge)?.copy_from_slice(&sum);
        self.log.append(entry.get(..whole).unwrap_or_default())?;
        self.next = number.saturating_add(1);
        Ok(number)
    }
    /// Shows every kept record with a number of at least `from`, the oldest first.
    ///
    /// # Errors
    /// [`LogError::Flash`].
    pub fn read(&mut self, from: u32, mut visitor: impl FnMut(u32, &Kept)) -> Result<(), LogError> {
        self.log.visit(&mut [0; LONGEST_ENTRY], |entry| {
            if let Some((number, record)) = decode(entry)
                && number >= from
            {
                visitor(number, &record);
            }
            ControlFlow::Continue(())
        })
    }
    /// The oldest kept record with a number of at least `from`, and its number.
    ///
    /// # Errors
    /// [`LogError::Flash`].
    pub fn first_from(&mut self, from: u32) -> Result<Option<(u32, Kept)>, LogError> {
        let mut first = None;
        self.log.visit(&mut [0; LONGEST_ENTRY], |entry| {
            first = decode(entry).filter(|(number, _)| *number >= from);
            if first.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        })?;
        Ok(first)
    }
    /// Were its records beyond repair since the last time this was asked, so that all of them were given up?
    pub const fn take_erased(&mut self) -> bool {
        self.log.take_erased()
    }
    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.log.into_flash()
    }
}

/// The record of an entry that is whole and of this form.
fn decode(entry: &[u8]) -> Option<(u32, Kept)> {
    let (body, sum) = entry.split_last_chunk::<CRC_BYTES>()?;
    if crc(body) != u32::from_le_bytes(*sum) {
        return None;
    }
    let (form, number, record) = postcard::from_bytes::<(u8, u32, Kept)>(body).ok()?;
    (form == FORM).then_some((number, record))
}
