//! How `trial` books alarms on marks: what stood already, what follows, marks that are near one another or
//! name several rules, and what a miss says. Traces are drawn line by line here.

use assert_cmd::Command;
use bandward_tests::drawn::Drawn;
use bandward_tests::program;
use serde_json::{Value, json};
use std::fs;
use tempfile::TempDir;

const PROCEDURE: &str = "[voltage]\nallowed = [\"29.5 V\", \"33.5 V\"]\nfloor = \"29 V\"\n[current]\nallowed = [\"280 A\", \
                         \"360 A\"]\n[gas_flow]\nallowed = [\"15 L/min\", \"25 L/min\"]\nfloor = \"8 L/min\"\n";

struct Shop {
    folder: TempDir,
    traces: usize,
}

impl Shop {
    fn new(procedure: &str, traces: &[Drawn]) -> Self {
        let folder = TempDir::new().expect("a folder");
        let shop = Self { folder, traces: traces.len() };
        shop.write("p.toml", procedure);
        for (index, drawn) in traces.iter().enumerate() {
            shop.write(&format!("t{index}.csv"), &drawn.csv());
            shop.write(&format!("t{index}.truth.json"), &json!({ "faults": drawn.faults }).to_string());
        }
        shop
    }
    fn write(&self, name: &str, text: &str) {
        fs::write(self.folder.path().join(name), text).expect("written");
    }
    fn output(&self, more: &[&str]) -> std::process::Output {
        let traces = (0..self.traces).map(|index| format!("t{index}.csv"));
        let mut command = Command::new(program::path());
        command.current_dir(self.folder.path()).arg("trial").args(traces).args(["-p", "p.toml"]).args(more);
        // Whatever units are remembered on this machine.
        command.env("XDG_CONFIG_HOME", self.folder.path()).output().expect("it runs")
    }
    fn text(&self, more: &[&str]) -> String {
        String::from_utf8(self.output(more).stdout).expect("text")
    }
    fn json(&self, more: &[&str]) -> Value {
        let output = self.output(&[more, &["--json"]].concat());
        let told = String::from_utf8_lossy(&output.stderr);
        serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {told}"))
    }
    fn refused(&self, more: &[&str]) -> String {
        let output = self.output(more);
        assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stdout));
        String::from_utf8(output.stderr).expect("text")
    }
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// The gas is gone from 40 s on, and the marks begin 1.5 s later: a slow alarm must not look better by it.
#[test]
fn an_alarm_that_stood_already_is_no_reason_for_a_slower_one() {
    let drawn = |index: u32| {
        let start_s = 40.0 + f64::from(index);
        let own = Drawn { current: vec![(start_s, start_s + 12.0, 240.0)], ..Drawn::default() };
        own.mark("current-low", start_s + 1.5, start_s + 12.0)
    };
    let traces: Vec<_> = (0..8).map(drawn).collect();
    let shop = Shop::new(PROCEDURE, &traces);
    shop.write("slow.toml", &format!("{PROCEDURE}[alarm.current-low]\non_delay = \"3 s\"\n"));
    let both = shop.json(&["--against", "slow.toml"]);
    let all = &both["all"];
    assert_eq!(
        (&all["found"], &all["stood_already"], &all["false_alarms"]),
        (&json!(8), &json!(8), &json!(0))
    );
    assert!(number(&all["delay_95_s"]).abs() < 1e-9);
    let cost = &both["against"]["cost"];
    assert!(number(&cost["this"]) < number(&cost["other"]), "{cost}");
    let (this, other) = (&both["against"]["all"]["this"], &both["against"]["all"]["other"]);
    assert_eq!((&other["found"], &other["stood_already"]), (&json!(8), &json!(0)));
    assert!(number(&this["delay_mean_s"]) < number(&other["delay_mean_s"]));
    assert!(
        shop.text(&[]).contains("Stood already when the fault began, and found it with a delay of 0: 8.")
    );
    assert_eq!(shop.json(&["--suggest", "--delay-allowance", "3"])["proposal"]["changes"], json!([]));
    // With marks 12 s late it was false for so long, with either.
    let late = traces.iter().map(|drawn| Drawn { faults: Vec::new(), ..drawn.clone() });
    let late: Vec<_> = late
        .zip(0_u32..)
        .map(|(drawn, index)| {
            let current = vec![(40.0 + f64::from(index), 75.0, 240.0)];
            Drawn { current, ..drawn }.mark("current-low", 52.5 + f64::from(index), 75.0)
        })
        .collect();
    let shop = Shop::new(PROCEDURE, &late);
    shop.write("slow.toml", &format!("{PROCEDURE}[alarm.current-low]\non_delay = \"3 s\"\n"));
    let both = shop.json(&["--against", "slow.toml"])["against"]["all"].clone();
    for of in ["this", "other"] {
        assert_eq!((&both[of]["found"], &both[of]["false_alarms"]), (&json!(8), &json!(8)), "{of}");
    }
}

/// What is told of the misses, first to last.
fn misses(told: &Value) -> Vec<Value> {
    let all = told["told"].as_array().expect("a list").iter();
    all.filter(|one| one["what"] == "missed").cloned().collect()
}

/// The voltage is under its allowed range first, and under its floor two seconds later.
#[test]
fn a_fault_that_warns_first_and_stops_later_is_found_by_the_warning() {
    let own = Drawn { voltage: vec![(40.0, 44.0, 29.2), (44.0, 50.0, 28.0)], ..Drawn::default() };
    let shop = Shop::new(PROCEDURE, &[own.mark("voltage-low", 40.0, 50.0)]);
    let told = shop.json(&[]);
    let (delay_s, stop_s) = (number(&told["all"]["delay_95_s"]), number(&told["all"]["stop_delay_95_s"]));
    assert!((0.0..3.0).contains(&delay_s) && (4.0..6.5).contains(&stop_s), "{delay_s} {stop_s}");
    assert!((number(&told["all"]["delay_mean_s"]) - delay_s).abs() < 1e-9);
    // A second costs 0.5 up to the stop, and as long as the alarm stands after the fault.
    let stands_s = number(&told["all"]["stands_after_most_s"]);
    assert!((number(&told["cost"]) - 0.5 * (stop_s + stands_s)).abs() < 1e-6, "{told:#}");
    // With a lower floor it only warns: missed here, and found in a procedure that has no other floor.
    let sweep = ["--sweep", "transfer-low-voltage.floor=24:29:5"];
    let text = shop.text(&sweep);
    assert!(text.contains("no stop: 1"), "{text}");
    let rows = shop.json(&sweep)["sweep"]["settings"].clone();
    assert_eq!((&rows[0]["score"]["missed"], &rows[0]["score"]["only_warned"]), (&json!(1), &json!(1)));
    shop.write("low.toml", &PROCEDURE.replace("floor = \"29 V\"", "floor = \"24 V\""));
    let both = shop.text(&["--against", "low.toml"]);
    assert!(both.contains("the other missed: only a warning, no stop"), "{both}");
}

#[test]
fn near_marks_are_booked_alike_in_either_order() {
    let own = Drawn { current: vec![(40.0, 44.0, 240.0)], ..Drawn::default() };
    let first = own.clone().mark("current-low", 30.0, 35.0).mark("current-low", 40.0, 46.0);
    let second = own.mark("current-low", 40.0, 46.0).mark("current-low", 30.0, 35.0);
    for drawn in [first, second] {
        let told = Shop::new(PROCEDURE, &[drawn]).json(&[]);
        let misses = misses(&told);
        assert_eq!(misses.len(), 1, "{told:#}");
        assert!(
            (number(&misses[0]["time_s"]) - 30.0).abs() < 1e-9,
            "the one in whose span nothing was wrong"
        );
        assert!(number(&told["all"]["delay_95_s"]) < 3.0);
    }
}

#[test]
fn a_mark_with_several_rules_is_booked_on_the_one_that_rang_and_a_miss_tells_all() {
    let mark = |start_s: f64| json!({ "rules": ["gas-high", "current-low"], "start_s": start_s, "end_s": start_s + 8.0 });
    let faults = vec![mark(40.0), mark(70.0)];
    let own = Drawn {
        current: vec![(40.0, 48.0, 240.0)],
        gas: vec![(70.0, 78.0, 24.0)],
        faults,
        ..Drawn::default()
    };
    let shop = Shop::new(PROCEDURE, &[own]);
    let told = shop.json(&[]);
    assert_eq!(told["rules"]["current-low"]["found"], 1, "{told:#}");
    let high = &told["rules"]["gas-high"];
    assert_eq!((&high["found"], &high["missed"]), (&json!(0), &json!(1)));
    assert_eq!((&told["all"]["faults"], &told["all"]["found"]), (&json!(2), &json!(1)));
    let values = misses(&told)[0]["values"].clone();
    assert_eq!((&values[0]["rule"], &values[1]["rule"]), (&json!("gas-high"), &json!("current-low")));
    assert!(
        (number(&values[0]["value"]) - 24.0).abs() < 0.05
            && (number(&values[1]["limit"]) - 280.0).abs() < 0.5
    );
    let text = shop.text(&[]);
    assert!(
        text.contains("gas-high: worst value 24") && text.contains("; current-low: worst value 32"),
        "{text}"
    );
}

#[test]
fn a_missed_stop_is_told_against_the_limit_that_stops() {
    let mark = json!({ "rule": "gas-low", "severity": "stop", "start_s": 40, "end_s": 50 });
    let own = Drawn { gas: vec![(40.0, 50.0, 9.0)], faults: vec![mark], ..Drawn::default() };
    let shop = Shop::new(PROCEDURE, &[own]);
    let told = shop.json(&[]);
    let miss = misses(&told)[0].clone();
    assert_eq!((&miss["only_warned"], &miss["outside_s"]), (&json!(true), &json!(0.0)), "{miss}");
    assert!((number(&miss["limit"]) - 8.0).abs() < 0.01, "{miss}");
    let text = shop.text(&[]);
    assert!(
        text.contains("only as a warning, no stop; worst value 9")
            && text.contains("limit 8 L/min (the floor")
    );
}

#[test]
fn a_miss_of_the_pole_says_the_pole_read() {
    let own = Drawn::default().mark("polarity-wrong", 40.0, 45.0);
    let shop = Shop::new(&format!("{PROCEDURE}[wire]\npolarity = \"DCEP\"\n"), &[own]);
    let text = shop.text(&[]);
    assert!(text.contains("the pole read was DCEP throughout") && !text.contains("limit 0.00 s"), "{text}");
}

#[test]
fn marks_without_a_rule_are_asked_for_and_named_and_nothing_is_given_twice() {
    let with = |faults: &str| {
        let shop = Shop::new(PROCEDURE, &[Drawn::default()]);
        shop.write("t0.truth.json", faults);
        shop
    };
    let bare = with(r#"{ "faults": [ { "start_s": 10, "end_s": 20 } ] }"#).refused(&[]);
    assert!(bare.contains("faults[1].rule") && bare.contains("\"rule\": null"), "{bare}");
    let shop = with(r#"{ "faults": [ { "rule": null, "kind": "wind", "start_s": 10, "end_s": 20 } ] }"#);
    let span = &shop.json(&[])["without_rule"];
    assert_eq!((&span[0]["kind"], span.as_array().map(Vec::len)), (&json!("wind"), Some(1)));
    assert!(shop.text(&[]).contains("1 span marked without a rule, 10.00 s together"));
    for (faults, words) in [
        (
            r#"{ "faults": [ { "rule": "gas-low", "rule": "gas-high", "start_s": 1, "end_s": 2 } ] }"#,
            "`rule` is given twice",
        ),
        (r#"{ "faults": [], "faults": [] }"#, "`faults` is given twice"),
        (
            r#"{ "faults": [ { "rule": "gas-low", "severity": "advise", "start_s": 1, "end_s": 2 } ] }"#,
            "--severity advise",
        ),
    ] {
        let told = with(faults).refused(&[]);
        assert!(told.contains(words), "{words}: {told}");
    }
    let shop = with(r#"{ "faults": [] }"#);
    let twice = ["--sweep", "gas-low.on_delay=0:1:0.5", "--sweep", "gas-low.on_delay=0:2:0.5"];
    assert!(shop.refused(&twice).contains("gas-low.on_delay is given twice"));
}

#[test]
fn procedures_of_one_name_are_told_apart_and_other_diameters_warned_of() {
    let named = |diameter: &str| {
        format!("[procedure]\nname = \"Own\"\n[joint]\noutside_diameter = \"{diameter}\"\n{PROCEDURE}")
    };
    let shop = Shop::new(&named("127 mm"), &[Drawn::default()]);
    shop.write("q.toml", &named("165 mm"));
    let text = shop.text(&["--against", "q.toml"]);
    assert!(text.contains("Own (p.toml)") && text.contains("Against Own (q.toml)"), "{text}");
    assert!(text.contains("different outside diameters"), "{text}");
}

/// Leaks that a longer delay would outlast, as in `trial_proposal`; the gas has no floor here.
fn leaking() -> Vec<Drawn> {
    let drawn = |index: u32| {
        let breaks = [10.0, 20.0, 30.0, 75.0, 85.0].map(|at| at + f64::from(index) * 0.3);
        let mut own = Drawn { gas: vec![(45.0, 60.0, 10.0)], ..Drawn::default() }.mark("gas-low", 45.0, 60.0);
        own.gas.extend(breaks.map(|at| (at, at + 0.54, 0.0)));
        own
    };
    (0..6).map(drawn).collect()
}

#[test]
fn a_tuned_file_keeps_line_ends_and_mark_and_the_list_of_what_stays_is_complete() {
    let procedure = PROCEDURE.replace("floor = \"8 L/min\"\n", "").replace('\n', "\r\n");
    let shop = Shop::new(&format!("\u{feff}{procedure}"), &leaking());
    let more = [
        "--suggest",
        "--delay-allowance",
        "2",
        "--loosen-stop",
        "spindle-stall.on_delay",
        "-o",
        "tuned.toml",
    ];
    let proposal = shop.json(&more)["proposal"].clone();
    assert_eq!(proposal["confirmed"], true, "{proposal:#}");
    let tuned = fs::read_to_string(shop.folder.path().join("tuned.toml")).expect("written");
    assert!(tuned.starts_with('\u{feff}') && tuned.matches('\u{feff}').count() == 1, "{tuned:?}");
    assert_eq!(tuned.matches('\n').count(), tuned.matches("\r\n").count(), "{tuned:?}");
    assert!(tuned.contains("# tuned: was"));
    let not_loosened = &proposal["not_loosened"][0];
    assert_eq!(not_loosened["knob"]["name"], "spindle-stall.on_delay");
    assert!(not_loosened["why"].as_str().expect("words").contains("found 0 faults"), "{not_loosened}");
    let named = |list: &str| proposal[list].as_array().expect("a list").iter().map(|one| one["rule"].clone());
    let changed = proposal["changes"].as_array().expect("a list").len();
    let told = named("nothing_proposed").chain(named("unchanged")).count();
    assert_eq!(told + changed, bandward::Rule::COUNT, "{proposal:#}");
}
