//! Which logs the names on a command line stand for: files, folders, patterns.
//!
//! Decides: which files of a folder are logs (no hidden ones, nor tables of joints), and the order: that of the names, and by name within a folder.
//! Assumes: a name that is there is meant as it stands, whatever signs of a pattern are in it.
//! Never: takes a log twice, nor leaves a name without an answer: one that leads to no log is told.

use super::Log;
use crate::fleet::is_table;
use crate::output::{STANDARD_STREAM, is_same_file, named, reason, standard_input};
use glob::MatchOptions;
use std::collections::HashSet;
use std::fs::Metadata;
use std::io;
use std::path::{Path, PathBuf};
use walkdir::{DirEntry, WalkDir};

/// The files of a folder that are taken for logs: those whose names end so, in letters of either size.
const ENDINGS: [&str; 4] = [".csv", ".csv.gz", ".csv.zst", ".parquet"];

/// Signs of a pattern.
const SIGNS: [char; 3] = ['*', '?', '['];

/// As most shells do it: what is hidden is not meant, and a star does not leave its folder.
const AS_SHELLS_DO: MatchOptions =
    MatchOptions { case_sensitive: true, require_literal_separator: true, require_literal_leading_dot: true };

/// What the names stand for.
#[derive(Debug, Default)]
pub struct Found {
    /// The logs, and names that lead to none.
    pub logs: Vec<Log>,
    /// May the names stand for more than one log? Then all is shown as of many, however many there are.
    pub is_many: bool,
    /// Files of folders that are no logs by their names.
    pub passed_over: u64,
    /// How often a log was named again.
    pub named_again: u64,
    /// Every log so far, as the file system knows it.
    known: HashSet<PathBuf>,
    /// What standard input comes from: a name of that is one more of standard input.
    standard_input: Option<Metadata>,
}

impl Found {
    /// Looks for the logs; what lies in one of the folders that are `written` is none.
    pub fn of(names: &[PathBuf], written: &[&Path]) -> Self {
        if names.is_empty() {
            return Self { logs: vec![Log::Demo], ..Self::default() };
        }
        let written: Vec<PathBuf> = written.iter().filter_map(|folder| folder.canonicalize().ok()).collect();
        let mut found =
            Self { is_many: names.len() > 1, standard_input: standard_input(), ..Self::default() };
        for name in names {
            match pattern(name) {
                Some(pattern) => found.matching(name, pattern, &written),
                None => found.name(name, &written),
            }
        }
        found
    }
    /// The files among the logs, and standard input.
    pub fn files(&self) -> impl Iterator<Item = &Path> {
        self.logs.iter().filter_map(|log| match log {
            Log::File(path) => Some(path.as_path()),
            Log::Demo | Log::None { .. } => None,
        })
    }
    fn name(&mut self, name: &Path, written: &[PathBuf]) {
        if name.is_dir() {
            self.folder(name, written);
        } else {
            self.file(name.to_owned());
        }
    }
    fn file(&mut self, path: PathBuf) {
        // What is not there is told by whoever opens it, once for each time it was named.
        let is_new = match path.canonicalize() {
            _ if self.is_standard_input(&path) => self.known.insert(STANDARD_STREAM.into()),
            Ok(place) => self.known.insert(place),
            Err(_) => true,
        };
        if is_new {
            self.logs.push(Log::File(path));
        } else {
            self.named_again += 1;
        }
    }
    fn is_standard_input(&self, path: &Path) -> bool {
        let is_same = |input| path.metadata().is_ok_and(|found| is_same_file(&found, input));
        path.as_os_str() == STANDARD_STREAM || self.standard_input.as_ref().is_some_and(is_same)
    }
    fn matching(&mut self, name: &Path, pattern: &str, written: &[PathBuf]) {
        self.is_many = true;
        let paths = match glob::glob_with(pattern, AS_SHELLS_DO) {
            Ok(paths) => paths,
            Err(error) => {
                return self
                    .none(name, format!("there is no such file, and it is no pattern: {}", error.msg));
            }
        };
        let mut is_matched = false;
        for path in paths {
            is_matched = true;
            match path {
                Ok(path) => self.name(&path, written),
                Err(error) => self.none(error.path(), format!("cannot be read: {}", reason(error.error()))),
            }
        }
        if !is_matched {
            self.none(name, "no file has a name of this pattern".to_owned());
        }
    }
    fn folder(&mut self, folder: &Path, written: &[PathBuf]) {
        self.is_many = true;
        let before = (self.logs.len(), self.named_again);
        let is_looked_into = |entry: &DirEntry| {
            let is_folder = entry.file_type().is_dir();
            let is_written = || entry.path().canonicalize().is_ok_and(|folder| written.contains(&folder));
            entry.depth() == 0 || !(is_folder && (is_hidden(entry) || is_written()))
        };
        let entries = WalkDir::new(folder).follow_links(true).sort_by_file_name();
        for entry in entries.into_iter().filter_entry(is_looked_into) {
            match entry {
                Ok(entry) if entry.file_type().is_dir() => {}
                Ok(entry) if entry.file_type().is_file() && is_meant(&entry) => self.file(entry.into_path()),
                Ok(_) => self.passed_over += 1,
                Err(error) => self.unread(folder, &error),
            }
        }
        if before == (self.logs.len(), self.named_again) {
            let endings = ENDINGS.join(", ");
            self.none(folder, format!("no log is in this folder: no name in it ends in {endings}"));
        }
    }
    /// A part of a folder that could not be looked at.
    fn unread(&mut self, folder: &Path, error: &walkdir::Error) {
        let path = error.path().unwrap_or(folder);
        match error.io_error() {
            Some(error) if is_log(path) || error.kind() != io::ErrorKind::NotFound => {
                self.none(path, format!("cannot be read: {}", reason(error)));
            }
            // A link back to a folder that is being walked through, or a link of another name to nowhere.
            _ => self.passed_over += 1,
        }
    }
    fn none(&mut self, name: &Path, why: String) {
        self.logs.push(Log::None { name: named(name), why });
    }
}

/// The pattern that a name is, unless it is there as it stands, or is no text.
fn pattern(name: &Path) -> Option<&str> {
    let text = name.to_str().filter(|text| text.contains(SIGNS))?;
    name.symlink_metadata().is_err().then_some(text)
}

/// Is a file of a folder taken for a log?
fn is_meant(entry: &DirEntry) -> bool {
    is_log(entry.path()) && !is_hidden(entry) && !is_table(entry.path())
}

fn is_hidden(entry: &DirEntry) -> bool {
    entry.file_name().as_encoded_bytes().starts_with(b".")
}

fn is_log(path: &Path) -> bool {
    let name = path.file_name().map(|name| name.to_string_lossy().to_ascii_lowercase()).unwrap_or_default();
    ENDINGS.iter().any(|ending| name.ends_with(ending))
}
