//! The procedure in force, kept over power cuts: always the old one or the new one, whole.
//!
//! Decides: that it lies in one of two places, each half of the range, and the next one in the other: so the old one
//! stands until the new one is whole, however often the power fails. In a place stand the length of the entry, then the
//! version of its form, its number, the number from which the journal gives no other than new ones, and the procedure in
//! the postcard format, then the CRC-32/ISO-HDLC of all that. The whole entry with the greater number is in force.
//! Assumes: nobody else writes to its part of the flash; the flash is done when its call returns.
//! Never: gives out a procedure without checking it again, or takes one of another form for it; takes a flash's word that
//! it wrote: all is read back.

use crate::checksum::crc;
use crate::flash::log::LogError;
use crate::link::hard_limits::HardLimits;
use crate::link::upload::{LONGEST_PROCEDURE, UploadError, decode};
use crate::procedure::{Procedure, SoundProcedure};
use core::ops::Range;
use embedded_storage::nor_flash::NorFlash;

/// Raised with every change of [`Procedure`]; a stored one of another form must be uploaded again.
pub const FORM: u8 = 3;

const LENGTH_BYTES: usize = size_of::<u32>();
const CRC_BYTES: usize = size_of::<u32>();
/// The form, two numbers as varints, and whether there is a procedure.
const LONGEST_HEAD: usize = 12;
/// Longest entry in bytes.
pub const LONGEST_ENTRY: usize =
    LENGTH_BYTES.saturating_add(LONGEST_HEAD).saturating_add(LONGEST_PROCEDURE).saturating_add(CRC_BYTES);
/// Bytes that are read and written at once: some words of any flash.
const BLOCK: usize = 64;

/// Keeps one procedure.
pub struct ProcedureStore<F: NorFlash> {
    flash: F,
    /// Where the two places begin, and how long each is.
    places: [u32; 2],
    size: u32,
    numbers_from: u32,
}

/// What is known of a whole entry.
#[derive(Clone, Copy)]
struct Entry {
    place: usize,
    number: u32,
    numbers_from: u32,
}

impl<F: NorFlash> ProcedureStore<F> {
    /// In `range` of `flash`, in bytes: at least two pages that erase on their own, each half of them large enough for
    /// [`LONGEST_ENTRY`] bytes.
    ///
    /// # Errors
    /// [`LogError::Region`], also for a flash whose words do not divide 64 bytes.
    pub fn new(flash: F, range: Range<u32>) -> Result<Self, LogError> {
        let page = F::ERASE_SIZE as u32;
        let is_on_pages = page > 0 && range.start.is_multiple_of(page) && range.end.is_multiple_of(page);
        let has_blocks = [F::READ_SIZE, F::WRITE_SIZE].iter().all(|&word| BLOCK.is_multiple_of(word))
            && F::ERASE_SIZE.is_multiple_of(BLOCK);
        let pages = range.end.saturating_sub(range.start).checked_div(page).unwrap_or(0);
        let is_there = usize::try_from(range.end).is_ok_and(|end| end <= flash.capacity());
        if !is_on_pages || !has_blocks || !is_there || pages < 2 {
            return Err(LogError::Region);
        }
        let size = (pages >> 1).saturating_mul(page);
        Ok(Self { flash, places: [range.start, range.start.saturating_add(size)], size, numbers_from: 0 })
    }
    /// Stores a procedure. Until this returns, and after a power cut in the middle of it, the old
    /// one or the new one is stored.
    ///
    /// # Errors
    /// [`LogError::TooLarge`], [`LogError::Flash`].
    pub fn store(&mut self, procedure: &Procedure) -> Result<(), LogError> {
        self.write(Some(procedure))
    }
    /// The journal gives no number below this one: its own flash may have lost what it gave.
    pub const fn numbers_from(&self) -> u32 {
        self.numbers_from
    }
    /// Stores such a number, with the procedure in force, if there is one.
    ///
    /// # Errors
    /// As [`Self::store`].
    pub fn store_numbers(&mut self, from: u32, procedure: Option<&Procedure>) -> Result<(), LogError> {
        self.numbers_from = self.numbers_from.max(from);
        self.write(procedure)
    }
    fn write(&mut self, procedure: Option<&Procedure>) -> Result<(), LogError> {
        let mut entry = [0; LONGEST_ENTRY];
        let newest = self.newest(&mut entry)?;
        let place = newest.map_or(0, |newest| usize::from(newest.place == 0));
        let number = newest.map_or(0, |newest| newest.number.saturating_add(1));
        let room = entry.get_mut(LENGTH_BYTES..).unwrap_or_default();
        let body = postcard::to_slice(&(FORM, number, self.numbers_from, procedure), room);
        let summed = body.map_err(|_| LogError::TooLarge)?.len().saturating_add(LENGTH_BYTES);
        let whole = summed.saturating_add(CRC_BYTES);
        let length = (whole as u32).to_le_bytes();
        entry.get_mut(..LENGTH_BYTES).ok_or(LogError::TooLarge)?.copy_from_slice(&length);
        let sum = crc(entry.get(..summed).unwrap_or_default()).to_le_bytes();
        entry.get_mut(summed..whole).ok_or(LogError::TooLarge)?.copy_from_slice(&sum);
        self.program(place, entry.get(..whole).unwrap_or_default())?;
        match self.newest(&mut entry)? {
            Some(newest) if newest.place == place && newest.number == number => Ok(()),
            _ => Err(LogError::Flash),
        }
    }
    /// Erases as much of a place as is needed, whatever a cut left there, and writes to it.
    fn program(&mut self, place: usize, entry: &[u8]) -> Result<(), LogError> {
        let start = self.places.get(place).copied().unwrap_or(0);
        let used = (entry.len() as u32).checked_next_multiple_of(F::ERASE_SIZE as u32);
        let used = used.filter(|&used| used <= self.size).ok_or(LogError::TooLarge)?;
        self.flash.erase(start, start.saturating_add(used)).map_err(|_| LogError::Flash)?;
        for (offset, piece) in (start..).step_by(BLOCK).zip(entry.chunks(BLOCK)) {
            let mut block = [0xff; BLOCK];
            block.get_mut(..piece.len()).unwrap_or_default().copy_from_slice(piece);
            self.flash.write(offset, &block).map_err(|_| LogError::Flash)?;
        }
        Ok(())
    }
    /// Looks for the procedure in force: nothing in a new board; an error instead of a procedure
    /// that does not fit, for instance after the firmware was changed: upload another.
    ///
    /// # Errors
    /// [`LogError::Flash`].
    pub fn load(
        &mut self,
        hard_limits: &HardLimits,
    ) -> Result<Option<Result<SoundProcedure, UploadError>>, LogError> {
        let mut procedure = SoundProcedure::NONE;
        let found = self.load_into(&mut procedure, hard_limits, &mut [0; LONGEST_ENTRY])?;
        Ok(found.map(|result| result.map(|()| procedure)))
    }
    /// As [`Self::load`], in place and through a buffer of [`LONGEST_ENTRY`] bytes: both are too large for the stack of a
    /// small board. Where it is an error, or nothing, what is in `place` is no procedure in force.
    ///
    /// # Errors
    /// [`LogError::TooLarge`] for a buffer that is too small, [`LogError::Flash`].
    pub fn load_into(
        &mut self,
        place: &mut SoundProcedure,
        hard_limits: &HardLimits,
        buffer: &mut [u8],
    ) -> Result<Option<Result<(), UploadError>>, LogError> {
        let buffer = buffer.get_mut(..LONGEST_ENTRY).ok_or(LogError::TooLarge)?;
        let Some(newest) = self.newest(buffer)? else { return Ok(None) };
        self.numbers_from = newest.numbers_from;
        Ok(match self.body(newest.place, buffer)?.and_then(head) {
            Some((FORM, _, _, [0])) => None,
            Some((FORM, _, _, [1, bytes @ ..])) => Some(decode_into(place, bytes, hard_limits)),
            _ => Some(Err(UploadError::Malformed)),
        })
    }
    /// The whole entry with the greater number, with the greater of the numbers that the journal goes on from.
    fn newest(&mut self, buffer: &mut [u8]) -> Result<Option<Entry>, LogError> {
        let mut newest = None::<Entry>;
        for place in 0..self.places.len() {
            let Some((_, number, numbers_from, _)) = self.body(place, buffer)?.and_then(head) else {
                continue;
            };
            let entry = Entry { place, number, numbers_from };
            newest = Some(match newest {
                Some(other) => Entry {
                    numbers_from: other.numbers_from.max(numbers_from),
                    ..if number > other.number { entry } else { other }
                },
                None => entry,
            });
        }
        Ok(newest)
    }
    /// What stands between length and checksum in a place where both are right.
    fn body<'b>(&mut self, place: usize, buffer: &'b mut [u8]) -> Result<Option<&'b [u8]>, LogError> {
        let start = self.places.get(place).copied().unwrap_or(0);
        let mut whole = LENGTH_BYTES;
        for (offset, piece) in (0..self.size).step_by(BLOCK).zip(buffer.chunks_mut(BLOCK)) {
            if offset as usize >= whole {
                break;
            }
            let mut block = [0; BLOCK];
            self.flash.read(start.saturating_add(offset), &mut block).map_err(|_| LogError::Flash)?;
            piece.copy_from_slice(block.get(..piece.len()).unwrap_or_default());
            if let (0, Some(length)) = (offset, block.first_chunk::<LENGTH_BYTES>()) {
                whole = u32::from_le_bytes(*length) as usize;
                if whole > LONGEST_ENTRY {
                    return Ok(None);
                }
            }
        }
        let entry = buffer.get(..whole).unwrap_or_default();
        let is_whole = |(summed, sum): &(&[u8], &[u8; CRC_BYTES])| crc(summed) == u32::from_le_bytes(**sum);
        let whole = entry.split_last_chunk::<CRC_BYTES>().filter(is_whole);
        Ok(whole.and_then(|(summed, _)| summed.get(LENGTH_BYTES..)))
    }
    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.flash
    }
}

/// On a stack of its own: it is needed where there is an entry.
#[inline(never)]
fn decode_into(
    place: &mut SoundProcedure,
    bytes: &[u8],
    hard_limits: &HardLimits,
) -> Result<(), UploadError> {
    *place = decode(bytes, hard_limits)?;
    Ok(())
}

/// The form, which comes first in all of them, with both numbers; and the procedure's bytes behind a 1, or a 0.
fn head(body: &[u8]) -> Option<(u8, u32, u32, &[u8])> {
    let ((form, number, numbers_from), rest) = postcard::take_from_bytes(body).ok()?;
    Some((form, number, numbers_from, rest))
}
