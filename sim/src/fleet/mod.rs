//! Bands and alarms of many joints, laid out so that engines which query files skip what is not asked
//! for.
//!
//! Decides: the folders, `machine=`, `day=` and `joint=` under a table's own, and the columns.
//! Assumes: whoever writes a joint again wants it in place of the old one; of logs of one name, machine and day each is
//! told by its content, whatever its path and whichever comes first.
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
pub use exported::{each as each_exported, files as exported_files};
pub use joint::JointTables;
pub use moment::{day_of, first_joint, welded_at};

use crate::input::hash::{Hash, sha256_hex};
use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file;
use crate::input::layout::Layout;
use crate::output::terminal::remark;
use crate::output::{make_folder, name, named};
use crate::trace;
use anyhow::bail;
use clap::Args;
use std::collections::{BTreeMap, HashMap, HashSet};
use std::fmt::Write as _;
use std::fs::File;
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
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day, requires = "parquet")]
    day: Option<jiff::civil::Date>,
    /// The folders written so far.
    #[arg(skip)]
    written: Mutex<HashSet<PathBuf>>,
    /// Traces whose name another trace of that machine and day has, each with what its joint is called instead; nothing
    /// where another is the same log.
    #[arg(skip)]
    renamed: Mutex<HashMap<String, Option<String>>>,
}

fn day(text: &str) -> Result<jiff::civil::Date, &'static str> {
    text.parse().map_err(|_| "no such day: year, month and day are wanted, as in 2026-11-28")
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
    /// Refuses traces among the tables, and one that is named twice, before anything is written, and gives traces that
    /// stand for the same joint names by their content, the same whichever is done first; traces that cannot be opened
    /// twice are left to [`FleetArguments::tables`].
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
        let mut by_name: BTreeMap<String, Vec<&Path>> = BTreeMap::new();
        for trace in traces.into_iter().filter(|trace| trace.is_file()) {
            if trace.canonicalize().is_ok_and(|place| is_table(&place)) {
                bail!(
                    "{} lies among the tables that --parquet {} writes: choose another folder",
                    named(trace),
                    named(root)
                );
            }
            let joint = joint_name(&named(trace));
            let others = by_name.entry(joint.clone()).or_default();
            if others.contains(&trace) {
                bail!(
                    "{0}: another trace is written as joint `{joint}`, and it is {0} too: name it once",
                    named(trace)
                );
            }
            others.push(trace);
        }
        for (joint, mut traces) in by_name.into_iter().filter(|(_, traces)| traces.len() > 1) {
            traces.sort();
            let mut by_place: BTreeMap<[Option<String>; 2], Vec<&Path>> = BTreeMap::new();
            for trace in traces {
                // Of one that cannot be opened nothing is written.
                if let Some(place) = self.place_of(trace, layout) {
                    by_place.entry(place).or_default().push(trace);
                }
            }
            by_place
                .values()
                .filter(|traces| traces.len() > 1)
                .for_each(|traces| self.rename(&joint, traces));
        }
        Ok(())
    }
    /// The machine and the day that a trace is of, which is opened for them.
    fn place_of(&self, path: &Path, layout: Option<&Layout>) -> Option<[Option<String>; 2]> {
        let [machine, welded_at] = told_beside(path);
        let reader = trace::open(path, layout).ok()?;
        // What the first rows tell.
        let column = |field: JointField| {
            reader.marks().iter().find(|mark| mark.field == field).and_then(|mark| text_of(&mark.stated))
        };
        let machine = self.machine.clone().or(machine).or_else(|| column(JointField::Machine));
        let welded_at =
            welded_at.or_else(|| column(JointField::WeldedAt)).or_else(|| reader.header().start.clone());
        let day = self.day.map(|day| day.to_string()).or_else(|| welded_at.as_deref().and_then(day_of));
        Some([machine, day])
    }
    /// Gives the joints of traces of one place names by their content, and tells it.
    fn rename(&self, joint: &str, traces: &[&Path]) {
        let mut known: HashMap<String, &Path> = HashMap::new();
        for (number, trace) in traces.iter().enumerate() {
            let own = by_content(joint, trace);
            let shown = named(trace);
            if let Some(before) = known.get(&own) {
                remark(&format!(
                    "note: {shown}: it is the same log as {}: its tables stand once",
                    named(before)
                ));
                self.remember(&shown, None);
                continue;
            }
            if number > 0 {
                remark(&format!(
                    "note: {shown}: another trace is written as joint `{joint}` of that machine and day; each is written by \
                     its content, this one as `{own}`"
                ));
            }
            self.remember(&shown, Some(own.clone()));
            known.insert(own, trace);
        }
    }
    fn remember(&self, trace: &str, own: Option<String>) {
        // Whoever panicked while it held the names has not spoilt them.
        self.renamed.lock().unwrap_or_else(PoisonError::into_inner).insert(trace.to_owned(), own);
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
        let plain = joint_name(trace);
        let joint = match renamed {
            Some(Some(own)) => own,
            Some(None) => return Ok(None),
            None => plain.clone(),
        };
        let day = self.day.map(|day| day.to_string()).or(welded_at.and_then(day_of));
        let machine = self.machine().or(machine).unwrap_or("unnamed");
        let mut place = Place { machine, day: day.as_deref().unwrap_or("undated"), joint };
        if place.joint == plain && place.has_others_by_content(root) {
            // Earlier it was one of several of that name: it goes where it went then.
            let own = by_content(&plain, Path::new(trace));
            if place.folder(root, "bands", &own).is_dir() {
                place.joint = own;
            }
        }
        let is_new = |bands: &Path| {
            // Whoever panicked while it held the set has not spoilt it.
            self.written.lock().unwrap_or_else(PoisonError::into_inner).insert(bands.to_owned())
        };
        // The logs' own columns may name one machine for what was held for two.
        let mut bands = place.file(root, "bands")?;
        if !is_new(&bands) {
            place.joint = by_content(&plain, Path::new(trace));
            remark(&format!(
                "note: {trace}: another trace is written as joint `{plain}` of that machine and day; this one is written as `{}`",
                place.joint
            ));
            bands = place.file(root, "bands")?;
            if !is_new(&bands) {
                return Ok(None);
            }
        }
        let mut tables = JointTables::create(bands, place.file(root, "alarms")?)?;
        if place.joint != plain {
            // Alone it went under its plain name.
            tables.replaces(["bands", "alarms"].map(|table| place.folder(root, table, &plain)));
        }
        Ok(Some(tables))
    }
}

/// The name of a joint by the bytes of its log; by its path where those cannot be read.
fn by_content(joint: &str, trace: &Path) -> String {
    let mut hash = Hash::default();
    let read = File::open(trace).and_then(|mut file| hash.read(&mut file));
    let whole = read.map_or_else(|_| sha256_hex(named(trace).as_bytes()), |()| hash.hexadecimal());
    format!("{joint}-{}", &whole[..HASH_DIGITS])
}

/// Digits of the hash that stand in a name.
const HASH_DIGITS: usize = 8;

fn text_of(stated: &Stated) -> Option<String> {
    if let Stated::Text(text) = stated { Some(text.clone()) } else { None }
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
        claims.iter().filter(|claim| claim.field == field).find_map(|claim| text_of(&claim.stated))
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
        let folder = self.folder(root, table, &self.joint);
        make_folder(&folder)?;
        Ok(folder.join(format!("{table}.parquet")))
    }
    /// The folder of a joint of this machine and day.
    fn folder(&self, root: &Path, table: &str, joint: &str) -> PathBuf {
        let mut folder = root.join(table);
        for (key, value) in [("machine", self.machine), ("day", self.day), ("joint", joint)] {
            folder.push(format!("{key}={}", in_path(value)));
        }
        folder
    }
    /// Were joints of that name written by their content?
    fn has_others_by_content(&self, root: &Path) -> bool {
        let own = self.folder(root, "bands", &self.joint);
        let (Some(day), Some(name)) = (own.parent(), own.file_name()) else { return false };
        let plain = format!("{}-", name.to_string_lossy());
        let is_one = |other: &str| {
            other.strip_prefix(&plain).is_some_and(|hash| {
                hash.len() == HASH_DIGITS && hash.bytes().all(|byte| byte.is_ascii_hexdigit())
            })
        };
        let entries = day.read_dir().into_iter().flatten().flatten();
        entries.into_iter().any(|entry| is_one(&entry.file_name().to_string_lossy()))
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
