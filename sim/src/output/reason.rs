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
        _ => error.to_string(),
    }
}
