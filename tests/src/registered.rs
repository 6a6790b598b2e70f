//! Programs that write to one register until they are killed, and what is left of it.
//!
//! Decides: what counts as lost: a log whose writing was told, and that is not there whole.
//! Assumes: `register-report` is built beside; it is the writer too.
//! Never: gives a writer time to end well. A kill takes the program, not the power: what the system holds for the disk
//! still gets there. The torn write-ahead log stands for that.

use crate::second::random::Chance;
use bandward_sim::input::hash::sha256_hex;
use bandward_sim::register::{Entry, Filter, LogFile, Register, RegisterError};
use jiff::Timestamp;
use serde_json::{Value, json};
use std::collections::HashSet;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// A record in the form of `replay --json`: one joint of three bands, an alarm, a cause. Invented.
pub fn record(serial: &str) -> Value {
    let limit = json!({ "outcome": "broken", "judged_share": 1.0, "reason": null });
    let band = |band: u32, outcome: &str| {
        json!({
            "joint": 1, "band": band, "group": 1, "start_s": 100.0 * f64::from(band), "end_s": 100.0 * f64::from(band) + 60.0,
            "arc_time_s": 60.0, "turns": 1.03, "turn_time_s": 58.0, "overlap_deg": 11.0,
            "current_a": { "mean": 320.0, "min": 290.0, "max": 350.0, "sd": 9.0 },
            "voltage_v": { "mean": 31.5, "min": 29.0, "max": 33.0, "sd": 0.4 },
            "outcome": outcome, "broken": if outcome == "broken" { vec!["gas-low"] } else { vec![] }, "not_proven": [],
            "limits": if outcome == "broken" { json!({ "gas-low": limit }) } else { json!({}) },
        })
    };
    json!({
        "trace": { "path": format!("{serial}.csv"), "samples": 18_000, "start": "2026-03-04T07:15:00" },
        "outcome": "broken",
        "joints": [{ "joint": 1, "start_s": 100.0, "end_s": 360.0, "bands": 3, "bands_expected": 3, "outcome": "broken",
            "broken": ["gas-low"], "not_proven": [], "reasons": [] }],
        "bands": [band(1, "proven"), band(2, "broken"), band(3, "proven")],
        "alarms": [{ "rule": "gas-low", "severity": "stop", "joint": 1, "band": 2, "raised_s": 212.0,
            "cleared_s": 219.0, "turn": 1, "clock_deg": 74.0, "worst": 3.1, "limit": 12.0 }],
        "findings": [{ "cause": "gas-bottle-empty", "score": 0.8, "joint": 1, "band": 2, "evidence": ["gas fell"] }],
        "context": { "serial": serial, "machine": "bay-2", "operator": "A. Example" },
    })
}

/// Adds a log that is told from others by its serial alone.
///
/// # Errors
/// It cannot be written.
pub fn add(register: &mut Register, serial: &str) -> Result<bool, RegisterError> {
    add_record(register, serial, &record(serial))
}

/// Adds a record of a log with this name.
///
/// # Errors
/// It cannot be written.
pub fn add_record(register: &mut Register, serial: &str, record: &Value) -> Result<bool, RegisterError> {
    let texts = |_| [format!("{serial}, metric\n"), format!("{serial}, inch\n")];
    let added = register.add(&Entry {
        log: LogFile { path: None, sha256: &sha256_hex(serial.as_bytes()), bytes: serial.len() as u64 },
        procedure: None,
        layout: None,
        setup: None,
        record,
        texts: &texts,
        added_at: Timestamp::UNIX_EPOCH,
    })?;
    Ok(added.is_new)
}

/// The writer: adds logs without end, and tells each when it is there.
///
/// # Errors
/// Something cannot be written, in words.
pub fn write(path: &Path, name: &str) -> Result<(), String> {
    let mut register = Register::open(path).map_err(|error| error.to_string())?;
    let mut output = std::io::stdout();
    for number in 0.. {
        let serial = format!("{name}-{number}");
        add(&mut register, &serial).map_err(|error| error.to_string())?;
        writeln!(output, "{serial}").and_then(|()| output.flush()).map_err(|error| error.to_string())?;
    }
    Ok(())
}

/// What is left after some kills.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Left {
    /// Moments at which both writers were killed.
    pub kills: u32,
    /// Logs of which it was told that they are recorded.
    pub told: usize,
    /// Of these, logs that are not there.
    pub lost: usize,
    /// Logs that are there and were not told any more.
    pub beyond: usize,
    /// Faults that a whole look finds, half joints among them.
    pub faults: usize,
}

/// Has two writers write to one register, kills both at a moment of chance, and looks; again and again.
///
/// # Errors
/// A program does not run, or the register does not open.
pub fn kill(program: &Path, folder: &Path, kills: u32, seed: u64) -> Result<Left, String> {
    let path = folder.join("killed.register");
    let mut chance = Chance::new(seed, 31);
    let mut told = HashSet::new();
    for round in 0..kills {
        // The first rounds meet the making of the file itself.
        let wait_s = chance.between(0.0, if round < kills / 4 { 0.02 } else { 0.12 });
        told.extend(round_of(program, &path, round, wait_s)?);
        if path.exists() {
            Register::open(&path).map_err(|error| format!("after kill {round}: {error}"))?;
        }
    }
    let register = Register::read(&path).map_err(|error| error.to_string())?;
    let found = register.find(&Filter::default()).map_err(|error| error.to_string())?;
    let there: HashSet<String> = found.into_iter().filter_map(|joint| joint.serial).collect();
    Ok(Left {
        kills,
        told: told.len(),
        lost: told.difference(&there).count(),
        beyond: there.difference(&told).count(),
        faults: register.faults().map_err(|error| error.to_string())?.len(),
    })
}

/// Starts two writers, kills them after so long, and gives what they told.
fn round_of(program: &Path, path: &Path, round: u32, wait_s: f64) -> Result<Vec<String>, String> {
    let words = |error: std::io::Error| error.to_string();
    let start = |name: &str| {
        Command::new(program)
            .args(["--write", &format!("{name}{round}"), "--register"])
            .arg(path)
            .stdout(Stdio::piped())
            .spawn()
    };
    let mut writers = [start("a").map_err(words)?, start("b").map_err(words)?];
    std::thread::sleep(Duration::from_secs_f64(wait_s));
    let mut told = Vec::new();
    for writer in &mut writers {
        // On Unix this is signal 9, which no program can catch.
        writer.kill().map_err(words)?;
        writer.wait().map_err(words)?;
    }
    for writer in &mut writers {
        let output = writer.stdout.take().ok_or("the writer has an output")?;
        told.extend(BufReader::new(output).lines().map_while(Result::ok));
    }
    Ok(told)
}
