//! Logs replayed on several worker processes, one of which is killed: the tables are those of one machine.
//!
//! Decides: when the worker is killed, and that a package that is missing is an error where tests must be whole.
//! Assumes: Python with the packages that `sim/fleet/README.md` names; logs are drawn (`bandward_tests::drawn`).
//! Never: counts a log by the tables alone: each must be told exactly once.
#![cfg(unix)]

use bandward_tests::drawn::Drawn;
use bandward_tests::program;
use serde_json::Value;
use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::io::{BufRead as _, BufReader};
use std::os::unix::ffi::OsStrExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// Judges current, voltage and gas of a drawn trace.
const DRAWN: &str = "[procedure]\nname = \"Drawn (invented)\"\n[current]\nallowed = [\"290 A\", \"350 A\"]\n\
                     [voltage]\nallowed = [\"29 V\", \"34 V\"]\nfloor = \"27 V\"\n\
                     [gas_flow]\nallowed = [\"15 L/min\", \"20 L/min\"]\n";
const LOGS: usize = 24;
const MACHINES: [&str; 2] = ["bay-1", "bay 2"];
/// The worker that did this log is killed while the others are under way.
const KILLED_AFTER: usize = 4;

/// Is everything there that is needed? Where it is not, that is an error in a test that must be whole.
fn has_packages() -> bool {
    let found = Command::new("python3").args(["-c", "import distributed, fsspec, duckdb"]).output();
    if found.is_ok_and(|output| output.status.success()) {
        return true;
    }
    let is_whole = std::env::var_os("CI").is_some_and(|value| value == "true");
    assert!(!is_whole, "packages for Python are missing: pip install distributed duckdb");
    println!(
        "skipped: distributed, fsspec or duckdb for Python is not installed (pip install distributed duckdb)"
    );
    false
}

/// Every file under a folder by its place in it.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(looked_into) = folders.pop() {
        for entry in fs::read_dir(&looked_into).expect("a folder") {
            let path = entry.expect("it can be read").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let place = path.strip_prefix(folder).expect("it lies there").to_owned();
                found.insert(place, fs::read(path).expect("read"));
            }
        }
    }
    found
}

/// Logs of two machines, and one that cannot be read.
fn raw_logs(folder: &Path) {
    for machine in MACHINES {
        fs::create_dir_all(folder.join(machine)).expect("a folder");
    }
    for number in 0..LOGS {
        let from_s = 20.0 + number as f64;
        let log = Drawn::default().leak(from_s, from_s + 20.0).csv();
        let place = folder.join(MACHINES[number % MACHINES.len()]).join(format!("joint-{number}.csv"));
        fs::write(place, log).expect("written");
    }
    fs::write(folder.join(MACHINES[0]).join("broken.csv"), "no log\n").expect("written");
}

/// Runs the cluster; what it printed, one object a line, and how it ended.
fn run_and_kill(folder: &Path) -> (Vec<Value>, Option<i32>) {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/fleet/many_machines.py");
    let mut cluster = Command::new("python3");
    cluster.arg(script).args(["raw", "cluster", "--workers", "3", "--machine-of-folder", "--bandward"]);
    cluster.arg(program::path()).args(["--", "--procedure", "p.toml"]);
    let told = fs::File::create(folder.join("told.txt")).expect("a file");
    cluster.current_dir(folder).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(told);
    let mut cluster = cluster.spawn().expect("Python runs");
    let mut lines = Vec::new();
    for line in BufReader::new(cluster.stdout.take().expect("it is piped")).lines() {
        let line: Value = serde_json::from_str(&line.expect("text")).expect("an object a line");
        if lines.len() + 1 == KILLED_AFTER {
            let worker = line["worker"].to_string();
            let killed = Command::new("kill").args(["-9", &worker]).status().expect("kill runs");
            // It is there only as long as the cluster is.
            assert!(killed.success(), "worker {worker} had ended before it was killed");
        }
        lines.push(line);
    }
    let ended = cluster.wait().expect("it ends");
    (lines, ended.code())
}

#[test]
fn a_killed_worker_changes_nothing_in_the_tables() {
    if !has_packages() {
        return;
    }
    let shop = tempfile::tempdir().expect("a folder");
    fs::write(shop.path().join("p.toml"), DRAWN).expect("written");
    raw_logs(&shop.path().join("raw"));
    for machine in MACHINES {
        let logs = format!("raw/{machine}");
        let arguments = ["replay", "-p", "p.toml", "--parquet", "one", "--machine", machine, &logs];
        let ran = program::run_in(shop.path(), &arguments);
        assert_eq!(ran.status.code(), Some(1), "{}", String::from_utf8_lossy(&ran.stderr));
    }
    let (mut lines, code) = run_and_kill(shop.path());
    let told = fs::read_to_string(shop.path().join("told.txt")).expect("read");
    let summary = lines.pop().unwrap_or_default();
    assert_eq!(
        (code, &summary["logs"], &summary["failed"]),
        (Some(3), &(LOGS + 1).into(), &1.into()),
        "{told}"
    );
    let mut names: Vec<_> = lines.iter().map(|line| line["log"].to_string()).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!((lines.len(), names.len()), (LOGS + 1, LOGS + 1), "each log is told once");
    for line in lines.iter().filter(|line| line["exit"] == 2) {
        assert!(line["log"].as_str().is_some_and(|log| log.ends_with("broken.csv")), "{line:#}");
    }
    let (one, cluster) = (files(&shop.path().join("one")), files(&shop.path().join("cluster")));
    assert_eq!(one.len(), 2 * LOGS);
    assert!(one == cluster, "{:#?}\n{:#?}", one.keys(), cluster.keys());
    read_back(shop.path());
}

/// An engine of others reads what the workers wrote: a band, and a leak of gas, a log.
fn read_back(folder: &Path) {
    let query = "import duckdb, sys\nprint(*duckdb.sql(sys.argv[1]).fetchall())";
    let tables = "SELECT machine, count(DISTINCT joint), count(*) FROM \
                  read_parquet('cluster/alarms/**/*.parquet', hive_partitioning = true) \
                  WHERE rule = 'gas-low' GROUP BY machine ORDER BY machine";
    let ran =
        Command::new("python3").args(["-c", query, tables]).current_dir(folder).output().expect("it runs");
    let half = LOGS / 2;
    let expected = format!("('bay 2', {half}, {half}) ('bay-1', {half}, {half})\n");
    assert_eq!(String::from_utf8_lossy(&ran.stdout), expected, "{}", String::from_utf8_lossy(&ran.stderr));
}

fn run(folder: &Path, more: &[&str]) -> Output {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/fleet/many_machines.py");
    let mut cluster = Command::new("python3");
    cluster.arg(script).args(["raw", "tables", "--workers", "1", "--bandward"]).arg(program::path());
    let cluster = cluster.args(["--", "--procedure", "p.toml"]).args(more).current_dir(folder);
    cluster.stdin(Stdio::null()).output().expect("Python runs")
}

/// A name that is no text, and one that some would take for two addresses: both are replayed, as by `bandward replay`.
#[test]
fn any_name_of_a_log_is_taken() {
    if !has_packages() {
        return;
    }
    let shop = tempfile::tempdir().expect("a folder");
    fs::write(shop.path().join("p.toml"), DRAWN).expect("written");
    fs::create_dir(shop.path().join("raw")).expect("a folder");
    for (number, name) in [&b"latin\xe9.csv"[..], b"proto::memory.csv", b"plain.csv"].into_iter().enumerate()
    {
        let log = Drawn::default().leak(20.0, 30.0 + number as f64).csv();
        fs::write(shop.path().join("raw").join(OsStr::from_bytes(name)), log).expect("written");
    }
    let ran = run(shop.path(), &[]);
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    let out = String::from_utf8(ran.stdout).expect("text");
    let lines: Vec<Value> = out.lines().map(|line| serde_json::from_str(line).expect("an object")).collect();
    assert_eq!(lines.len(), 4, "{out}");
    let summary = lines.last().expect("the summary");
    assert_eq!((&summary["logs"], &summary["failed"]), (&3.into(), &0.into()), "{out}");
    assert_eq!(files(&shop.path().join("tables")).len(), 6, "bands and alarms of each");
}

/// Logs of one name are written by their content where they are of one machine and day, and plainly where they are not: as
/// one `bandward replay` of all of them does. The procedure is named in each way that the program takes, from here.
#[test]
fn logs_of_one_name_are_written_as_on_one_machine() {
    if !has_packages() {
        return;
    }
    let shop = tempfile::tempdir().expect("a folder");
    fs::write(shop.path().join("p.toml"), DRAWN).expect("written");
    for (folder, name, until_s, machine) in [
        ("a", "g1", 30.0, None),
        ("b", "g1", 40.0, None),
        ("c", "g1", 50.0, Some("bay-3")),
        ("c", "g2", 30.0, None),
        // Copies of one log.
        ("a", "g3", 30.0, None),
        ("b", "g3", 30.0, None),
    ] {
        let folder = shop.path().join("raw").join(folder);
        fs::create_dir_all(&folder).expect("a folder");
        let log = Drawn::default().leak(20.0, until_s).csv();
        fs::write(folder.join(format!("{name}.csv")), log).expect("written");
        if let Some(machine) = machine {
            let told = format!("[shop]\nmachine = \"{machine}\"\n");
            fs::write(folder.join(format!("{name}.joint.toml")), told).expect("written");
        }
    }
    let ran = program::run_in(shop.path(), &["replay", "-p", "p.toml", "--parquet", "one", "raw"]);
    assert_eq!(ran.status.code(), Some(1), "{}", String::from_utf8_lossy(&ran.stderr));
    let one = files(&shop.path().join("one"));
    let plain = |machine: &str| {
        one.keys()
            .filter(|place| place.ends_with(format!("{machine}/day=undated/joint=g1/bands.parquet")))
            .count()
    };
    assert_eq!((one.len(), plain("unnamed"), plain("machine=bay-3")), (10, 0, 1), "{:#?}", one.keys());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/fleet/many_machines.py");
    for (number, procedure) in ["-pp.toml", "--procedure=p.toml"].into_iter().enumerate() {
        let tables = format!("cluster-{number}");
        let mut cluster = Command::new("python3");
        cluster.arg(&script).args(["raw", &tables, "--workers", "2", "--bandward"]).arg(program::path());
        let cluster = cluster.args(["--", procedure]).current_dir(shop.path()).stdin(Stdio::null());
        let ran = cluster.output().expect("Python runs");
        assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
        assert!(String::from_utf8_lossy(&ran.stdout).contains("\"logs\": 6, \"failed\": 0"), "{procedure}");
        let cluster = files(&shop.path().join(&tables));
        assert!(one == cluster, "{procedure}: {:#?}\n{:#?}", one.keys(), cluster.keys());
    }
}

/// A machine may be called as a file is that lies there.
#[test]
fn a_name_is_not_taken_for_a_file() {
    if !has_packages() {
        return;
    }
    let shop = tempfile::tempdir().expect("a folder");
    fs::write(shop.path().join("p.toml"), DRAWN).expect("written");
    fs::write(shop.path().join("bay-7"), "").expect("written");
    fs::create_dir(shop.path().join("raw")).expect("a folder");
    fs::write(shop.path().join("raw/a.csv"), Drawn::default().csv()).expect("written");
    let ran = run(shop.path(), &["--machine", "bay-7"]);
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    let places = files(&shop.path().join("tables"));
    assert!(
        places.len() == 2 && places.keys().all(|place| place.iter().any(|part| part == "machine=bay-7")),
        "{places:?}"
    );
}

/// A worker that is killed while the cluster starts is as good as one that is killed later.
#[test]
fn a_worker_killed_at_its_start_ends_nothing() {
    if !has_packages() {
        return;
    }
    let shop = tempfile::tempdir().expect("a folder");
    fs::write(shop.path().join("p.toml"), DRAWN).expect("written");
    fs::create_dir(shop.path().join("raw")).expect("a folder");
    fs::write(shop.path().join("raw/a.csv"), Drawn::default().csv()).expect("written");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/fleet/many_machines.py");
    let mut cluster = Command::new("python3");
    cluster.arg(script).args(["raw", "tables", "--workers", "2", "--bandward"]).arg(program::path());
    cluster.args(["--", "--procedure", "p.toml"]).current_dir(shop.path());
    let cluster = cluster.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn();
    let cluster = cluster.expect("Python runs");
    let parent = cluster.id().to_string();
    let began = std::time::Instant::now();
    // As soon as there is a worker, long before it has told that it is ready.
    loop {
        let found =
            Command::new("pgrep").args(["-P", &parent, "-f", "spawn_main"]).output().expect("pgrep runs");
        if let Some(worker) = String::from_utf8_lossy(&found.stdout).lines().next() {
            let killed = Command::new("kill").args(["-9", worker]).status().expect("kill runs");
            assert!(killed.success());
            break;
        }
        assert!(began.elapsed().as_secs() < 60, "no worker was started");
    }
    let ran = cluster.wait_with_output().expect("it ends");
    let told = String::from_utf8_lossy(&ran.stderr).into_owned();
    assert_eq!(ran.status.code(), Some(0), "{told}");
    assert!(String::from_utf8_lossy(&ran.stdout).contains("\"failed\": 0"), "{told}");
}

/// What a worker would write into its own folder is lost with it, and is refused before any log is read.
#[test]
fn files_that_would_be_lost_are_refused() {
    if !has_packages() {
        return;
    }
    let shop = tempfile::tempdir().expect("a folder");
    fs::create_dir(shop.path().join("raw")).expect("a folder");
    for option in ["--register", "--report", "--png", "--parquet"] {
        for given in [&[option, "out"][..], &[&format!("{option}=out")]] {
            let ran = run(shop.path(), given);
            let told = String::from_utf8_lossy(&ran.stderr).into_owned();
            assert_eq!(ran.status.code(), Some(2), "{option}: {told}");
            assert!(told.contains(option) && told.contains("would be lost"), "{option}: {told}");
            assert!(!shop.path().join("tables").exists() && ran.stdout.is_empty());
        }
    }
}
