//! What a path leads to.
//!
//! Decides: which outputs are no files: they are written straight, since nothing can take their place.
//! Never: opens anything.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// Links of a chain that are followed.
const MOST_LINKS: usize = 40;

/// What a path leads to, links followed.
pub enum Destination {
    /// A file, or a place for one.
    File(PathBuf),
    /// A pipe, a device, or what this program has open already.
    Straight(PathBuf),
}

impl Destination {
    /// What `path` leads to.
    ///
    /// # Errors
    /// A folder, or a circle of links.
    pub fn of(path: &Path) -> io::Result<Self> {
        let mut path = path.to_owned();
        for _ in 0..MOST_LINKS {
            if is_open_already(&path) {
                return Ok(Self::Straight(path));
            }
            let kind = match path.symlink_metadata() {
                Ok(metadata) => metadata.file_type(),
                Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Self::File(path)),
                Err(error) => return Err(error),
            };
            if kind.is_dir() {
                return Err(ErrorKind::IsADirectory.into());
            }
            if !kind.is_symlink() {
                return Ok(if kind.is_file() { Self::File(path) } else { Self::Straight(path) });
            }
            let link = fs::read_link(&path)?;
            path = path.parent().map_or(link.clone(), |folder| folder.join(&link));
        }
        Err(io::Error::other("the link leads round in a circle"))
    }
}

/// Is it a name of a file of a running program, such as `/dev/stdout` leads to?
fn is_open_already(path: &Path) -> bool {
    let folder = path.parent().and_then(|folder| folder.canonicalize().ok());
    folder.is_some_and(|folder| folder.starts_with("/proc"))
}
