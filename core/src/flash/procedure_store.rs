//! The procedure in force, kept over power cuts: always the old one or the new one, whole.
//!
//! Decides: that the newest whole procedure in the log is in force, and how it is stored: the version of its
//! form, the number from which the journal gives no other than new ones, and the procedure in the postcard format, then
//! the CRC-32/ISO-HDLC of all that.
//! Assumes: [`crate::flash::log`] keeps the newest whole entry until a newer one is whole.
//! Never: gives out a procedure without checking it again, or takes one of another form for it.

use crate::checksum::crc;
use crate::flash::log::{Log, LogError};
use crate::link::hard_limits::HardLimits;
use crate::link::upload::{LONGEST_PROCEDURE, UploadError, decode};
use crate::procedure::{Procedure, SoundProcedure};
use core::ops::{ControlFlow, Range};
use embedded_storage::nor_flash::NorFlash;

/// Raised with every change of [`Procedure`]; a stored one of another form must be uploaded again.
pub const FORM: u8 = 3;

const CRC_BYTES: usize = size_of::<u32>();
/// Longest entry in bytes.
pub const LONGEST_ENTRY: usize = LONGEST_PROCEDURE.saturating_add(LONGEST_HEAD).saturating_add(CRC_BYTES);
/// The form, the number as a varint, and whether there is a procedure.
const LONGEST_HEAD: usize = 7;

/// Keeps one procedure.
pub struct ProcedureStore<F: NorFlash> {
    log: Log<F>,
    numbers_from: u32,
}

impl<F: NorFlash> ProcedureStore<F> {
    /// In `range` of `flash` (see [`Log::new`]), each page large enough for
    /// [`LONGEST_PROCEDURE`] bytes and the store's own marks.
    ///
    /// # Errors
    /// [`LogError::Region`].
    pub fn new(flash: F, range: Range<u32>) -> Result<Self, LogError> {
        Ok(Self { log: Log::new(flash, range)?, numbers_from: 0 })
    }
    /// Stores a procedure. Until this returns, and after a power cut in the middle of it, the old
    /// one or the new one is stored. Halves that cuts leave take room as whole ones do: where so many stores in a row are
    /// cut off that they fill a page, the old one is given up with its page, and [`Self::load`] finds none.
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
        let length = postcard::to_slice(&(FORM, self.numbers_from, procedure), &mut entry)
            .map_err(|_| LogError::TooLarge)?
            .len();
        let sum = crc(entry.get(..length).unwrap_or_default()).to_le_bytes();
        let whole = length.saturating_add(CRC_BYTES);
        entry.get_mut(length..whole).ok_or(LogError::TooLarge)?.copy_from_slice(&sum);
        let entry = entry.get(..whole).unwrap_or_default();
        match self.log.append(entry) {
            Err(LogError::Damaged) => {
                self.log.erase()?;
                self.log.append(entry)
            }
            result => result,
        }
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
        let (mut newest, mut numbers_from) = (None, 0_u32);
        let result = self.log.visit(buffer, |entry| {
            let parts = body(entry);
            numbers_from = numbers_from.max(parts.map_or(0, |(number, _)| number));
            newest = match parts {
                Ok((_, [0])) => None,
                Ok((_, [1, bytes @ ..])) => Some(decode_into(place, bytes, hard_limits)),
                Ok(_) => Some(Err(UploadError::Malformed)),
                Err(error) => Some(Err(error)),
            };
            ControlFlow::Continue(())
        });
        self.numbers_from = numbers_from;
        match result {
            // Beyond repair: what cannot be read must not keep the board from starting.
            Err(LogError::Damaged) => self.log.erase()?,
            result => result?,
        }
        Ok(newest)
    }
    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.log.into_flash()
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

/// The number, and the procedure's bytes behind a 1, or a 0, in an entry that is whole and of this form.
fn body(entry: &[u8]) -> Result<(u32, &[u8]), UploadError> {
    let (covered, sum) = entry.split_last_chunk::<CRC_BYTES>().ok_or(UploadError::Malformed)?;
    if crc(covered) != u32::from_le_bytes(*sum) {
        return Err(UploadError::Checksum);
    }
    match covered.split_first() {
        Some((&FORM, rest)) => postcard::take_from_bytes(rest).map_err(|_| UploadError::Malformed),
        _ => Err(UploadError::Malformed),
    }
}
