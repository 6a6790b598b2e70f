//! What people are told about files with faults in them: every file of `data/broken/KIND/`, with its
//! message in a snapshot that was read as a newcomer would read it.

use bandward_sim::input::layout::Layout;
use bandward_sim::input::procedure_file::ProcedureFile;
use std::fs;
use std::path::{Path, PathBuf};

/// The files of a kind, in the order of their names.
fn files(kind: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/broken").join(kind);
    let entries = fs::read_dir(&folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut files: Vec<_> = entries.map(|entry| entry.expect("readable").path()).collect();
    files.sort();
    files
}

/// Reads every file of a kind, each of which must be refused, and compares what is said about it.
fn compare(kind: &str, least: usize, refusal: impl Fn(&str, &str) -> Option<String>) {
    let files = files(kind);
    assert!(files.len() >= least, "{} broken {kind} files, {least} expected", files.len());
    for path in files {
        let text = fs::read_to_string(&path).expect("readable");
        let name = path.file_name().and_then(|name| name.to_str()).expect("plain names");
        let message = refusal(name, &text).unwrap_or_else(|| panic!("{kind}/{name} was accepted"));
        assert!(!message.contains('\u{1b}'), "colours where there is no terminal");
        let stem = name.split('.').next().unwrap_or(name);
        insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true }, {
            insta::assert_snapshot!(format!("{kind}__{stem}"), message);
        });
    }
}

#[test]
fn procedures() {
    compare("procedure", 20, |name, text| Some(ProcedureFile::parse(name, text).err()?.to_string()));
}

#[test]
fn layouts() {
    compare("layout", 10, |name, text| Some(Layout::parse(name, text).err()?.to_string()));
}
