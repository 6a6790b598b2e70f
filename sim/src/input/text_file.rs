//! Files of text that are read whole.
//!
//! Decides: how long such a file may be: far longer than anybody writes by hand, or than a list of what was put
//! into a trace.
//! Never: fills the memory with a file without an end, such as a device.

use std::fs::File;
use std::io::{Error, ErrorKind, Read, Result};
use std::path::Path;

/// Bytes of a file written by hand, or by this program for people to read.
pub const LONGEST: u64 = 1 << 20;
/// Bytes of a list that a program wrote.
pub const LONGEST_LIST: u64 = 16 << 20;

/// Reads a file of text.
///
/// # Errors
/// It cannot be read, is no text in UTF-8, or is longer than [`LONGEST`].
pub fn read(path: &Path) -> Result<String> {
    text(read_up_to(LONGEST, File::open(path)?)?)
}

/// Reads a list that a program wrote.
///
/// # Errors
/// As [`read`], but [`LONGEST_LIST`].
pub fn read_list(path: &Path) -> Result<String> {
    text(read_up_to(LONGEST_LIST, File::open(path)?)?)
}

fn text(bytes: Vec<u8>) -> Result<String> {
    String::from_utf8(bytes).map_err(|_| Error::new(ErrorKind::InvalidData, "it is no text in UTF-8"))
}

/// Reads all bytes that there are, up to `longest`.
///
/// # Errors
/// They cannot be read, or there are more.
pub fn read_up_to(longest: u64, input: impl Read) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    input.take(longest + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > longest {
        let problem = format!("it is longer than {} MiB, which no such file is", longest >> 20);
        return Err(Error::new(ErrorKind::FileTooLarge, problem));
    }
    Ok(bytes)
}
