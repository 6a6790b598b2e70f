//! A fault of the program itself: where it failed, for whoever mends it.
//!
//! Assumes: the hook of the program notes the place before the failure is caught.
//! Never: tells what was being read or written.

use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// Where the program failed in itself, if it did.
pub(super) static FAILURE: Mutex<Option<(String, u32)>> = Mutex::new(None);

/// A fault of the program: which place to name to whoever mends it.
pub(crate) fn own_fault() -> anyhow::Error {
    let place = FAILURE.lock().unwrap_or_else(PoisonError::into_inner).take();
    let file = |path: &str| Path::new(path).file_name().map(|name| name.to_string_lossy().into_owned());
    let place =
        place.map_or(String::new(), |(path, line)| format!(" ({}:{line})", file(&path).unwrap_or_default()));
    anyhow::anyhow!("bandward has a fault of its own{place}; please report it, with the input it came with")
}
