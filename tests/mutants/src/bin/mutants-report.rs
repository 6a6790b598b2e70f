//! Changes the core in one place at a time and prints which changes no test notices:
//! `cargo run -p bandward-mutants --bin mutants-report`, with the start of the files meant (from `core/src`) with
//! `--longest=MS` to use only tests that take no longer than that, with `--budget=S` to begin no test after those that
//! take so long together, and with `--update` to put the table into `DEVELOPERS.md`.
//!
//! Decides: what is reported. Ends with 1 where a change is left that is neither noticed nor explained in
//! `tests/mutants.toml`, or an entry there names none that survived.

use bandward_mutants::copy::Copy;
use bandward_mutants::names::Point;
use bandward_mutants::runs::{self, Fate, Known, Way};
use bandward_mutants::{kept, table};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

const HELP: &str = "mutants-report [START OF A FILE]... [--longest=MS] [--budget=S] [--update]: changes of core/src that no test notices";
/// What is changed unless files are given.
const USUAL: [&str; 3] = ["alarms/", "judge/", "trackers/"];
/// Longest time of a test that is used, unless another is given.
const LONGEST_MS: u64 = 4000;
/// Time of the tests that are run against one change, unless another is given.
const BUDGET_S: u64 = 20;
const MARKS: (&str, &str) = ("<!-- mutants begin -->\n", "<!-- mutants end -->\n");

fn main() -> ExitCode {
    match report() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

fn report() -> Result<bool, String> {
    let (options, mut wanted): (Vec<_>, Vec<_>) =
        std::env::args().skip(1).partition(|given| given.starts_with("--"));
    let number = |name: &str| options.iter().find_map(|given| given.strip_prefix(name)?.parse().ok());
    let (longest_ms, budget_s) = (number("--longest="), number("--budget="));
    let is_known = |given: &str| {
        given == "--update"
            || given.starts_with("--longest=") && longest_ms.is_some()
            || given.starts_with("--budget=") && budget_s.is_some()
    };
    if let Some(other) = options.iter().find(|given| !is_known(given)) {
        return Err(if other == "--help" { HELP.to_owned() } else { format!("{other}: unknown\n{HELP}") });
    }
    if wanted.is_empty() {
        wanted = USUAL.map(str::to_owned).to_vec();
    }
    let since = Instant::now();
    let root = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../.."));
    let root = root.canonicalize().map_err(|error| error.to_string())?;
    let explained = kept::read(&root.join("tests/mutants.toml"))?;
    let copy = Copy::make(&root, &wanted)?;
    eprintln!("{} changes; {} s", copy.points.len(), since.elapsed().as_secs());
    let programs = runs::build(&copy.folder)?;
    eprintln!("built; {} s", since.elapsed().as_secs());
    let memory = root.join("target/mutants/killers.json");
    let remembered = std::fs::read_to_string(&memory).unwrap_or_default();
    let mut killers: BTreeMap<String, String> = serde_json::from_str(&remembered).unwrap_or_default();
    let way = Way {
        longest: Duration::from_millis(longest_ms.unwrap_or(LONGEST_MS)),
        budget: Duration::from_secs(budget_s.unwrap_or(BUDGET_S)),
        killers: killers.clone(),
    };
    let Known { tests, failing, slow } = runs::known(&programs, &root.join("target/mutants"), &way)?;
    if !failing.is_empty() {
        return Err(format!("without any change these fail: {}", failing.join(", ")));
    }
    eprintln!("{} tests; {} s", tests.len(), since.elapsed().as_secs());
    eprintln!("{} tests take too long to be used", slow.len());
    let times = tests.iter().fold(String::new(), |mut text, test| {
        let _ = writeln!(text, "{:>6} ms {}", test.took.as_millis(), test.name);
        text
    });
    write(&root.join("target/mutants/tests.txt"), &times)?;
    let fates = runs::fates(&copy.points, &tests, &way, &|index| {
        if index % 200 == 0 {
            eprintln!("{index} of {}; {} s", copy.points.len(), since.elapsed().as_secs());
        }
    });
    for point in &copy.points {
        if let Some(Fate::Killed(by)) = fates.get(&point.number) {
            killers.insert(point.name(), by.clone());
        }
    }
    write(&memory, &serde_json::to_string_pretty(&killers).map_err(|error| error.to_string())?)?;
    let survived: Vec<&Point> = copy
        .points
        .iter()
        .filter(|point| matches!(fates.get(&point.number), Some(Fate::Survived(_))))
        .collect();
    let mut left = String::new();
    let mut count = 0;
    for point in survived.iter().filter(|point| !explained.iter().any(|each| each.is(point))) {
        count += 1;
        let tests = match fates.get(&point.number) {
            Some(Fate::Survived(tests)) => *tests,
            _ => 0,
        };
        let Point { file, line, function, change, .. } = point;
        let _ = writeln!(left, "{file}:{line} {function}: {change} ({tests} tests passed)");
    }
    write(&root.join("target/mutants/left.txt"), &left)?;
    let table = table::table(&copy.points, &fates, &explained, &copy.refused);
    print!("{left}\n{table}");
    println!(
        "\n{} tests; {} functions stay `const` and have no change; {} s",
        tests.len(),
        copy.constant,
        since.elapsed().as_secs()
    );
    let files: BTreeSet<&str> = copy.points.iter().map(|point| point.file.as_str()).collect();
    let stale = kept::stale(&explained, &survived, &files);
    for each in &stale {
        println!("no such change survives: {} {}: {}", each.file, each.function, each.change);
    }
    if options.iter().any(|given| given == "--update") {
        let page = root.join("DEVELOPERS.md");
        let text = std::fs::read_to_string(&page).map_err(|error| error.to_string())?;
        let (before, rest) = text.split_once(MARKS.0).ok_or("DEVELOPERS.md has no place for the table")?;
        let (_, after) = rest.split_once(MARKS.1).ok_or("DEVELOPERS.md has no end of the table")?;
        write(&page, &format!("{before}{}{table}{}{after}", MARKS.0, MARKS.1))?;
    }
    Ok(count == 0 && stale.is_empty())
}

fn write(path: &Path, text: &str) -> Result<(), String> {
    std::fs::write(path, text).map_err(|error| format!("{}: {error}", path.display()))
}
