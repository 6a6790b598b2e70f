//! Tests run against one change after the other.
//!
//! Decides: which tests come by a change (they are run alone, once), and in what order those are run against it: quick
//! ones and those that killed before come first, and none after the first that fails.
//! Assumes: a test that fails with a change and not without was failed by the change.
//! Never: waits for ever: a test that takes ten times as long as it did, and ten seconds more, has noticed.

use crate::copy::cargo;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Side by side.
const WORKERS: usize = 2;
/// Tests of one program that together take less than this run in one process.
const TOGETHER: Duration = Duration::from_millis(150);

/// A test that passes where nothing is changed.
#[derive(Clone, Debug)]
pub struct Test {
    program: PathBuf,
    /// Its name within its program.
    pub name: String,
    /// How long it takes alone.
    pub took: Duration,
    comes_by: BTreeSet<u32>,
}

/// Tests, as they are where nothing is changed.
#[derive(Clone, Debug)]
pub struct Known {
    /// Those that pass.
    pub tests: Vec<Test>,
    /// Names of those that fail.
    pub failing: Vec<String>,
    /// Names of those that take too long to be used.
    pub slow: Vec<String>,
}

/// What became of a change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fate {
    /// A test failed; its name, or how it was noticed.
    Killed(String),
    /// All tests that come by it passed; so many there are.
    Survived(usize),
}

/// Builds the test programs of a copy.
///
/// # Errors
/// They do not build.
pub fn build(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let output = cargo(folder)
        .args(["test", "--workspace", "--no-run", "--quiet", "--message-format=json", "--lib", "--tests"])
        .stderr(Stdio::inherit())
        .output()
        .map_err(|error| error.to_string())?;
    let text = String::from_utf8_lossy(&output.stdout);
    let messages = text.lines().filter_map(|line| serde_json::from_str::<Value>(line).ok());
    if !output.status.success() {
        let errors = messages.filter(|message| message["message"]["level"] == "error");
        let told = errors.filter_map(|message| message["message"]["rendered"].as_str().map(str::to_owned));
        return Err(told.collect::<Vec<_>>().join("\n").chars().take(20_000).collect());
    }
    let programs = messages.filter(|message| message["profile"]["test"] == true);
    Ok(programs.filter_map(|message| Some(PathBuf::from(message["executable"].as_str()?))).collect())
}

/// Every test of these programs, run alone; those that pass with the changes they come by. One that takes longer than
/// `longest` is not used: a change that survives costs the time of all.
///
/// # Errors
/// A program cannot be run.
pub fn known(programs: &[PathBuf], folder: &Path, longest: Duration) -> Result<Known, String> {
    let mut wanted = Vec::new();
    for program in programs {
        let output = Command::new(program).args(["--list", "--format", "terse"]).output();
        let output = output.map_err(|error| format!("{}: {error}", program.display()))?;
        for line in String::from_utf8_lossy(&output.stdout).lines() {
            if let Some(name) = line.strip_suffix(": test") {
                wanted.push((program.clone(), name.to_owned()));
            }
        }
    }
    let (tests, failing, slow) = (Mutex::new(Vec::new()), Mutex::new(Vec::new()), Mutex::new(Vec::new()));
    side_by_side(wanted.len(), |index| {
        let Some((program, name)) = wanted.get(index) else { return };
        let seen = folder.join(format!("seen-{index}"));
        let _ = std::fs::remove_file(&seen);
        let before = Instant::now();
        let mut command = command(program, &[name]);
        command.env("MUTANTS_SEEN", &seen);
        match run(command, longest) {
            Ran::Passed => {
                let bytes = std::fs::read(&seen).unwrap_or_default();
                let comes_by =
                    bytes.as_chunks::<4>().0.iter().map(|bytes| u32::from_le_bytes(*bytes)).collect();
                let test =
                    Test { program: program.clone(), name: name.clone(), took: before.elapsed(), comes_by };
                push(&tests, test);
            }
            Ran::Failed(_) => push(&failing, name.clone()),
            Ran::Late => push(&slow, name.clone()),
        }
        let _ = std::fs::remove_file(&seen);
    });
    Ok(Known { tests: taken(tests), failing: taken(failing), slow: taken(slow) })
}

/// What becomes of each of these changes.
pub fn fates(
    numbers: &[u32],
    tests: &[Test],
    told: &(dyn Fn(usize, u32, &Fate) + Sync),
) -> BTreeMap<u32, Fate> {
    let kills: Vec<AtomicUsize> = tests.iter().map(|_| AtomicUsize::new(0)).collect();
    let fates = Mutex::new(BTreeMap::new());
    side_by_side(numbers.len(), |index| {
        let Some(&number) = numbers.get(index) else { return };
        let fate = fate(number, tests, &kills);
        told(index, number, &fate);
        if let Ok(mut fates) = fates.lock() {
            fates.insert(number, fate);
        }
    });
    fates.into_inner().unwrap_or_default()
}

fn fate(number: u32, tests: &[Test], kills: &[AtomicUsize]) -> Fate {
    let mut order: Vec<usize> =
        (0..tests.len()).filter(|&index| tests[index].comes_by.contains(&number)).collect();
    let count = order.len();
    // Time that a kill is likely to cost.
    order.sort_by_key(|&index| {
        tests[index].took.as_micros() / (1 + kills[index].load(Ordering::Relaxed) as u128)
    });
    let mut left = order.as_slice();
    while let Some((&first, _)) = left.split_first() {
        let mut took = Duration::ZERO;
        let together = left.iter().take_while(|&&index| {
            let is_first = took == Duration::ZERO;
            took += tests[index].took;
            is_first || tests[index].program == tests[first].program && took < TOGETHER
        });
        let (batch, rest) = left.split_at(together.count());
        left = rest;
        let names: Vec<&String> = batch.iter().map(|&index| &tests[index].name).collect();
        let mut command = command(&tests[first].program, &names);
        command.env("MUTANT", number.to_string());
        match run(command, took * 10 + Duration::from_secs(10)) {
            Ran::Passed => {}
            Ran::Failed(output) => {
                let failed = |index: &&usize| {
                    output.lines().any(|line| {
                        line.strip_prefix("test ").is_some_and(|line| {
                            line.strip_prefix(tests[**index].name.as_str())
                                .is_some_and(|end| end.contains("FAILED"))
                        })
                    })
                };
                let killer = batch.iter().find(failed);
                if let Some(&killer) = killer {
                    kills[killer].fetch_add(1, Ordering::Relaxed);
                }
                let name = killer.map_or("the program stopped", |&killer| tests[killer].name.as_str());
                return Fate::Killed(name.to_owned());
            }
            Ran::Late => return Fate::Killed("took too long".to_owned()),
        }
    }
    Fate::Survived(count)
}

enum Ran {
    Passed,
    Failed(String),
    Late,
}

fn command(program: &Path, names: &[&String]) -> Command {
    // A change may make something grow without end: a test program gets 4 GiB.
    let mut command = Command::new("sh");
    command.args(["-c", "ulimit -v 4194304; exec \"$0\" \"$@\""]).arg(program);
    command.args(names).args(["--exact", "--test-threads=1"]);
    command.env("PROPTEST_MAX_SHRINK_ITERS", "0").env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1");
    command.env("RUST_BACKTRACE", "0").stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
    command
}

fn run(mut command: Command, limit: Duration) -> Ran {
    let Ok(mut child) = command.spawn() else { return Ran::Failed("cannot be run".to_owned()) };
    let Some(mut output) = child.stdout.take() else { return Ran::Failed("says nothing".to_owned()) };
    let reader = std::thread::spawn(move || {
        let mut text = Vec::new();
        let _ = output.read_to_end(&mut text);
        String::from_utf8_lossy(&text).into_owned()
    });
    match ended(&mut child, limit) {
        Some(true) => Ran::Passed,
        Some(false) => Ran::Failed(reader.join().unwrap_or_default()),
        None => Ran::Late,
    }
}

fn ended(child: &mut Child, limit: Duration) -> Option<bool> {
    let since = Instant::now();
    loop {
        if let Ok(Some(status)) = child.try_wait() {
            return Some(status.success());
        }
        if since.elapsed() > limit {
            let _ = child.kill();
            let _ = child.wait();
            return None;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
}

fn side_by_side(count: usize, work: impl Fn(usize) + Sync) {
    let next = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..WORKERS {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= count {
                        return;
                    }
                    work(index);
                }
            });
        }
    });
}

fn push<T>(list: &Mutex<Vec<T>>, item: T) {
    if let Ok(mut list) = list.lock() {
        list.push(item);
    }
}

fn taken<T>(list: Mutex<Vec<T>>) -> Vec<T> {
    list.into_inner().unwrap_or_default()
}
