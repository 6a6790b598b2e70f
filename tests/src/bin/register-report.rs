//! What a register bears and costs: killed writers, two at once, as a table in Markdown.
//!
//! Decides: how many kills.
//! Assumes: `--write` is said by this program itself, which then is the writer.

use bandward_sim::register::Register;
use bandward_tests::registered;
use bandward_tests::report_command::{self, Given};
use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

const HELP: &str =
    "Writes to a register with two programs at once, and kills them (signal 9) at random moments.

    register-report [--kills N] [--seed N] [--logs N]

    --kills N   moments at which both writers are killed (default 200)
    --seed N    of these moments (default 1)
    --logs N    logs that are then written to another register, to tell time and bytes a log (default 2000)";

fn main() -> ExitCode {
    report_command::run(HELP, None, report)
}

fn report() -> Result<(Given, String), String> {
    let valued = ["--kills", "--seed", "--logs", "--write", "--register"];
    let given = Given::read(std::env::args().skip(1), &[], &valued)?;
    if let (Some(name), Some(path)) = (given.path("--write"), given.path("--register")) {
        return registered::write(&path, &name.to_string_lossy()).map(|()| (given, String::new()));
    }
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let own = std::env::current_exe().map_err(|error| error.to_string())?;
    let left =
        registered::kill(&own, folder.path(), given.number("--kills", 200)?, given.number("--seed", 1)?)?;
    let cost = cost(folder.path(), given.number("--logs", 2000)?)?;
    let text = format!(
        "| figure | value |\n|---|--:|\n| moments at which two writers were killed | {} |\n\
         | logs told as recorded | {} |\n| of these lost | {} |\n| there, and not told any more | {} |\n\
         | faults found by a whole look | {} |\n{cost}",
        left.kills, left.told, left.lost, left.beyond, left.faults
    );
    Ok((given, text))
}

/// Time and bytes of a log, and the time to find one of them.
fn cost(folder: &Path, logs: u32) -> Result<String, String> {
    let path = folder.join("cost.register");
    let words = |error: bandward_sim::register::RegisterError| error.to_string();
    let mut register = Register::open(&path).map_err(words)?;
    let begun = Instant::now();
    for number in 0..logs {
        registered::add(&mut register, &format!("S-{number}")).map_err(words)?;
    }
    let a_log_ms = 1e3 * begun.elapsed().as_secs_f64() / f64::from(logs);
    drop(register);
    let bytes = std::fs::metadata(&path).map_err(|error| error.to_string())?.len();
    let begun = Instant::now();
    let register = Register::read(&path).map_err(words)?;
    let serial = Some(format!("S-{}", logs / 2));
    let found =
        register.find(&bandward_sim::register::Filter { serial, ..Default::default() }).map_err(words)?.len();
    let find_ms = 1e3 * begun.elapsed().as_secs_f64();
    Ok(format!(
        "| time to record a log of three bands, its record included, ms | {a_log_ms:.1} |\n\
         | bytes of it | {} |\n| time to open the register and find {found} joint by its serial among {logs}, ms | {find_ms:.1} |\n",
        bytes / u64::from(logs.max(1))
    ))
}
