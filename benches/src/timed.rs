//! What it costs to run a program: time and the most memory it had.
//!
//! Assumes: the system tells the memory of a process as Linux does; else it is 0.

use std::fs;
use std::io::Read as _;
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

/// What a run cost, and what it said.
#[derive(Clone, Debug)]
pub struct Cost {
    /// How long it took, s.
    pub took_s: f64,
    /// The time of all processors together, s, to a hundredth: other programs beside it change this less.
    pub processor_s: f64,
    /// The most memory it had, MiB.
    pub memory_mib: f64,
    /// What it printed.
    pub out: String,
}

/// Runs it.
///
/// # Errors
/// It does not run, or says that it could not do it (an exit code of 2 and more, but 3).
pub fn timed(command: &mut Command) -> Result<Cost, String> {
    let told = |error: std::io::Error| error.to_string();
    let begun = Instant::now();
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().map_err(told)?;
    let (id, out) = (child.id(), child.stdout.take());
    let printed = thread::spawn(move || {
        let mut text = String::new();
        out.map(|mut out| out.read_to_string(&mut text)).transpose().map(|_| text)
    });
    let (mut memory_mib, mut processor_s) = (0.0, 0.0);
    let status = loop {
        if let Some(status) = child.try_wait().map_err(told)? {
            break status;
        }
        memory_mib = most_memory_mib(id).unwrap_or(memory_mib);
        processor_s = processor_time_s(id).unwrap_or(processor_s);
        thread::sleep(Duration::from_millis(1));
    };
    let took_s = begun.elapsed().as_secs_f64();
    let out = printed.join().map_err(|_| "what it printed is lost")?.map_err(told)?;
    match status.code() {
        Some(0 | 1 | 3) => Ok(Cost { took_s, processor_s, memory_mib, out }),
        _ => Err(format!("{command:?}: {status}")),
    }
}

fn most_memory_mib(process: u32) -> Option<f64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.split_whitespace().next()?.parse::<f64>().ok().map(|kib| kib / 1024.0)
}

/// The time it had of all processors so far; the last moment before its end is not in it.
fn processor_time_s(process: u32) -> Option<f64> {
    /// Linux tells the time in these.
    const TICKS_A_SECOND: f64 = 100.0;
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).ok()?;
    // Behind the name, which may hold anything: the 14th and the 15th value of all.
    let (_, values) = stat.rsplit_once(')')?;
    let ticks = values.split_whitespace().skip(11).take(2).map(|ticks| ticks.parse::<f64>().ok());
    ticks.sum::<Option<f64>>().map(|ticks| ticks / TICKS_A_SECOND)
}

/// The least time, s.
pub fn least(costs: &[Cost]) -> f64 {
    costs.iter().map(|cost| cost.took_s).fold(f64::INFINITY, f64::min)
}

/// What stands in the middle.
pub fn median(costs: &[Cost], of: impl Fn(&Cost) -> f64) -> f64 {
    let mut times: Vec<f64> = costs.iter().map(of).collect();
    times.sort_by(f64::total_cmp);
    times.get(times.len() / 2).copied().unwrap_or(f64::NAN)
}
