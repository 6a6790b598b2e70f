//! Where a log is.
//!
//! Never: opens it.

use crate::output::{STANDARD_STREAM, named};
use std::path::{Path, PathBuf};

/// Where a log is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Log {
    /// The one that comes with the program.
    Demo,
    /// A file; `-` is standard input.
    File(PathBuf),
    /// A name that leads to no log.
    None {
        /// The name, as it is shown.
        name: String,
        /// Why it leads to none.
        why: String,
    },
}

impl Log {
    /// How it is shown.
    pub fn shown(&self) -> String {
        match self {
            Self::Demo => "demo joint (invented)".to_owned(),
            Self::File(path) if path.as_os_str() == STANDARD_STREAM => "standard input".to_owned(),
            Self::File(path) => named(path),
            Self::None { name, .. } => name.clone(),
        }
    }
    /// The file, beside which others may lie, and which can be read again.
    pub(super) fn path(&self) -> Option<&Path> {
        match self {
            Self::File(path) if path.as_os_str() != STANDARD_STREAM => Some(path),
            _ => None,
        }
    }
}
