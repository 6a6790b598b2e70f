//! Builds the board programs, runs the measuring ones in the emulator and prints what they show:
//! `cargo run -p bandward-tests --bin board-report`.
//!
//! Decides: the budgets. An aim is what a board of the smaller kind can bear; a ceiling, where an aim is missed,
//! is what main came to when it was set and 3 %: it is lowered as the figure falls, and raised
//! only together with rules that a change adds.
//! Assumes: an emulator and a toolchain for the board, see `emulator`.
//! Never: ends with 0 where a figure is over its ceiling, or over its aim where it has none.

use bandward_tests::emulator::{CORTEX_M4, Missing, build, build_all, run};
use bandward_tests::image::Image;
use std::process::ExitCode;

/// How much a figure may be.
#[derive(Clone, Copy)]
struct Budget {
    aim: u64,
    /// Where the aim is missed.
    ceiling: Option<u64>,
}

const MEAN: Budget = Budget { aim: 250, ceiling: None };
const WORST: Budget = Budget { aim: 2500, ceiling: None };
const STATE: Budget = Budget { aim: 6 * 1024, ceiling: Some(10_660) };
const TEXT: Budget = Budget { aim: 32 * 1024, ceiling: Some(90_900) };
/// Of an 8 KiB board, half.
const STACK: Budget = Budget { aim: 4096, ceiling: None };
const BOARD_STACK: Budget = Budget { aim: 4096, ceiling: None };
const BOARD_MEAN: Budget = Budget { aim: 700, ceiling: None };
const BOARD_WORST: Budget = Budget { aim: 2500, ceiling: Some(3250) };
const PANICS: Budget = Budget { aim: 0, ceiling: None };

/// What stands behind a figure that is over its budget; the program then ends with 1.
const EXCEEDED: &str = "EXCEEDED";

impl Budget {
    fn judge(self, value: u64) -> String {
        let Self { aim, ceiling } = self;
        match ceiling {
            _ if value <= aim => format!("aim {aim}: met"),
            None => format!("aim {aim}: {EXCEEDED}"),
            Some(ceiling) if value > ceiling => format!("aim {aim}: not met; ceiling {ceiling}: {EXCEEDED}"),
            Some(ceiling) => format!("aim {aim}: not met; ceiling {ceiling}: held"),
        }
    }
}

fn main() -> ExitCode {
    match build_all().and_then(|()| report()) {
        Ok(table) => {
            print!("{table}");
            if table.contains(EXCEEDED) { ExitCode::FAILURE } else { ExitCode::SUCCESS }
        }
        Err(Missing(what)) => {
            eprintln!("{what}");
            ExitCode::from(2)
        }
    }
}

/// What a measuring program prints.
fn told_by(program: &str) -> Result<String, Missing> {
    let output = run(CORTEX_M4, &build(CORTEX_M4, program, &[])?)?;
    Ok(String::from_utf8_lossy(&output.stdout).into_owned())
}

/// A figure among what was printed.
fn figure(text: &str, name: &str) -> u64 {
    let value = text.lines().filter_map(|line| line.split_once('=')).find(|(other, _)| *other == name);
    let value = value.and_then(|(_, value)| value.trim().parse().ok());
    value.unwrap_or_else(|| panic!("no {name} in:\n{text}"))
}

fn line(table: &mut String, text: &str) {
    table.push_str(text);
    table.push('\n');
}

fn report() -> Result<String, Missing> {
    let monitor = Image::read(&build(CORTEX_M4, "monitor", &[])?);
    let whole = Image::read(&build(CORTEX_M4, "footprint", &[])?);
    let text = told_by("measure")?;
    let of_board = told_by("measure-board")?;
    let mut table = String::from(
        "Cortex-M4 (mps2-an386) under -icount shift=0: instructions, not cycles; invented joint at 10 kHz,\n\
         slow channels at 100 and 10 Hz, every rule judged\n\n",
    );
    let mut row = |name: &str, value: u64, unit: &str, budget: Option<Budget>| {
        let verdict = budget.map_or(String::new(), |budget| budget.judge(value));
        line(&mut table, &format!("{name:44} {value:>9} {unit:13} {verdict}"));
    };
    let figure = |name| self::figure(&text, name);
    row("mean, arc burning", figure("mean_arc_instructions"), "instructions", Some(MEAN));
    row("mean, the whole joint", figure("mean_instructions"), "instructions", None);
    row("worst sample (to within 40)", figure("worst_instructions"), "instructions", Some(WORST));
    row("state of the monitor, its procedure included", figure("state_bytes"), "bytes", Some(STATE));
    row("monitor, code and constants, vectors apart", monitor.text + monitor.constants, "bytes", Some(TEXT));
    row("with link, black box, upload, Modbus", whole.text + whole.constants, "bytes", None);
    row("stack to start it", figure("start_stack_bytes"), "bytes", Some(STACK));
    row("stack, high-water mark", figure("stack_bytes"), "bytes", Some(STACK));
    row("panic symbols", (monitor.panics.len() + whole.panics.len()) as u64, "", Some(PANICS));
    let figure = |name| self::figure(&of_board, name);
    row("board program, mean sample", figure("mean_instructions"), "instructions", Some(BOARD_MEAN));
    row("board program, worst sample", figure("worst_instructions"), "instructions", Some(BOARD_WORST));
    let at_once = figure("at_once_mean_instructions");
    row("the same, slow channels all in one sample", at_once, "instructions", None);
    let at_once = figure("at_once_worst_instructions");
    row("and its worst sample", at_once, "instructions", None);
    row("board program, worst poll", figure("worst_poll_instructions"), "instructions", None);
    row(
        "board program, answer over Modbus, worst",
        figure("worst_answer_instructions"),
        "instructions",
        None,
    );
    row("board program, stack to start it", figure("start_stack_bytes"), "bytes", Some(BOARD_STACK));
    row("board program, stack, high-water mark", figure("stack_bytes"), "bytes", None);
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
