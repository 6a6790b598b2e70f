//! Band records that outlive a power cut.
//!
//! Decides: how a record is stored: its number, then the record, in the postcard format. Numbers
//! count on over power cuts and joints, so that nobody takes one joint's band for another's.
//! Assumes: [`crate::flash::log`] keeps whole entries.
//! Never: repeats a number that can still be read.

use crate::flash::log::{Log, LogError};
use crate::record::band::BandRecord;
use core::ops::Range;
use embedded_storage::nor_flash::NorFlash;

/// Longest entry in bytes.
const LONGEST_ENTRY: usize = crate::link::LONGEST_MESSAGE;

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
    pub fn append(&mut self, record: &BandRecord) -> Result<u32, LogError> {
        let mut entry = [0; LONGEST_ENTRY];
        let number = self.next;
        let entry = postcard::to_slice(&(number, record), &mut entry).map_err(|_| LogError::TooLarge)?;
        self.log.append(entry)?;
        self.next = number.saturating_add(1);
        Ok(number)
    }
    /// Shows every kept record with a number of at least `from`, the oldest first.
    ///
    /// # Errors
    /// [`LogError::Flash`].
    pub fn read(&mut self, from: u32, mut visitor: impl FnMut(u32, &BandRecord)) -> Result<(), LogError> {
        self.log.visit(&mut [0; LONGEST_ENTRY], |entry| {
            // An entry of an older form is passed over.
            if let Ok((number, record)) = postcard::from_bytes::<(u32, BandRecord)>(entry)
                && number >= from
            {
                visitor(number, &record);
            }
        })
    }
    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.log.into_flash()
    }
}
