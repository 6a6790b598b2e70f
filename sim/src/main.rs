//! The program `bandward`: all of it is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    bandward_sim::program::run()
}
