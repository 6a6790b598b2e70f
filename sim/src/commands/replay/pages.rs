//! The pages of many logs: one a log, and one that leads to them.
//!
//! Decides: the names of the pages: those of the logs, numbered where two are alike.
//! Assumes: nobody else writes into the folder meanwhile.
//! Never: gives two logs one page.

use super::Log;
use crate::input::procedure_file::ProcedureFile;
use crate::output::terminal::remark;
use crate::output::{Draft, cannot_write, make_folder, name, named};
use crate::replay::Replay;
use crate::report::page::shift;
use crate::shift::{Failure, Shift};
use anyhow::Context as _;
use std::collections::HashSet;
use std::io::{self, Seek as _, Write as _};
use std::path::{Path, PathBuf};
use tempfile::SpooledTempFile;

/// The name of the page that leads to the others.
const INDEX: &str = "index.html";
/// Lines of the index that wait in memory before a temporary file is made for them, bytes.
const IN_MEMORY: usize = 1 << 20;
/// A longer name of a log is cut, so that its page has a name that every file system takes.
const LONGEST: usize = 100;

/// The logs, each with the name of its page where there are pages.
pub fn pieces(logs: Vec<Log>, has_pages: bool) -> Vec<Piece> {
    let names = if has_pages { names(&logs) } else { Vec::new() };
    let mut names = names.into_iter();
    logs.into_iter().map(|log| Piece { log, page: names.next() }).collect()
}

/// All pages in this folder: of each log its own, and the one that leads to them.
pub fn paths(folder: &Path, logs: &[Log]) -> Vec<PathBuf> {
    names(logs).iter().map(String::as_str).chain([INDEX]).map(|name| folder.join(name)).collect()
}

/// The name of the page of each log.
fn names(logs: &[Log]) -> Vec<String> {
    let mut taken = HashSet::from(["index".to_owned()]);
    logs.iter().map(|log| format!("{}.html", unlike(&stem(log), &mut taken))).collect()
}

/// What stands for a log in names: its own without folder and ending, in letters that need no care anywhere.
fn stem(log: &Log) -> String {
    let Log::File(path) = log else { return "log".to_owned() };
    let (stem, _) = name::split(path);
    let plain =
        |letter: char| if letter.is_ascii_alphanumeric() || "_-".contains(letter) { letter } else { '_' };
    let stem: String = stem.to_string_lossy().chars().take(LONGEST).map(plain).collect();
    if stem.is_empty() || stem == "-" { "log".to_owned() } else { stem }
}

/// The name with the first number that makes it unlike all before it, also where large and small letters are
/// the same.
fn unlike(stem: &str, taken: &mut HashSet<String>) -> String {
    if taken.insert(stem.to_ascii_lowercase()) {
        return stem.to_owned();
    }
    let mut numbered = (2_u64..).map(|number| format!("{stem}-{number}"));
    numbered.find(|name| taken.insert(name.to_ascii_lowercase())).unwrap_or_default()
}

/// The page that leads to the others, under way.
pub struct Index {
    path: PathBuf,
    rows: SpooledTempFile,
}

impl Index {
    /// Makes the folder.
    ///
    /// # Errors
    /// The folder cannot be made.
    pub fn new(folder: &Path) -> anyhow::Result<Self> {
        make_folder(folder)?;
        Ok(Self { path: folder.join(INDEX), rows: tempfile::spooled_tempfile(IN_MEMORY) })
    }
    /// Takes the next log; without a page there was no row to draw.
    ///
    /// # Errors
    /// There is no room for its line.
    pub fn replayed(
        &mut self,
        replay: &Replay,
        machine: Option<&str>,
        page: Option<&str>,
    ) -> anyhow::Result<()> {
        self.rows.write_all(shift::row(replay, machine, page).as_bytes()).context(NO_ROOM)
    }
    /// Takes a log that failed in its turn.
    ///
    /// # Errors
    /// As [`Index::replayed`].
    pub fn failed(&mut self, failure: &Failure) -> anyhow::Result<()> {
        self.rows.write_all(shift::failed_row(failure).as_bytes()).context(NO_ROOM)
    }
    /// Writes the page.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn finish(mut self, shift: &Shift, procedure: Option<&ProcedureFile>) -> anyhow::Result<()> {
        let path = &self.path;
        let mut write = || -> io::Result<()> {
            let mut draft = Draft::create(path)?;
            draft.write_all(shift::before(shift, procedure).as_bytes())?;
            self.rows.rewind()?;
            io::copy(&mut self.rows, &mut draft)?;
            draft.write_all(shift::AFTER.as_bytes())?;
            draft.put()
        };
        write().map_err(|error| cannot_write(path, &error))?;
        remark(&format!("written: {}", named(path)));
        Ok(())
    }
}

const NO_ROOM: &str = "cannot keep the lines of the index in the folder for temporary files";

/// A log, and the name of its page where pages are asked for.
pub struct Piece {
    /// The log.
    pub log: Log,
    /// The name of its page.
    pub page: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_log_has_a_page_of_its_own() {
        let logs =
            ["a/joint.csv", "b/Joint.csv.gz", "joint-2.parquet", "index.csv", "-", "<b>.csv", "c/joint.csv"];
        let pieces = pieces(logs.map(|log| Log::File(log.into())).into(), true);
        let pages: Vec<_> = pieces.into_iter().filter_map(|piece| piece.page).collect();
        let expected = [
            "joint.html",
            "Joint-2.html",
            "joint-2-2.html",
            "index-2.html",
            "log.html",
            "_b_.html",
            "joint-3.html",
        ];
        assert_eq!(pages, expected);
    }
}
