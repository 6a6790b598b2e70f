//! What other commands take out of a register: records of joints, and logs with what was wrong in them.
//!
//! Decides: that the newest judgement of a log counts, and that a log which has changed is passed over and told.
//! Never: changes the register.

use crate::input::hash::Hash;
use crate::output::named;
use crate::output::terminal::remark;
use crate::process::truth::truth_path;
use crate::register::{Filter, Register};
use crate::trend::record::{self, Record};
use anyhow::bail;
use jiff::civil::Date;
use std::fs::File;
use std::path::{Path, PathBuf};

/// The records of all logs welded on these days, in the order they were added.
///
/// # Errors
/// The register cannot be read, or none is in it.
pub fn records(path: &Path, from: Option<Date>, to: Option<Date>) -> anyhow::Result<Vec<Record>> {
    let day = |day: Option<Date>| day.map(|day| day.to_string());
    let register = Register::read(path)?;
    let mut records: Vec<Record> = Vec::new();
    let mut twice = 0;
    register.each_record(&Filter { from: day(from), to: day(to), ..Filter::default() }, |text| {
        for record in record::parse(&named(path), text)? {
            let is_same = |other: &Record| other.start == record.start && other.bands == record.bands;
            // The same log in two forms, such as packed and unpacked.
            if !record.bands.is_empty() && records.iter().any(is_same) {
                twice += 1;
            } else {
                records.push(record);
            }
        }
        anyhow::Ok(())
    })??;
    if records.is_empty() {
        bail!("register {}: no joint of these days is in it", named(path));
    }
    if twice > 0 {
        remark(&format!("note: {twice} logs of the register tell the same joints as others, and count once"));
    }
    Ok(records)
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
