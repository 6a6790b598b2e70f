//! What other commands take out of a register: records of joints, and logs with what was wrong in them.
//!
//! Decides: that the newest judgement of a log counts, and that a log which has changed is passed over and told.
//! Never: changes the register.

use crate::fleet::each_exported;
use crate::input::hash::Hash;
use crate::output::named;
use crate::output::terminal::remark;
use crate::process::truth::truth_path;
use crate::register::{Filter, Register};
use crate::trend::record::{self, Record};
use anyhow::bail;
use jiff::civil::Date;
use std::collections::HashMap;
use std::fs::File;
use std::path::{Path, PathBuf};

/// Records without those that tell the same joints as one before.
#[derive(Default)]
struct Once {
    records: Vec<Record>,
    /// Records by when they began.
    places: HashMap<Option<String>, Vec<usize>>,
    twice: u32,
}

impl Once {
    fn take(&mut self, record: Record) {
        let places = self.places.entry(record.start.clone()).or_default();
        // The same log in two forms, such as packed and unpacked.
        let is_same = |&place: &usize| self.records[place].bands == record.bands;
        if !record.bands.is_empty() && places.iter().any(is_same) {
            self.twice += 1;
        } else {
            places.push(self.records.len());
            self.records.push(record);
        }
    }
    fn finish(self, nothing: String) -> anyhow::Result<Vec<Record>> {
        if self.records.is_empty() {
            bail!(nothing);
        }
        if self.twice > 0 {
            let twice = self.twice;
            remark(&format!(
                "note: {twice} logs of the register tell the same joints as others, and count once"
            ));
        }
        Ok(self.records)
    }
}

/// The records of all logs welded on these days, in the order they were added.
///
/// # Errors
/// The register cannot be read, or none is in it.
pub fn records(path: &Path, from: Option<Date>, to: Option<Date>) -> anyhow::Result<Vec<Record>> {
    let day = |day: Option<Date>| day.map(|day| day.to_string());
    let register = Register::read(path)?;
    let mut once = Once::default();
    register.each_kept(&Filter { from: day(from), to: day(to), ..Filter::default() }, |kept| {
        for record in record::parse(&named(path), &kept.record)? {
            once.take(record);
        }
        anyhow::Ok(())
    })??;
    once.finish(format!("register {}: no joint of these days is in it", named(path)))
}

/// The records of all logs that a register exported into a folder, in the order they were added to it.
///
/// # Errors
/// It cannot be read, or none is in it.
pub fn exported(folder: &Path) -> anyhow::Result<Vec<Record>> {
    let mut found: Vec<(i64, Record)> = Vec::new();
    each_exported(folder, |judgement, text| {
        let records = record::parse(&named(folder), text)?;
        found.extend(records.into_iter().map(|record| (judgement, record)));
        Ok(())
    })?;
    found.sort_by_key(|&(judgement, _)| judgement);
    let mut once = Once::default();
    for (_, record) in found {
        once.take(record);
    }
    once.finish(format!("{}: no record is in it", named(folder)))
}

/// The logs that lie where they were read, unchanged, with what was wrong in them beside them.
///
/// # Errors
/// The register cannot be read, or there is no such log.
pub fn marked_logs(path: &Path) -> anyhow::Result<Vec<PathBuf>> {
    let (mut logs, mut unmarked) = (Vec::new(), 0);
    for (log, sha256) in Register::read(path)?.logs()? {
        let log = PathBuf::from(log);
        if !truth_path(&log).is_file() {
            unmarked += 1;
            continue;
        }
        let mut hash = Hash::default();
        match File::open(&log).and_then(|file| hash.read(file)) {
            Err(error) => remark(&format!("note: {} is passed over: {error}", named(&log))),
            Ok(()) if hash.hexadecimal() != sha256 => {
                remark(&format!("note: {} is passed over: it is not the log that was recorded", named(&log)));
            }
            Ok(()) => logs.push(log),
        }
    }
    if logs.is_empty() {
        bail!("register {}: no log of it lies where it was read, with its faults beside it", named(path));
    }
    if unmarked > 0 {
        remark(&format!(
            "note: {unmarked} logs of the register have no .truth.json beside them, and are passed over"
        ));
    }
    Ok(logs)
}
