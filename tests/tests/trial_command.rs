//! `bandward trial` as a person at a terminal uses it: traces with marks written by hand, sweeps with
//! their picture, proposals, and what is said about mistakes.

use assert_cmd::Command;
use bandward_tests::program;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

fn library(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/scenarios").join(name)
}

/// A folder with a trace in which the gas fails once, its procedure, and the truth beside it.
struct Shop {
    folder: TempDir,
}

impl Shop {
    fn new() -> Self {
        let shop = Self { folder: TempDir::new().expect("a folder") };
        let scenario = library("gas-low.toml");
        shop.run(&["synth", scenario.to_str().expect("plain"), "-o", "joint.csv"]).code(0);
        fs::copy(library("procedures/127.toml"), shop.path("joint.procedure.toml")).expect("copied");
        shop
    }
    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
    fn run(&self, arguments: &[&str]) -> assert_cmd::assert::Assert {
        Command::new(program::path()).args(arguments).current_dir(self.folder.path()).assert()
    }
    fn trial(&self, more: &[&str], code: i32) -> String {
        let first = ["trial", "--procedure", "joint.procedure.toml", "joint.csv"];
        let output = self.run(&[&first, more].concat()).code(code).get_output().clone();
        assert!(!output.stdout.contains(&0x1b), "colours where there is no terminal");
        String::from_utf8(output.stdout).expect("text")
    }
    fn trial_json(&self, more: &[&str], code: i32) -> Value {
        serde_json::from_str(&self.trial(&[more, &["--json"]].concat(), code)).expect("one JSON object")
    }
    fn refused(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments).code(2).get_output().clone();
        assert!(output.stdout.is_empty(), "{}", String::from_utf8_lossy(&output.stdout));
        String::from_utf8(output.stderr).expect("text")
    }
    fn marks(&self, text: &str) {
        fs::write(self.path("joint.truth.json"), text).expect("written");
    }
    /// Start and end of the one fault, s.
    fn fault(&self) -> (f64, f64) {
        let text = fs::read_to_string(self.path("joint.truth.json")).expect("written by synth");
        let truth: Value = serde_json::from_str(&text).expect("JSON");
        let fault = &truth["faults"][0];
        (fault["start_s"].as_f64().expect("a time"), fault["end_s"].as_f64().expect("a time"))
    }
    fn with_alarm(&self, table: &str) {
        let path = self.path("joint.procedure.toml");
        let text = fs::read_to_string(&path).expect("copied");
        fs::write(path, format!("{text}\n{table}\n")).expect("written");
    }
}

#[test]
fn marks_written_by_hand_are_as_good_as_those_of_synth() {
    let shop = Shop::new();
    let made = shop.trial_json(&[], 0);
    assert_eq!((&made["all"]["found"], &made["all"]["false_alarms"]), (&json!(1), &json!(0)));
    let (start_s, end_s) = shop.fault();
    shop.marks(&format!(
        "{{ \"faults\": [\n  {{ \"rule\": \"gas-low\", \"start_s\": {start_s}, \"end_s\": {end_s} }}\n] }}"
    ));
    assert_eq!(shop.trial_json(&[], 0), made);
    let text = shop.trial(&[], 0);
    assert!(text.contains("The only fault found.") && text.contains("0 false alarms"), "{text}");

    // Nothing was wrong, says the file: then the alarm is false, and once in some minutes is too much.
    shop.marks("{ \"faults\": [] }");
    let text = shop.trial(&[], 1);
    assert!(text.contains("No fault to be found.") && text.contains("over the budget"), "{text}");
    assert!(text.contains("false gas-low at ") && text.contains(" s of joint.csv"), "{text}");
    shop.trial(&["--budget", "100"], 0);

    // Another rule should have told of it.
    shop.marks(&format!(
        "{{ \"faults\": [ {{ \"rule\": \"current-low\", \"start_s\": {start_s}, \"end_s\": {end_s} }} ] }}"
    ));
    let all = shop.trial_json(&[], 1);
    assert_eq!(all["rules"]["current-low"]["missed"], 1);
    assert_eq!((&all["rules"]["gas-low"]["beside"], &all["all"]["false_alarms"]), (&json!(1), &json!(0)));
    assert_eq!(all["told"][0]["what"], "missed");
    assert!(shop.trial(&[], 1).contains(&format!("missed current-low at {start_s:.2} s of joint.csv")));
}

#[test]
fn broken_marks_are_told_with_file_line_field_value_and_what_is_allowed() {
    let shop = Shop::new();
    let trial = ["trial", "-p", "joint.procedure.toml", "joint.csv"];
    let told = |marks: &str, words: &[&str]| {
        shop.marks(marks);
        let refusal = shop.refused(&trial);
        for word in words {
            assert!(refusal.contains(word), "{word} in {refusal}");
        }
    };
    told(
        "{ \"faults\": [\n  { \"rule\": \"gas-lo\", \"start_s\": 1, \"end_s\": 2 }\n] }",
        &["joint.truth.json:2:13", "faults[1].rule", "`gas-lo` is no rule", "voltage-low", "places marked"],
    );
    told(
        "{ \"faults\": [\n\n  { \"rule\": \"gas-low\", \"start_s\": 9, \"end_s\": -2 }\n] }",
        &["joint.truth.json:3:", "faults[1].end_s", "-2", "allowed: seconds from the start"],
    );
    told(
        "{ \"faults\": [\n{ \"start_s\": 3 }\n] }",
        &["joint.truth.json:2:1", "faults[1].end_s: is missing"],
    );
    told("{ \"faults\": [ }", &["joint.truth.json:1:15", "not valid JSON", "\"start_s\": 12.0"]);
    told("{ \"fault\": [] }", &["faults: is missing", "fault: unknown key"]);
    told(
        "{ \"faults\": [ { \"rule\": null, \"start_s\": 5000, \"end_s\": 5001 } ] }",
        &["joint.csv", "begin at 5000 s", "the trace ends at"],
    );
    fs::remove_file(shop.path("joint.truth.json")).expect("removed");
    let refusal = shop.refused(&trial);
    assert!(
        refusal.contains("cannot read joint.truth.json") && refusal.contains("check the name"),
        "{refusal}"
    );
}

#[test]
fn arguments_that_make_no_sense_are_told() {
    let shop = Shop::new();
    let trial = ["trial", "-p", "joint.procedure.toml", "joint.csv"];
    for (more, told) in [
        (&["--sweep", "gas-low.on_delay"][..], "RULE.KEY=from:to:step"),
        (&["--sweep", "gas.on_delay=0:1:1"], "`gas` is no rule; the rules are voltage-low"),
        (&["--sweep", "gas-low.delay=0:1:1"], "`delay` is no key of gas-low"),
        (&["--sweep", "gas-low.on_delay=0:1 V:1"], "`V` in `1 V` is not a unit of a time; allowed is"),
        (&["--sweep", "gas-low.on_delay=2:1:1"], "from must not be above to"),
        (
            &["--sweep", "gas-low.allowed=15:17:0.5"],
            "the recommended range would reach outside the allowed one",
        ),
        (&["--sweep", "transfer-short-circuits.recommended=6:6:1"], "would reach outside"),
        (&["--png", "x.png"], "--sweep"),
        (&["--budget", "-1"], "`-1` is no number from 0 to 1000000"),
        (&["--grace", "long"], "`long` is no number"),
        (&["--delay-allowance", "1"], "--suggest"),
        (&["--severity", "loud"], "advise, warn, stop"),
        (&["--seeds", "5:1"], "FIRST:LAST"),
        (&["--json", "--markdown"], "cannot be used with"),
    ] {
        // `=` keeps a minus from being read as an option of its own.
        let joined = [format!("{}={}", more[0], more.get(1).copied().unwrap_or_default())];
        let is_flag = more[0] == "--json";
        let refusal = if is_flag {
            shop.refused(&[&trial[..], more].concat())
        } else {
            shop.refused(&[&trial[..], &[joined[0].as_str()]].concat())
        };
        assert!(refusal.contains(told), "{more:?}: {refusal}");
    }
    let refusal = shop.refused(&["trial", "joint.csv"]);
    assert!(refusal.contains("joint.csv names no procedure: add --procedure"), "{refusal}");
    let refusal = shop.refused(&["trial", "joint.csv", "--sweep", "gas-low.on_delay=0:1:1"]);
    assert!(refusal.contains("--procedure"), "{refusal}");
    let refusal = shop.refused(&[&trial[..], &["joint.csv", "--parquet", "fleet"]].concat());
    assert!(refusal.contains("joint.csv: another trace is written as joint `joint`"), "{refusal}");
}

/// Width, height, and how many dots have exactly this colour at `x` from on.
fn picture(path: &Path, colour: [u8; 3], x: u32) -> (u32, u32, usize) {
    let decoder = png::Decoder::new(std::io::BufReader::new(fs::File::open(path).expect("written")));
    let mut reader = decoder.read_info().expect("a PNG");
    let mut dots = vec![0; reader.output_buffer_size().expect("it fits")];
    let info = reader.next_frame(&mut dots).expect("a picture");
    let channels = info.color_type.samples();
    let of_colour = dots
        .chunks(channels)
        .enumerate()
        .filter(|(index, dot)| *index as u32 % info.width >= x && dot[..3] == colour);
    (info.width, info.height, of_colour.count())
}

const COURSE: [u8; 3] = [0x00, 0x72, 0xb2];
const LIMIT: [u8; 3] = [0xc0, 0x4e, 0x00];

#[test]
fn a_sweep_has_a_table_and_a_picture() {
    let shop = Shop::new();
    let sweep = ["--sweep", "gas-low.on_delay=0:4:0.5", "--png", "curve.png", "--svg", "curve.svg"];
    let text = shop.trial(&sweep, 0);
    assert!(text.contains("9 settings, scores of gas-low"), "{text}");
    let rows: Vec<_> = text.lines().filter(|line| line.contains(" s     ")).collect();
    assert!(rows.iter().any(|row| row.starts_with("0.5 s ") && row.ends_with("as it is")), "{text}");

    // Each half second of on-delay makes the alarm half a second later.
    let settings = shop.trial_json(&sweep[..2], 0)["sweep"]["settings"].as_array().expect("settings").clone();
    let delays_s: Vec<_> =
        settings.iter().map(|setting| setting["score"]["delay_median_s"].as_f64().expect("found")).collect();
    assert_eq!(delays_s.len(), 9);
    assert!(delays_s.windows(2).all(|pair| (pair[1] - pair[0] - 0.5).abs() < 0.11), "{delays_s:?}");
    assert_eq!(settings[1]["as_it_is"], true);

    let (width, height, of_course) = picture(&shop.path("curve.png"), COURSE, 870);
    assert_eq!((width, height), (1480, 690));
    // Three courses across a panel of 580 dots, each at least one dot thick.
    assert!(of_course > 3 * 500, "{of_course}");
    let (.., of_limit) = picture(&shop.path("curve.png"), LIMIT, 0);
    assert!(of_limit > 20, "the name of the budget: {of_limit}");
    let svg = fs::read_to_string(shop.path("curve.svg")).expect("written");
    for words in
        ["false alarms, 1/h", "mean delay, s", "missed, % of faults", "gas-low.on_delay, s", "as it is"]
    {
        assert!(svg.contains(words), "{words}");
    }
    assert_eq!(svg.matches("<circle").count(), 9 + 1 + 2, "nine settings, a ring round one, two in the key");

    // A rule of which the trace has no fault and which never called.
    let text = shop.trial(&["--sweep", "voltage-low.on_delay=0:1:0.5", "--png", "none.png"], 0);
    assert!(text.contains("they tell nothing of them"), "{text}");
    assert_eq!(picture(&shop.path("none.png"), COURSE, 0).0, 1480);

    let two = [&sweep[..2], &["--sweep", "gas-low.deadband=0:1:0.5", "--png", "two.png"]].concat();
    assert!(shop.trial(&two, 0).contains("27 settings"));
    let (width, height, of_course) = picture(&shop.path("two.png"), COURSE, 0);
    assert_eq!((width, height), (870 + 2 * 165 + 3 * 95 + 30, 690));
    assert!(of_course > 9 * 30, "the marks of settings that find every fault: {of_course}");
}

/// Nine times as long as usual: nothing in the traces asks for it.
#[test]
fn a_proposal_says_why_and_holds_when_it_is_taken_over() {
    let shop = Shop::new();
    shop.with_alarm("[alarm.gas-low]\non_delay = \"4.5 s\"");
    let slow = shop.trial_json(&[], 0)["rules"]["gas-low"]["delay_median_s"].as_f64().expect("found");
    let scenario = library("gas-low.toml");
    let scenario = scenario.to_str().expect("plain");
    let more = [scenario, "--seeds", "11:14", "--suggest"];
    let text = shop.trial(&more, 0);
    assert!(text.contains("gas-low.on_delay: 0.5 s in place of 4.5 s"), "{text}");
    assert!(text.contains("4.00 s sooner"), "{text}");
    assert!(text.contains("kept out, proposed "), "{text}");
    let table = "[alarm.gas-low]\non_delay = \"0.5 s\"";
    assert!(text.contains(table), "{text}");
    let proposal = shop.trial_json(&more, 0)["proposal"].clone();
    let change = proposal["changes"]
        .as_array()
        .expect("changes")
        .iter()
        .find(|change| change["values"][0]["knob"]["name"] == "gas-low.on_delay");
    let by_s = change.expect("it is there")["because"][0]["sooner"]["by_s"].as_f64().expect("a time");
    assert!((by_s - 4.0).abs() < 1e-6, "{by_s}");
    assert_eq!(proposal["not_fitted_on"]["proposed"]["missed"], 0);
    assert_eq!(
        (&proposal["fitted_on"]["traces"], &proposal["not_fitted_on"]["traces"]),
        (&json!(5), &json!(5))
    );
    assert_eq!(proposal["confirmed"], true);

    fs::copy(library("procedures/127.toml"), shop.path("joint.procedure.toml")).expect("copied");
    shop.with_alarm(table);
    let soon = shop.trial_json(&[], 0)["rules"]["gas-low"]["delay_median_s"].as_f64().expect("found");
    assert!((slow - soon - 4.0).abs() < 1e-6, "{slow} s, then {soon} s");

    // One fault tells nothing of how often it is found.
    let text = shop.trial(&["--suggest"], 0);
    assert!(text.contains("No change proposed."), "{text}");
    assert!(
        text.contains("gas-low: 1 fault found by its own alarms; nothing is proposed from fewer than 3"),
        "{text}"
    );
}

#[test]
fn the_table_as_markdown() {
    let shop = Shop::new();
    let text = shop.trial(&["--markdown"], 0);
    let rows: Vec<_> = text.lines().collect();
    assert!(rows[0].starts_with("| rule | faults | found |") && rows[1].starts_with("|---|---:|"), "{text}");
    assert!(
        rows[2].starts_with("| gas-low | 1 | 1 | 2-100 | - |") && rows[3].starts_with("| all | 1 | 1 |"),
        "{text}"
    );
    let columns = |row: &str| row.matches('|').count();
    assert!(rows[..4].iter().all(|row| columns(row) == columns(rows[0])), "{text}");
}
