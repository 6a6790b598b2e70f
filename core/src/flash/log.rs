//! Entries of bytes in flash, one after another, the oldest given up first.
//!
//! Decides: nothing about the contents; the store underneath is the queue of `sequential-storage`,
//! which checks every entry with a CRC and repairs itself after a power cut.
//! Assumes: nobody else writes to its part of the flash; the flash is done when its call returns.
//! Never: gives out an entry that was not written whole; loses a whole one before its turn.

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
    /// The flash failed; what is in it shows at the next start.
    Flash,
}

impl fmt::Display for LogError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Region => {
                "the range does not begin and end at erase boundaries, or holds fewer than two pages"
            }
            Self::TooLarge => "the entry is larger than a page of the flash, or than the buffer",
            Self::Flash => "the flash failed",
        })
    }
}

impl core::error::Error for LogError {}

/// A log of entries.
pub struct Log<F: NorFlash> {
    queue: QueueStorage<Immediate<F>, Cache<Uncached, Uncached, Uncached>>,
    was_erased: bool,
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
        Ok(Self {
            queue: QueueStorage::new(Immediate(flash), config, Cache::new_uncached()),
            was_erased: false,
        })
    }
    /// Adds an entry; a page of the oldest entries is erased when there is no room.
    ///
    /// # Errors
    /// [`LogError::TooLarge`], [`LogError::Flash`].
    pub fn append(&mut self, entry: &[u8]) -> Result<(), LogError> {
        match done(self.queue.push(entry, true)) {
            Err(Error::Corrupted { .. }) => {
                self.erase()?;
                done(self.queue.push(entry, true)).map_err(|error| plain(&error))
            }
            result => result.map_err(|error| plain(&error)),
        }
    }
    /// Shows the entries to `visitor`, the oldest first, until it wants no more. `buffer` must hold the largest
    /// entry.
    ///
    /// # Errors
    /// [`LogError::TooLarge`], [`LogError::Flash`].
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
        match result {
            // Beyond repair: what cannot be read must not keep the board from starting.
            Err(Error::Corrupted { .. }) => self.erase(),
            result => result.map_err(|error| plain(&error)),
        }
    }
    /// Were its entries beyond repair since the last time this was asked, so that all of them were given up?
    pub const fn take_erased(&mut self) -> bool {
        core::mem::replace(&mut self.was_erased, false)
    }
    fn erase(&mut self) -> Result<(), LogError> {
        self.was_erased = true;
        done(self.queue.erase_all()).map_err(|error| plain(&error))
    }
    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.queue.destroy().0.0
    }
}

fn plain<E>(error: &Error<E>) -> LogError {
    match error {
        Error::ItemTooBig | Error::BufferTooBig | Error::BufferTooSmall(_) => LogError::TooLarge,
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
struct Immediate<F>(F);

impl<F: ErrorType> asynchronous::ErrorType for Immediate<F> {
    type Error = F::Error;
}

impl<F: NorFlash> asynchronous::ReadNorFlash for Immediate<F> {
    // The store looks at one read's worth of its page marks. A power cut within a word may leave
    // either end of it unprogrammed; looking at the whole word, it never takes a word that was
    // begun for a free one.
    const READ_SIZE: usize = if F::READ_SIZE > F::WRITE_SIZE { F::READ_SIZE } else { F::WRITE_SIZE };

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.0.read(offset, bytes)
    }
    fn capacity(&self) -> usize {
        self.0.capacity()
    }
}

impl<F: NorFlash> asynchronous::NorFlash for Immediate<F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        self.0.erase(from, to)
    }
    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.0.write(offset, bytes)
    }
}
