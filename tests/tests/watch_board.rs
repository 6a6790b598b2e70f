//! `bandward watch` against the board program on an emulated controller, as a person at a terminal or a
//! script uses it: procedure up, samples through, recording, acknowledging, journal and black box down, and
//! a link that is cut.

use assert_cmd::Command;
use assert_cmd::assert::Assert;
use bandward::Rule;
use bandward::link::VERSION;
use bandward::link::frame::crc;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::link::recording::write_trace;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_tests::emulator::{CORTEX_M4, Running, build, skip};
use bandward_tests::line::{Line, NEVER};
use bandward_tests::program;
use serde_json::Value;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::path::Path;
use std::process::{Child, ChildStdout, Stdio};
use std::sync::atomic::Ordering;
use tempfile::TempDir;

const PROCEDURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/procedures/quick-joint.toml");

/// A folder to work in and a board to work with.
struct Desk {
    folder: TempDir,
    line: Line,
}

impl Desk {
    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }
    fn watch(&self, arguments: &[&str]) -> Assert {
        let mut command = Command::new(program::path());
        command.args(["watch", "--tcp", &self.line.address]).args(arguments).assert()
    }
    fn replay(&self, name: &str) -> Value {
        let mut command = Command::new(program::path());
        command.args(["replay", "--json", "--procedure", PROCEDURE, &self.path(name)]);
        serde_json::from_slice(&command.assert().code(1).get_output().stdout).unwrap()
    }
    fn make_trace(&self, name: &str, rule: Option<Rule>) {
        let file = ProcedureFile::read(Path::new(PROCEDURE)).unwrap();
        // Of ten rows a second no weave is proven.
        let rate_hz = if rule.is_some() { 10.0 } else { 50.0 };
        let good = Scenario::good(Targets::of_file(&file), rate_hz).with_seed(77);
        let scenario = match rule {
            Some(rule) => good.with_default_fault(rule, 77).expect("a fault is made for the rule"),
            None => good,
        };
        let samples: Vec<_> = scenario.rows().map(|row| row.to_sample()).collect();
        write_trace(Path::new(&self.path(name)), &samples).unwrap();
    }
}

fn lines(assert: &Assert) -> Vec<Value> {
    let text = String::from_utf8(assert.get_output().stdout.clone()).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn said(assert: &Assert) -> String {
    String::from_utf8_lossy(&assert.get_output().stderr).into_owned()
}

fn of<'l>(lines: &'l [Value], event: &str) -> Vec<&'l Value> {
    lines.iter().filter(|line| line["event"] == event).collect()
}

#[test]
fn a_board_is_watched_from_the_upload_to_the_black_box() {
    let started = build(CORTEX_M4, "board", &[]).and_then(|program| Running::start(CORTEX_M4, &program));
    let board = match started {
        Ok(board) => board,
        Err(missing) => return skip("a_board_is_watched_from_the_upload_to_the_black_box", &missing),
    };
    let desk = Desk { folder: tempfile::tempdir().unwrap(), line: Line::to(&board) };
    desk.make_trace("joint.csv", Some(Rule::PolarityWrong));
    desk.make_trace("good.csv", None);
    a_joint_goes_through(&desk);
    what_was_fetched_replays(&desk);
    refusals_say_why(&desk);
    a_good_joint_is_proven(&desk);
    a_bench_test_that_is_cut_ends(&desk);
    a_link_that_is_cut_is_opened_again(&desk);
}

/// Before, the state of before the end of the joint stood on, and it was not proven, for no reason.
fn a_good_joint_is_proven(desk: &Desk) {
    let procedure = fs::read_to_string(PROCEDURE).unwrap();
    let allowed = "allowed = \"at most 5 /s\"\n";
    assert!(procedure.contains(allowed));
    let allowed_where_seen = allowed.to_owned() + "judged = \"where the trace allows\"\n";
    fs::write(desk.path("seen.toml"), procedure.replace(allowed, &allowed_where_seen)).unwrap();
    let (trace, procedure) = (desk.path("good.csv"), desk.path("seen.toml"));
    let watched = desk.watch(&[&trace, "--upload", &procedure, "--json", "--speed", "max"]).code(0);
    let lines = lines(&watched);
    assert_eq!(of(&lines, "joint")[0]["record"]["outcome"], "proven");
    let end = lines.last().unwrap();
    assert_eq!((&end["outcome"], &end["within_procedure"]), (&"proven".into(), &true.into()), "{end}");
    assert_eq!(end["reasons"], serde_json::json!([]));
}

fn a_joint_goes_through(desk: &Desk) {
    let [trace, recording, black_box, journal] =
        ["joint.csv", "live.csv", "stop.csv", "bands.json"].map(|name| desk.path(name));
    let watched = desk.watch(&[
        &trace,
        "--upload",
        PROCEDURE,
        "--record",
        &recording,
        "--acknowledge",
        "--fetch-blackbox",
        &black_box,
        "--fetch-journal",
        &journal,
    ]);
    let watched = watched.code(1);
    let lines = lines(&watched);
    let done: Vec<_> = of(&lines, "done").iter().map(|line| line["what"].clone()).collect();
    assert_eq!(done, ["upload", "acknowledge", "fetch-blackbox", "fetch-journal"]);
    let raised = of(&lines, "alarm").into_iter().any(|alarm| {
        alarm["kind"] == "raised" && alarm["rule"] == "polarity-wrong" && alarm["severity"] == "stop"
    });
    assert!(raised);
    // The lamp goes on with the alarm, and not before. In a bench test the relay is released throughout.
    let state = |is_wanted: fn(&Value) -> bool| of(&lines, "state").into_iter().find(|line| is_wanted(line));
    let calm = state(|line| line["phase"] == "pre-flow").unwrap();
    assert_eq!((&calm["relay_energised"], &calm["lamp"]), (&false.into(), &"off".into()));
    assert_eq!((&calm["bench_test"], &calm["reports_dropped"]), (&true.into(), &0.into()));
    assert_eq!(calm["board_faults"], serde_json::json!([]));
    let stopped =
        state(|line| line["alarms"].as_array().unwrap().contains(&"polarity-wrong".into())).unwrap();
    assert_eq!((&stopped["relay_energised"], &stopped["lamp"]), (&false.into(), &"on".into()));
    assert_eq!((&stopped["black_box_frozen"], &stopped["frames_lost"]), (&true.into(), &0.into()));
    // The journal holds the bands that were told, as those of a bench test, which proves nothing.
    let mut told: Vec<_> = of(&lines, "band").iter().map(|line| line["record"].clone()).collect();
    assert_eq!(told.len(), 2);
    for band in &mut told {
        (band["outcome"], band["within_procedure"]) = ("not asked".into(), Value::Null);
    }
    let mut kept: Value = serde_json::from_str(&fs::read_to_string(journal).unwrap()).unwrap();
    assert_eq!(kept[0]["bench_test"], true);
    let kept = kept[0]["bands"].as_array_mut().unwrap();
    for band in kept.iter_mut() {
        for key in ["number", "serial", "welded_at"] {
            band.as_object_mut().unwrap().remove(key).expect("what the journal keeps beside the record");
        }
    }
    assert_eq!(*kept, told);
}

/// What the board told five times a second, and what it kept of the time before the stop.
fn what_was_fetched_replays(desk: &Desk) {
    let whole = desk.replay("joint.csv");
    let raised_s = |found: &Value| {
        let alarms = found["alarms"].as_array().unwrap().iter();
        let alarm = alarms.clone().find(|alarm| alarm["rule"] == "polarity-wrong");
        alarm.unwrap_or_else(|| panic!("{found}"))["raised_s"].as_f64().unwrap()
    };
    let recorded = desk.replay("live.csv");
    // Its rows are 0.2 s apart.
    assert!(
        (raised_s(&recorded) - raised_s(&whole)).abs() < 1.0,
        "{} {}",
        raised_s(&recorded),
        raised_s(&whole)
    );
    assert_eq!(recorded["bands"].as_array().unwrap().len(), 2);
    let kept = desk.replay("stop.csv");
    let end_s = kept["trace"]["duration_s"].as_f64().unwrap();
    assert!((raised_s(&kept) - end_s).abs() < 0.2, "it ends with the stop: {} {end_s}", raised_s(&kept));
    let mut trend = Command::new(program::path());
    trend.args(["trend", "--json", &desk.path("bands.json")]);
    let ended = trend.assert().get_output().status.code();
    assert!(matches!(ended, Some(0 | 1 | 3)), "trend reads the journal: {ended:?}");
}

fn refusals_say_why(desk: &Desk) {
    let wide = fs::read_to_string(PROCEDURE).unwrap().replace("\"33.5 V\"]", "\"46 V\"]");
    fs::write(desk.path("wide.toml"), wide).unwrap();
    let refused = desk.watch(&["--upload", &desk.path("wide.toml")]).code(2);
    let words = said(&refused);
    assert!(words.contains("[voltage]") && words.contains("built into the board"), "{words}");
    // The end of the bench test has emptied the black box.
    let empty = desk.watch(&["--fetch-blackbox", &desk.path("none.csv")]).code(2);
    assert!(said(&empty).contains("empty"), "{}", said(&empty));
    assert!(!Path::new(&desk.path("none.csv")).exists());
    let named = desk.watch(&["--record", &desk.path("live.txt")]).code(2);
    assert!(said(&named).contains("ends in .csv"), "{}", said(&named));
}

fn a_bench_test_that_is_cut_ends(desk: &Desk) {
    desk.line.cut_after.store(6_000, Ordering::Relaxed);
    let cut = desk.watch(&[&desk.path("joint.csv"), "--json"]).code(2);
    assert!(said(&cut).contains("the bench test ended after"), "{}", said(&cut));
    assert_eq!(of(&lines(&cut), "link-lost").len(), 1);
    desk.line.cut_after.store(NEVER, Ordering::Relaxed);
    let again = desk.watch(&["--acknowledge"]).code(0);
    assert_eq!(String::from_utf8_lossy(&again.get_output().stdout), "all alarms acknowledged\n");
}

/// Somebody who looks on, and what is printed for them.
struct Onlooker {
    child: Child,
    output: BufReader<ChildStdout>,
}

impl Onlooker {
    fn start(line: &Line) -> Self {
        let mut command = std::process::Command::new(program::path());
        command.args(["watch", "--tcp", &line.address]).stdout(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let output = BufReader::new(child.stdout.take().unwrap());
        Self { child, output }
    }
    fn expect(&mut self, event: &str) {
        let mut line = String::new();
        self.output.read_line(&mut line).unwrap();
        let value: Value = serde_json::from_str(&line).unwrap_or_else(|_| panic!("{event}: {line:?}"));
        assert_eq!(value["event"], event, "{line}");
    }
}

impl Drop for Onlooker {
    fn drop(&mut self) {
        // One that has ended cannot be killed, which is as well.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn a_link_that_is_cut_is_opened_again(desk: &Desk) {
    let mut onlooker = Onlooker::start(&desk.line);
    onlooker.expect("linked");
    desk.line.cut();
    onlooker.expect("link-lost");
    onlooker.expect("linked");
    let asked = std::process::Command::new("kill").arg(onlooker.child.id().to_string()).status().unwrap();
    assert!(asked.success());
    onlooker.expect("end");
    // What went on meanwhile was not seen.
    assert_eq!(onlooker.child.wait().unwrap().code(), Some(3));
}

/// Something at a network address that sends the same again and again; returns what `watch` says to it.
fn told_about(bytes: Vec<u8>) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap().to_string();
    std::thread::spawn(move || {
        let (mut host, _) = listener.accept().unwrap();
        while host.write_all(&bytes).is_ok() {
            std::thread::sleep(std::time::Duration::from_millis(100));
        }
    });
    let mut command = Command::new(program::path());
    said(&command.args(["watch", "--tcp", &address, "--acknowledge"]).assert().code(2))
}

#[test]
fn a_board_of_another_version_is_told_as_such() {
    let mut body = vec![VERSION + 1, 0, 0, 0, 0, 0];
    body.extend(crc(&body).to_le_bytes());
    // The delimiters stay around what the coding leaves without a zero.
    let mut frame = [0; 32];
    let used = cobs::try_encode(&body, &mut frame[1..]).unwrap();
    let words = told_about(frame[..used + 2].to_vec());
    assert!(words.contains("another version of the link"), "{words}");
}

#[test]
fn garbage_on_the_line_points_to_the_baud_rate() {
    let words = told_about(vec![0, 9, 1, 2, 3, 0, 0x55, 0xaa, 0]);
    assert!(words.contains("check the baud rate"), "{words}");
}

#[test]
fn a_line_without_a_board_is_told_as_such() {
    let words = told_about(Vec::new());
    assert!(words.contains("nothing came from the board"), "{words}");
}
