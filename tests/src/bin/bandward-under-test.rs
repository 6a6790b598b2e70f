//! The program `bandward` as the tests were built with it: never one that an older build left behind.

use std::process::ExitCode;

fn main() -> ExitCode {
    bandward_sim::program::run()
}
