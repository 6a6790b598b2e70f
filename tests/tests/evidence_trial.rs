//! `trial --suggest` held against unseen joints of the second generator: a short sample of `trial-report`.
//!
//! Decides: that no stop comes later or is looser, and that nothing is proposed where nothing was learnt.
//! Assumes: the second generator shares nothing with the program's own process.

use bandward::procedure::Limits;
use bandward::{Procedure, Quantity, Rule, Severity};
use bandward_tests::program;
use bandward_tests::second::Order;
use bandward_tests::second::kinds::Kind;
use bandward_tests::second::thresholds::adversarial::{self, Set};
use bandward_tests::second::thresholds::bench::{self, Start, Watched};
use bandward_tests::second::thresholds::count::{count, found_s, later_stops};
use bandward_tests::second::thresholds::library::{self, Mark, Trace};
use bandward_tests::second::thresholds::program::{Alarm, Program};
use bandward_tests::second::thresholds::stops::changes;
use serde_json::json;
use tempfile::TempDir;

fn alarm(rule: &str, reached_s: &serde_json::Value) -> Alarm {
    Alarm::read(&json!({ "rule": rule, "reached_s": reached_s })).expect("an alarm")
}

fn joint(mark: Option<Mark>) -> Trace {
    Trace { path: "joint.csv".into(), lasts_s: 400.0, mark }
}

fn low_gas(stop: bool) -> Mark {
    Mark {
        kind: "gas leaks",
        rules: vec!["gas-low"],
        stop,
        start_s: 100.0,
        end_s: 120.0,
        counts_from_s: 101.0,
    }
}

#[test]
fn hits_misses_and_false_alarms_are_counted_by_severity() {
    let faulty = joint(Some(low_gas(true)));
    let good = joint(None);
    let warned = [alarm("gas-low", &json!({ "warn": 103.0 }))];
    let stopped = [alarm("gas-low", &json!({ "warn": 103.0, "stop": 105.0 }))];
    let cried =
        [alarm("gas-low", &json!({ "warn": 20.0 })), alarm("current-low", &json!({ "advise": 30.0 }))];
    // Only a stop finds what calls for one; an advisory is no false alarm.
    let [stop, warn] = count([(&faulty, &warned[..]), (&faulty, &stopped[..]), (&good, &cried[..])]);
    assert_eq!((stop.faults, stop.found, stop.false_alarms), (2, 1, 0));
    assert_eq!((warn.faults, warn.found, warn.false_alarms), (0, 0, 1));
    // The missed one counts to 25 s after its end: 44 s; the found one 4 s.
    assert_eq!(stop.delay_s(), Some(24.0));
    assert_eq!(found_s(&low_gas(false), &warned), Some(103.0));
    assert!((warn.hours * 3600.0 - (99.0 + 99.0 + 400.0)).abs() < 1e-6);
}

#[test]
fn a_stop_that_comes_later_or_not_at_all_is_seen() {
    let at = |s: f64| [alarm("spindle-stall", &json!({ "stop": s }))];
    assert!(later_stops(&at(50.0), &at(49.5)).is_empty());
    assert_eq!(later_stops(&at(50.0), &at(50.5)).len(), 1);
    assert_eq!(later_stops(&at(50.0), &[alarm("spindle-stall", &json!({ "warn": 50.0 }))]).len(), 1);
}

fn with_delay(rule: Rule, on_delay_us: u32) -> Procedure {
    let setting = bandward::rule::AlarmSetting { on_delay_us, ..rule.default_setting() };
    Procedure::new().with_alarm(rule, setting).expect("sound")
}

#[test]
fn looser_stops_are_told_from_other_changes() {
    let before = Procedure::new();
    let is_looser = |after: &Procedure| {
        let changes = changes(&before, after);
        assert_eq!(changes.len(), 1, "{changes:?}");
        changes[0].looser_stop
    };
    assert!(is_looser(&with_delay(Rule::SpindleStall, 900_000)));
    assert!(!is_looser(&with_delay(Rule::SpindleStall, 100_000)));
    assert!(!is_looser(&with_delay(Rule::CurrentHigh, 900_000)));
    assert_eq!(Rule::SpindleStall.default_setting().severity, Severity::Stop);
    let floor = |floor| {
        let limits = Limits { recommended: None, allowed: None, floor };
        Procedure::new().with_limits(Quantity::GasFlow, limits).expect("sound")
    };
    let looser = |before, after| changes(&floor(before), &floor(after))[0].looser_stop;
    assert!(looser(Some(700), Some(600)) && looser(Some(700), None) && !looser(Some(600), Some(700)));
}

#[test]
fn what_is_proposed_makes_no_stop_later_and_nothing_says_why() {
    let folder = TempDir::new().expect("a folder");
    let program = Program(program::path());
    // Good ones and one kind of fault: as many of a kind as so few joints can have.
    let is_wanted = |order: &Order| order.faults.iter().all(|fault| fault.kind == Kind::SourceHigh);
    let all = library::orders(200, 71_000).into_iter().filter(is_wanted);
    let (good, faulty): (Vec<Order>, Vec<Order>) = all.partition(|order| order.faults.is_empty());
    let orders: Vec<Order> = good.into_iter().take(10).chain(faulty).collect();
    let traces = library::write(folder.path(), &orders).expect("written");
    let procedure = Start::Nervous.write(folder.path()).expect("written");
    let alarms = program.alarms(&procedure, &traces).expect("watched");
    let watched: Vec<Watched<'_>> = traces.iter().zip(alarms.iter().map(Vec::as_slice)).collect();
    let (tuning, unseen) = bench::halves(&watched, 1);
    assert_eq!((tuning.len(), unseen.len()), (8, 8));
    let to = folder.path().join("tuned.toml");
    let split = bench::split(&program, &procedure, (&tuning, &unseen), &to).expect("tuned");
    assert!(split.changes.iter().all(|change| !change.looser_stop), "{:?}", split.changes);
    assert_eq!(split.later_stops, [""; 0]);
    assert_eq!(split.complaints, [""; 0]);
    assert!(split.written || !split.why_not.is_empty(), "it says why nothing is given out");
}

#[test]
fn nothing_is_proposed_where_nothing_was_learnt() {
    let folder = TempDir::new().expect("a folder");
    let program = Program(program::path());
    // The first quarter are the good ones.
    let good = library::write(folder.path(), &library::orders(12, 73_000)[..3]).expect("written");
    let procedure = Start::Nervous.write(folder.path()).expect("written");
    assert!(good.iter().all(|trace| trace.mark.is_none()));
    let set = Set { name: "no faults".to_owned(), traces: good };
    let outcome =
        adversarial::outcome(&program, &procedure, &set, &folder.path().join("tuned.toml")).expect("asked");
    assert!(!outcome.written && outcome.told > 0, "{outcome:?}");
}
