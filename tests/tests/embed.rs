//! `bandward embed`: what is written for a board without a link is the procedure, to the last bit.

use assert_cmd::Command;
use bandward::{Procedure, SoundProcedure};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_tests::program;
use std::fs;
use std::path::{Path, PathBuf};

/// As the program writes them, and compiled here. Anew: `bandward embed --units metric FILE.toml > tests/tests/embed/NAME.rs`.
#[rustfmt::skip]
#[path = "embed/demo.rs"]
mod demo;
#[rustfmt::skip]
#[path = "embed/all.rs"]
mod all;

/// The files, and what became of them.
fn procedures() -> [(PathBuf, &'static str, &'static SoundProcedure); 2] {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    [
        (root.join("../sim/demo/procedure.toml"), include_str!("embed/demo.rs"), &demo::PROCEDURE),
        (root.join("tests/embed/all.toml"), include_str!("embed/all.rs"), &all::PROCEDURE),
    ]
}

fn demo_procedure() -> PathBuf {
    let [(path, ..), _] = procedures();
    path
}

fn embed(procedure: &Path, rest: &[&str]) -> assert_cmd::assert::Assert {
    Command::new(program::path()).arg("embed").arg(procedure).args(rest).args(["--units", "metric"]).assert()
}

#[test]
fn the_source_compiles_to_the_procedure_that_was_read() {
    for (path, source, compiled) in procedures() {
        let written = String::from_utf8(embed(&path, &[]).code(0).get_output().stdout.clone());
        assert_eq!(written.expect("text"), source);
        let read = ProcedureFile::read(&path).expect("it is sound");
        assert_eq!(**compiled, read.procedure);
        assert_ne!(read.procedure, Procedure::new());
    }
}

#[test]
fn the_bytes_are_the_procedure_by_serde() {
    let folder = tempfile::tempdir().expect("a folder");
    for (index, (path, _, compiled)) in procedures().into_iter().enumerate() {
        let bytes = folder.path().join(format!("{index}.postcard"));
        embed(&path, &["-o", bytes.to_str().expect("plain")]).code(0);
        let embedded: Procedure = postcard::from_bytes(&fs::read(&bytes).expect("read")).expect("whole");
        assert_eq!(SoundProcedure::try_from(embedded).as_ref(), Ok(compiled));
    }
}

#[test]
fn nothing_is_written_over_and_nothing_unsound_is_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_str().expect("plain").to_owned();
    let told = |assert: assert_cmd::assert::Assert| {
        String::from_utf8(assert.code(2).get_output().stderr.clone()).expect("text")
    };
    let refusal = told(embed(&demo_procedure(), &["-o", &path("procedure.bin")]));
    assert!(refusal.contains(".rs (source) or .postcard (bytes)"), "{refusal}");
    fs::write(path("kept.rs"), "kept").expect("written");
    told(embed(&demo_procedure(), &["-o", &path("kept.rs")]));
    assert_eq!(fs::read_to_string(path("kept.rs")).expect("read"), "kept");
    fs::write(path("odd.toml"), "[current]\nallowed = [\"360 A\", \"280 A\"]\n").expect("written");
    let refusal = told(embed(Path::new(&path("odd.toml")), &["-o", &path("odd.rs")]));
    assert!(refusal.contains("odd.toml:2") && !Path::new(&path("odd.rs")).exists(), "{refusal}");
}
