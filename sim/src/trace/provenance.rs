//! What a trace was read from: the hash of the very bytes that were read, and whether the file stood still
//! meanwhile.
//!
//! Decides: what counts as a change: another length, another time of writing or of change, another file under its name.
//! Assumes: it is asked when every row has been read.
//! Never: opens a file again: a pipe can be read once only, and a name may stand for another file by then.

use crate::input::hash::Hash;
use crate::output::{is_same_file, reason};
use std::fs::{File, Metadata};
use std::io::{self, Read, Seek as _};
use std::path::{Path, PathBuf};
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
    /// The name it was opened by; none of standard input.
    path: Option<PathBuf>,
    before: Metadata,
}

impl Standing {
    /// As it is now; none of a pipe or a device.
    pub(super) fn of(file: &File, path: Option<&Path>) -> io::Result<Option<Self>> {
        let path = path.map(Path::to_owned);
        let standing = Self { file: Arc::new(file.try_clone()?), path, before: file.metadata()? };
        Ok(Some(standing).filter(|standing| standing.before.is_file()))
    }
    /// As it is now, of standard input where that is a file.
    #[cfg(unix)]
    pub(super) fn of_standard_input() -> Option<Self> {
        use std::os::fd::AsFd as _;
        let file = File::from(io::stdin().as_fd().try_clone_to_owned().ok()?);
        Self::of(&file, None).ok()?
    }
    #[cfg(not(unix))]
    pub(super) fn of_standard_input() -> Option<Self> {
        None
    }
    /// What has happened to it since, in words.
    pub fn change(&self) -> Option<String> {
        self.change_of(None)
    }
    /// The same, where so many bytes of it were read.
    fn change_of(&self, read: Option<u64>) -> Option<String> {
        let told = match self.file.metadata() {
            Ok(after) => written(&self.before, &after, read)
                .or_else(|| self.path.as_ref().and_then(|path| renamed(path, &after)))
                .or_else(|| touched(&self.before, &after))?,
            Err(error) => format!("it could not be looked at any more ({})", reason(&error)),
        };
        Some(format!("{told} while it was read"))
    }
}

/// Watches over the reading of a trace.
pub(super) struct Witness {
    hash: Arc<Mutex<Hash>>,
    /// The file itself, and how it was at first; none for a pipe.
    file: Option<Standing>,
}

impl Witness {
    /// Of `input`, which reads `file` if there is one.
    pub(super) fn of<R: Read>(input: R, file: Option<Standing>) -> (Hashed<R>, Self) {
        let hash = Arc::new(Mutex::new(Hash::default()));
        (Hashed { input, hash: hash.clone() }, Self { hash, file })
    }
    /// What was read; `is_in_order` is false where the reader went to and fro in the file.
    pub(super) fn provenance(&mut self, is_in_order: bool) -> io::Result<Provenance> {
        let mut hash = std::mem::take(&mut *own(&self.hash));
        let Some(standing) = &self.file else {
            return Ok(Provenance { bytes: hash.bytes(), sha256: hash.hexadecimal(), changed: None });
        };
        let mut file = &*standing.file;
        if !is_in_order {
            hash = Hash::default();
            file.rewind()?;
        }
        // The rest, where the reader was content before the end.
        hash.read(file)?;
        let changed = standing.change_of(Some(hash.bytes()));
        Ok(Provenance { bytes: hash.bytes(), sha256: hash.hexadecimal(), changed })
    }
}

/// What was written to it.
fn written(before: &Metadata, after: &Metadata, read: Option<u64>) -> Option<String> {
    let (first, last) = (before.len(), after.len());
    match last.cmp(&first) {
        std::cmp::Ordering::Greater => Some(format!("it grew from {first} to {last} bytes")),
        std::cmp::Ordering::Less => Some(format!("it shrank from {first} to {last} bytes")),
        std::cmp::Ordering::Equal if before.modified().ok() != after.modified().ok() => {
            Some("it was written to".to_owned())
        }
        std::cmp::Ordering::Equal => {
            read.filter(|&read| read != last).map(|read| format!("{read} bytes were read of {last}"))
        }
    }
}

/// What became of its name: whoever looks it up afterwards must find what was read.
fn renamed(path: &Path, file: &Metadata) -> Option<String> {
    match path.metadata() {
        Ok(found) if is_same_file(&found, file) => None,
        Ok(_) => Some("its name was given to another file".to_owned()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Some("it was deleted or renamed".to_owned()),
        Err(error) => Some(format!("it could not be found any more ({})", reason(&error))),
    }
}

/// What shows in the time of change alone, which nobody can put back.
#[cfg(unix)]
fn touched(before: &Metadata, after: &Metadata) -> Option<String> {
    use std::os::unix::fs::MetadataExt as _;
    let is_touched = (before.ctime(), before.ctime_nsec()) != (after.ctime(), after.ctime_nsec());
    is_touched.then(|| "it was written to, or its names, times or permissions were changed,".to_owned())
}

#[cfg(not(unix))]
const fn touched(_: &Metadata, _: &Metadata) -> Option<String> {
    None
}
