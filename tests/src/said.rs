//! What the built program says of a trace: `bandward replay --json`.
//!
//! Decides: what of it a check looks at.
//! Assumes: the program is built, see [`program`].
//! Never: judges.

use crate::program;
use bandward_sim::trace::{Row, TraceWriter};
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A procedure of the tests' own.
pub fn procedure(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data").join(name)
}

/// Writes these rows as a trace; the first has every channel there is.
///
/// # Panics
/// There is no row, or the folder cannot be written to.
pub fn write(rows: impl IntoIterator<Item = Row>, path: &Path) {
    let mut rows = rows.into_iter().peekable();
    let channels = rows.peek().expect("a row").to_sample().present();
    let mut writer = TraceWriter::create(path, channels).expect("a trace");
    rows.for_each(|row| writer.write(&row).expect("a row"));
    writer.finish().expect("a trace");
}

/// What was said.
#[derive(Clone, Debug)]
pub struct Said {
    /// The exit code.
    pub exit: Option<i32>,
    /// All of it.
    pub json: Value,
}

impl Said {
    /// Replays a trace by a procedure.
    ///
    /// # Panics
    /// The program does not run, or prints no JSON.
    pub fn of(trace: &Path, procedure: &Path) -> Self {
        let output = Command::new(program::path())
            .args(["replay", "--json", "--procedure"])
            .args([procedure, trace])
            .output()
            .expect("the program runs");
        let told = |error| panic!("{error}: {}", String::from_utf8_lossy(&output.stderr));
        let json = serde_json::from_slice(&output.stdout).unwrap_or_else(told);
        Self { exit: output.status.code(), json }
    }
    /// The outcome of it all.
    pub fn outcome(&self) -> &str {
        self.json["outcome"].as_str().unwrap_or_default()
    }
    /// One of its lists.
    pub fn list(&self, name: &str) -> impl Iterator<Item = &Value> {
        self.json[name].as_array().into_iter().flatten()
    }
    /// The rules broken on any joint.
    pub fn broken(&self) -> BTreeSet<String> {
        self.list("joints").flat_map(|joint| names(&joint["broken"])).collect()
    }
    /// The rules not proven on any joint, and the reasons why one is not complete.
    pub fn open(&self) -> BTreeSet<String> {
        let of =
            |joint: &Value| names(&joint["not_proven"]).chain(names(&joint["reasons"])).collect::<Vec<_>>();
        self.list("joints").flat_map(of).collect()
    }
    /// The rules that warned or stopped.
    pub fn loud(&self) -> BTreeSet<String> {
        let is_loud = |alarm: &&Value| alarm["severity"] != "advise";
        let rules = self.list("alarms").filter(is_loud).filter_map(|alarm| alarm["rule"].as_str());
        rules.map(str::to_owned).collect()
    }
}

/// The texts of a list.
pub fn names(list: &Value) -> impl Iterator<Item = String> {
    list.as_array().into_iter().flatten().filter_map(Value::as_str).map(str::to_owned)
}
