//! A procedure coming over the link, piece by piece.
//!
//! Decides: when it is whole, sound and within the limits built in.
//! Assumes: the caller has made sure that no arc burns, and stores what comes out before using it.
//! Never: gives out a procedure that was not checked whole.

use crate::checksum::crc;
use crate::link::hard_limits::{HardLimit, HardLimits};
use crate::procedure::{Procedure, ProcedureError, SoundProcedure};
use core::fmt;
use serde::{Deserialize, Serialize};

/// Longest procedure in bytes, in the postcard format.
pub const LONGEST_PROCEDURE: usize = 2048;

/// Why an upload did not succeed; in words by its `Display`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum UploadError {
    /// Longer than [`LONGEST_PROCEDURE`].
    TooLong,
    /// No upload was started: start one.
    NotStarted,
    /// A piece did not follow the one before: start again, or send the piece at this offset.
    OutOfOrder {
        /// Bytes taken so far.
        expected: u16,
    },
    /// Pieces are missing: send the piece at this offset.
    Incomplete {
        /// Bytes taken so far.
        received: u16,
    },
    /// The checksum does not fit: start again.
    Checksum,
    /// It is no procedure in the form of this version.
    Malformed,
    /// The procedure does not make sense.
    Procedure(ProcedureError),
    /// It reaches beyond this limit built into the board.
    BeyondHardLimit(HardLimit),
}

impl fmt::Display for UploadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLong => f.write_str("it is longer than the board can take"),
            Self::NotStarted => {
                f.write_str("it did not arrive whole (its beginning is missing): send it again")
            }
            Self::OutOfOrder { expected } => {
                write!(f, "it did not arrive whole (byte {expected} is missing): send it again")
            }
            Self::Incomplete { received } => {
                write!(f, "it did not arrive whole ({received} bytes did): send it again")
            }
            Self::Checksum => f.write_str("it did not arrive whole (the checksum differs): send it again"),
            Self::Malformed => f.write_str("the board's program reads procedures of another version"),
            Self::Procedure(error) => write!(f, "it makes no sense: {error}"),
            Self::BeyondHardLimit(limit) => write!(f, "{limit}"),
        }
    }
}

impl core::error::Error for UploadError {}

/// Collects the pieces.
///
/// ```
/// use bandward::link::{hard_limits::HardLimits, upload::{Upload, UploadError, crc_of}};
/// use bandward::Procedure;
///
/// let procedure = Procedure::new();
/// let mut room = [0; 2048];
/// let bytes = postcard::to_slice(&procedure, &mut room).unwrap();
/// let mut upload = Upload::new();
/// upload.start(bytes.len() as u16, crc_of(&procedure))?;
/// for (number, piece) in bytes.chunks(100).enumerate() {
///     assert_eq!(upload.commit(&HardLimits::NONE).unwrap_err(), UploadError::Incomplete { received: number as u16 * 100 });
///     upload.piece(number as u16 * 100, piece)?;
/// }
/// let (sound, _) = upload.commit(&HardLimits::NONE)?;
/// assert_eq!(*sound, procedure);
/// # Ok::<(), UploadError>(())
/// ```
#[derive(Debug)]
pub struct Upload {
    bytes: [u8; LONGEST_PROCEDURE],
    received: usize,
    announced: Option<Announced>,
}

#[derive(Clone, Copy, Debug)]
struct Announced {
    length: usize,
    crc: u32,
}

impl Default for Upload {
    fn default() -> Self {
        Self::new()
    }
}

impl Upload {
    /// Nothing announced.
    pub const fn new() -> Self {
        Self { bytes: [0; LONGEST_PROCEDURE], received: 0, announced: None }
    }
    /// Announces a procedure of `length` bytes; what came before is forgotten.
    ///
    /// # Errors
    /// [`UploadError::TooLong`].
    pub fn start(&mut self, length: u16, crc: u32) -> Result<(), UploadError> {
        self.received = 0;
        self.announced = None;
        let length = usize::from(length);
        if length > LONGEST_PROCEDURE {
            return Err(UploadError::TooLong);
        }
        self.announced = Some(Announced { length, crc });
        Ok(())
    }
    /// Takes the piece that begins at `offset`.
    ///
    /// # Errors
    /// [`UploadError::NotStarted`], [`UploadError::OutOfOrder`], or [`UploadError::TooLong`] for
    /// more bytes than announced; nothing has changed then.
    pub fn piece(&mut self, offset: u16, piece: &[u8]) -> Result<(), UploadError> {
        let announced = self.announced.ok_or(UploadError::NotStarted)?;
        if usize::from(offset) != self.received {
            return Err(UploadError::OutOfOrder { expected: self.received as u16 });
        }
        let end = self.received.saturating_add(piece.len());
        let room = self.bytes.get_mut(self.received..end).filter(|_| end <= announced.length);
        for (slot, byte) in room.ok_or(UploadError::TooLong)?.iter_mut().zip(piece) {
            *slot = *byte;
        }
        self.received = end;
        Ok(())
    }
    /// Checks the whole; gives out the procedure and its CRC.
    ///
    /// # Errors
    /// Says what is wrong. Only [`UploadError::Incomplete`] can still be mended by another piece.
    pub fn commit(&mut self, hard_limits: &HardLimits) -> Result<(SoundProcedure, u32), UploadError> {
        let announced = self.announced.ok_or(UploadError::NotStarted)?;
        if self.received < announced.length {
            return Err(UploadError::Incomplete { received: self.received as u16 });
        }
        self.announced = None;
        let bytes = self.bytes.get(..announced.length).ok_or(UploadError::TooLong)?;
        if crc(bytes) != announced.crc {
            return Err(UploadError::Checksum);
        }
        Ok((decode(bytes, hard_limits)?, announced.crc))
    }
}

/// CRC-32/ISO-HDLC of the postcard form of a procedure, by which host and board know it.
pub fn crc_of(procedure: &Procedure) -> u32 {
    let mut bytes = [0; LONGEST_PROCEDURE];
    postcard::to_slice(procedure, &mut bytes).map_or(0, |bytes| crc(bytes))
}

/// A procedure from all of its postcard form, checked whole.
pub(crate) fn decode(bytes: &[u8], hard_limits: &HardLimits) -> Result<SoundProcedure, UploadError> {
    let Ok((procedure, [])) = postcard::take_from_bytes::<Procedure>(bytes) else {
        return Err(UploadError::Malformed);
    };
    let procedure = SoundProcedure::try_from(procedure).map_err(UploadError::Procedure)?;
    hard_limits.check(&procedure).map_err(UploadError::BeyondHardLimit)?;
    Ok(procedure)
}
