//! A trial holds no more for a longer trace. One test alone in its process, as the measure is that of
//! the process.

use bandward::sample::ChannelSet;
use bandward::{Channel, Procedure, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::trace::{Row, TraceHeader};
use bandward_sim::trial::knob::Knob;
use bandward_sim::trial::marks::Marks;
use bandward_sim::trial::pass::Pass;
use bandward_sim::trial::plan::Plan;
use std::path::Path;

/// The most memory the process has held so far, KiB, where the operating system tells (Linux).
fn peak_kib() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

fn plan(procedure: &Procedure) -> Plan {
    let mut plan = Plan::of(procedure);
    for tenth in 0..200 {
        let knob = Knob::parse("current-low.on_delay").unwrap();
        plan.add(&[(knob, 0.05 + 0.1 * f64::from(tenth))]).unwrap();
    }
    plan
}

fn run(plan: &Plan, rows: u64) {
    let header = TraceHeader {
        path: String::new(),
        channels: ChannelSet::EMPTY.with(Channel::Current).with(Channel::Voltage),
        period_us: 10_000,
        gap_tolerance_us: 250_000,
        evenly_spaced: true,
        unknown_columns: Vec::new(),
        start: None,
    };
    let marks = Marks::default();
    let mut pass = Pass::new(plan, &header, &marks, Severity::Warn);
    for index in 0..rows {
        // Every ten seconds too few amperes: alarms come and go all the time.
        let current = if index / 500 % 2 == 0 { 320.0 } else { 250.0 } + (index % 7) as f64;
        let row = Row::at(index * 10_000).with(Channel::Current, current).with(Channel::Voltage, 31.5);
        pass.step(&row);
    }
    let score = pass.finish();
    let alarms = score.lanes.iter().map(|lane| lane.false_alarms).max().unwrap_or(0);
    assert!(alarms > rows / 2000, "{alarms}");
}

#[test]
fn a_trace_ten_times_as_long_takes_no_more_memory() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/procedures/quick-joint.toml");
    let plan = plan(&ProcedureFile::read(&path).unwrap().procedure);
    run(&plan, 40_000);
    let short = peak_kib();
    run(&plan, 400_000);
    match (short, peak_kib()) {
        (Some(short), Some(long)) => assert!(long < short + 1024, "{short} KiB, then {long} KiB"),
        _ if std::env::var_os("CI").is_some() => panic!("the peak of memory cannot be read here"),
        _ => println!("skipped: the peak of memory cannot be read on this system"),
    }
}
