//! What a trace was read from: the hash of the very bytes that were read, and whether the file stood still
//! meanwhile.
//!
//! Decides: what counts as a change: another length, or another time of writing.
//! Assumes: it is asked when every row has been read.
//! Never: opens a file again: a pipe can be read once only, and a name may stand for another file by then.

use crate::input::hash::Hash;
use std::fs::{File, Metadata};
use std::io::{self, Read, Seek as _};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What a trace was read from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Provenance {
    /// SHA-256 of the bytes, in hexadecimal.
    pub sha256: String,
    /// How many bytes it had.
    pub bytes: u64,
    /// What happened to the file while it was read; `None` where it stood still, or is none.
    pub changed: Option<String>,
}

/// Bytes that are hashed as they are read.
pub(super) struct Hashed<R> {
    input: R,
    hash: Arc<Mutex<Hash>>,
}

impl<R: Read> Read for Hashed<R> {
    fn read(&mut self, bytes: &mut [u8]) -> io::Result<usize> {
        let count = self.input.read(bytes)?;
        own(&self.hash).update(&bytes[..count]);
        Ok(count)
    }
}

/// Whoever panicked while it held the hash has read no further.
fn own(hash: &Mutex<Hash>) -> MutexGuard<'_, Hash> {
    hash.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A file while it is read.
#[derive(Clone)]
pub struct Standing {
    file: Arc<File>,
    before: Metadata,
}

impl Standing {
    /// As it is now; none of a pipe or a device.
    pub(super) fn of(file: &File) -> io::Result<Option<Self>> {
        let standing = Self { file: Arc::new(file.try_clone()?), before: file.metadata()? };
        Ok(Some(standing).filter(|standing| standing.before.is_file()))
    }
    /// As it is now, of standard input where that is a file.
    #[cfg(unix)]
    pub(super) fn of_standard_input() -> Option<Self> {
        use std::os::fd::AsFd as _;
        let file = File::from(io::stdin().as_fd().try_clone_to_owned().ok()?);
        Self::of(&file).ok()?
    }
    #[cfg(not(unix))]
    pub(super) fn of_standard_input() -> Option<Self> {
        None
    }
    /// What has happened to it since, in words.
    pub fn change(&self) -> Option<String> {
        let after = self.file.metadata().ok()?;
        change(&self.before, &after, after.len())
    }
}

/// Watches over the reading of a trace.
pub(super) struct Witness {
    hash: Arc<Mutex<Hash>>,
    /// The file itself, and how it was at first; none for a pipe.
    file: Option<(File, Metadata)>,
}

impl Witness {
    /// Of `input`, which reads `file` if there is one.
    pub(super) fn of<R: Read>(input: R, file: Option<&File>) -> io::Result<(Hashed<R>, Self)> {
        let hash = Arc::new(Mutex::new(Hash::default()));
        let file = match file {
            Some(file) => Some((file.try_clone()?, file.metadata()?)).filter(|(_, before)| before.is_file()),
            None => None,
        };
        Ok((Hashed { input, hash: hash.clone() }, Self { hash, file }))
    }
    /// What was read; `is_in_order` is false where the reader went to and fro in the file.
    pub(super) fn provenance(&mut self, is_in_order: bool) -> io::Result<Provenance> {
        let mut hash = std::mem::take(&mut *own(&self.hash));
        let Some((file, before)) = &mut self.file else {
            return Ok(Provenance { bytes: hash.bytes(), sha256: hash.hexadecimal(), changed: None });
        };
        if !is_in_order {
            hash = Hash::default();
            file.rewind()?;
        }
        // The rest, where the reader was content before the end.
        hash.read(&mut *file)?;
        let changed = change(before, &file.metadata()?, hash.bytes());
        Ok(Provenance { bytes: hash.bytes(), sha256: hash.hexadecimal(), changed })
    }
}

fn change(before: &Metadata, after: &Metadata, read: u64) -> Option<String> {
    let (first, last) = (before.len(), after.len());
    let told = match last.cmp(&first) {
        std::cmp::Ordering::Greater => format!("it grew from {first} to {last} bytes"),
        std::cmp::Ordering::Less => format!("it shrank from {first} to {last} bytes"),
        std::cmp::Ordering::Equal if before.modified().ok() != after.modified().ok() => {
            "it was written to".to_owned()
        }
        std::cmp::Ordering::Equal if read != last => format!("{read} bytes were read of {last}"),
        std::cmp::Ordering::Equal => return None,
    };
    Some(format!("{told} while it was read"))
}
