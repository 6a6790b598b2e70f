//! Whether two looks at files were at one and the same.
//!
//! Never: opens anything.

#[cfg(unix)]
use std::fs::File;
use std::fs::Metadata;

/// Is it the same file, whatever its names?
#[cfg(unix)]
pub fn is_same_file(one: &Metadata, other: &Metadata) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    (one.dev(), one.ino()) == (other.dev(), other.ino())
}

/// Files are not numbered there: no two are told from one another.
#[cfg(not(unix))]
pub const fn is_same_file(_: &Metadata, _: &Metadata) -> bool {
    true
}

/// What standard input comes from, under whatever names; none where files are not numbered.
#[cfg(unix)]
pub fn standard_input() -> Option<Metadata> {
    use std::os::fd::AsFd as _;
    File::from(std::io::stdin().as_fd().try_clone_to_owned().ok()?).metadata().ok()
}

/// Files are not numbered there.
#[cfg(not(unix))]
pub const fn standard_input() -> Option<Metadata> {
    None
}
