//! The sound demo with its spindle written as a speed of few digits.
//!
//! Decides: whether a limit that lies within half a digit of the speed is neither held nor broken, and one beyond it is.
//! Assumes: the pipe turns by 360 degrees in 84 s, 4.29 degrees a second; the overlap is ten degrees of at least three.

use bandward_tests::made;
use bandward_tests::program::run_in;
use serde_json::Value;
use std::fmt::Write as _;
use std::path::Path;

const LAYOUT: &str = "[time]\nseconds = \"time_s\"\n[channels]\ncurrent = { column = \"current_a\", unit = \"A\" }\n\
    voltage = { column = \"voltage_v\", unit = \"V\" }\ngas = { column = \"gas_lpm\", unit = \"L/min\" }\n\
    torch = { column = \"torch_mm\", unit = \"mm\" }\nspindle = { column = \"speed\", unit = \"deg/s\" }\n\
    wire = { column = \"wire_mm_per_min\", unit = \"mm/min\" }\ncoolant = { column = \"coolant_lpm\", unit = \"L/min\" }\n\
    work = { column = \"work_c\", unit = \"degC\" }\ncarriage = { column = \"carriage_mm\", unit = \"mm\" }\n";

/// The exit code, and what is told as JSON, with the speed as `written`.
fn told(folder: &Path, made: &str, written: impl Fn(f64) -> String) -> (Option<i32>, Value) {
    let mut lines = made.lines();
    let header: Vec<&str> = lines.next().expect("a header").split(',').collect();
    let spindle = header.iter().position(|name| *name == "spindle_deg").expect("it has a spindle");
    let rows: Vec<Vec<&str>> = lines.map(|line| line.split(',').collect()).collect();
    let angle = |at: usize| rows[at.min(rows.len() - 1)][spindle].parse::<f64>().expect("an angle");
    let mut log = header.join(",").replace("spindle_deg", "speed");
    for (at, row) in rows.iter().enumerate() {
        // Over half a second about it: 25 rows.
        let turned = (angle(at + 13) - angle(at.saturating_sub(12)) + 180.0).rem_euclid(360.0) - 180.0;
        let speed = written(turned / 0.5);
        let cells =
            row.iter().enumerate().map(|(column, cell)| if column == spindle { &speed } else { *cell });
        let _ = write!(log, "\n{}", cells.collect::<Vec<_>>().join(","));
    }
    std::fs::write(folder.join("log.csv"), log + "\n").expect("written");
    std::fs::write(folder.join("log.toml"), LAYOUT).expect("written");
    let run =
        run_in(folder, &["replay", "-p", "procedure.toml", "--layout", "log.toml", "--json", "log.csv"]);
    let told = serde_json::from_slice(&run.stdout);
    (run.status.code(), told.unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&run.stderr))))
}

#[test]
fn an_overlap_within_half_a_digit_of_its_limit_is_neither_held_nor_broken() {
    let folder = tempfile::tempdir().expect("a folder");
    let made = made::sound_demo(folder.path());
    let alarms = |told: &Value| {
        let alarms = told["alarms"].as_array().expect("a list").iter();
        alarms.map(|alarm| alarm["rule"].as_str().expect("a name").to_owned()).collect::<Vec<_>>()
    };
    // 4 where it is 4.29: 346 of 370 degrees, and 43 either way.
    let (code, whole) = told(folder.path(), &made, |speed| format!("{speed:.0}"));
    assert_eq!(code, Some(3), "{whole}");
    assert!(!alarms(&whole).contains(&"overlap-short".to_owned()), "{whole}");
    let findings = whole["findings"].as_array().expect("a list");
    assert!(findings.iter().all(|finding| finding["cause"] != "stopped-early"), "{whole}");
    assert!(whole["repairs"].as_array().is_none_or(Vec::is_empty), "{whole}");
    // A pipe that is read to turn in 120 s of at most 90 is slow by more than half a digit, 20 s.
    let (code, slow) = told(folder.path(), &made, |speed| format!("{:.0}", speed * 0.7));
    assert_eq!(code, Some(1), "{slow}");
    assert!(alarms(&slow).contains(&"turn-time-slow".to_owned()), "{slow}");
}
