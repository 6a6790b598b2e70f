//! What people are told about files with faults in them: every file of `data/broken/KIND/`, with its
//! message in a snapshot that was read as a newcomer would read it.

use bandward_sim::input::layout::Layout;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::Scenario;
use bandward_sim::setup::SetupSheet;
use bandward_sim::trace;
use bandward_sim::trend::record;
use bandward_tests::program;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The files of a kind, in the order of their names.
fn files(kind: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/broken").join(kind);
    let entries = fs::read_dir(&folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut files: Vec<_> = entries.map(|entry| entry.expect("readable").path()).collect();
    files.sort();
    files
}

/// Reads every file of a kind, each of which must be refused, and compares what is said about it.
fn compare(kind: &str, least: usize, refusal: impl Fn(&str, &Path) -> Option<String>) {
    let files = files(kind);
    assert!(files.len() >= least, "{} broken {kind} files, {least} expected", files.len());
    for path in files {
        let name = path.file_name().and_then(|name| name.to_str()).expect("plain names");
        let message = refusal(name, &path).unwrap_or_else(|| panic!("{kind}/{name} was accepted"));
        assert!(!message.contains('\u{1b}'), "colours where there is no terminal");
        let stem = name.split('.').next().unwrap_or(name);
        insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true }, {
            insta::assert_snapshot!(format!("{kind}__{stem}"), message);
        });
    }
}

fn text(path: &Path) -> String {
    fs::read_to_string(path).expect("readable")
}

#[test]
fn procedures() {
    compare("procedure", 20, |name, path| Some(ProcedureFile::parse(name, &text(path)).err()?.to_string()));
}

#[test]
fn layouts() {
    compare("layout", 10, |name, path| Some(Layout::parse(name, &text(path)).err()?.to_string()));
}

/// Some are read with the layout of their name. A fault may lie anywhere, so they are read to the end.
#[test]
fn traces() {
    let data = Path::new("data/broken");
    compare("trace", 25, |name, _| {
        let layout = data.join("trace_layout").join(name).with_extension("toml");
        let layout = layout.exists().then(|| Layout::read(&layout).expect("a sound layout"));
        let rows = trace::open(&data.join("trace").join(name), layout.as_ref());
        let refused = rows.map_or_else(Some, |rows| rows.filter_map(Result::err).last());
        Some(refused?.to_string())
    });
}

#[test]
fn a_trace_that_cannot_be_opened() {
    let told = |path: &str| trace::open(Path::new(path), None).err().expect("refused").to_string();
    insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!("trace__no_such_file", told("data/no_such_file.csv"));
        insta::assert_snapshot!("trace__directory", told("data"));
    });
}

#[test]
fn scenarios() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/broken/scenario");
    compare("scenario", 10, |name, path| {
        let error = Scenario::parse(name, &text(path), &folder, None).err()?;
        Some(error.to_string())
    });
}

#[test]
fn setups() {
    compare("setup", 10, |name, path| Some(SetupSheet::parse(name, &text(path)).err()?.to_string()));
}

#[test]
fn records() {
    compare("record", 4, |name, path| Some(record::parse(name, &text(path)).err()?.to_string()));
}

/// What a person sees who gives such a file to the program.
#[test]
fn the_program_refuses_every_one_in_words() {
    let data = Path::new(env!("CARGO_MANIFEST_DIR"));
    let demo = data.join("../sim/demo/procedure.toml").display().to_string();
    let scratch = tempfile::tempdir().expect("a folder");
    let mut refused = 0;
    for (kind, command) in [
        ("procedure", &["replay", "--procedure"][..]),
        ("layout", &["replay", "--layout"]),
        ("trace", &["replay"]),
        ("scenario", &["synth", "--output=made.csv"]),
        ("setup", &["setup", "--procedure", &demo, "--from"]),
        ("record", &["trend"]),
    ] {
        for file in files(kind) {
            let name = file.file_name().and_then(|name| name.to_str()).expect("plain names");
            let mut program = Command::new(program::path());
            program.args(command).arg(&file).current_dir(scratch.path());
            let layout = data.join("data/broken/trace_layout").join(name).with_extension("toml");
            if kind == "trace" && layout.exists() {
                program.arg("--layout").arg(layout);
            }
            let output = program.env("XDG_CONFIG_HOME", scratch.path()).output().expect("the program runs");
            let told = String::from_utf8_lossy(&output.stderr).into_owned();
            assert_eq!(output.status.code(), Some(2), "{kind}/{name}: {told}");
            // Cautions stand at the head of a setup, whatever follows.
            let shown = String::from_utf8_lossy(&output.stdout).into_owned();
            assert!(shown.is_empty() || kind == "setup", "{kind}/{name}: {shown}");
            assert!(told.starts_with("error") && told.contains(name), "{kind}/{name}: {told}");
            assert!(!told.contains("panicked") && !told.contains('\u{1b}'), "{kind}/{name}: {told}");
            let mut faults: Vec<&str> = told.split("\nerror").collect();
            let all = faults.len();
            faults.sort_unstable();
            faults.dedup();
            assert_eq!(faults.len(), all, "told twice: {kind}/{name}: {told}");
            refused += 1;
        }
    }
    assert!(refused > 90, "{refused} files");
    assert_eq!(fs::read_dir(scratch.path()).expect("the folder").count(), 0, "something was written");
}
