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

use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file;
use crate::input::layout::Layout;
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
    /// Refuses traces that stand for the same joint, or among the tables, before anything is written; traces that
    /// cannot be opened twice are left to [`FleetArguments::tables`].
    ///
    /// # Errors
    /// Tells which two.
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
            if others.iter().any(is_same) {
                bail!(same_joint(&named(trace), &joint));
            }
            others.push(trace);
        }
        Ok(())
    }
    /// Starts the tables of one joint, if asked for; it is named by its trace, and `welded_at` is when it was begun.
    ///
    /// # Errors
    /// A file cannot be written, or another trace of this run stands for the same joint.
    pub fn tables(
        &self,
        trace: &str,
        machine: Option<&str>,
        welded_at: Option<&str>,
    ) -> anyhow::Result<Option<JointTables>> {
        let Some(root) = &self.parquet else { return Ok(None) };
        let joint = joint_name(trace);
        let day = self.day.map(|day| day.to_string()).or(welded_at.and_then(day_of));
        let machine = self.machine().or(machine).unwrap_or("unnamed");
        let place = Place { machine, day: day.as_deref().unwrap_or("undated"), joint: &joint };
        let bands = place.file(root, "bands")?;
        // Whoever panicked while it held the set has not spoilt it.
        let mut written = self.written.lock().unwrap_or_else(PoisonError::into_inner);
        if !written.insert(bands.clone()) {
            bail!(same_joint(trace, &joint));
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

fn same_joint(trace: &str, joint: &str) -> String {
    format!(
        "{trace}: another trace is written as joint `{joint}` of that machine and day; give it another name"
    )
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
    joint: &'a str,
}

impl Place<'_> {
    fn file(&self, root: &Path, table: &str) -> anyhow::Result<PathBuf> {
        let mut folder = root.join(table);
        for (key, value) in [("machine", self.machine), ("day", self.day), ("joint", self.joint)] {
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
