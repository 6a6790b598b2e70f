//! Outside evidence for `trend`, as tables in Markdown.
//!
//! Decides: how many shops, and where the files lie.
//! Assumes: the program lies beside this one, or where `--program` says.

use bandward_tests::program;
use bandward_tests::report_command::{self, Given};
use bandward_tests::second::shops::steady::Shop;
use bandward_tests::second::shops::wrong::Wrong;
use bandward_tests::second::shops::{measured, records, tables, traces, verdict};
use bandward_tests::second::thresholds::bench::Start;
use bandward_tests::second::thresholds::program::Program;
use serde_json::Value;
use std::path::Path;
use std::process::ExitCode;

const HELP: &str = "Shows `trend` invented shops, steady ones and ones in which something goes wrong.

    trend-report [--shops N] [--repeats N] [--traced N] [--seed N] [--program FILE] [--keep DIR] [--update]

    --shops N       steady shops of 60 to 80 joints (default 100)
    --repeats N     shops for everything that goes wrong (default 10)
    --traced N      shops through full traces and `replay`, half of them with a worn tip (default 4)
    --seed N        the first seed (default 83000)
    --program FILE  another build of the program
    --keep DIR      keeps records and traces there
    --update        puts the tables into the README instead of printing them";

fn main() -> ExitCode {
    report_command::run(HELP, Some((tables::BEGINS, tables::ENDS)), report)
}

fn report() -> Result<(Given, String), String> {
    let given = Given::read(
        std::env::args().skip(1),
        &["--update"],
        &["--shops", "--repeats", "--traced", "--seed", "--program", "--keep"],
    )?;
    let temporary = tempfile::tempdir().map_err(|error| error.to_string())?;
    let folder = given.path("--keep").unwrap_or_else(|| temporary.path().to_owned());
    std::fs::create_dir_all(&folder).map_err(|error| error.to_string())?;
    let program = Program(given.path("--program").unwrap_or_else(program::beside));
    let (shops, repeats) = (given.number("--shops", 100)?, given.number("--repeats", 10)?);
    let (traced, seed) = (given.number("--traced", 4)?, given.number("--seed", 83_000)?);
    let procedure = Start::Shop.write(&folder)?;
    let pattern = traces::pattern(&program, &procedure, &folder)?;
    let steady = measured::steady(&program, &pattern, &folder, shops, seed)?;
    let wrong = measured::wrong(&program, &pattern, &folder, repeats, seed + 1000)?;
    for finding in tables::findings(&steady, &wrong) {
        eprintln!("{finding}");
    }
    let mut text = format!(
        "Made by `trend-report --shops {shops} --repeats {repeats} --traced {traced} --seed {seed}` with shops over the \
         arc of the second generator (`tests/src/second/shops`; invented): one to three machines and operators, \
         seasons, spools, bottles and tips that the records tell, crater fills on every fifth joint, flagged joints in \
         half of the baselines, scatter correlated from joint to joint by up to 0.3.\n\n{}\n{}",
        tables::steady(&steady),
        tables::wrong(&wrong)
    );
    if traced > 0 {
        text.push_str(&through_traces(&program, &pattern, &procedure, &folder, traced, seed + 2000)?);
    }
    Ok((given, text))
}

/// The same shops as records and as traces: half of them steady, in the others a tip wears.
fn through_traces(
    program: &Program,
    pattern: &Value,
    procedure: &Path,
    folder: &Path,
    shops: u64,
    seed: u64,
) -> Result<String, String> {
    let (mut as_records, mut as_traces, mut said) = (Vec::new(), Vec::new(), Vec::new());
    for at in 0..shops {
        let (shop, from) = if at % 2 == 0 {
            (
                Shop::of(seed + at, 1, 60, &mut bandward_tests::second::random::Chance::new(seed + at, 20)),
                None,
            )
        } else {
            let (shop, machine, from) = Wrong::TipWear.shop(seed + at);
            (shop, Some((machine, from)))
        };
        let traced = traces::records(program, &shop, procedure, folder)?;
        let verdict = verdict::verdict(program, &traced, folder, &format!("traced-{}", shop.seed))?;
        if let Some((machine, from)) = from {
            let found = measured::found(Wrong::TipWear, &shop, machine, from, verdict);
            let cause = found.verdict.causes.first().map_or("none", String::as_str);
            let after =
                found.after_joints.map_or("not detected".to_owned(), |after| format!("after {after} joints"));
            said.push(format!("a worn tip {after} (first cause: {cause})"));
        } else {
            said.push(format!("a steady shop steady: {:?}", verdict.steady));
            as_records.extend(records::of_shop(pattern, &shop));
            as_traces.extend(traced);
        }
    }
    Ok(format!(
        "\nThe level of the records, against the same steady shops through full traces and `replay`; of these traces \
         `trend` said: {}.\n\n{}",
        said.join("; "),
        tables::levels(&as_records, &as_traces)
    ))
}
