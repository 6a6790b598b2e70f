//! Memory stays flat whatever the length of a trace. One test alone in its process, as the measure is
//! that of the process.

use bandward::sample::ChannelSet;
use bandward_sim::trace::{self, Row, TraceWriter};
use std::path::Path;

fn write_and_read(path: &Path, count: u64) {
    let mut writer = TraceWriter::create(path, ChannelSet::ALL).unwrap();
    for index in 0..count {
        let reading = (index * 7919 % 10_007) as f64 / 8.0;
        writer.write(&Row { values: [Some(reading); 9], ..Row::at(index * 200) }).unwrap();
    }
    writer.finish().unwrap();
    let rows = trace::open(path, None).unwrap().map(Result::unwrap);
    assert_eq!(rows.count() as u64, count);
}

/// The most memory the process has held so far, KiB, where the operating system tells (Linux).
fn peak_kib() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

#[test]
fn a_trace_five_times_as_long_takes_no_more_memory() {
    let folder = tempfile::tempdir().unwrap();
    let paths = ["t.csv", "t.csv.gz", "t.csv.zst", "t.parquet"].map(|name| folder.path().join(name));
    for path in &paths {
        write_and_read(path, 150_000);
    }
    let short = peak_kib();
    for path in &paths {
        write_and_read(path, 750_000);
    }
    match (short, peak_kib()) {
        // The rows themselves would take 90 MiB more; the footer of Parquet grows with its row groups.
        (Some(short), Some(long)) => assert!(long < short + 4096, "{short} KiB, then {long} KiB"),
        _ if std::env::var_os("CI").is_some() => panic!("the peak of memory cannot be read here"),
        _ => println!("skipped: the peak of memory cannot be read on this system"),
    }
}
