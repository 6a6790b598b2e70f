//! A trial holds no more for a longer trace, nor for more alarms that it writes into tables. One test
//! alone in its process, as the measure is that of the process.

use bandward::sample::ChannelSet;
use bandward::{Acquisition, Channel, Procedure, Severity};
use bandward_sim::fleet::JointTables;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::trace::{Row, TraceHeader};
use bandward_sim::trial::marks::Marks;
use bandward_sim::trial::pass::Pass;
use bandward_sim::trial::plan::Plan;
use bandward_sim::trial::tunable::Tunable;
use parquet::file::reader::{FileReader, SerializedFileReader};
use std::fs::File;
use std::path::Path;

/// The most memory the process has held so far, KiB, where the operating system tells (Linux).
fn peak_kib() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Rows of the shorter trace.
const SHORT: u64 = 250_000;

fn plan(procedure: &Procedure) -> Plan {
    let mut plan = Plan::of(procedure);
    for tenth in 0..60 {
        let tunable = Tunable::parse("current-low.on_delay").unwrap();
        plan.add(&[(tunable, 0.05 + 0.1 * f64::from(tenth))]).unwrap();
    }
    plan
}

/// Rows of the table of alarms.
fn run(plan: &Plan, rows: u64, folder: &Path) -> i64 {
    let header = TraceHeader {
        path: String::new(),
        acquisition: Acquisition {
            gap_tolerance_us: 250_000,
            ..Acquisition::every(20_000, ChannelSet::ELECTRICAL)
        },
        evenly_spaced: true,
        unknown_columns: Vec::new(),
        start: None,
    };
    let marks = Marks::default();
    let [bands, alarms] = ["bands.parquet", "alarms.parquet"].map(|name| folder.join(name));
    let tables = JointTables::create(bands, alarms.clone()).unwrap();
    let mut pass = Pass::new(plan, &header, &marks, Severity::Warn).writing(tables);
    for index in 0..rows {
        // Too little and too much for two seconds each: alarms come and go all the time.
        let (current, voltage) = if index / 100 % 2 == 0 { (400.0, 29.2) } else { (250.0, 35.0) };
        let current = current + (index % 7) as f64;
        let row = Row::at(index * 20_000).with(Channel::Current, current).with(Channel::Voltage, voltage);
        pass.step(&row);
    }
    let mut score = pass.finish();
    score.tables.take().unwrap().finish().unwrap();
    let most = score.lanes.iter().map(|lane| lane.false_alarms).max().unwrap_or(0);
    assert!(most > rows / 2000, "{most}");
    SerializedFileReader::new(File::open(alarms).unwrap()).unwrap().metadata().file_metadata().num_rows()
}

#[test]
fn a_trace_ten_times_as_long_takes_no_more_memory() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/procedures/quick-joint.toml");
    let plan = plan(&ProcedureFile::read(&path).unwrap().procedure);
    let folder = tempfile::tempdir().unwrap();
    // Enough for several groups of rows, so that one is held whole; twice, so that all of the program that is used is in
    // memory before it is measured.
    run(&plan, SHORT, folder.path());
    let few = run(&plan, SHORT, folder.path());
    let short = peak_kib();
    let many = run(&plan, 10 * SHORT, folder.path());
    assert!(few > 4096 && many > 9 * few, "{few} and {many} alarms in the tables");
    match (short, peak_kib()) {
        (Some(short), Some(long)) => {
            println!("{short} KiB, then {long} KiB");
            assert!(long < short + 1024, "{short} KiB, then {long} KiB");
        }
        _ if std::env::var_os("CI").is_some() => panic!("the peak of memory cannot be read here"),
        _ => println!("skipped: the peak of memory cannot be read on this system"),
    }
}
