//! Many logs of one joint on some cores: how long they take.
//!
//! Assumes: links to one log stand for as many logs; a log read again comes out of the disk's cache.

use crate::MEASURED;
use crate::timed::timed;
use std::fs;
use std::path::Path;
use std::process::Command;

/// Replays so many links to the log, s. The program is `peer-report` itself.
///
/// # Errors
/// They cannot be made, or not be replayed.
pub fn replay(
    program: &Path,
    procedure: &Path,
    log: &Path,
    logs: usize,
    cores: usize,
) -> Result<f64, String> {
    let told = |error: std::io::Error| error.to_string();
    let folder = tempfile::tempdir_in(log.parent().unwrap_or(Path::new("."))).map_err(told)?;
    for number in 0..logs {
        fs::hard_link(log, folder.path().join(format!("log-{number:05}.csv"))).map_err(told)?;
    }
    let mut command = Command::new(program);
    command.args(["replay", "--json", "-p"]).args([procedure, folder.path()]);
    command.env(MEASURED, "1").env("RAYON_NUM_THREADS", cores.to_string());
    Ok(timed(&mut command)?.took_s)
}
