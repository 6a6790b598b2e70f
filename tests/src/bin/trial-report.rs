//! Outside evidence for `trial --suggest`, as tables in Markdown.
//!
//! Decides: how many joints and splits, and where the files lie.
//! Assumes: the program lies beside this one, or where `--program` says.

use bandward_tests::program;
use bandward_tests::report_command::{self, Given};
use bandward_tests::second::thresholds::adversarial::{self, Outcome};
use bandward_tests::second::thresholds::bench::{self, Split, Start, Watched};
use bandward_tests::second::thresholds::library::{self, KINDS, Trace};
use bandward_tests::second::thresholds::program::Program;
use bandward_tests::second::thresholds::tables;
use rayon::prelude::*;
use std::path::Path;
use std::process::ExitCode;

const HELP: &str = "Holds what `trial --suggest` proposes on one half of made joints against the other half.

    trial-report [--joints N] [--splits N] [--seed N] [--program FILE] [--keep DIR] [--update]

    --joints N      joints of the second generator, a quarter of them good (default 200)
    --splits N      random halves (default 5)
    --seed N        the first seed (default 71000)
    --program FILE  another build of the program
    --keep DIR      keeps traces, marks and written procedures there
    --update        puts the tables into the README instead of printing them";

fn main() -> ExitCode {
    report_command::run(HELP, Some((tables::BEGINS, tables::ENDS)), report)
}

fn report() -> Result<(Given, String), String> {
    let given = Given::read(
        std::env::args().skip(1),
        &["--update"],
        &["--joints", "--splits", "--seed", "--program", "--keep"],
    )?;
    let temporary = tempfile::tempdir().map_err(|error| error.to_string())?;
    let folder = given.path("--keep").unwrap_or_else(|| temporary.path().to_owned());
    let program = Program(given.path("--program").unwrap_or_else(program::beside));
    let (joints, splits) = (given.number("--joints", 200)?, given.number("--splits", 5)?);
    let seed = given.number("--seed", 71_000)?;
    let traces = library::write(&folder, &library::orders(joints, seed))?;
    let rows = Start::ALL
        .iter()
        .map(|&start| Ok((start, all_splits(&program, start, &traces, splits, &folder)?)))
        .collect::<Result<Vec<_>, String>>()?;
    let sets = all_sets(&program, &traces, &folder)?;
    for finding in tables::findings(&rows, &sets) {
        eprintln!("{finding}");
    }
    let faults = traces.iter().filter(|trace| trace.mark.is_some()).count();
    let text = format!(
        "Made by `trial-report --joints {joints} --splits {splits} --seed {seed}` with the second generator \
         (`tests/src/second`; invented): {joints} joints, {faults} of them with a fault of {} kinds. `trial --suggest` \
         saw one half; hits and false alarms are counted apart from `trial`, from what `replay` says of the other. \
         A missed fault counts in the delay to the end of its time.\n\n{}\nFrom the nervous procedure, all joints of a kind:\n\n{}",
        KINDS.len(),
        tables::splits(&rows),
        tables::adversarial(&sets)
    );
    Ok((given, text))
}

fn all_splits(
    program: &Program,
    start: Start,
    traces: &[Trace],
    splits: u64,
    folder: &Path,
) -> Result<Vec<Split>, String> {
    let procedure = start.write(folder)?;
    let alarms = program.alarms(&procedure, traces)?;
    let watched: Vec<Watched<'_>> = traces.iter().zip(alarms.iter().map(Vec::as_slice)).collect();
    let one = |at: u64| {
        let (tuning, unseen) = bench::halves(&watched, at);
        let to = fresh(folder, &format!("{start:?}-{at}"))?;
        bench::split(program, &procedure, (&tuning, &unseen), &to)
    };
    (0..splits).into_par_iter().map(one).collect()
}

fn all_sets(program: &Program, traces: &[Trace], folder: &Path) -> Result<Vec<(String, Outcome)>, String> {
    let procedure = Start::Nervous.write(folder)?;
    let sets = adversarial::sets(traces);
    let one = |(at, set): (usize, &adversarial::Set)| {
        let to = fresh(folder, &format!("set-{at}"))?;
        Ok((set.name.clone(), adversarial::outcome(program, &procedure, set, &to)?))
    };
    sets.par_iter().enumerate().map(one).collect()
}

/// A file for a tuned procedure that is not there yet.
fn fresh(folder: &Path, name: &str) -> Result<std::path::PathBuf, String> {
    let path = folder.join(format!("{}.tuned.toml", name.to_lowercase()));
    match std::fs::remove_file(&path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(error.to_string()),
        _ => Ok(path),
    }
}
