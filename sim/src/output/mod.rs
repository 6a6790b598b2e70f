//! Files as they are written: as a draft beside the file whose place it takes once it is whole.
//!
//! Decides: what is replaced, and what is written straight: standard output, pipes and devices.
//! Assumes: the folder of a file may be written to, since the draft lies in it.
//! Never: leaves half a file where a whole one stood, whatever ends the program and at whichever write.

pub mod apart;
pub mod name;
mod overlap;
mod place;
mod printable;
mod reason;
mod same_file;
pub mod terminal;

pub use name::STANDARD_STREAM;
pub use overlap::refuse_overlap;
pub use printable::{named, printable};
pub use reason::{NO_SUCH_FILE, reason};
pub use same_file::{is_same_file, standard_input};

use anyhow::Context as _;
use place::Destination;
use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

/// An output that is being written. Dropped before [`Draft::put`], nothing has changed.
pub struct Draft {
    handle: Handle,
    /// Where it goes in the end; none for what is written straight.
    place: Option<Place>,
}

enum Handle {
    File(File),
    StandardOutput(io::Stdout),
}

struct Place {
    draft: PathBuf,
    path: PathBuf,
    is_new: bool,
}

/// Numbers the drafts of this program.
static DRAFTS: AtomicU32 = AtomicU32::new(0);

impl Draft {
    /// Starts an output that takes the place of what stands at `path`, if anything does; `-` is standard
    /// output.
    ///
    /// # Errors
    /// The folder, or the file that stands there, may not be written to.
    pub fn create(path: &Path) -> io::Result<Self> {
        if path.as_os_str() == STANDARD_STREAM {
            return Ok(Self { handle: Handle::StandardOutput(io::stdout()), place: None });
        }
        match Destination::of(path)? {
            Destination::Straight(path) => {
                // Standard output may be a file in which something stands already.
                let file = OpenOptions::new().append(true).open(path)?;
                Ok(Self { handle: Handle::File(file), place: None })
            }
            Destination::File(path) => {
                let permissions = match OpenOptions::new().write(true).open(&path) {
                    Ok(old) => Some(old.metadata()?.permissions()),
                    Err(error) if error.kind() == ErrorKind::NotFound => None,
                    Err(error) => return Err(error),
                };
                let draft = Self::beside(path, false)?;
                if let (Some(permissions), Handle::File(file)) = (permissions, &draft.handle) {
                    file.set_permissions(permissions)?;
                }
                Ok(draft)
            }
        }
    }
    /// Starts a file that must not be there yet.
    ///
    /// # Errors
    /// It is there, or the folder may not be written to.
    pub fn create_new(path: &Path) -> io::Result<Self> {
        if path.symlink_metadata().is_ok() {
            return Err(ErrorKind::AlreadyExists.into());
        }
        Self::beside(path.to_owned(), true)
    }
    fn beside(path: PathBuf, is_new: bool) -> io::Result<Self> {
        let number = DRAFTS.fetch_add(1, Ordering::Relaxed);
        let draft = path.with_file_name(format!(".bandward-{}-{number}.draft", std::process::id()));
        let create = || OpenOptions::new().write(true).create_new(true).open(&draft);
        let file = match create() {
            // Of a program of the same number that was ended.
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {
                fs::remove_file(&draft).and_then(|()| create())?
            }
            created => created?,
        };
        Ok(Self { handle: Handle::File(file), place: Some(Place { draft, path, is_new }) })
    }
    /// Puts it into its place, when everything is written and has reached the disk.
    ///
    /// # Errors
    /// The disk cannot take it; or a file that must be new is there by now. What stood there stays.
    pub fn put(mut self) -> io::Result<()> {
        self.flush()?;
        let (Handle::File(file), Some(place)) = (&self.handle, &self.place) else { return Ok(()) };
        match file.sync_all() {
            // There are file systems without this.
            Err(error) if !matches!(error.kind(), ErrorKind::InvalidInput | ErrorKind::Unsupported) => {
                return Err(error);
            }
            _ => {}
        }
        place.take()?;
        let folder = place.path.parent().map(Path::to_owned);
        self.place = None;
        folder.map_or(Ok(()), |folder| keep_names(&folder))
    }
}

/// Has the names in a folder reach the disk, where it can be opened for that.
fn keep_names(folder: &Path) -> io::Result<()> {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let Ok(folder) = File::open(folder) else { return Ok(()) };
    match folder.sync_all() {
        Err(error) if !is_unknown(&error) => Err(error),
        _ => Ok(()),
    }
}

/// There are file systems without this.
fn is_unknown(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::InvalidInput | ErrorKind::Unsupported | ErrorKind::PermissionDenied)
}

impl Place {
    fn take(&self) -> io::Result<()> {
        if !self.is_new {
            return fs::rename(&self.draft, &self.path);
        }
        // Unlike a renaming it fails where there is a file.
        match fs::hard_link(&self.draft, &self.path) {
            Ok(()) => fs::remove_file(&self.draft),
            Err(error) if error.kind() == ErrorKind::AlreadyExists => Err(error),
            // A file system without links: sticks have one.
            Err(_) if self.path.symlink_metadata().is_ok() => Err(ErrorKind::AlreadyExists.into()),
            Err(_) => fs::rename(&self.draft, &self.path),
        }
    }
}

impl Write for Draft {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match &mut self.handle {
            Handle::File(file) => file.write(bytes),
            Handle::StandardOutput(output) => output.write(bytes),
        }
    }
    fn flush(&mut self) -> io::Result<()> {
        match &mut self.handle {
            Handle::File(file) => file.flush(),
            Handle::StandardOutput(output) => output.flush(),
        }
    }
}

impl Drop for Draft {
    fn drop(&mut self) {
        if let Some(place) = &self.place {
            // What went wrong is told by whoever gave up; a draft that stays does no harm.
            let _ = fs::remove_file(&place.draft);
        }
    }
}

/// Writes a whole file.
///
/// # Errors
/// It cannot be written; what stood there stays.
pub fn write(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let written = Draft::create(path).and_then(|mut draft| draft.write_all(bytes).and_then(|()| draft.put()));
    written.map_err(|error| cannot_write(path, &error))
}

/// Writes a whole file that must not be there yet.
///
/// # Errors
/// It is there, or cannot be written.
pub fn write_new(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let draft = Draft::create_new(path);
    let written = draft.and_then(|mut draft| draft.write_all(bytes).and_then(|()| draft.put()));
    written.map_err(|error| cannot_write(path, &error))
}

/// Makes a folder for outputs, and those it lies in.
///
/// # Errors
/// It cannot be made.
pub fn make_folder(path: &Path) -> anyhow::Result<()> {
    fs::create_dir_all(path).with_context(|| format!("cannot make folder {}", named(path)))
}

/// What is told of a file that cannot be written.
pub fn cannot_write(path: &Path, error: &io::Error) -> anyhow::Error {
    anyhow::anyhow!("cannot write {}: {}", named(path), reason(error))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_must_be_new_never_takes_the_place_of_another() {
        let folder = std::env::temp_dir().join(format!("bandward-draft-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("a folder");
        let path = folder.join("new");
        let draft = Draft::create_new(&path).expect("it is not there");
        fs::write(&path, "of another program").expect("written");
        assert_eq!(draft.put().map_err(|error| error.kind()), Err(ErrorKind::AlreadyExists));
        assert_eq!(fs::read_to_string(&path).expect("it is there"), "of another program");
        assert_eq!(fs::read_dir(&folder).expect("a folder").count(), 1, "the draft is gone");
        fs::remove_dir_all(&folder).expect("it was made here");
    }
}
