//! The shipped scenarios: every fault is found, good welding is left alone, and the tables on the pages
//! are what the command prints.

use assert_cmd::Command;
use bandward_sim::process::Scenario;
use bandward_tests::program;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::PathBuf;

fn library() -> Vec<PathBuf> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../sim/scenarios");
    let files = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut paths: Vec<_> = files.filter(|path| path.extension().is_some_and(|end| end == "toml")).collect();
    paths.sort();
    paths
}

fn trial(paths: &[PathBuf], more: &[&str]) -> Value {
    let output = Command::new(program::path()).arg("trial").args(paths).args(more).arg("--json").assert();
    serde_json::from_slice(&output.get_output().stdout).unwrap()
}

#[test]
fn joints_good_and_bad_of_several_sizes_at_rates_far_apart() {
    let scenarios: Vec<_> = library().iter().map(|path| Scenario::read(path, None).unwrap()).collect();
    assert!(scenarios.len() >= 40, "{}", scenarios.len());
    let rates: BTreeSet<_> = scenarios.iter().map(|one| one.sample_rate_hz as u64).collect();
    assert_eq!((rates.first(), rates.last()), (Some(&10), Some(&20_000)));
    let sizes: BTreeSet<_> = scenarios.iter().map(|one| one.joint.turn_time_s.round() as u64).collect();
    assert!(sizes.len() >= 4, "{sizes:?}");
    assert!(scenarios.iter().filter(|one| one.faults.is_empty()).count() >= 5);
    assert!(scenarios.iter().all(|one| one.note == "invented"));
}

fn page(name: &str) -> String {
    std::fs::read_to_string(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..").join(name)).unwrap()
}

/// The lines that both pages show of the program, made anew.
#[test]
fn the_pages_show_what_the_command_prints() {
    let printed = |more: &[&str]| {
        let output = Command::new(program::path()).arg("trial").args(library()).args(more).assert();
        String::from_utf8(output.get_output().stdout.clone()).unwrap()
    };
    let table = printed(&["--markdown"]);
    let words = "bring the page up to date: bandward trial sim/scenarios/*.toml";
    for name in ["README.md", "sim/scenarios/README.md"] {
        assert!(page(name).contains(table.trim_end()), "{name}: {words} --markdown");
    }
    let text = printed(&[]);
    let (summary, _) = text.split_once("\nrule ").unwrap();
    assert!(page("README.md").contains(summary.trim_end()), "README.md: {words}\n{summary}");
}

#[test]
fn every_fault_of_the_library_is_found() {
    let told = trial(&library(), &[]);
    assert_eq!(told["all"]["missed"], 0, "{:#}", told["told"]);
    assert_eq!(told["all"]["not_judged"], 0);
    // Six rules stop the weld by themselves.
    assert_eq!(told["stop"]["missed"], 0);
    assert!(told["stop"]["found"].as_u64().unwrap() >= 6, "{:#}", told["stop"]);
    // A fault of every rule that the process has one for.
    for (rule, score) in told["rules"].as_object().unwrap() {
        assert!(score["faults"] == 0 || score["found"].as_u64().unwrap() >= 1, "{rule}: {score:#}");
    }
}

/// The scenarios themselves have seeds from 101 on, and settings were never fitted on these.
#[test]
fn twenty_hours_of_good_welding_stay_within_the_budget() {
    let good: Vec<_> = library()
        .into_iter()
        .filter(|path| path.ends_with("good-127-20hz.toml") || path.ends_with("good-89-50hz.toml"))
        .collect();
    let told = trial(&good, &["--seeds", "1001:1105"]);
    assert!(told["without_fault_s"].as_f64().unwrap() >= 20.0 * 3600.0, "{}", told["without_fault_s"]);
    // No more than one in ten minutes (ANSI/ISA-18.2, from memory), with 95 % confidence.
    assert!(told["all"]["false_per_hour_at_most"].as_f64().unwrap() <= 6.0, "{:#}", told["told"]);
}
