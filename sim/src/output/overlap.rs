//! Outputs that are inputs, or one another.
//!
//! Decides: when two paths lead to the same file: by the file itself where it is there (links of either
//! kind, `./`), else by its folder and name.
//! Never: minds pipes and devices, which may be named twice; but `-`, on which the text stands already, is no
//! place for a file.

use super::STANDARD_STREAM;
use super::place::Destination;
use super::printable::named;
use anyhow::bail;
use std::collections::HashMap;
use std::fs::{File, Metadata};
use std::path::{Path, PathBuf};

/// What tells a file from every other.
#[derive(PartialEq, Eq, Hash)]
enum Identity {
    /// A file that is there.
    #[cfg(unix)]
    Node(u64, u64),
    /// A place for one; on systems that do not number files, also one that is there.
    Place(PathBuf),
}

/// Refuses an output that is an input too, and two outputs that are one file; each path with what it is.
///
/// # Errors
/// Tells which two.
pub fn refuse_overlap(
    inputs: &[(&str, impl AsRef<Path>)],
    outputs: &[(&str, impl AsRef<Path>)],
) -> anyhow::Result<()> {
    let mut taken: HashMap<Identity, String> = standard_output().into_iter().collect();
    for (what, path) in outputs {
        let path = path.as_ref();
        if path.as_os_str() == STANDARD_STREAM {
            bail!("{what} -: what is told goes to standard output already; name a file");
        }
        let Some(identity) = identity(path) else { continue };
        let told = format!("{what} {}", named(path));
        if let Some(other) = taken.get(&identity) {
            bail!("{told} is the same file as {other}: give each output a name of its own");
        }
        taken.insert(identity, told);
    }
    for (what, path) in inputs {
        let path = path.as_ref();
        let is_standard_input = path.as_os_str() == STANDARD_STREAM;
        let identity = if is_standard_input { directed(std::io::stdin()) } else { identity(path) };
        let Some(identity) = identity else { continue };
        if let Some(output) = taken.get(&identity) {
            bail!(
                "{output} is the same file as {what} {}, which it would replace: give it another name",
                named(path)
            );
        }
    }
    Ok(())
}

fn identity(path: &Path) -> Option<Identity> {
    // What cannot be looked at is told by whoever opens it.
    let Ok(Destination::File(path)) = Destination::of(path) else { return None };
    match path.metadata() {
        Ok(metadata) => Some(of_file(&path, &metadata)),
        Err(_) => of_place(&path),
    }
}

#[cfg(unix)]
fn of_file(_: &Path, metadata: &Metadata) -> Identity {
    use std::os::unix::fs::MetadataExt as _;
    Identity::Node(metadata.dev(), metadata.ino())
}

#[cfg(not(unix))]
fn of_file(path: &Path, _: &Metadata) -> Identity {
    Identity::Place(path.canonicalize().unwrap_or_else(|_| path.to_owned()))
}

fn of_place(path: &Path) -> Option<Identity> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    Some(Identity::Place(folder.canonicalize().ok()?.join(path.file_name()?)))
}

/// The file that standard output is directed to, if it is one.
fn standard_output() -> Option<(Identity, String)> {
    Some((directed(std::io::stdout())?, "standard output".to_owned()))
}

/// The file that a stream is directed to, if it is one.
#[cfg(unix)]
fn directed(stream: impl std::os::fd::AsFd) -> Option<Identity> {
    let file = File::from(stream.as_fd().try_clone_to_owned().ok()?);
    let metadata = file.metadata().ok().filter(Metadata::is_file)?;
    Some(of_file(Path::new(""), &metadata))
}

#[cfg(not(unix))]
fn directed<Stream>(_: Stream) -> Option<Identity> {
    None
}
