//! Tests run against one change after the other.
//!
//! Decides: which tests come by a change (they are run alone, once), and in what order those are run against it: quick
//! ones and those that killed before come first, and none after the first that fails.
//! Assumes: a test that fails with a change and not without was failed by the change.
//! Never: waits for ever: a test that takes ten times as long as it did, and ten seconds more, has noticed.

use crate::copy::cargo;
use crate::names::Point;
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

/// One that killed a change before may take so long.
const KILLER: Duration = Duration::from_secs(20);

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
    /// All tests that come by it passed; so many were run.
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
/// it may is not used: a change that survives costs the time of all.
///
/// # Errors
/// A program cannot be run.
pub fn known(programs: &[PathBuf], folder: &Path, way: &Way) -> Result<Known, String> {
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
    let killers: BTreeSet<&String> = way.killers.values().collect();
    let (tests, failing, slow) = (Mutex::new(Vec::new()), Mutex::new(Vec::new()), Mutex::new(Vec::new()));
    side_by_side(wanted.len(), |index| {
        let Some((program, name)) = wanted.get(index) else { return };
        let seen = folder.join(format!("seen-{index}"));
        let _ = std::fs::remove_file(&seen);
        let before = Instant::now();
        let mut command = command(program, &[name]);
        command.env("MUTANTS_SEEN", &seen);
        let limit = if killers.contains(name) { way.longest.max(KILLER) } else { way.longest };
        match run(command, limit) {
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

/// How tests are run against a change.
#[derive(Clone, Debug)]
pub struct Way {
    /// A test that takes longer than this alone is not used, unless it killed a change before, and then against that.
    pub longest: Duration,
    /// No test is begun once those before it take longer than this.
    pub budget: Duration,
    /// Which test killed a change before, by [`Point::name`].
    pub killers: BTreeMap<String, String>,
}

/// What becomes of each of these changes.
pub fn fates(
    points: &[Point],
    tests: &[Test],
    way: &Way,
    told: &(dyn Fn(usize) + Sync),
) -> BTreeMap<u32, Fate> {
    let kills = tests.iter().map(|_| Mutex::new(BTreeMap::new())).collect::<Vec<Kills>>();
    let fates = Mutex::new(BTreeMap::new());
    side_by_side(points.len(), |index| {
        let Some(point) = points.get(index) else { return };
        told(index);
        let fate = fate(point, tests, way, &kills);
        if let Ok(mut fates) = fates.lock() {
            fates.insert(point.number, fate);
        }
    });
    fates.into_inner().unwrap_or_default()
}

/// How many changes of each file a test killed.
type Kills = Mutex<BTreeMap<String, u128>>;

fn fate(point: &Point, tests: &[Test], way: &Way, kills: &[Kills]) -> Fate {
    let mut order: Vec<usize> =
        (0..tests.len()).filter(|&index| tests[index].comes_by.contains(&point.number)).collect();
    let killer = way.killers.get(&point.name());
    let is_killer = |index: usize| killer.is_some_and(|killer| *killer == tests[index].name);
    order.retain(|&index| tests[index].took <= way.longest || is_killer(index));
    // Time that a kill is likely to cost.
    let killed_here = |index: usize| {
        let kills = kills[index].lock().ok();
        kills.and_then(|kills| kills.get(&point.file).copied()).unwrap_or_default()
    };
    order.sort_by_key(|&index| (!is_killer(index), tests[index].took.as_micros() / (1 + killed_here(index))));
    let (mut left, mut spent, mut count) = (order.as_slice(), Duration::ZERO, 0);
    while let Some((&first, _)) = left.split_first() {
        if spent > way.budget {
            break;
        }
        let mut took = Duration::ZERO;
        let together = left.iter().take_while(|&&index| {
            let is_first = took == Duration::ZERO;
            let fits = is_first
                || tests[index].program == tests[first].program && took + tests[index].took < TOGETHER;
            if fits {
                took += tests[index].took;
            }
            fits
        });
        let (batch, rest) = left.split_at(together.count());
        (left, spent, count) = (rest, spent + took, count + batch.len());
        let names: Vec<&String> = batch.iter().map(|&index| &tests[index].name).collect();
        let mut command = command(&tests[first].program, &names);
        command.env("MUTANT", point.number.to_string());
        match run(command, took * 10 + Duration::from_secs(10)) {
            Ran::Passed => {}
            Ran::Failed(output) => {
                let Some(&killer) = batch.iter().find(|&&index| has_failed(&output, &tests[index].name))
                else {
                    return Fate::Killed("the program stopped".to_owned());
                };
                if let Ok(mut kills) = kills[killer].lock() {
                    *kills.entry(point.file.clone()).or_default() += 1;
                }
                return Fate::Killed(tests[killer].name.clone());
            }
            Ran::Late => return Fate::Killed("took too long".to_owned()),
        }
    }
    Fate::Survived(count)
}

fn has_failed(output: &str, name: &str) -> bool {
    output.lines().any(|line| {
        let rest = line.strip_prefix("test ").and_then(|line| line.strip_prefix(name));
        rest.is_some_and(|rest| rest.contains("FAILED"))
    })
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
