//! Records out of the tables that a register exported.
//!
//! Decides: that every Parquet file under `records` is read, so that tables which another program merged are read too.
//! Assumes: the folder is one of `bandward register export`, as far as it has the columns `judgement` and `record`.
//! Never: holds more than the record of one log, and what the taker keeps.

use crate::output::named;
use crate::trace::whole_parquet;
use anyhow::{Context as _, bail};
use parquet::file::reader::FileReader as _;
use parquet::record::{Field, Row};
use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use walkdir::{DirEntry, WalkDir};

/// Gives the number and the record of every log, in no order that means anything.
///
/// # Errors
/// There are none, a file cannot be read, or what the taker says.
pub fn each(folder: &Path, mut take: impl FnMut(i64, &str) -> anyhow::Result<()>) -> anyhow::Result<()> {
    let records = folder.join("records");
    if !records.is_dir() {
        bail!("{} has no folder `records`: it is none that `bandward register export` wrote", named(folder));
    }
    for path in files(folder) {
        let path = &path.with_context(|| format!("cannot read folder {}", named(&records)))?;
        // The decoder panics on some damaged files.
        let read = catch_unwind(AssertUnwindSafe(|| file(path, &mut take)));
        let read = read.unwrap_or_else(|_| bail!("the file is damaged"));
        read.with_context(|| format!("cannot read {}", named(path)))?;
    }
    Ok(())
}

/// The files that are read of such a folder.
pub fn files(folder: &Path) -> impl Iterator<Item = walkdir::Result<PathBuf>> {
    let entries = WalkDir::new(folder.join("records")).sort_by_file_name().into_iter();
    let is_read = |entry: &DirEntry| {
        entry.file_type().is_file() && entry.path().extension().is_some_and(|ending| ending == "parquet")
    };
    entries.filter(move |entry| entry.as_ref().map_or(true, is_read)).map(|entry| Ok(entry?.into_path()))
}

fn file(path: &Path, take: &mut impl FnMut(i64, &str) -> anyhow::Result<()>) -> anyhow::Result<()> {
    let reader = whole_parquet::open(File::open(path)?)?;
    for row in reader.get_row_iter(None)? {
        let row = row?;
        let (Some(Field::Long(judgement)), Some(Field::Str(record))) =
            (field(&row, "judgement"), field(&row, "record"))
        else {
            bail!(
                "it has no columns `judgement` (64-bit whole number) and `record` (text), or a row without them"
            );
        };
        take(*judgement, record)?;
    }
    Ok(())
}

fn field<'r>(row: &'r Row, name: &str) -> Option<&'r Field> {
    row.get_column_iter().find(|(column, _)| *column == name).map(|(_, field)| field)
}
