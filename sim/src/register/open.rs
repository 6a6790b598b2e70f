//! Opening a register.
//!
//! Decides: how it is locked and written down: a write-ahead log, but on a network drive a rollback journal; every
//! commit on the disk before it is told; how long other programs are waited for.
//! Assumes: the disk has written what it says it has.
//! Never: makes a file that was only to be read, nor needs room on the disk for that; nor looks at every page: `check` does.

use super::error::{RegisterError, Trouble, is_busy};
use super::network::is_on_network;
use super::schema::{self, Kind};
use super::version::VERSION;
use crate::output::named;
use crate::output::terminal::remark;
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, Result};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::Duration;

/// Between two tries while another program writes.
const PAUSE: Duration = Duration::from_millis(25);
/// Tries after which it is told that somebody waits: 1 s.
const TOLD_AFTER: i32 = 40;
/// Tries after which it is given up: 30 s.
const TRIES: i32 = 1200;

/// An open register.
pub struct Register {
    pub(super) connection: Connection,
    path: PathBuf,
    /// It was opened to be read without a word to the disk.
    is_untouched: bool,
}

impl Register {
    /// Opens one to add to it; it is made where there is none, and brought up to date where it is older.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn open(path: &Path) -> std::result::Result<Self, RegisterError> {
        let is_new = !path.exists();
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        if folder.is_some_and(|folder| !folder.is_dir()) {
            return Err(RegisterError { file: named(path), trouble: Trouble::NoFolder });
        }
        let create = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
        let register = Self::writable(path, create)?;
        if is_new {
            keep_name(path);
        }
        Ok(register)
    }
    /// Opens one to look things up; it may lie on a disk that cannot be written to, or is full.
    ///
    /// # Errors
    /// What is wrong with it, or there is none.
    pub fn read(path: &Path) -> std::result::Result<Self, RegisterError> {
        let file = named(path);
        if !path.exists() {
            return Err(RegisterError { file, trouble: Trouble::Missing });
        }
        match Self::writable(path, OpenFlags::SQLITE_OPEN_READ_WRITE) {
            Err(RegisterError { trouble: Trouble::ReadOnly, .. }) => Self::read_only(path, file),
            // With a write-ahead log even reading takes room, for what is shared with other programs.
            Err(error @ RegisterError { trouble: Trouble::Full | Trouble::Disk(_), .. }) => {
                Self::read_alone(path, &file).or_else(|_| Self::read_only(path, file)).map_err(|_| error)
            }
            opened => opened,
        }
    }
    fn writable(path: &Path, flags: OpenFlags) -> std::result::Result<Self, RegisterError> {
        let file = named(path);
        let opened = connect(path, flags, &file).and_then(|mut connection| {
            // In one look: another program may be making it.
            let found = schema::kind(&*connection.transaction()?)?;
            let found = match found {
                Ok(Kind::Register(VERSION)) => set_journal(&connection, path).map(Ok)?,
                Ok(_) => {
                    set_journal(&connection, path)?;
                    schema::bring_up_to_date(&mut connection)?
                }
                Err(trouble) => Err(trouble),
            };
            Ok(found.map(|()| {
                write_through(&connection);
                connection
            }))
        });
        Self::of(opened, path, file, false)
    }
    /// Shared with no other program, so that what would be shared is in memory (`SQLite`: "Use of WAL Without
    /// Shared-Memory").
    fn read_alone(path: &Path, file: &str) -> std::result::Result<Self, RegisterError> {
        // Before anything looks at the file.
        let first = "PRAGMA locking_mode = EXCLUSIVE; PRAGMA query_only = ON;";
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE;
        let opened = connect_after(path, flags, file, first).and_then(|connection| {
            connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
            Ok((schema::kind(&connection)?, connection))
        });
        Self::of(opened.map(of_this_version), path, file.to_owned(), true)
    }
    fn read_only(path: &Path, file: String) -> std::result::Result<Self, RegisterError> {
        let opened = connect(path, OpenFlags::SQLITE_OPEN_READ_ONLY, &file)
            .and_then(|connection| Ok((schema::kind(&connection)?, connection)))
            // With a write-ahead log even reading writes, beside the file; if nobody can, nobody does.
            .or_else(|_| {
                if has_log(path) {
                    remark(&format!(
                        "note: register {file}: what was added last may be missing: its write-ahead log cannot be read \
                         on this disk"
                    ));
                }
                let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
                let connection = connect(Path::new(&unchanging(path)), flags, &file)?;
                Ok((schema::kind(&connection)?, connection))
            });
        Self::of(opened.map(of_this_version), path, file, true)
    }
    fn of(
        opened: Result<std::result::Result<Connection, Trouble>>,
        path: &Path,
        file: String,
        is_untouched: bool,
    ) -> std::result::Result<Self, RegisterError> {
        match opened {
            Ok(Ok(connection)) => Ok(Self { connection, path: path.to_owned(), is_untouched }),
            Ok(Err(trouble)) => Err(RegisterError { file, trouble }),
            Err(error) => Err(RegisterError::of(path, error)),
        }
    }
    /// An error that says which file it is about.
    pub(super) fn told<T>(&self, result: Result<T>) -> std::result::Result<T, RegisterError> {
        result.map_err(|error| RegisterError::of(&self.path, error))
    }
}

impl Drop for Register {
    /// So that a copy of the file alone is whole.
    fn drop(&mut self) {
        if !self.is_untouched {
            write_through(&self.connection);
        }
    }
}

/// One that cannot be brought up to date must not need it.
fn of_this_version(
    (kind, connection): (std::result::Result<Kind, Trouble>, Connection),
) -> std::result::Result<Connection, Trouble> {
    match kind? {
        Kind::Register(VERSION) => Ok(connection),
        Kind::Register(older) => Err(Trouble::Older(older)),
        Kind::Empty => Err(Trouble::NoRegister),
    }
}

/// Does something stand in its write-ahead log?
fn has_log(path: &Path) -> bool {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    std::fs::metadata(log).is_ok_and(|log| log.len() > 0)
}

/// Brings what is in the write-ahead log into the file itself, as far as no other program is in the way: nobody waits
/// for it, and what stays behind is as safe in the log. A program that was killed leaves one.
fn write_through(connection: &Connection) {
    let _ = connection.query_row("PRAGMA wal_checkpoint(PASSIVE)", [], |_| Ok(()));
}

fn connect(path: &Path, flags: OpenFlags, file: &str) -> Result<Connection> {
    connect_after(path, flags, file, "")
}

/// The same, after these settings.
fn connect_after(path: &Path, flags: OpenFlags, file: &str, first: &str) -> Result<Connection> {
    // A whole path, so that none is taken for an address: SQLite reads `file:...` as one.
    let is_address = flags.contains(OpenFlags::SQLITE_OPEN_URI);
    let whole =
        if is_address { path.to_owned() } else { std::path::absolute(path).unwrap_or(path.to_owned()) };
    let mut connection = Connection::open_with_flags(whole, flags | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
    let file = file.to_owned();
    connection.busy_handler(Some(move |tries| wait(tries, &file)))?;
    connection.execute_batch(first)?;
    connection.execute_batch(
        "PRAGMA foreign_keys = ON; PRAGMA synchronous = FULL; PRAGMA fullfsync = ON; \
         PRAGMA checkpoint_fullfsync = ON; PRAGMA trusted_schema = OFF; PRAGMA cell_size_check = ON;",
    )?;
    Ok(connection)
}

/// Waits a little; false when it was enough.
fn wait(tries: i32, file: &str) -> bool {
    if tries == TOLD_AFTER {
        remark(&format!("register {file}: waiting for another program that writes to it"));
    }
    sleep(PAUSE);
    tries < TRIES
}

/// A file remembers its journal, so that this writes only where it has to change.
fn set_journal(connection: &Connection, path: &Path) -> Result<()> {
    let wanted = if is_on_network(path) { "delete" } else { "wal" };
    let mode = |row: &rusqlite::Row<'_>| row.get::<_, String>(0);
    if connection.pragma_query_value(None, "journal_mode", mode)? == wanted {
        return Ok(());
    }
    // SQLite does not wait here by itself. Where a file system cannot do it, the other journal stays.
    let mut tries = 0;
    loop {
        match connection.pragma_update_and_check(None, "journal_mode", wanted, mode) {
            Err(error) if is_busy(&error) && tries < TRIES => {
                tries += 1;
                sleep(PAUSE);
            }
            changed => return changed.map(drop),
        }
    }
}

/// The address of a file that nobody changes.
fn unchanging(path: &Path) -> String {
    let whole = std::path::absolute(path).unwrap_or(path.to_owned());
    let mut address = String::from("file:");
    for byte in whole.as_os_str().as_encoded_bytes() {
        match byte {
            b'/' | b'.' | b'-' | b'_' => address.push(char::from(*byte)),
            byte if byte.is_ascii_alphanumeric() => address.push(char::from(*byte)),
            // Writing to a string cannot fail.
            byte => drop(write!(address, "%{byte:02X}")),
        }
    }
    address + "?immutable=1"
}

/// A new file is found again after a power cut only when its folder is on the disk too.
fn keep_name(path: &Path) {
    #[cfg(unix)]
    {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        // There are file systems without this, and nothing that could be done about it.
        let _ = std::fs::File::open(folder).and_then(|folder| folder.sync_all());
    }
    #[cfg(not(unix))]
    let _ = path;
}
