//! Builds the measuring programs, runs them in the emulator and prints what they show:
//! `cargo run -p bandward-tests --bin board-report`.

use bandward_tests::emulator::{CORTEX_M4, Missing, build, run};
use bandward_tests::image::Image;
use std::collections::BTreeMap;
use std::process::ExitCode;

/// What stands behind a figure that is over its budget; the program then ends with 1.
const MISSED: &str = "NOT met";

fn main() -> ExitCode {
    match report() {
        Ok(table) => {
            print!("{table}");
            if table.contains(MISSED) { ExitCode::FAILURE } else { ExitCode::SUCCESS }
        }
        Err(Missing(what)) => {
            eprintln!("{what}");
            ExitCode::from(2)
        }
    }
}

fn line(table: &mut String, text: &str) {
    table.push_str(text);
    table.push('\n');
}

fn report() -> Result<String, Missing> {
    let monitor = Image::read(&build(CORTEX_M4, "monitor", &[])?);
    let whole = Image::read(&build(CORTEX_M4, "footprint", &[])?);
    let output = run(CORTEX_M4, &build(CORTEX_M4, "measure", &[])?)?;
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let figures: BTreeMap<&str, u64> = text
        .lines()
        .filter_map(|line| line.split_once('='))
        .filter_map(|(name, value)| Some((name, value.trim().parse().ok()?)))
        .collect();
    let mut table = String::from(
        "Cortex-M4 (mps2-an386) under -icount shift=0: instructions, not cycles; invented joint at 10 kHz,\n\
         slow channels at 100 and 10 Hz, every rule judged\n\n",
    );
    let mut row = |name: &str, value: u64, unit: &str, aim: Option<u64>| {
        let verdict = match aim {
            Some(aim) if value <= aim => format!("aim {aim}: met"),
            Some(aim) => format!("aim {aim}: {MISSED}"),
            None => String::new(),
        };
        line(&mut table, &format!("{name:44} {value:>9} {unit:13} {verdict}"));
    };
    let figure = |name: &str| figures.get(name).copied().unwrap_or_else(|| panic!("no {name} in:\n{text}"));
    row("mean, arc burning", figure("mean_arc_instructions"), "instructions", Some(250));
    row("mean, the whole joint", figure("mean_instructions"), "instructions", None);
    row("worst sample (to within 40)", figure("worst_instructions"), "instructions", Some(2500));
    row("state of the monitor, its procedure included", figure("state_bytes"), "bytes", Some(6 * 1024));
    row(
        "monitor, code and constants, vectors apart",
        monitor.text + monitor.constants,
        "bytes",
        Some(32 * 1024),
    );
    row("with link, black box, upload", whole.text + whole.constants, "bytes", None);
    row("stack, high-water mark, the state on it", figure("stack_bytes"), "bytes", None);
    row("panic symbols", (monitor.panics.len() + whole.panics.len()) as u64, "", Some(0));
    for name in whole.panics.iter().chain(&monitor.panics) {
        line(&mut table, &format!("    {name}"));
    }
    table.push_str("\nthe largest functions of the monitor\n");
    for (size, name) in monitor.largest.iter().take(8) {
        line(&mut table, &format!("{size:>9} {name}"));
    }
    table.push_str("\nhow the samples spread\n");
    for bin in text.lines().filter_map(|line| line.strip_prefix("histogram ")) {
        line(&mut table, &format!("    {bin}"));
    }
    Ok(table)
}
