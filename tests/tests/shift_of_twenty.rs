//! A shift of twenty joints in one log: each is counted, and the right ones are named.
//!
//! Decides: which joints have something wrong, and what must be said of them.
//! Assumes: joints of the second generator (`tests/src/second`), logged at 25 rows a second by a welder without
//! habits, with idle minutes between them; the carriage then stands in its parking place.

use bandward::Channel;
use bandward_sim::trace::Row;
use bandward_tests::program;
use bandward_tests::said::{Said, names, procedure, write};
use bandward_tests::second::Order;
use bandward_tests::second::fault::{Fault, Shape};
use bandward_tests::second::kinds::Kind;
use bandward_tests::second::random::Chance;
use bandward_tests::second::{shift, shop};
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

const JOINTS: u64 = 20;
const RATE_HZ: f64 = 25.0;
const SEED: u64 = 4200;
const IDLE_S: f64 = 200.0;
/// Where the carriage stands between joints, mm.
const PARKED_MM: f64 = -80.0;

/// Joints from 1, and what is wrong with them.
const COLD: (u64, Kind) = (2, Kind::PreheatLow);
const SHORT_OF_A_BAND: (u64, Kind) = (9, Kind::MissingBand);
const STOPPED: (u64, Kind) = (14, Kind::StoppedEarly);

/// How the joints of a log are told from each other.
#[derive(Clone, Copy, PartialEq)]
enum Sign {
    ArcOff,
    Carriage,
}

/// The rows of one joint with idle time behind them, and where clock and encoder then are.
fn joint(order: &Order, from_us: u64, sign: Sign) -> (Vec<Row>, u64, f64) {
    let mut joint = order.joint();
    let mut rows: Vec<Row> = joint.by_ref().collect();
    for row in &mut rows {
        row.time_us += from_us;
    }
    let last = *rows.last().expect("a joint has rows");
    let count = (IDLE_S * RATE_HZ) as u64;
    let after = (1..=count).map(|index| {
        let mut row = last;
        row.time_us += (index as f64 / RATE_HZ * 1e6) as u64;
        let place_mm = if sign == Sign::Carriage { PARKED_MM } else { 0.0 };
        row.values[Channel::Carriage as usize] = Some(place_mm);
        row
    });
    rows.extend(after);
    (rows, last.time_us + (IDLE_S * 1e6) as u64, joint.last_spindle_deg())
}

/// The whole log, written.
fn log(sign: Sign, path: &Path) {
    let (rig, orders) = shift::good(RATE_HZ, JOINTS, SEED);
    let (mut from_us, mut zero_deg) = (0, rig.encoder.zero_deg);
    let mut rows = Vec::new();
    for (number, order) in (1..).zip(orders) {
        let mut order = order.without_habits();
        for (_, kind) in [COLD, SHORT_OF_A_BAND, STOPPED].into_iter().filter(|(joint, _)| *joint == number) {
            order =
                order.with_fault(Fault::drawn(kind, Shape::Act, 1, None, &mut Chance::new(SEED + number, 8)));
        }
        order.rig.encoder.zero_deg = zero_deg;
        let more;
        (more, from_us, zero_deg) = joint(&order, from_us, sign);
        rows.extend(more);
    }
    write(rows, path);
}

/// The shop's procedure with this sign alone.
fn procedure_with(sign: Sign, folder: &Path) -> PathBuf {
    let text = std::fs::read_to_string(procedure("second.procedure.toml")).expect("the procedure");
    let (first, rest) = text.split_once("ends_with_carriage_beyond").expect("its sign");
    let (_, rest) = rest.split_once('\n').expect("more lines");
    let told = match sign {
        Sign::ArcOff => "ends_with_arc_off = \"3 min\"",
        Sign::Carriage => "ends_with_carriage_beyond = \"60 mm\"",
    };
    let path = folder.join("procedure.toml");
    std::fs::write(&path, format!("{first}{told}\n{rest}")).expect("a file");
    path
}

fn set(of: &[&str]) -> BTreeSet<String> {
    of.iter().map(|&one| one.to_owned()).collect()
}

fn check_joint(number: u64, joint: &Value, bands: &[&Value]) {
    let broken: BTreeSet<_> = names(&joint["broken"]).collect();
    let reasons: BTreeSet<_> = names(&joint["reasons"]).collect();
    let outcome = joint["outcome"].as_str().unwrap_or_default();
    let laid = bands.len();
    assert_eq!(joint["bands"], laid, "{joint:#}");
    let numbers: Vec<_> = bands.iter().filter_map(|band| band["band"].as_u64()).collect();
    assert_eq!(numbers, (1..=laid as u64).collect::<Vec<_>>(), "bands count from 1 in joint {number}");
    if number == COLD.0 {
        assert_eq!((outcome, broken, laid), ("broken", set(&["preheat-low"]), shop::BANDS), "{joint:#}");
        assert_eq!(bands[0]["outcome"], "broken");
    } else if number == SHORT_OF_A_BAND.0 {
        assert_eq!((outcome, broken, laid), ("not proven", set(&[]), shop::BANDS - 1), "{joint:#}");
        assert_eq!(reasons, set(&["bands-missing"]));
    } else if number == STOPPED.0 {
        assert_eq!((outcome, broken), ("broken", set(&["arc-outage"])), "{joint:#}");
        assert!(reasons.contains("band-broken-off"), "{joint:#}");
    } else {
        assert_eq!((outcome, laid), ("proven", shop::BANDS), "{joint:#}");
    }
}

fn shift_by(sign: Sign) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("shift.csv");
    log(sign, &path);
    let procedure = procedure_with(sign, folder.path());
    let said = Said::of(&path, &procedure);
    assert_eq!((said.exit, said.outcome()), (Some(1), "broken"));
    let joints: Vec<&Value> = said.list("joints").collect();
    assert_eq!(joints.len() as u64, JOINTS, "{joints:#?}");
    for (number, joint) in (1..).zip(joints) {
        assert_eq!(joint["joint"], number);
        let bands: Vec<&Value> = said.list("bands").filter(|band| band["joint"] == number).collect();
        check_joint(number, joint, &bands);
    }
    for ((number, _), cause) in [(COLD, "work-cold"), (STOPPED, "stopped-early")] {
        let first = said.list("findings").find(|finding| finding["joint"] == number);
        assert_eq!(first.map(|finding| &finding["cause"]), Some(&Value::from(cause)), "joint {number}");
    }
    let loud = said.list("alarms").filter(|alarm| alarm["severity"] != "advise");
    let loud: BTreeSet<_> = loud.filter_map(|alarm| alarm["joint"].as_u64()).collect();
    assert_eq!(loud, BTreeSet::from([COLD.0, STOPPED.0]), "only the broken joints warn or stop");
    summary_names_them(&path, &procedure);
}

/// The text: the broken bands in its first line, what is missing below, and a line for each joint.
fn summary_names_them(path: &Path, procedure: &Path) {
    let output =
        Command::new(program::path()).args(["replay", "--procedure"]).args([procedure, path]).output();
    let output = output.expect("the program runs");
    assert_eq!(output.status.code(), Some(1));
    let text = String::from_utf8(output.stdout).expect("text");
    let verdict = text.lines().find(|line| line.starts_with("OUTSIDE")).expect("the verdict");
    let stopped = format!("joint {} band ", STOPPED.0);
    assert!(
        verdict.starts_with("OUTSIDE THE PROCEDURE: joint 2 band 1, ") && verdict.contains(&stopped),
        "{text}"
    );
    assert_eq!(verdict.matches("joint").count(), 2, "{verdict}");
    assert!(text.contains("joint 9: bands are missing: 2 laid, 3 wanted"), "{text}");
    let of =
        |words: &str| text.lines().filter(|line| line.starts_with("joint ") && line.contains(words)).count();
    assert_eq!((of("OUTSIDE"), of("NOT PROVEN"), of("WITHIN")), (2, 1, 17), "{text}");
}

#[test]
fn twenty_joints_told_apart_by_the_time_without_an_arc() {
    shift_by(Sign::ArcOff);
}

#[test]
fn twenty_joints_told_apart_by_the_parked_carriage() {
    shift_by(Sign::Carriage);
}
