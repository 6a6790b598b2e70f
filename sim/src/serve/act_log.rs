//! Who did what from a page, one JSON object a line.
//!
//! Decides: that nothing is done which could not be written down first.
//! Assumes: the clock of this machine for the time of day.
//! Never: writes over what is there, nor writes a token.

use super::act::Act;
use crate::output::named;
use anyhow::Context as _;
use serde_json::{Value, json};
use std::fs::OpenOptions;
use std::io::Write as _;
use std::net::IpAddr;
use std::path::PathBuf;

/// A file that rows are added to; it is made with the first.
#[derive(Clone, Debug)]
pub struct ActLog {
    path: PathBuf,
}

impl ActLog {
    /// Rows go to `path`.
    pub const fn new(path: PathBuf) -> Self {
        Self { path }
    }
    /// Something is asked, and not done yet.
    ///
    /// # Errors
    /// The row cannot be written.
    pub fn asked(&self, act: Act, from: IpAddr) -> anyhow::Result<()> {
        self.add(act, from, "asked", None)
    }
    /// How it went.
    ///
    /// # Errors
    /// The row cannot be written.
    pub fn ended(&self, act: Act, from: IpAddr, how: &Result<String, String>) -> anyhow::Result<()> {
        match how {
            Ok(words) => self.add(act, from, "done", Some(words)),
            Err(words) => self.add(act, from, "failed", Some(words)),
        }
    }
    fn add(&self, act: Act, from: IpAddr, state: &str, words: Option<&str>) -> anyhow::Result<()> {
        let mut row = json!({ "time": jiff::Timestamp::now().to_string(), "from": from.to_string() });
        if let (Some(row), Value::Object(act)) = (row.as_object_mut(), act.line()) {
            row.extend(act);
            row.insert("state".into(), state.into());
            row.extend(words.map(|words| ("words".to_owned(), words.into())));
        }
        let open = OpenOptions::new().create(true).append(true).open(&self.path);
        open.and_then(|mut file| file.write_all(format!("{row}\n").as_bytes()))
            .with_context(|| format!("cannot write {}", named(&self.path)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_added_and_what_cannot_be_written_is_an_error() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("acts.jsonl");
        let log = ActLog::new(path.clone());
        let from = IpAddr::from([192, 0, 2, 7]);
        log.asked(Act::Acknowledge, from).expect("written");
        log.ended(Act::Acknowledge, from, &Err("no link".into())).expect("written");
        let text = std::fs::read_to_string(path).expect("there");
        let rows: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
        assert_eq!(rows.len(), 2);
        assert_eq!((&rows[0]["state"], &rows[0]["from"]), (&json!("asked"), &json!("192.0.2.7")));
        assert_eq!((&rows[1]["state"], &rows[1]["words"]), (&json!("failed"), &json!("no link")));
        assert!(rows[1]["time"].as_str().is_some_and(|time| time.parse::<jiff::Timestamp>().is_ok()));
        assert!(ActLog::new(folder.path().to_owned()).asked(Act::Acknowledge, from).is_err());
    }
}
