//! The faults of a trace while it is read.
//!
//! Decides: how many are listed, and how a value of any bytes is shown.
//! Assumes: the finder of a fault knows what would be allowed.
//! Never: keeps more than [`LISTED`] faults in memory.

pub use crate::input::diagnostic::LISTED;
use crate::input::diagnostic::{InputError, InputErrors};
use crate::output::printable;

/// The faults found so far.
#[derive(Debug)]
pub struct Faults {
    file: String,
    listed: Vec<InputError>,
    more: u64,
}

impl Faults {
    /// None yet, in the file so named.
    pub fn new(file: &str) -> Self {
        Self { file: file.to_owned(), listed: Vec::new(), more: 0 }
    }
    /// The name of the file.
    pub fn file(&self) -> &str {
        &self.file
    }
    /// Takes a fault, or counts it where enough are listed; only a listed one is put together.
    pub fn add(&mut self, fault: impl FnOnce(&str) -> InputError) {
        if self.listed.len() < LISTED {
            self.listed.push(fault(&self.file));
        } else {
            self.more += 1;
        }
    }
    /// Takes a fault of the file as a whole.
    pub fn add_in_file(&mut self, problem: impl Into<String>, allowed: impl Into<String>) {
        self.add(|file| InputError::in_file(file, "").problem(problem).allowed(allowed));
    }
    /// Is there none?
    pub fn is_empty(&self) -> bool {
        self.listed.is_empty()
    }
    /// Takes them out, as an error.
    pub fn take(&mut self) -> InputErrors {
        InputErrors::new(std::mem::take(&mut self.listed)).and_more(std::mem::take(&mut self.more))
    }
}

/// Any bytes as text for a terminal.
pub fn shown(bytes: &[u8]) -> String {
    printable(&String::from_utf8_lossy(bytes)).into_owned()
}
