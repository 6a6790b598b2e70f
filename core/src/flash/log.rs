//! Entries of bytes in flash, one after another, the oldest given up first.
//!
//! Decides: nothing about the contents; the store underneath is the queue of `sequential-storage`,
//! which checks every entry with a CRC and repairs itself after a power cut.
//! Assumes: nobody else writes to its part of the flash; the flash is done when its call returns.
//! Never: gives out an entry that was not written whole; loses a whole one before its turn; takes a flash's word that it
//! wrote: all is read back.

use core::fmt;
use core::future::Future;
use core::ops::{ControlFlow, Range};
use core::pin::pin;
use core::task::{Context, Poll, Waker};
use embedded_storage::nor_flash::{ErrorType, NorFlash};
use embedded_storage_async::nor_flash as asynchronous;
use sequential_storage::Error;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::queue::{QueueConfig, QueueStorage};

/// Why a log could not do its work; in words by its `Display`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LogError {
    /// The range does not begin and end at erase boundaries, or holds fewer than two of them.
    Region,
    /// The entry is larger than a page of the flash, or than the buffer to read into.
    TooLarge,
    /// The flash failed, or holds something else than was written; what is in it shows at the next start.
    Flash,
    /// What is in the flash is beyond repair: nothing can be read or added before all is erased.
    Damaged,
}

impl fmt::Display for LogError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Region => {
                "the range does not begin and end at erase boundaries, or holds fewer than two pages"
            }
            Self::TooLarge => "the entry is larger than a page of the flash, or than the buffer",
            Self::Flash => "the flash failed",
            Self::Damaged => "what is in the flash is beyond repair",
        })
    }
}

impl core::error::Error for LogError {}

/// A log of entries.
pub struct Log<F: NorFlash> {
    queue: QueueStorage<Immediate<F>, Cache<Uncached, Uncached, Uncached>>,
}

impl<F: NorFlash> Log<F> {
    /// Over `range` of `flash`, in bytes: at least two pages that erase on their own, so that the
    /// newest entry is never on the page being erased.
    ///
    /// # Errors
    /// [`LogError::Region`].
    pub fn new(flash: F, range: Range<u32>) -> Result<Self, LogError> {
        let pages = range.end.saturating_sub(range.start).checked_div(F::ERASE_SIZE as u32);
        if pages.is_none_or(|pages| pages < 2) {
            return Err(LogError::Region);
        }
        let config = QueueConfig::try_new(range).map_err(|_| LogError::Region)?;
        let flash = Immediate { flash, is_untrue: false, read_from: 0 };
        Ok(Self { queue: QueueStorage::new(flash, config, Cache::new_uncached()) })
    }
    /// Adds an entry; a page of the oldest entries is erased when there is no room.
    ///
    /// # Errors
    /// [`LogError::TooLarge`], [`LogError::Flash`], [`LogError::Damaged`].
    pub fn append(&mut self, entry: &[u8]) -> Result<(), LogError> {
        self.queue.flash().is_untrue = false;
        done(self.queue.push(entry, true)).map_err(|error| plain(&error))?;
        if self.queue.flash().is_untrue { Err(LogError::Flash) } else { Ok(()) }
    }
    /// Shows the entries to `visitor`, the oldest first, until it wants no more. `buffer` must hold the largest
    /// entry.
    ///
    /// # Errors
    /// [`LogError::TooLarge`], [`LogError::Flash`], [`LogError::Damaged`].
    pub fn visit(
        &mut self,
        buffer: &mut [u8],
        mut visitor: impl FnMut(&[u8]) -> ControlFlow<()>,
    ) -> Result<(), LogError> {
        let result = done(async {
            let mut entries = self.queue.iter().await?;
            while let Some(entry) = entries.next(buffer).await? {
                if visitor(&entry).is_break() {
                    break;
                }
            }
            Ok(())
        });
        result.map_err(|error| plain(&error))
    }
    /// Does something stand before the oldest entry, on the page of that, which is no entry any more? `buffer` as
    /// [`Self::visit`] has it.
    ///
    /// # Errors
    /// As [`Self::visit`].
    pub(crate) fn is_oldest_after_damage(&mut self, buffer: &mut [u8]) -> Result<bool, LogError> {
        let mut is_any = false;
        self.visit(buffer, |_| {
            is_any = true;
            ControlFlow::Break(())
        })?;
        // What was read last is what the entry holds.
        let at = self.queue.flash().read_from.checked_rem(F::ERASE_SIZE as u32).unwrap_or_default();
        let word = <Immediate<F> as asynchronous::ReadNorFlash>::READ_SIZE as u32;
        let first = word.saturating_add(
            QueueStorage::<Immediate<F>, Cache<Uncached, Uncached, Uncached>>::item_overhead_size(),
        );
        Ok(is_any && at > first)
    }
    /// Gives up all entries.
    ///
    /// # Errors
    /// [`LogError::Flash`].
    pub fn erase(&mut self) -> Result<(), LogError> {
        done(self.queue.erase_all()).map_err(|error| plain(&error))
    }
    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.queue.destroy().0.flash
    }
}

fn plain<E>(error: &Error<E>) -> LogError {
    match error {
        Error::ItemTooBig | Error::BufferTooBig | Error::BufferTooSmall(_) => LogError::TooLarge,
        Error::Corrupted { .. } => LogError::Damaged,
        _ => LogError::Flash,
    }
}

/// Runs a future whose every await is ready at once, as those over an [`Immediate`] flash are.
fn done<T, E>(future: impl Future<Output = Result<T, Error<E>>>) -> Result<T, Error<E>> {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(result) => result,
        Poll::Pending => Err(Error::LogicBug {}),
    }
}

/// A flash whose calls return when the work is done, where one with futures is asked for.
struct Immediate<F> {
    flash: F,
    /// Something else was read back than was written.
    is_untrue: bool,
    /// Where was read last.
    read_from: u32,
}

/// Bytes that are read back at once.
const READ_BACK: usize = 64;

impl<F: NorFlash> Immediate<F> {
    /// Is it there? Where a flash reads more at a time than it writes, nobody can say.
    fn holds(&mut self, offset: u32, bytes: &[u8]) -> Result<bool, F::Error> {
        let mut read = [0; READ_BACK];
        let pieces = bytes.chunks(READ_BACK).zip((offset..).step_by(READ_BACK));
        for (piece, offset) in pieces {
            let Some(read) = read.get_mut(..piece.len()) else { break };
            if !READ_BACK.is_multiple_of(F::READ_SIZE) || !piece.len().is_multiple_of(F::READ_SIZE) {
                break;
            }
            self.flash.read(offset, read)?;
            if read != piece {
                return Ok(false);
            }
        }
        Ok(true)
    }
}

impl<F: ErrorType> asynchronous::ErrorType for Immediate<F> {
    type Error = F::Error;
}

impl<F: NorFlash> asynchronous::ReadNorFlash for Immediate<F> {
    // The store looks at one read's worth of its page marks. A power cut within a word may leave
    // either end of it unprogrammed; looking at the whole word, it never takes a word that was
    // begun for a free one.
    const READ_SIZE: usize = if F::READ_SIZE > F::WRITE_SIZE { F::READ_SIZE } else { F::WRITE_SIZE };

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.read_from = offset;
        self.flash.read(offset, bytes)
    }
    fn capacity(&self) -> usize {
        self.flash.capacity()
    }
}

impl<F: NorFlash> asynchronous::NorFlash for Immediate<F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        self.flash.erase(from, to)
    }
    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.flash.write(offset, bytes)?;
        self.is_untrue |= !self.holds(offset, bytes)?;
        Ok(())
    }
}
