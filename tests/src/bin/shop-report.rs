//! A made shop of three machines, one drifting, and thousands of logs in one folder, as tables in Markdown.
//!
//! Decides: how many joints and logs.
//! Assumes: `bandward-under-test` is built beside it.

use bandward_tests::report_command::{self, Given};
use bandward_tests::{many_links, program, shop};
use std::fmt::Write as _;
use std::process::ExitCode;

const HELP: &str =
    "Makes a shop of three machines (invented), one of which drifts, records it, and asks which one it is; \
then replays thousands of logs, some of them broken, on two cores and on one.

    shop-report [--joints N] [--logs N] [--broken N]

    --joints N  joints of the shop (default 200)
    --logs N    logs in one folder (default 2000)
    --broken N  of these broken (default 20)";

fn main() -> ExitCode {
    report_command::run(HELP, None, report)
}

fn report() -> Result<(Given, String), String> {
    let given = Given::read(std::env::args().skip(1), &[], &["--joints", "--logs", "--broken"])?;
    let joints: u32 = given.number("--joints", 200)?;
    let (logs, broken): (u32, u32) = (given.number("--logs", 2000)?, given.number("--broken", 20)?);
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let program = program::beside();
    let told = shop::run(&program, folder.path(), joints)?;
    let many = folder.path().join("many");
    many_links::fill(&folder.path().join("logs"), &many, logs as usize, broken as usize)?;
    let mut text = format!("{}\n{}\n", told.summary, told.table());
    text +=
        "| cores | logs replayed | told as failed | time, s | most memory, MiB |\n|--:|--:|--:|--:|--:|\n";
    for cores in [2, 1] {
        let cost = many_links::replay(&program, &folder.path().join("p.toml"), &many, cores)?;
        let memory = cost.memory_mib.map_or("not told".to_owned(), |mib| format!("{mib:.0}"));
        writeln!(text, "| {cores} | {} | {} | {:.1} | {memory} |", cost.read, cost.failed, cost.took_s)
            .map_err(|error| error.to_string())?;
    }
    Ok((given, text))
}
