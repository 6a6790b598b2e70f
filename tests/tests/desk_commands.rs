//! The commands around the arc as a person at a terminal uses them: exit codes, files, remembered units,
//! completions and manual.

use assert_cmd::Command;
use assert_cmd::assert::Assert;
use bandward_tests::program;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// A folder to work in, with its own preferences.
struct Desk {
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a folder") }
    }
    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().expect("plain").to_owned()
    }
    fn run(&self, arguments: &[&str]) -> Assert {
        Command::new(program::path())
            .args(arguments)
            .current_dir(self.folder.path())
            .env("XDG_CONFIG_HOME", self.folder.path().join("config"))
            .env("HOME", self.folder.path())
            .env("APPDATA", self.folder.path().join("config"))
            .assert()
    }
    fn told(&self, arguments: &[&str], code: i32) -> String {
        let output = self.run(arguments).code(code).get_output().clone();
        assert!(!output.stdout.contains(&0x1b), "colours where there is no terminal");
        String::from_utf8(output.stdout).expect("text")
    }
    fn refused(&self, arguments: &[&str]) -> String {
        String::from_utf8(self.run(arguments).code(2).get_output().stderr.clone()).expect("text")
    }
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).expect("one JSON object")
}

fn demo_setup() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo/setup.toml");
    path.to_str().expect("plain").to_owned()
}

#[test]
fn plan_takes_inches_and_millimetres_alike() {
    let desk = Desk::new();
    let plan = |diameter: &str, width: &str, units: &str| {
        desk.told(&["plan", "--diameter", diameter, "--total-width", width, "--units", units, "--json"], 1)
    };
    let one = plan("5 in", "3 in", "inch");
    assert_eq!(one, plan("127 mm", "76.2 mm", "metric"), "units never change the numbers");
    let one = json(&one);
    let turn_time_s = one["turn_time_s"].as_f64().expect("a turn time");
    assert!((turn_time_s - 120.0).abs() < 1e-9, "{turn_time_s}");
    // The demo's turn time is for 3 1/2 in: at the same surface speed it is within on 5 in as well.
    assert_eq!(one["outside"].as_array().map(Vec::len), Some(0));
    // Four bands where the procedure has three are another joint.
    assert_eq!(one["outcome"], "broken");
    let slow = json(&desk.told(&["plan", "--diameter", "5\"", "--turn-time", "2:39", "--json"], 1));
    assert_eq!((&slow["turn_time_s"], &slow["outside"][0]["setting"]), (&159.0.into(), &"turn_time".into()));
    desk.run(&["plan"]).code(0);
}

#[test]
fn what_is_typed_wrongly_is_told_with_what_may_be_typed() {
    let desk = Desk::new();
    for (arguments, told) in [
        (
            &["replay", "--parquet", "t", "--day", "today"][..],
            "year, month and day are wanted, as in 2026-11-28",
        ),
        (&["replay", "logs[1.csv"], "there is no such file, and it is no pattern"),
        (&["watch", "--port", "/dev/none@fast"], "a whole number, as in 460800"),
        (&["watch", "--port", "no-such-port"], "no-such-port cannot be used as a serial port"),
    ] {
        let said = desk.refused(arguments);
        assert!(said.contains(told), "{arguments:?}: {said}");
    }
}

#[test]
fn plan_says_what_an_option_may_hold() {
    let desk = Desk::new();
    for (arguments, told) in [
        (&["plan", "--diameter", "5"][..], "`5` has no unit; allowed: a number and one of mm, in"),
        (&["plan", "--diameter", "5 V"], "`V` in `5 V` is not a unit of a length"),
        (&["plan", "--wire", "16 mm"], "not possible; allowed: 0.1 mm to 10 mm"),
        (&["plan", "--gas", "98Ar/5O2"], "the shares make 103 %"),
        (&["plan", "--bands", "0"], "0 is not in 1..=100"),
        (&["plan", "--procedure", "nowhere.toml"], "next: check the name"),
    ] {
        let refusal = desk.refused(arguments);
        assert!(refusal.contains(told), "{refusal}");
    }
    fs::write(desk.path("empty.toml"), "").expect("written");
    let refusal = desk.refused(&["plan", "--procedure", "empty.toml"]);
    assert!(refusal.contains("add --diameter"), "{refusal}");
}

#[test]
fn a_setup_is_signed_saved_and_joined_to_a_replay() {
    let desk = Desk::new();
    let from = demo_setup();
    let saved = desk.path("saved.toml");
    let save = ["setup", "--from", &from, "--save", &saved, "--initials", "AB", "--joint", "no. 12"];
    let text = desk.told(&save, 1);
    assert!(text.starts_with("Before anything else"), "cautions stand at the head");
    assert!(text.contains("signed off by AB at"), "{text}");
    // What is signed is not written over.
    let refusal = desk.refused(&save);
    assert!(refusal.contains("already there"), "{refusal}");
    let again = json(&desk.told(&["setup", "--from", &saved, "--json"], 1));
    assert_eq!(again["joint"], "no. 12");
    assert_eq!(again["signed"]["initials"], "AB");
    assert_eq!(again["signed"]["same_procedure"], true);
    let first = json(&desk.told(&["setup", "--from", &from, "--json", "--units", "inch"], 1));
    assert_eq!(again["settings"], first["settings"]);

    let page = desk.path("page.html");
    let text = desk.told(&["replay", "--setup", &saved, "--report", &page], 1);
    assert!(
        text.contains("setup before the arc of no. 12") && text.contains("OUTSIDE torch offset"),
        "{text}"
    );
    let page = fs::read_to_string(page).expect("written");
    assert!(page.contains("<h2 id=\"setup-title\">") && page.contains("signed off by AB"));
    // An inspector reads it at the top, and finds the file by its hash.
    assert!(page.contains("Setup before the arc</a>: OUTSIDE; signed off by AB"), "{page}");
    let hash = again["sha256"].as_str().expect("a hash");
    assert!(page.contains(hash) && page.contains("counter(page)"), "{hash}");
    let replay = json(&desk.told(&["replay", "--setup", &saved, "--json"], 1));
    assert_eq!(replay["setup"], again);
    // Another procedure than the one signed for is said.
    fs::write(desk.path("other.toml"), "[voltage]\nallowed = [\"29 V\", \"34 V\"]\n").expect("written");
    // No water before the arc is refused, whatever that one says.
    let text = desk.told(&["setup", "--from", &saved, "--procedure", "other.toml"], 1);
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("on another text of the procedure"), "{text}");
}

/// Common practice is 29 V (no source); a procedure that gives no floor is told above every verdict by it.
#[test]
fn a_procedure_without_a_voltage_floor_is_told_above_every_verdict() {
    let desk = Desk::new();
    let silent = include_str!("../../sim/demo/procedure.toml").replace("floor = \"29 V\"\n", "");
    fs::write(desk.path("silent.toml"), silent).expect("written");
    let (setup, page) = (demo_setup(), desk.path("page.html"));
    let trace = demo_setup().replace("setup.toml", "joint.csv.gz");
    let by = ["--procedure", "silent.toml"];
    let setup: &[&str] = &["setup", "--from", &setup];
    let replay: &[&str] = &["replay", &trace];
    for (arguments, code) in [(&["plan"][..], 0), (setup, 1), (replay, 1)] {
        let text = desk.told(&[arguments, &by].concat(), code);
        let at = text.find("NO VOLTAGE FLOOR").unwrap_or_else(|| panic!("{text}"));
        assert!(text.find("good").is_none_or(|good| at < good), "{text}");
        let json = json(&desk.told(&[arguments, &by, &["--json"]].concat(), code));
        let warning = json["warnings"][0].as_str().expect("told");
        assert!(warning.contains("NO VOLTAGE FLOOR") && warning.contains("the shop decides"));
    }
    desk.told(&[replay, &by, &["--report", &page]].concat(), 1);
    assert!(fs::read_to_string(page).is_ok_and(|page| page.contains("NO VOLTAGE FLOOR")));
    assert!(!desk.told(&["plan"], 0).contains("NO VOLTAGE FLOOR"));
}

#[test]
fn setup_says_what_to_do_where_it_cannot_go_on() {
    let desk = Desk::new();
    assert!(desk.refused(&["setup"]).contains("give what was measured with --from FILE"));
    fs::write(desk.path("bad.toml"), "[measured]\ncurrent = \"320\"\n").expect("written");
    let refusal = desk.refused(&["setup", "--from", "bad.toml"]);
    assert!(refusal.contains("bad.toml:2:11") && refusal.contains("next: correct the file"), "{refusal}");
    fs::write(desk.path("t.csv"), "time_s,current_a\n0,0\n").expect("written");
    let refusal = desk.refused(&["replay", "t.csv", "--setup", &demo_setup()]);
    assert!(refusal.contains("add --procedure"), "{refusal}");
    let refusal = desk.refused(&["replay", "t.csv", "t.csv", "--setup", &demo_setup()]);
    assert!(refusal.contains("replay one"), "{refusal}");
}

#[test]
fn every_text_fits_a_screen_of_80_columns() {
    let desk = Desk::new();
    let setup = demo_setup();
    let replay = ["replay", "--setup", &setup];
    for (arguments, code) in [(&["plan"][..], 0), (&["setup", "--from", &setup], 1), (&replay, 1)] {
        for units in ["metric", "inch"] {
            let text = desk.told(&[arguments, &["--units", units]].concat(), code);
            // The path of a file is one word, however long.
            let wide = text.lines().find(|line| line.chars().count() > 80 && !line.contains(&setup));
            assert_eq!(wide, None, "{arguments:?} in {units}");
        }
    }
}

/// The option goes before the procedure's own choice, and that before what is remembered.
#[test]
fn a_height_from_an_estimated_wire_feed_says_so() {
    let desk = Desk::new();
    let demo = |name: &str| format!("{}/../sim/demo/{name}", env!("CARGO_MANIFEST_DIR"));
    let (scenario, procedure) = (demo("find-the-fault.toml"), demo("procedure.toml"));
    desk.told(&["synth", &scenario, "-o", "whole.csv"], 0);
    let whole = fs::read_to_string(desk.path("whole.csv")).expect("made");
    let without_wire: String = whole
        .lines()
        .map(|line| line.split(',').enumerate().filter(|(index, _)| *index != 6))
        .map(|cells| cells.map(|(_, cell)| cell).collect::<Vec<_>>().join(",") + "\n")
        .collect();
    assert!(!without_wire.contains("wire"), "the wire column is the seventh");
    fs::write(desk.path("without.csv"), without_wire).expect("written");
    let told = |trace| desk.told(&["replay", "--procedure", &procedure, trace], 1);
    assert!(!told("whole.csv").contains('~'));
    let estimated = told("without.csv");
    assert!(estimated.contains("~ height: no wire feed was measured"), "{estimated}");
    assert_eq!(estimated.matches(" mm  OUTSIDE").count(), 1, "{estimated}");
    assert!(estimated.matches('~').count() == 4, "three bands and the word about them: {estimated}");
}

#[test]
fn units_are_remembered() {
    let desk = Desk::new();
    fs::write(desk.path("silent.toml"), "[joint]\noutside_diameter = \"5 in\"\n").expect("written");
    let silent = ["plan", "--procedure", "silent.toml"];
    let first_unit = |text: &str| {
        let line = text.lines().find(|line| line.contains("joint diameter")).expect("there").to_owned();
        line.split_whitespace().nth(3).expect("a unit").to_owned()
    };
    assert_eq!(first_unit(&desk.told(&silent, 0)), "mm");
    let told = desk.told(&["config", "units", "inch"], 0);
    assert!(told.contains("config.toml"), "{told}");
    assert!(desk.told(&["config"], 0).starts_with("units: inch"));
    assert_eq!(first_unit(&desk.told(&silent, 0)), "in");
    assert_eq!(first_unit(&desk.told(&["plan", "--procedure", "silent.toml", "--units", "metric"], 0)), "mm");
    // The demo asks for metric itself.
    let demo = desk.told(&["plan"], 0);
    assert_eq!(first_unit(&demo), "mm");
    let file = desk.folder.path().join("config/bandward/config.toml");
    fs::write(file, "units = \"feet\"\n").expect("written");
    let refusal = desk.refused(&silent);
    assert!(refusal.contains("config.toml:1:9") && refusal.contains("\"metric\", \"inch\""), "{refusal}");
}

/// The README says which have none.
#[test]
fn every_command_that_tells_something_has_json() {
    let desk = Desk::new();
    let help = desk.told(&["--help"], 0);
    let listed: Vec<&str> = help
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.strip_prefix("  ")?.split(' ').next().filter(|word| !word.is_empty()))
        .collect();
    assert!(listed.len() > 10, "{help}");
    let has_json = |words: &[&str]| desk.told(&[words, &["--help"]].concat(), 0).contains("--json");
    let without: Vec<&str> = listed
        .into_iter()
        .filter(|command| !["help", "register"].contains(command) && !has_json(&[command]))
        .collect();
    assert_eq!(without, ["completions", "config", "embed", "manual", "procedure"]);
    for task in ["find", "show", "check", "export"] {
        assert!(has_json(&["register", task]), "{task}");
    }
    let readme =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md")).expect("shipped");
    let readme = readme.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(readme.contains("(not `completions`, `config`, `embed`, `manual` and `procedure`)"));
}

#[test]
fn every_command_has_completions_a_manual_and_an_example() {
    let desk = Desk::new();
    let commands = [
        "plan",
        "setup",
        "synth",
        "replay",
        "register",
        "config",
        "completions",
        "manual",
        "layout",
        "keys",
        "embed",
    ];
    desk.told(&["manual", "man"], 0);
    for command in commands {
        let page = fs::read_to_string(desk.path(&format!("man/bandward-{command}.1"))).expect("a page");
        assert!(page.contains(".SH SYNOPSIS") && page.contains("Example"), "{command}");
        assert!(desk.told(&[command, "--help"], 0).contains("Example"), "{command}");
    }
    let below = ["find", "show", "check", "export"].map(|task| ["register", task]);
    for words in below.into_iter().chain([["config", "units"]]) {
        let help = desk.told(&[&words[..], &["--help"]].concat(), 0);
        assert!(
            help.contains(&format!("Example:\n  bandward {} {}", words[0], words[1])),
            "{words:?}: {help}"
        );
    }
    assert!(fs::read_to_string(desk.path("man/bandward.1")).expect("a page").contains(".TH bandward 1"));
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = desk.told(&["completions", shell], 0);
        assert!(commands.iter().all(|command| script.contains(command)), "{shell}");
    }
}
