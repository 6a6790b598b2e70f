//! What a register keeps of its logs, as tables laid out like those of a replay.
//!
//! Decides: one folder a log, named as a replay would name it; where another log of that machine and day has the name,
//! a number is added.
//! Assumes: records as `replay --json` prints them, given in the order in which they were added.
//! Never: writes into a folder that has something in it, so that no old table stays among the new ones.

use super::column::{Column, TableFile, Values};
use super::{Place, joint_name, tables};
use crate::output::{cannot_write, make_folder, named};
use anyhow::{Context as _, bail};
use bandward::Rule;
use bandward::rule::RuleSet;
use serde_json::Value;
use std::collections::HashSet;
use std::path::PathBuf;

/// One judged log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Its number.
    pub judgement: i64,
    /// All that was told of it: one JSON object.
    pub record: String,
    /// Where it was last read; none of a pipe.
    pub log_path: Option<String>,
    /// SHA-256 of it.
    pub log_sha256: String,
    /// SHA-256 of the procedure it was judged by.
    pub procedure_sha256: Option<String>,
    /// When it was added.
    pub added_at: String,
    /// By which version of the program.
    pub program: String,
    /// The machine of its first joint.
    pub machine: Option<String>,
    /// The day of its first joint.
    pub day: Option<String>,
}

/// Tables that are being written.
pub struct Export {
    root: PathBuf,
    /// Machine, day and name of every log so far.
    taken: HashSet<[String; 3]>,
    /// Joints so far.
    joints: u64,
}

impl Export {
    /// Makes the folder.
    ///
    /// # Errors
    /// It cannot be made, or is not empty.
    pub fn new(root: PathBuf) -> anyhow::Result<Self> {
        make_folder(&root)?;
        let mut entries = root.read_dir().with_context(|| format!("cannot read folder {}", named(&root)))?;
        if entries.next().is_some() {
            bail!(
                "{} is not empty: name a new folder, so that no old table is left among these",
                named(&root)
            );
        }
        Ok(Self { root, taken: HashSet::new(), joints: 0 })
    }
    /// Logs and joints so far.
    pub fn counts(&self) -> [u64; 2] {
        [self.taken.len() as u64, self.joints]
    }
    /// Writes the tables of a log.
    ///
    /// # Errors
    /// A file cannot be written, or its record is none.
    pub fn add(&mut self, kept: &Kept) -> anyhow::Result<()> {
        let record: Value = serde_json::from_str(&kept.record)
            .with_context(|| format!("the record of judgement {} is no JSON", kept.judgement))?;
        let own = [
            kept.machine.clone().unwrap_or("unnamed".to_owned()),
            kept.day.clone().unwrap_or("undated".to_owned()),
            joint_name(record["trace"]["path"].as_str().unwrap_or_default()),
        ];
        let [machine, day, joint] = self.unlike(&own);
        let place = Place { machine: &machine, day: &day, joint };
        let rows = |key: &str| record[key].as_array().map(Vec::as_slice).unwrap_or_default();
        self.joints += rows("joints").len() as u64;
        for (name, columns) in [
            ("records", records(kept, &record)),
            ("joints", joints(rows("joints"), &record["context"])),
            ("bands", bands(rows("bands"), rows("joints"))),
            ("alarms", filled(tables::alarms(&[]), rows("alarms"))),
        ] {
            let mut file = TableFile::create(place.file(&self.root, name)?, name, &columns)?;
            file.write(&columns)?;
            let (draft, path) = file.complete()?;
            draft.put().map_err(|error| cannot_write(&path, &error))?;
        }
        Ok(())
    }
    /// The place, with the first number that makes it unlike all before it.
    fn unlike(&mut self, own: &[String; 3]) -> [String; 3] {
        let mut place = own.clone();
        let mut number = 1_u64;
        while !self.taken.insert(place.clone()) {
            number += 1;
            place[2] = format!("{}-{number}", own[2]);
        }
        place
    }
}

/// A row a log: its whole record, and where it comes from.
fn records(kept: &Kept, record: &Value) -> Vec<Column> {
    let text =
        |name: &str, text: Option<&str>| (name.to_owned(), Values::Text(vec![text.map(str::to_owned)]));
    vec![
        ("judgement".to_owned(), Values::Count(vec![Some(kept.judgement)])),
        text("log_path", kept.log_path.as_deref()),
        text("log_sha256", Some(&kept.log_sha256)),
        text("procedure_sha256", kept.procedure_sha256.as_deref()),
        text("added_at", Some(&kept.added_at)),
        text("program", Some(&kept.program)),
        text("outcome", record["outcome"].as_str()),
        text("record", Some(&kept.record)),
    ]
}

/// A row a joint: what a marker in the log tells of it goes before what was told of the whole log.
fn joints(joints: &[Value], context: &Value) -> Vec<Column> {
    const TEXTS: [&str; 11] = [
        "serial",
        "end",
        "operator",
        "spool",
        "bottle",
        "gas_certificate",
        "tip",
        "procedure",
        "revision",
        "welded_at",
        "work",
    ];
    let own: [(&str, Values); 8] = [
        ("joint_number", Values::Count(Vec::new())),
        ("start_s", Values::Number(Vec::new())),
        ("end_s", Values::Number(Vec::new())),
        ("bands", Values::Count(Vec::new())),
        ("bands_expected", Values::Count(Vec::new())),
        ("outcome", Values::Text(Vec::new())),
        ("broken", Values::Text(Vec::new())),
        ("not_proven", Values::Text(Vec::new())),
    ];
    let mut columns = filled(own.map(|(name, values)| (name.to_owned(), values)).into(), joints);
    for key in TEXTS {
        let told = |joint: &Value| text(&joint[key]).or_else(|| text(&context[key]));
        columns.push((key.to_owned(), Values::Text(joints.iter().map(told).collect())));
    }
    let diameter = context["outside_diameter_mm"].as_f64();
    columns.push(("outside_diameter_mm".to_owned(), Values::Number(vec![diameter; joints.len()])));
    columns
}

/// A row a band: what its joint came to stands with the joint.
fn bands(bands: &[Value], joints: &[Value]) -> Vec<Column> {
    let mut columns = filled(tables::bands(&[]), bands);
    let outcome_of = |band: &Value| {
        let joint = joints.iter().find(|joint| joint["joint"] == band["joint"])?;
        joint["outcome"].as_str().map(str::to_owned)
    };
    for (_, values) in columns.iter_mut().filter(|(name, _)| name == "joint_outcome") {
        *values = Values::Text(bands.iter().map(outcome_of).collect());
    }
    columns
}

/// Columns like these, with the values that the objects have.
fn filled(columns: Vec<Column>, rows: &[Value]) -> Vec<Column> {
    let values = |(name, values): Column| {
        let filled = match values {
            Values::Number(_) => Values::Number(rows.iter().map(|row| cell(row, &name).as_f64()).collect()),
            Values::Count(_) => Values::Count(rows.iter().map(|row| cell(row, &name).as_i64()).collect()),
            Values::Flag(_) => Values::Flag(rows.iter().map(|row| cell(row, &name).as_bool()).collect()),
            Values::Text(_) if name == "violated" => {
                Values::Text(rows.iter().map(|row| Some(violated(row))).collect())
            }
            Values::Text(_) => Values::Text(rows.iter().map(|row| text(cell(row, &name))).collect()),
        };
        (name, filled)
    };
    columns.into_iter().map(values).collect()
}

/// What an object has for a column; of a spread such as `current_a` the part in the column's name.
fn cell<'v>(row: &'v Value, column: &str) -> &'v Value {
    let name = if column == "joint_number" { "joint" } else { column };
    match (row.get(name), name.rsplit_once('_')) {
        (Some(value), _) => value,
        (None, Some((spread, part))) => &row[spread][part],
        (None, None) => &Value::Null,
    }
}

/// A text, or a list of them in one.
fn text(value: &Value) -> Option<String> {
    let list = |names: &Vec<Value>| names.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(" ");
    value.as_str().map(str::to_owned).or_else(|| value.as_array().map(list))
}

/// All rules that a band broke: those about the weld, and those about the measuring, which cost it its proof.
fn violated(band: &Value) -> String {
    let rules = |key: &str| band[key].as_array().into_iter().flatten().filter_map(Value::as_str);
    let rules = |key: &str| rules(key).filter_map(Rule::from_name).collect::<Vec<_>>();
    let measuring = rules("not_proven").into_iter().filter(|rule| rule.is_about_measuring());
    let all = rules("broken").into_iter().chain(measuring).fold(RuleSet::EMPTY, RuleSet::with);
    all.iter().map(Rule::name).collect::<Vec<_>>().join(" ")
}
