//! One `SQLite` file that keeps what replays found: joints, bands, alarms, causes, procedures, logs.
//!
//! Decides: what a joint is found by, and what is the same judgement twice.
//! Assumes: records as `bandward replay --json` prints them; the schema is described in `README.md` beside this.
//! Never: changes or deletes a row that was committed, but for the place a log was last read at, the order in which its
//! judgements were told, and how a joint stands when more was recorded for it.

mod add;
mod check;
mod document;
mod documents;
mod error;
mod find;
mod kept;
mod network;
mod open;
mod rows;
mod schema;
mod standing;
mod stored;
mod version;

pub use add::{Added, Entry, LogFile};
pub use document::{AddedDocument, Document, DocumentKind, NewDocument};
pub use error::{RegisterError, Trouble};
pub use find::{Filter, Found};
pub use open::Register;
pub use standing::{Standing, outcome};
pub use stored::{Stored, StoredText};
pub use version::{APPLICATION_ID, VERSION};

use std::borrow::Cow;
use std::path::Path;

/// What belongs to the register at `path`, which is named as `what`, each with what it is: itself, and what `SQLite` keeps
/// beside it, by the name of the file that a link leads to.
pub fn files<'p>(what: &'static str, path: &'p Path) -> impl Iterator<Item = (&'static str, Cow<'p, Path>)> {
    let place = path.is_symlink().then(|| path.canonicalize().ok()).flatten();
    let beside = std::iter::once(path.to_owned()).chain(place).flat_map(|place| {
        ["-wal", "-shm", "-journal"].map(|ending| {
            let mut name = place.as_os_str().to_owned();
            name.push(ending);
            ("a file of the register", Cow::Owned(name.into()))
        })
    });
    std::iter::once((what, Cow::Borrowed(path))).chain(beside)
}
