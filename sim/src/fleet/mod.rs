//! Bands and alarms of many joints, laid out so that engines which query files skip what is not asked
//! for.
//!
//! Decides: the folders, `machine=`, `day=` and `joint=` under a table's own, and the columns.
//! Assumes: whoever writes a joint again wants it in place of the old one.
//! Never: holds more than a part of the bands and alarms of one joint; alarms stand in the order in which
//! they were over.
//!
//! ```sql
//! SELECT machine, rule, count(*) AS alarms
//! FROM read_parquet('fleet/alarms/**/*.parquet', hive_partitioning = true)
//! WHERE day >= '2026-03-01' AND severity <> 'advise'
//! GROUP BY machine, rule ORDER BY alarms DESC;
//! ```

mod column;
mod export;
mod exported;
mod joint;
mod moment;
mod tables;

pub use export::{Export, Kept};
pub use exported::each as each_exported;
pub use joint::JointTables;
pub use moment::{day_of, first_joint, welded_at};

use crate::input::hash::sha256_hex;
use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file;
use crate::input::layout::Layout;
use crate::output::terminal::remark;
use crate::output::{make_folder, name, named};
use crate::trace;
use anyhow::bail;
use clap::Args;
use std::collections::{HashMap, HashSet};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Where the tables of joints go.
#[derive(Args, Debug, Default)]
pub struct FleetArguments {
    /// Writes bands and alarms as Parquet under FOLDER, a folder a machine, day and joint
    #[arg(long, value_name = "FOLDER")]
    parquet: Option<PathBuf>,
    /// The machine, for --parquet and for `trend`
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
    /// The day, for --parquet; where not given that of the weld, or else `undated`
    #[arg(long, value_name = "YYYY-MM-DD", requires = "parquet")]
    day: Option<jiff::civil::Date>,
    /// The folders written so far.
    #[arg(skip)]
    written: Mutex<HashSet<PathBuf>>,
    /// Joints of traces whose own name another trace of that machine and day has, by the trace.
    #[arg(skip)]
    renamed: Mutex<HashMap<String, String>>,
}

impl FleetArguments {
    /// The machine, where it was named.
    pub fn machine(&self) -> Option<&str> {
        self.machine.as_deref()
    }
    /// Where the tables go, if they are asked for.
    pub fn folder(&self) -> Option<&Path> {
        self.parquet.as_deref()
    }
    /// Refuses traces among the tables, and one that is named twice, before anything is written, and gives traces that stand for the same joint names
    /// of their own, the same whichever is done first; traces that cannot be opened twice are left to
    /// [`FleetArguments::tables`].
    ///
    /// # Errors
    /// Tells which trace.
    pub fn check<'t>(
        &self,
        traces: impl IntoIterator<Item = &'t Path>,
        layout: Option<&Layout>,
    ) -> anyhow::Result<()> {
        let Some(root) = &self.parquet else { return Ok(()) };
        // A folder that is not there has nothing in it.
        let tables: Vec<_> =
            ["bands", "alarms"].iter().filter_map(|table| root.join(table).canonicalize().ok()).collect();
        let is_table = |trace: &Path| tables.iter().any(|folder| trace.starts_with(folder));
        let mut before: HashMap<String, Vec<&Path>> = HashMap::new();
        for trace in traces.into_iter().filter(|trace| trace.is_file()) {
            if trace.canonicalize().is_ok_and(|place| is_table(&place)) {
                bail!(
                    "{} lies among the tables that --parquet {} writes: choose another folder",
                    named(trace),
                    named(root)
                );
            }
            let joint = joint_name(&named(trace));
            let others = before.entry(joint.clone()).or_default();
            // The day is in the trace, which is opened only where it matters; of one that cannot be opened nothing is
            // written.
            let place = |path: &Path| {
                let [machine, welded_at] = told_beside(path);
                let day = match (self.day, welded_at.as_deref().and_then(day_of)) {
                    (Some(day), _) => Some(day.to_string()),
                    (None, Some(day)) => Some(day),
                    (None, None) => {
                        trace::open(path, layout).ok()?.header().start.as_deref().and_then(day_of)
                    }
                };
                Some([self.machine.clone().or(machine), day])
            };
            let is_same = |other: &&Path| place(other).is_some_and(|other| place(trace) == Some(other));
            if others.contains(&trace) {
                bail!(
                    "{0}: another trace is written as joint `{joint}`, and it is {0} too: name it once",
                    named(trace)
                );
            }
            let is_twice = others.iter().any(is_same);
            others.push(trace);
            if is_twice {
                self.rename(&named(trace), &joint);
            }
        }
        Ok(())
    }
    /// Gives the joint of a trace a name of its own, and tells it.
    fn rename(&self, trace: &str, joint: &str) -> String {
        let own = format!("{joint}-{}", &sha256_hex(trace.as_bytes())[..8]);
        remark(&format!(
            "note: {trace}: another trace is written as joint `{joint}` of that machine and day; this one is written as `{own}`"
        ));
        // Whoever panicked while it held the names has not spoilt them.
        let mut renamed = self.renamed.lock().unwrap_or_else(PoisonError::into_inner);
        renamed.insert(trace.to_owned(), own.clone());
        own
    }
    /// Starts the tables of one joint, if asked for; it is named by its trace, and `welded_at` is when it was begun.
    ///
    /// # Errors
    /// A file cannot be written.
    pub fn tables(
        &self,
        trace: &str,
        machine: Option<&str>,
        welded_at: Option<&str>,
    ) -> anyhow::Result<Option<JointTables>> {
        let Some(root) = &self.parquet else { return Ok(None) };
        let renamed = self.renamed.lock().unwrap_or_else(PoisonError::into_inner).get(trace).cloned();
        let joint = renamed.unwrap_or_else(|| joint_name(trace));
        let day = self.day.map(|day| day.to_string()).or(welded_at.and_then(day_of));
        let machine = self.machine().or(machine).unwrap_or("unnamed");
        let mut place = Place { machine, day: day.as_deref().unwrap_or("undated"), joint };
        let mut bands = place.file(root, "bands")?;
        let is_new = |bands: &Path| {
            // Whoever panicked while it held the set has not spoilt it.
            self.written.lock().unwrap_or_else(PoisonError::into_inner).insert(bands.to_owned())
        };
        // The logs' own columns may name one machine for what was held for two.
        while !is_new(&bands) {
            place.joint = self.rename(trace, &place.joint);
            bands = place.file(root, "bands")?;
        }
        JointTables::create(bands, place.file(root, "alarms")?).map(Some)
    }
}

/// The tables of a joint; of a replay those of bands and alarms only.
const TABLES: [&str; 4] = ["bands.parquet", "alarms.parquet", "joints.parquet", "records.parquet"];

/// Is it, by its name, a table that was written for a joint?
pub fn is_table(path: &Path) -> bool {
    let folder = path.parent().and_then(Path::file_name);
    let is_of_joint = folder.is_some_and(|folder| folder.as_encoded_bytes().starts_with(b"joint="));
    is_of_joint && TABLES.iter().any(|table| path.ends_with(table))
}

/// Machine and time of the weld in the joint files beside a trace; what cannot be read is told by whoever replays it.
fn told_beside(trace: &Path) -> [Option<String>; 2] {
    let files = joint_file::beside(trace, joint_file::ENDING);
    let claims: Vec<_> = files.iter().flat_map(|path| joint_file::read(path).unwrap_or_default()).collect();
    [JointField::Machine, JointField::WeldedAt].map(|field| {
        claims.iter().find_map(|claim| match &claim.stated {
            Stated::Text(text) if claim.field == field => Some(text.clone()),
            _ => None,
        })
    })
}

/// The joint of a trace: the name of its file without folder and ending.
fn joint_name(trace: &str) -> String {
    let (stem, _) = name::split(Path::new(trace));
    let stem = stem.to_string_lossy();
    if stem.is_empty() || stem.starts_with('.') { "unnamed".to_owned() } else { stem.into_owned() }
}

/// The folder of a joint.
struct Place<'a> {
    machine: &'a str,
    day: &'a str,
    joint: String,
}

impl Place<'_> {
    fn file(&self, root: &Path, table: &str) -> anyhow::Result<PathBuf> {
        let mut folder = root.join(table);
        for (key, value) in [("machine", self.machine), ("day", self.day), ("joint", &self.joint)] {
            folder.push(format!("{key}={}", in_path(value)));
        }
        make_folder(&folder)?;
        Ok(folder.join(format!("{table}.parquet")))
    }
}

/// A value as it stands in the name of a partition: other characters than letters, digits, `.`, `_`
/// and `-` as `%` and two hexadecimal digits a byte, as engines read them.
fn in_path(value: &str) -> String {
    let mut text = String::new();
    for byte in value.bytes() {
        if byte.is_ascii_alphanumeric() || b"._-".contains(&byte) {
            text.push(char::from(byte));
        } else {
            // Writing to a string cannot fail.
            let _ = write!(text, "%{byte:02X}");
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_partitions_hold_any_name() {
        assert_eq!(in_path("bay 2/left"), "bay%202%2Fleft");
        assert_eq!(in_path("Ö-1.a_b"), "%C3%96-1.a_b");
        assert_eq!(joint_name("a/joint-7.csv.gz"), "joint-7");
        assert_eq!(joint_name("2026-03-04.07.15.csv"), "2026-03-04.07.15");
        assert_eq!(joint_name(".csv"), "unnamed");
    }
}
