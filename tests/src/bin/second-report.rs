//! Measures the monitor on the second generator's joints and prints the tables as Markdown.
//!
//! Decides: how much is made, what is printed, and with `--update` which part of it the README shows.
//! Assumes: run from anywhere; `--help` says how.

use bandward_sim::trace::TraceWriter;
use bandward_tests::second::tables::{causes, faults, good, summary};
use bandward_tests::second::{Order, watched};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::str::FromStr;

const HELP: &str = "Measures the monitor on joints of the second generator; prints Markdown.

    second-report [--hours N] [--repeats N] [--seed N] [--plain] [--update | --write DIR]

    --hours N    hours of good welding (default 4)
    --repeats N  joints for every fault, shape and size (default 1)
    --seed N     the first seed (default 20000)
    --plain      faults in joints without habits
    --update     writes tests/data/second.md, and its summary into the README, instead of printing
    --write DIR  writes the traces (CSV) and what was put in (JSON) instead: one good joint for every
                 rate, one joint for every fault and shape,
                 of the middle size";

struct Options {
    hours: f64,
    repeats: u64,
    seed: u64,
    plain: bool,
    update: bool,
    write: Option<PathBuf>,
}

fn options() -> Result<Option<Options>, String> {
    let mut options =
        Options { hours: 4.0, repeats: 1, seed: 20_000, plain: false, update: false, write: None };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        if word == "--help" {
            return Ok(None);
        }
        match word.as_str() {
            "--plain" => options.plain = true,
            "--update" => options.update = true,
            _ => valued(&mut options, &word, words.next())?,
        }
    }
    Ok(Some(options))
}

fn valued(options: &mut Options, word: &str, value: Option<String>) -> Result<(), String> {
    let value = value.ok_or(format!("{word} wants a value"))?;
    match word {
        "--hours" => options.hours = number(word, &value)?,
        "--repeats" => options.repeats = number(word, &value)?,
        "--seed" => options.seed = number(word, &value)?,
        "--write" => options.write = Some(value.into()),
        _ => return Err(format!("{word}: unknown; see --help")),
    }
    Ok(())
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
        Ok(Some(options)) if options.update => update(&report(&options)),
        Ok(Some(options)) => {
            print!("{}", report(&options));
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

fn report(options: &Options) -> String {
    let procedure = watched::procedure();
    let Options { hours, repeats, seed, plain, .. } = *options;
    let good = good::watch_good(&procedure, hours, seed);
    let orders = faults::orders(repeats, seed + 1_000_000, !plain);
    let outcomes = faults::outcomes(&procedure, &orders);
    let (without, beside) =
        if plain { (" --plain", "without habits") } else { ("", "beside everyday habits") };
    [
        "# The monitor on the second generator".to_owned(),
        summary::HEADING.to_owned(),
        format!(
            "Made joints of the second generator (`tests/src/second`), which shares neither code nor constants with \
             the program's own process; invented. Made by \
             `second-report --hours {hours} --repeats {repeats} --seed {seed}{without}`; faults {beside}.\n"
        ),
        summary::markdown(&good, &outcomes),
        summary::NEXT_HEADING.to_owned(),
        good.markdown(),
        good::others_markdown(&procedure, seed),
        format!("## Faults {beside}\n"),
        faults::markdown(&outcomes),
        "## Causes\n".to_owned(),
        causes::markdown(&outcomes),
        good.causes_markdown(),
    ]
    .join("\n")
}

/// Writes the tables, and what stands below the first heading into the README.
fn update(tables: &str) -> Result<(), String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let told = |path: &Path, error: std::io::Error| format!("{}: {error}", path.display());
    let (page, readme) = (root.join("tests/data/second.md"), root.join("README.md"));
    std::fs::write(&page, tables).map_err(|error| told(&page, error))?;
    let text = std::fs::read_to_string(&readme).map_err(|error| told(&readme, error))?;
    let short = summary::of_page(tables).ok_or("the tables have no summary")?;
    let (before, rest) = text.split_once(summary::BEGINS).ok_or("the README has no place for the summary")?;
    let (_, after) = rest.split_once(summary::ENDS).ok_or("the summary in the README has no end")?;
    let text = format!("{before}{}{short}{}{after}", summary::BEGINS, summary::ENDS);
    std::fs::write(&readme, text).map_err(|error| told(&readme, error))
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
