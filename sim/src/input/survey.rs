//! Which keys the readers of a file ask for, found by letting them read.
//!
//! Decides: that a key is known if, and only if, a reader asks for it; what it may hold is what the reader says
//! where something else is written.
//! Assumes: a reader asks for the keys of a table whenever the table is there, whatever else is in it.
//! Never: lists a key by hand.

use std::cell::RefCell;
use std::fmt::Write as _;

/// What a key holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Form {
    /// Further keys.
    Table,
    /// Any number of tables.
    Tables,
    /// A value; what may stand there.
    Value(String),
}

/// A key of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Key {
    /// With the tables around it: `current.allowed`.
    pub path: String,
    /// What it holds.
    pub form: Form,
}

/// More rounds than there are tables within tables.
const MOST_ROUNDS: usize = 6;

thread_local! {
    /// The keys asked for so far, while somebody wants to know.
    static ASKED: RefCell<Option<Vec<Key>>> = const { RefCell::new(None) };
}

/// Takes note that a reader asks for a key; the first that is said of it holds.
pub(super) fn note(path: impl FnOnce() -> String, form: impl FnOnce() -> Form) {
    ASKED.with_borrow_mut(|asked| {
        let Some(asked) = asked else { return };
        let path = path();
        if asked.iter().all(|key| key.path != path) {
            asked.push(Key { path, form: form() });
        }
    });
}

/// The keys that `read` asks for in a text with all its tables, and in each of `seeds`: texts that bring out keys
/// which are asked for only where others hold something.
pub fn keys(read: impl Fn(&str), seeds: &[String]) -> Vec<Key> {
    let mut known = asked_in(&read, "");
    for _ in 0..MOST_ROUNDS {
        let more = asked_in(&read, &all_tables(&known));
        if !add(&mut known, more) {
            break;
        }
    }
    for seed in seeds {
        let more = asked_in(&read, seed);
        add(&mut known, more);
    }
    known
}

fn asked_in(read: &impl Fn(&str), text: &str) -> Vec<Key> {
    ASKED.set(Some(Vec::new()));
    read(text);
    let asked = ASKED.take().unwrap_or_default();
    // Tables of a list are told by their number; what they may hold is the same.
    asked.into_iter().map(|key| Key { path: key.path.replace("[1]", ""), ..key }).collect()
}

/// Adds what is not known yet; was there anything?
fn add(known: &mut Vec<Key>, more: Vec<Key>) -> bool {
    let before = known.len();
    for key in more {
        if known.iter().all(|other| other.path != key.path) {
            known.push(key);
        }
    }
    known.len() > before
}

/// A text with all known tables, and nothing in them.
fn all_tables(known: &[Key]) -> String {
    let mut text = String::new();
    for key in known {
        let _ = match key.form {
            Form::Table => writeln!(text, "[{}]", key.path),
            Form::Tables => writeln!(text, "[[{}]]", key.path),
            Form::Value(_) => Ok(()),
        };
    }
    text
}
