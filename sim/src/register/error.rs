//! What can be wrong with a register.
//!
//! Decides: which of `SQLite`'s many codes mean the same to whoever stands before the machine.
//! Never: hides what `SQLite` said where it is none of the known troubles.

use super::version::VERSION;
use crate::output::named;
use rusqlite::ErrorCode;
use std::fmt;
use std::io::{ErrorKind, Write as _};
use std::path::Path;

/// What is wrong.
#[derive(Debug)]
pub enum Trouble {
    /// There is no such file: check the name.
    Missing,
    /// There is no such folder: check the name, or make it.
    NoFolder,
    /// The file is none of `SQLite`: another one was meant.
    NoRegister,
    /// A `SQLite` file of another program: another one was meant.
    OtherProgram,
    /// Written by a newer version of this program, with this schema: use that version.
    Newer(i64),
    /// It has an older schema and cannot be written to, so that it cannot be brought up to date: make it writable.
    Older(i64),
    /// Other programs wrote to it for longer than is waited for: try again.
    Busy,
    /// The disk is full: make room.
    Full,
    /// The file or its folder may not be written to.
    ReadOnly,
    /// The disk, or the way to it, failed: look after it, then run the same command again.
    Disk(String),
    /// Some of it cannot be read any more: restore it from a copy.
    Damaged(String),
    /// The log was written to while it was read, so that its hash is of no file: replay it again.
    LogChanged(String),
    /// What else `SQLite` tells.
    Other(rusqlite::Error),
}

/// What is wrong, and with which file.
#[derive(Debug)]
pub struct RegisterError {
    /// The file, as it was named.
    pub file: String,
    /// What is wrong.
    pub trouble: Trouble,
}

/// Does another program hold the file?
pub(super) fn is_busy(error: &rusqlite::Error) -> bool {
    matches!(error.sqlite_error_code(), Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked))
}

/// Room that `SQLite` takes at once for what programs share (its file format, "The WAL-Index File Format"), bytes.
const AT_ONCE: usize = 1 << 15;

/// Is the disk on which this file lies full?
fn is_full(path: &Path) -> bool {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let tried = tempfile::tempfile_in(folder).and_then(|mut file| file.write_all(&vec![0; AT_ONCE]));
    tried.is_err_and(|error| matches!(error.kind(), ErrorKind::StorageFull | ErrorKind::QuotaExceeded))
}

impl RegisterError {
    /// Of what `SQLite` says about a file.
    pub(super) fn of(path: &Path, error: rusqlite::Error) -> Self {
        let trouble = match error.sqlite_error_code() {
            _ if is_busy(&error) => Trouble::Busy,
            Some(ErrorCode::DiskFull) => Trouble::Full,
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => {
                Trouble::ReadOnly
            }
            // Not each way in which it needs room has that name.
            Some(ErrorCode::SystemIoFailure) if is_full(path) => Trouble::Full,
            Some(ErrorCode::SystemIoFailure) => Trouble::Disk(error.to_string()),
            Some(ErrorCode::DatabaseCorrupt) => Trouble::Damaged(error.to_string()),
            Some(ErrorCode::NotADatabase) => Trouble::NoRegister,
            _ => Trouble::Other(error),
        };
        Self { file: named(path), trouble }
    }
    /// Would the next log meet with it too?
    pub const fn is_lasting(&self) -> bool {
        !matches!(self.trouble, Trouble::LogChanged(_))
    }
    /// Was another file meant, or another version of this program?
    pub const fn is_wrong_file(&self) -> bool {
        matches!(self.trouble, Trouble::NoRegister | Trouble::OtherProgram | Trouble::Newer(_))
    }
    /// What to do next, where that is known.
    pub fn next_step(&self) -> Option<&'static str> {
        Some(match self.trouble {
            Trouble::Missing => {
                "check the name; `bandward replay --register FILE` makes one where there is none"
            }
            Trouble::NoFolder => "check the name, or make the folder",
            Trouble::NoRegister | Trouble::OtherProgram => "name a register, or a new file to start one",
            Trouble::Newer(_) => "use the version of bandward that wrote it, or a later one",
            Trouble::Older(_) | Trouble::ReadOnly => {
                "check whose file and folder it is, and what may be done with it"
            }
            Trouble::Busy => "run the same command again when the other program is done",
            Trouble::Full => {
                "make room on the disk, then run the same command again: what is recorded is passed over"
            }
            Trouble::Disk(_) => "look after the disk, or the way to it, then run the same command again",
            Trouble::Damaged(_) => {
                "restore it from a copy; `bandward register check FILE` tells what is damaged"
            }
            Trouble::LogChanged(_) | Trouble::Other(_) => return None,
        })
    }
}

impl fmt::Display for RegisterError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let file = &self.file;
        match &self.trouble {
            Trouble::Missing => write!(out, "register {file}: no such file"),
            Trouble::NoFolder => {
                write!(out, "register {file} cannot be opened or written: there is no such folder")
            }
            Trouble::NoRegister => write!(out, "{file} is no register: it is no SQLite file"),
            Trouble::OtherProgram => {
                write!(out, "{file} is no register: it is the SQLite file of another program")
            }
            Trouble::Newer(found) => write!(
                out,
                "register {file} was written by a newer bandward: its schema is version {found}, and this one knows \
                 up to version {VERSION}"
            ),
            Trouble::Older(found) => write!(
                out,
                "register {file} has schema version {found} and must be brought to version {VERSION}, but cannot be \
                 written to"
            ),
            Trouble::Busy => write!(out, "register {file}: another program kept writing to it for 30 s"),
            Trouble::Full => write!(out, "register {file} cannot be written: the disk is full"),
            Trouble::ReadOnly => {
                write!(out, "register {file} cannot be opened or written: no permission, or a read-only disk")
            }
            Trouble::Disk(told) => write!(out, "register {file} cannot be read or written: {told}"),
            Trouble::Damaged(told) => write!(out, "register {file} is damaged: {told}"),
            Trouble::LogChanged(told) => write!(out, "register {file}: not recorded: {told}"),
            Trouble::Other(error) => write!(out, "register {file}: {error}"),
        }
    }
}

impl std::error::Error for RegisterError {}
