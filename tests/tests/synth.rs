//! `bandward synth`: the same bytes every time, the shipped demo among them.

use assert_cmd::Command;
use assert_cmd::assert::Assert;
use bandward_sim::process::{Kind, Truth};
use bandward_tests::program;
use flate2::read::GzDecoder;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo").join(name)
}

fn bandward(arguments: &[&str]) -> Assert {
    Command::new(program::path()).args(arguments).assert()
}

/// The trace and its truth.
fn synth(folder: &TempDir, name: &str, more: &[&str]) -> (Vec<u8>, String) {
    let (trace, scenario) = (folder.path().join(name), demo("scenario.toml"));
    let mut arguments =
        vec!["synth", scenario.to_str().expect("plain"), "-o", trace.to_str().expect("plain")];
    arguments.extend(more);
    bandward(&arguments).code(0);
    let stem = name.split('.').next().expect("a name");
    let truth = fs::read_to_string(folder.path().join(format!("{stem}.truth.json"))).expect("written");
    (fs::read(trace).expect("written"), truth)
}

fn unpacked(bytes: &[u8]) -> String {
    let mut text = String::new();
    GzDecoder::new(bytes).read_to_string(&mut text).expect("a packed text");
    text
}

#[test]
fn the_shipped_demo_is_made_again_to_the_byte() {
    let folder = TempDir::new().expect("a folder");
    let (made, truth) = synth(&folder, "joint.csv.gz", &[]);
    let shipped = fs::read(demo("joint.csv.gz")).expect("shipped");
    // How a text is packed is another library's choice; the text is ours.
    assert!(unpacked(&made) == unpacked(&shipped), "make it again: bandward synth sim/demo/scenario.toml");
    assert_eq!(truth, fs::read_to_string(demo("joint.truth.json")).expect("shipped"));
}

#[test]
fn a_seed_decides_every_byte() {
    let folder = TempDir::new().expect("a folder");
    let (first, truth) = synth(&folder, "a.csv", &["--seed", "5", "--fault", "current-low"]);
    let (again, truth_again) = synth(&folder, "b.csv", &["--seed", "5", "--fault", "current-low"]);
    let (other, _) = synth(&folder, "c.csv", &["--seed", "6", "--fault", "current-low"]);
    assert!(first == again && truth == truth_again);
    assert!(first != other);
    assert!(truth.contains("\"rule\": \"current-low\""));
}

#[test]
fn what_cannot_be_made_is_told_with_exit_code_2() {
    let scenario = demo("scenario.toml");
    let scenario = scenario.to_str().expect("plain");
    let told = |arguments: &[&str], word: &str| {
        let output = bandward(arguments).code(2).get_output().stderr.clone();
        let text = String::from_utf8(output).expect("text");
        assert!(text.contains(word), "{text}");
    };
    told(&["synth", "nowhere.toml", "-o", "x.csv"], "nowhere.toml");
    told(&["synth", scenario, "-o", "x.txt"], ".csv.gz");
    told(&["synth", scenario, "-o", "x.csv", "--fault", "gas-lower"], "gas-low");
    told(&["synth", scenario], "--output");
    told(&["synth", scenario, "-o", "-"], "name a file");
}

#[test]
fn every_kind_of_fault_is_listed() {
    let output = bandward(&["synth", "--list"]).code(0).get_output().stdout.clone();
    let text = String::from_utf8(output).expect("text");
    for kind in Kind::ALL {
        assert!(text.lines().any(|line| line.starts_with(kind.description().name)), "{kind:?}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 120), "a line too wide for a terminal");
}

#[test]
fn a_truth_file_reads_back() {
    let text = fs::read_to_string(demo("joint.truth.json")).expect("shipped");
    let truth: Truth = serde_json::from_str(&text).expect("a truth");
    assert_eq!(serde_json::to_string_pretty(&truth).expect("a text") + "\n", text);
    assert_eq!((truth.bands.len(), truth.note.as_str()), (3, "invented"));
}
