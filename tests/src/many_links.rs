//! Thousands of logs in one folder, a few of them broken, replayed on some cores: time and memory.
//!
//! Decides: in which ways a log is broken: no log at all, no rows, cut off within its packing, a column missing, empty.
//! Assumes: links to a few made logs stand for as many logs; a log read again comes out of the disk's cache.
//! Never: takes a log that is told as failed for one that was broken on purpose without comparing their names.

use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// What it cost.
#[derive(Clone, Debug)]
pub struct Cost {
    /// Logs that were replayed.
    pub read: u64,
    /// Logs that were told as failed.
    pub failed: u64,
    /// How long it took, s.
    pub took_s: f64,
    /// The most memory it had, MiB; nothing where the system does not tell.
    pub memory_mib: Option<f64>,
}

/// Fills `folder` with links to the logs of `made`, every so manieth broken.
///
/// # Errors
/// A file cannot be made.
pub fn fill(made: &Path, folder: &Path, logs: usize, broken: usize) -> Result<(), String> {
    let words = |error: std::io::Error| error.to_string();
    let entries = fs::read_dir(made).map_err(words)?.filter_map(|entry| Some(entry.ok()?.path()));
    let mut packed: Vec<_> = entries.filter(|path| path.extension().is_some_and(|end| end == "gz")).collect();
    packed.sort();
    let first = fs::read(packed.first().ok_or("no log was made")?).map_err(words)?;
    fs::create_dir_all(folder).map_err(words)?;
    let every = logs.checked_div(broken).unwrap_or(usize::MAX);
    for number in 0..logs {
        let place = folder.join(format!("log-{number:05}.csv.gz"));
        if number % every == every / 2 && number / every < broken {
            let place = folder.join(format!("broken-{number:05}.csv"));
            match number / every % 5 {
                0 => fs::write(place, "this is no log\n"),
                1 => fs::write(place, "time_s,current_a,voltage_v\n0,abc,1\n"),
                2 => fs::write(
                    place.with_extension("csv.gz"),
                    first.get(..first.len() / 2).unwrap_or_default(),
                ),
                3 => fs::write(place, "current_a,voltage_v\n1,2\n"),
                _ => fs::write(place, ""),
            }
        } else {
            let from = packed.get(number % packed.len()).ok_or("no log was made")?;
            fs::hard_link(from, &place).or_else(|_| fs::copy(from, &place).map(drop))
        }
        .map_err(words)?;
    }
    Ok(())
}

/// Replays the folder on so many cores.
///
/// # Errors
/// The program does not run, or another log failed than those that were broken on purpose.
pub fn replay(program: &Path, procedure: &Path, folder: &Path, cores: u32) -> Result<Cost, String> {
    let words = |error: std::io::Error| error.to_string();
    let out = tempfile::NamedTempFile::new().map_err(words)?;
    let begun = Instant::now();
    let mut child = Command::new(program)
        .args(["replay", "--json", "-p"])
        .args([procedure, folder])
        .env("RAYON_NUM_THREADS", cores.to_string())
        .stdout(out.reopen().map_err(words)?)
        .stderr(Stdio::null())
        .spawn()
        .map_err(words)?;
    let mut memory_mib = None;
    while child.try_wait().map_err(words)?.is_none() {
        memory_mib = most_memory_mib(child.id()).or(memory_mib);
        std::thread::sleep(Duration::from_millis(20));
    }
    let took_s = begun.elapsed().as_secs_f64();
    let text = fs::read_to_string(out.path()).map_err(words)?;
    let lines: Vec<Value> = text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
    let failed: Vec<_> = lines.iter().filter(|line| !line["failed"].is_null()).collect();
    let is_on_purpose =
        |line: &&&Value| line["trace"]["path"].as_str().is_some_and(|path| path.contains("broken-"));
    if let Some(other) = failed.iter().find(|line| !is_on_purpose(line)) {
        return Err(format!("failed, and was not broken: {other}"));
    }
    let summary = lines.last().map(|line| &line["summary"]).ok_or("nothing was printed")?;
    let read = summary["read"].as_u64().ok_or("there is no summary")?;
    Ok(Cost { read, failed: failed.len() as u64, took_s, memory_mib })
}

/// The most memory a process had so far, as Linux tells it.
fn most_memory_mib(process: u32) -> Option<f64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.split_whitespace().next()?.parse::<f64>().ok().map(|kib| kib / 1024.0)
}
