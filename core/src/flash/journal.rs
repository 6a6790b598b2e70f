//! Records of bands and joints that outlive a power cut.
//!
//! Decides: how a record is stored: the version of its form, its number and the record in the postcard format, then the
//! CRC-32/ISO-HDLC of all that; behind it a seal, which is the same without the record, so that a damaged record is
//! missed. Numbers count on over power cuts and joints, so that nobody takes one joint's band for another's.
//! Assumes: [`crate::flash::log`] keeps whole entries. Of record and seal the flash damages one, not both.
//! Never: gives a number to two records; takes an entry of another form, or a damaged one, for a record; erases what is
//! beyond repair before it was told from which number to go on.

use crate::checksum::crc;
use crate::flash::log::{Log, LogError};
pub use crate::record::kept::{Kept, Stamped};
use core::ops::{ControlFlow, Range};
use embedded_storage::nor_flash::NorFlash;

/// Raised with every change of [`crate::BandRecord`], [`crate::JointRecord`] or [`crate::record::stamp::Stamp`]; entries of
/// another form are passed over.
pub const FORM: u8 = 5;

/// Longest entry in bytes.
const LONGEST_ENTRY: usize = crate::record::kept::LONGEST;

const CRC_BYTES: usize = size_of::<u32>();

/// The journal of one board.
pub struct Journal<F: NorFlash> {
    log: Log<F>,
    next: u32,
    is_damaged: bool,
}

/// What stands at a number, or next to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(clippy::large_enum_variant)] // a board has no heap to put the larger one on
pub enum Found {
    /// The record with this number.
    Record(u32, Stamped),
    /// The record with this number was damaged.
    Damaged(u32),
}

impl<F: NorFlash> Journal<F> {
    /// Opens the journal in `range` of `flash` (see [`Log::new`]) and looks where it ended.
    ///
    /// # Errors
    /// [`LogError::Region`] or [`LogError::Flash`]; never because of what is in the flash.
    pub fn open(flash: F, range: Range<u32>) -> Result<Self, LogError> {
        let mut journal = Self { log: Log::new(flash, range)?, next: 0, is_damaged: false };
        let mut next = 0;
        match journal.log.visit(&mut [0; LONGEST_ENTRY], |entry| {
            // Those of other forms too: a number is given once.
            let number = body(entry).and_then(|body| postcard::take_from_bytes::<(u8, u32)>(body).ok());
            next = next.max(number.map_or(0, |((_, number), _)| number.saturating_add(1)));
            ControlFlow::Continue(())
        }) {
            Ok(()) => {}
            Err(LogError::Damaged) => journal.is_damaged = true,
            Err(error) => return Err(error),
        }
        journal.next = next;
        Ok(journal)
    }
    /// Is what it holds beyond repair? Then nothing is read or kept until [`Self::begin_anew`].
    pub const fn is_damaged(&self) -> bool {
        self.is_damaged
    }
    /// The number of the next record.
    pub const fn next(&self) -> u32 {
        self.next
    }
    /// Gives no number below this one: such were given out before.
    pub fn go_on_from(&mut self, number: u32) {
        self.next = self.next.max(number);
    }
    /// Gives up all that it holds.
    ///
    /// # Errors
    /// [`LogError::Flash`].
    pub fn begin_anew(&mut self) -> Result<(), LogError> {
        self.log.erase()?;
        self.is_damaged = false;
        Ok(())
    }
    /// Keeps a record and returns its number; the oldest are given up where there is no room. What could not be kept
    /// has the same number when it is tried again.
    ///
    /// # Errors
    /// [`LogError::TooLarge`] where a page of the flash cannot hold a record, [`LogError::Flash`],
    /// [`LogError::Damaged`].
    pub fn append(&mut self, record: &Stamped) -> Result<u32, LogError> {
        let number = self.next;
        self.write(number, Some(record))?;
        self.write(number, None)?;
        self.next = number.saturating_add(1);
        Ok(number)
    }
    fn write(&mut self, number: u32, record: Option<&Stamped>) -> Result<(), LogError> {
        let mut entry = [0; LONGEST_ENTRY];
        let length =
            postcard::to_slice(&(FORM, number, record), &mut entry).map_err(|_| LogError::TooLarge)?.len();
        let sum = crc(entry.get(..length).unwrap_or_default()).to_le_bytes();
        let whole = length.saturating_add(CRC_BYTES);
        entry.get_mut(length..whole).ok_or(LogError::TooLarge)?.copy_from_slice(&sum);
        let result = self.log.append(entry.get(..whole).unwrap_or_default());
        self.is_damaged |= result == Err(LogError::Damaged);
        result
    }
    /// Shows every kept record with a number of at least `from`, the oldest first.
    ///
    /// # Errors
    /// [`LogError::Flash`], [`LogError::Damaged`].
    pub fn read(&mut self, from: u32, mut visitor: impl FnMut(u32, &Stamped)) -> Result<(), LogError> {
        let mut least = from;
        self.visit(|number, record| {
            if let Some(record) = record
                && number >= least
            {
                // One that was tried twice may stand there twice.
                least = number.saturating_add(1);
                visitor(number, &record);
            }
            ControlFlow::Continue(())
        })
    }
    /// The oldest kept record with a number of at least `from`; or a number before it whose record was damaged. What
    /// is missing before all of these was given up for newer ones.
    ///
    /// # Errors
    /// [`LogError::Flash`], [`LogError::Damaged`].
    pub fn first_from(&mut self, from: u32) -> Result<Option<Found>, LogError> {
        // The next number that must come, once one has.
        let (mut due, mut found) = (None, None);
        let result = self.log.is_oldest_after_damage(&mut [0; LONGEST_ENTRY]);
        self.is_damaged |= result == Err(LogError::Damaged);
        // A seal stands alone where its record was given up with the page before it; or where that was damaged beside it.
        let mut is_oldest_damaged = result?;
        self.visit(|number, record| {
            if core::mem::take(&mut is_oldest_damaged) && record.is_none() {
                due = Some(number);
            }
            let missing = due.is_some_and(|due| number > due || number == due && record.is_none());
            let first_missing = due.map(|due| from.max(due)).filter(|&first| missing && first <= number);
            let is_lost = first_missing.filter(|&first| first < number || record.is_none());
            found = match (is_lost, record) {
                (Some(number), _) => Some(Found::Damaged(number)),
                (None, Some(record)) if number >= from => Some(Found::Record(number, record)),
                _ => None,
            };
            due = Some(number.saturating_add(1));
            if found.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        })?;
        Ok(found)
    }
    /// Every entry of this form that is whole: number, and the record but for a seal.
    fn visit(
        &mut self,
        mut visitor: impl FnMut(u32, Option<Stamped>) -> ControlFlow<()>,
    ) -> Result<(), LogError> {
        let result = self.log.visit(&mut [0; LONGEST_ENTRY], |entry| match decode(entry) {
            Some((number, record)) => visitor(number, record),
            None => ControlFlow::Continue(()),
        });
        self.is_damaged |= result == Err(LogError::Damaged);
        result
    }
    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.log.into_flash()
    }
}

/// Number and record of an entry that is whole and of this form; no record in a seal.
fn decode(entry: &[u8]) -> Option<(u32, Option<Stamped>)> {
    let (form, number, record) = postcard::from_bytes::<(u8, u32, Option<Stamped>)>(body(entry)?).ok()?;
    (form == FORM).then_some((number, record))
}

/// An entry that is whole, without its checksum.
fn body(entry: &[u8]) -> Option<&[u8]> {
    let (body, sum) = entry.split_last_chunk::<CRC_BYTES>()?;
    (crc(body) == u32::from_le_bytes(*sum)).then_some(body)
}
