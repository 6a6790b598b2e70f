//! The program as a person runs it: one command shows the main job, and every command explains itself.

use std::process::{Command, Output};

fn bandward(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_bandward")).args(arguments).output().expect("the program is built")
}

#[test]
fn replay_alone_shows_the_demo_joint_its_bad_band_and_why() {
    let output = bandward(&["replay"]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(1), "something is outside the procedure");
    assert!(text.contains("OUTSIDE THE PROCEDURE: band 2"), "{text}");
    // What was put in, by the truth that lies beside the trace.
    let truth: serde_json::Value =
        serde_json::from_str(include_str!("../demo/joint.truth.json")).expect("JSON");
    for fault in truth["faults"].as_array().expect("faults") {
        assert!(text.contains(fault["rule"].as_str().expect("a rule")), "{fault}\n{text}");
    }
}

#[test]
fn every_command_explains_itself_with_an_example() {
    for command in ["plan", "setup", "synth", "replay", "trend", "watch"] {
        let output = bandward(&[command, "--help"]);
        let text = String::from_utf8_lossy(&output.stdout);
        assert_eq!(output.status.code(), Some(0), "{command}");
        assert!(text.contains("Example"), "{command}: {text}");
        assert!(text.contains("--json"), "{command}: {text}");
    }
}

#[test]
fn what_cannot_be_done_ends_with_two() {
    for arguments in [vec!["replay", "no-such-file.csv"], vec!["replay", "--no-such-option"], vec!["weld"]] {
        let output = bandward(&arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(!output.stderr.is_empty(), "{arguments:?} says why");
    }
}
