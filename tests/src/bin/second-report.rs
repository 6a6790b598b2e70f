//! Measures the monitor on the second generator's joints and prints the tables as Markdown.
//!
//! Decides: how much is made, and what is printed.
//! Assumes: run from anywhere; `--help` says how.

use bandward_sim::trace::TraceWriter;
use bandward_tests::second::tables::{causes, faults, good};
use bandward_tests::second::{Order, watched};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::str::FromStr;

const HELP: &str = "Measures the monitor on joints of the second generator; prints Markdown.

    second-report [--hours N] [--repeats N] [--seed N] [--plain] [--write DIR]

    --hours N    hours of good welding (default 4)
    --repeats N  joints for every fault, shape and size (default 1)
    --seed N     the first seed (default 20000)
    --plain      faults in joints without habits
    --write DIR  writes the traces (CSV) and what was put in (JSON) instead: one good joint for every
                 rate, one joint for every fault and shape,
                 of the middle size";

struct Options {
    hours: f64,
    repeats: u64,
    seed: u64,
    plain: bool,
    write: Option<PathBuf>,
}

fn options() -> Result<Option<Options>, String> {
    let mut options = Options { hours: 4.0, repeats: 1, seed: 20_000, plain: false, write: None };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        if word == "--help" {
            return Ok(None);
        }
        if word == "--plain" {
            options.plain = true;
            continue;
        }
        let value = words.next().ok_or(format!("{word} wants a value"))?;
        match word.as_str() {
            "--hours" => options.hours = number(&word, &value)?,
            "--repeats" => options.repeats = number(&word, &value)?,
            "--seed" => options.seed = number(&word, &value)?,
            "--write" => options.write = Some(value.into()),
            _ => return Err(format!("{word}: unknown; see --help")),
        }
    }
    Ok(Some(options))
}

fn number<T: FromStr>(word: &str, value: &str) -> Result<T, String> {
    value.parse().map_err(|_| format!("{word} {value}: expected a number"))
}

fn main() -> ExitCode {
    let done = match options() {
        Ok(None) => {
            println!("{HELP}");
            Ok(())
        }
        Ok(Some(Options { write: Some(folder), seed, .. })) => write(&folder, seed),
        Ok(Some(options)) => {
            report(&options);
            Ok(())
        }
        Err(problem) => Err(problem),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(problem) => {
            eprintln!("{problem}");
            ExitCode::from(2)
        }
    }
}

fn report(options: &Options) {
    let procedure = watched::procedure();
    let Options { hours, repeats, seed, plain, .. } = *options;
    let without = if plain { " --plain" } else { "" };
    println!("# The monitor on the second generator\n");
    println!(
        "Made by `second-report --hours {hours} --repeats {repeats} --seed {seed}{without}`; generator: `tests/src/second`.\n"
    );
    println!("## Habits\n");
    let good = good::watch_good(&procedure, hours, seed);
    println!("{}", good.markdown());
    println!("{}", good::others_markdown(&procedure, seed));
    println!("## Faults {}\n", if plain { "without habits" } else { "beside everyday habits" });
    let orders = faults::orders(repeats, seed + 1_000_000, !plain);
    let outcomes: Vec<_> = orders.iter().filter_map(|order| faults::outcome(&procedure, order)).collect();
    println!("{}", faults::markdown(&outcomes));
    println!("## Causes\n");
    println!("{}", causes::markdown(&outcomes));
    println!("{}", good.causes_markdown());
}

fn write(folder: &Path, seed: u64) -> Result<(), String> {
    std::fs::create_dir_all(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    for (at, rate_hz) in [5.0, 10.0, 20.0, 50.0, 100.0].into_iter().enumerate() {
        write_joint(folder, &format!("good-{rate_hz}hz"), &Order::good(rate_hz, seed + at as u64))?;
    }
    for order in faults::orders(1, seed + 1_000_000, true) {
        let fault = order.faults[0];
        if fault.rank != 1 {
            continue;
        }
        let words = format!("{} {}", fault.name(), fault.shape.name());
        let plain = words.replace(|letter: char| !letter.is_ascii_alphanumeric(), "-").replace("--", "-");
        write_joint(folder, plain.trim_matches('-'), &order)?;
    }
    Ok(())
}

fn write_joint(folder: &Path, name: &str, order: &Order) -> Result<(), String> {
    let path = folder.join(format!("{name}.csv"));
    let mut writer = TraceWriter::create(&path, order.rig.channels).map_err(|error| error.to_string())?;
    let mut joint = order.joint();
    for row in joint.by_ref() {
        writer.write(&row).map_err(|error| error.to_string())?;
    }
    writer.finish().map_err(|error| error.to_string())?;
    let truth = format!("{:#}\n", joint.truth().json());
    std::fs::write(folder.join(format!("{name}.truth.json")), truth).map_err(|error| error.to_string())
}
