//! Damaged Parquet files: traces, and what a register exported.
//!
//! Decides: that whatever a file holds, it is read or refused, with its name.
//! Assumes: what the decoder of another project does in its own panics is caught where it is called.
//! Never: judges the values.

use crate::told;
use bandward_sim::fleet::each_exported;
use bandward_sim::input::layout::Layout;
use bandward_sim::trace;
use std::path::PathBuf;
use std::sync::LazyLock;

/// A folder as a register exports it, with one file that is written anew for every run. Its name is always the same:
/// what is reached depends on the length of a message.
static FOLDER: LazyLock<[PathBuf; 2]> = LazyLock::new(|| {
    let folder = PathBuf::from("target/fuzz/folder");
    let records = folder.join("records");
    std::fs::create_dir_all(&records).expect("a folder for what is tried");
    [folder, records.join("any.parquet")]
});

static LAYOUT: LazyLock<Layout> = LazyLock::new(|| {
    let text = "[time]\nepoch = \"time_s\"\nunit = \"ms\"\n[channels]\n\
                current = { column = \"current_a\", unit = \"A\" }\n";
    Layout::parse("layout", text).expect("it is sound")
});

/// A whole file.
pub fn target(bytes: &[u8]) {
    let [folder, path] = &*FOLDER;
    std::fs::write(path, bytes).expect("there is room");
    for layout in [None, Some(&*LAYOUT)] {
        let read = trace::open(path, layout).and_then(|mut reader| {
            let rows = reader.by_ref().take(100_000).collect::<Result<Vec<_>, _>>()?;
            Ok((rows, reader.warnings()))
        });
        let shown = path.display().to_string();
        match read {
            // What is no Parquet file is read as text, in lines.
            Err(errors) => {
                told::check_lines(&errors, &shown, bytes.split(|&byte| byte == b'\n').count());
            }
            Ok((rows, _)) => assert!(rows.len() >= 2, "a trace of {} rows", rows.len()),
        }
    }
    let told = each_exported(folder, |_, record| {
        assert!(record.len() <= bytes.len() << 16);
        Ok(())
    });
    if let Err(error) = told {
        assert!(format!("{error:#}").contains("any.parquet"), "{error:#}");
    }
}
