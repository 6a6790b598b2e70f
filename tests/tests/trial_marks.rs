//! How `trial` books alarms on marks: what stood already, what follows, marks that are near one another or
//! name several rules, and what a miss says. Traces are drawn line by line here.

use assert_cmd::Command;
use bandward_tests::program;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::fs;
use tempfile::TempDir;

const PROCEDURE: &str = "[voltage]\nallowed = [\"29.5 V\", \"33.5 V\"]\nfloor = \"29 V\"\n[current]\nallowed = [\"280 A\", \
                         \"360 A\"]\n[gas_flow]\nallowed = [\"15 L/min\", \"25 L/min\"]\nfloor = \"8 L/min\"\n";

/// What a trace is like for a while: from, to, s, and the value.
type Stretch = (f64, f64, f64);

/// A trace of 100 s at 20 Hz, and its marks.
#[derive(Clone, Default)]
struct Drawn {
    gas: Vec<Stretch>,
    voltage: Vec<Stretch>,
    current: Vec<Stretch>,
    faults: Vec<Value>,
}

impl Drawn {
    fn csv(&self) -> String {
        let mut text = "time_s,current_a,voltage_v,gas_lpm\n".to_owned();
        let at = |stretches: &[Stretch], time_s: f64, otherwise: f64| {
            let own = stretches.iter().find(|(start_s, end_s, _)| (*start_s..*end_s).contains(&time_s));
            own.map_or(otherwise, |(.., value)| *value)
        };
        for index in 0..2000 {
            let time_s = f64::from(index) / 20.0;
            // A reading that never moved would be a fault of its own.
            let moves = f64::from(index % 2) * 0.02;
            let (amps, volts) = (at(&self.current, time_s, 320.0), at(&self.voltage, time_s, 31.5));
            let flow = at(&self.gas, time_s, 17.5);
            let _ = writeln!(text, "{time_s},{},{},{}", amps + 50.0 * moves, volts + moves, flow + moves);
        }
        text
    }
    fn fault(mut self, rule: &str, start_s: f64, end_s: f64) -> Self {
        self.faults.push(json!({ "rule": rule, "start_s": start_s, "end_s": end_s }));
        self
    }
}

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
        command.output().expect("it runs")
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
        own.fault("current-low", start_s + 1.5, start_s + 12.0)
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
    assert_eq!(number(&all["delay_95_s"]), 0.0);
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
            Drawn { current, ..drawn }.fault("current-low", 52.5 + f64::from(index), 75.0)
        })
        .collect();
    let shop = Shop::new(PROCEDURE, &late);
    shop.write("slow.toml", &format!("{PROCEDURE}[alarm.current-low]\non_delay = \"3 s\"\n"));
    let both = shop.json(&["--against", "slow.toml"])["against"]["all"].clone();
    for of in ["this", "other"] {
        assert_eq!((&both[of]["found"], &both[of]["false_alarms"]), (&json!(8), &json!(8)), "{of}");
    }
}
