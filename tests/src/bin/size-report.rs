//! Builds the bare monitor for each set of features and prints how large it is, and runs the least board:
//! `cargo run -p bandward-tests --bin size-report`, with `--check` to fail on a budget, with
//! `--update` to put the table into the README.
//!
//! Decides: the budgets. The aim of the smallest set is 16 KiB of text and 2 KiB of state; the ceilings are what
//! it came to when they were set and 3 %.
//! Assumes: an emulator and a toolchain for the board, see `emulator`.
//! Never: ends with 0 under `--check` where a figure is over its ceiling, or the least board does not work.

use bandward_tests::emulator::{
    ARMV6_M, CORTEX_M0, CORTEX_M4, Machine, Missing, build_alone, build_least, compiler, run,
};
use bandward_tests::image::Image;
use bandward_tests::report_command::{self, Given};
use std::fmt::Write;
use std::process::{Command, ExitCode};

const MARKS: (&str, &str) = ("<!-- size-report begins -->\n", "<!-- size-report ends -->\n");
const HELP: &str = "size-report [--check] [--update]: text and state of the monitor by set of features";

/// What is watched, and its features.
const SETS: [(&str, &[&str]); 7] = [
    ("current, voltage", &[]),
    ("current, voltage, gas", &["gas"]),
    ("and transfer", &["gas", "transfer"]),
    ("and heat", &["gas", "transfer", "heat"]),
    ("gas and motion", &["gas", "motion"]),
    ("all that is watched", &["gas", "transfer", "heat", "motion"]),
    ("all features (link, journal, black box not called)", &["whole"]),
];
/// The smallest set that an aim is given for.
const SMALLEST: &str = "current, voltage, gas";
const TEXT_AIM: u64 = 16 * 1024;
const STATE_AIM: u64 = 2 * 1024;
const MEMORY_AIM: u64 = 8 * 1024;
const TEXT_CEILING: u64 = 54_000;
const STATE_CEILING: u64 = 5_530;

fn main() -> ExitCode {
    report_command::run(HELP, Some(MARKS), || {
        let given = Given::read(std::env::args().skip(1), &["--check", "--update"], &[])?;
        let (text, problems) = report().map_err(|Missing(what)| what)?;
        if given.has("--check") && !problems.is_empty() {
            return Err(format!("{text}\n{problems}"));
        }
        Ok((given, text))
    })
}

/// The cell marks that it was taken, padded to this many bytes: no state of the monitor.
const CELL_MARK: u64 = 8;

/// Text and state of one set, bytes.
fn size(machine: Machine, features: &[&str], level: Option<&str>) -> Result<(u64, u64), Missing> {
    let image = Image::read(&build_alone(machine, "monitor", features, level)?);
    let cell = image.largest.iter().find(|(_, name)| name.ends_with("MONITOR"));
    let (cell, _) = cell.ok_or_else(|| Missing("no MONITOR among the symbols".into()))?;
    Ok((image.text + image.constants, cell - CELL_MARK))
}

/// The table, and what is over a ceiling.
fn report() -> Result<(String, String), Missing> {
    let mut table = String::from(
        "| watched | Cortex-M0+ text | state | Cortex-M4 text | state |\n|---|---:|---:|---:|---:|\n",
    );
    let mut problems = String::new();
    let (mut smallest, mut for_size) = ((0, 0), 0);
    for (name, features) in SETS {
        let (small, large) = (size(ARMV6_M, features, None)?, size(CORTEX_M4, features, None)?);
        let _ = writeln!(table, "| {name} | {} | {} | {} | {} |", small.0, small.1, large.0, large.1);
        if name == SMALLEST {
            smallest = small;
            for_size = size(ARMV6_M, features, Some("z"))?.0;
        }
    }
    let (text, state) = smallest;
    let judge = |value, aim| if value <= aim { "met" } else { "not met" };
    let _ = writeln!(
        table,
        "\nBytes; text with constants. Aim of \"{SMALLEST}\" on a Cortex-M0+: {TEXT_AIM} of text: {}; {STATE_AIM} of \
         state: {}. With the core built for size before all (opt-level \"z\"; here \"s\") its text is {for_size}.",
        judge(text, TEXT_AIM),
        judge(state, STATE_AIM)
    );
    for (what, value, ceiling) in [("text", text, TEXT_CEILING), ("state", state, STATE_CEILING)] {
        if value > ceiling {
            let _ = writeln!(problems, "{what} of \"{SMALLEST}\": {value}, ceiling {ceiling}: EXCEEDED");
        }
    }
    let ran = run(CORTEX_M0, &build_least()?)?;
    let told = String::from_utf8_lossy(&ran.stdout).into_owned();
    let figure = |name: &str| {
        let value = told.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix('='));
        value.and_then(|value| value.trim().parse::<u64>().ok())
    };
    if let (true, Some(stack)) = (ran.status.success(), figure("stack_bytes")) {
        let memory = state + stack;
        let _ = writeln!(
            table,
            "The least board (`smallest`, the same set) finds a gas failure on an emulated Cortex-M0, linked for \
             {MEMORY_AIM} bytes of memory, in {memory}, {stack} of them stack: {}.",
            judge(memory, MEMORY_AIM)
        );
        if memory > MEMORY_AIM {
            let _ =
                writeln!(problems, "memory of the least board: {memory}, there are {MEMORY_AIM}: EXCEEDED");
        }
    } else {
        let _ = writeln!(problems, "the least board ended with {:?}: {told}", ran.status.code());
    }
    let date = Command::new("date").arg("+%F").output();
    let date = date.map_or(String::new(), |date| String::from_utf8_lossy(&date.stdout).trim().to_owned());
    let _ =
        writeln!(table, "`cargo run -p bandward-tests --bin size-report`, {}, {date}.", compiler(ARMV6_M)?);
    Ok((table, problems))
}
