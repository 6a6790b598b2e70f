//! Why a file could not be read or written, in plain words.
//!
//! Never: shows the number that the operating system has for it.

use std::io;

/// What is told of a file that is not there.
pub const NO_SUCH_FILE: &str = "there is no such file or directory";

/// The reason of a failed read or write in plain words, without the number of the operating system.
pub fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => NO_SUCH_FILE.into(),
        io::ErrorKind::PermissionDenied => "you may not read or write it".into(),
        io::ErrorKind::UnexpectedEof => "the data end too soon: the file is cut off".into(),
        io::ErrorKind::StorageFull => "the disk is full".into(),
        io::ErrorKind::AlreadyExists => "it is already there; choose another name, or move it away".into(),
        _ => {
            let told = error.to_string();
            let number = error.raw_os_error().map(|number| format!(" (os error {number})"));
            number.and_then(|number| told.strip_suffix(&number)).unwrap_or(&told).to_owned()
        }
    }
}
