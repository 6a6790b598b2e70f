//! The procedure in force, kept over power cuts: always the old one or the new one, whole.
//!
//! Decides: that the newest whole procedure in the log is in force.
//! Assumes: [`crate::flash::log`] keeps the newest whole entry until a newer one is whole.
//! Never: gives out a procedure without checking it again.

use crate::flash::log::{Log, LogError};
use crate::link::hard_limits::HardLimits;
use crate::link::upload::{LONGEST_PROCEDURE, UploadError, decode};
use crate::procedure::Procedure;
use core::ops::Range;
use embedded_storage::nor_flash::NorFlash;

/// Keeps one procedure.
pub struct ProcedureStore<F: NorFlash> {
    log: Log<F>,
}

impl<F: NorFlash> ProcedureStore<F> {
    /// In `range` of `flash` (see [`Log::new`]), each page large enough for
    /// [`LONGEST_PROCEDURE`] bytes and the store's own marks.
    ///
    /// # Errors
    /// [`LogError::Region`].
    pub fn new(flash: F, range: Range<u32>) -> Result<Self, LogError> {
        Ok(Self { log: Log::new(flash, range)? })
    }
    /// Stores a procedure. Until this returns, and after a power cut in the middle of it, the old
    /// one or the new one is stored.
    ///
    /// # Errors
    /// [`LogError::TooLarge`], [`LogError::Flash`].
    pub fn store(&mut self, procedure: &Procedure) -> Result<(), LogError> {
        let mut entry = [0; LONGEST_PROCEDURE];
        let entry = postcard::to_slice(procedure, &mut entry).map_err(|_| LogError::TooLarge)?;
        self.log.append(entry)
    }
    /// Looks for the procedure in force: nothing in a new board; an error instead of a procedure
    /// that does not fit, for instance after the firmware was changed: upload another.
    ///
    /// # Errors
    /// [`LogError::Flash`].
    pub fn load(
        &mut self,
        hard_limits: &HardLimits,
    ) -> Result<Option<Result<Procedure, UploadError>>, LogError> {
        let mut newest = None;
        self.log.visit(&mut [0; LONGEST_PROCEDURE], |entry| newest = Some(decode(entry, hard_limits)))?;
        Ok(newest)
    }
    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.log.into_flash()
    }
}
