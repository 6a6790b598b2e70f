//! Builds the board programs for real chips and prints how large they are. Ends with 1 where one does not fit.

use bandward_tests::chips::{ALL, build, size};
use std::process::ExitCode;

/// What a program may need of its stack: four times what the emulated board uses.
const STACK: u64 = 48 * 1024;

fn main() -> ExitCode {
    let mut does_fit = true;
    println!("chip           in flash    of          in memory   of, less the stack");
    for chip in ALL {
        let program = match build(chip) {
            Ok(program) => program,
            Err(missing) => {
                eprintln!("{}", missing.0);
                return ExitCode::FAILURE;
            }
        };
        let found = size(&program);
        let flash = u64::from(chip.flash.program.end - chip.flash.program.start);
        let memory = chip.memory - STACK;
        println!("{:<12} {:>10}  {flash:>10}  {:>10}  {memory:>10}", chip.name, found.flash, found.memory);
        does_fit &= found.flash <= flash && found.memory <= memory;
    }
    if does_fit {
        ExitCode::SUCCESS
    } else {
        eprintln!("a program does not fit");
        ExitCode::FAILURE
    }
}
