//! Damaged Parquet files: traces, and what a register exported.
//!
//! Decides: that whatever a file holds, it is read or refused, with its name; that a trace that is read has times that can
//! be told.
//! Assumes: what the decoder of another project does in its own panics is caught where it is called.
//! Never: judges the values.

use crate::told;
use bandward_sim::fleet::each_exported;
use bandward_sim::input::layout::Layout;
use bandward_sim::trace;
use std::path::PathBuf;
use std::sync::LazyLock;
use tempfile::TempDir;

/// A folder as a register exports it, with one file that is written anew for every run.
static FOLDER: LazyLock<(TempDir, PathBuf)> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder for what is tried");
    let records = folder.path().join("records");
    std::fs::create_dir(&records).expect("a folder in it");
    let file = records.join("any.parquet");
    (folder, file)
});

static LAYOUT: LazyLock<Layout> = LazyLock::new(|| {
    let text = "[time]\nepoch = \"time_s\"\nunit = \"ms\"\n[channels]\ncurrent = { column = \"current_a\", unit = \"A\" }\n";
    Layout::parse("layout", text).expect("it is sound")
});

/// A whole file.
pub fn target(bytes: &[u8]) {
    let (folder, path) = &*FOLDER;
    std::fs::write(path, bytes).expect("there is room");
    for layout in [None, Some(&*LAYOUT)] {
        let read = trace::open(path, layout).and_then(|mut reader| {
            let rows = reader.by_ref().take(100_000).collect::<Result<Vec<_>, _>>()?;
            Ok((rows, reader.warnings()))
        });
        let shown = path.display().to_string();
        match read {
            Err(errors) => told::check(&errors, &shown, ""),
            Ok((rows, _)) => assert!(rows.len() >= 2, "a trace of {} rows", rows.len()),
        }
    }
    let told = each_exported(folder.path(), |_, record| {
        assert!(record.len() <= bytes.len() << 16);
        Ok(())
    });
    if let Err(error) = told {
        assert!(format!("{error:#}").contains("any.parquet"), "{error:#}");
    }
}
