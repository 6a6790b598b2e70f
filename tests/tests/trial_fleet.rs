//! Tables of a fleet are read by an engine of others: `DuckDB`, in Python.

use assert_cmd::Command;
use bandward_tests::program;
use serde_json::Value;
use std::path::Path;

/// Asks the engine; `None` where it is not installed, which is an error where tests must be whole.
fn asked(query: &str) -> Option<Value> {
    let script = "import duckdb, json, sys\n\
                  rows = duckdb.sql(sys.argv[1])\n\
                  print(json.dumps([dict(zip(rows.columns, row)) for row in rows.fetchall()], default=str))";
    let python = std::process::Command::new("python3").args(["-c", script, query]).output();
    match python {
        Ok(output) if output.status.success() => Some(serde_json::from_slice(&output.stdout).unwrap()),
        Ok(output) if !String::from_utf8_lossy(&output.stderr).contains("No module named 'duckdb'") => {
            panic!("{}", String::from_utf8_lossy(&output.stderr))
        }
        _ => {
            assert!(
                std::env::var_os("CI").is_none_or(|value| value != "true"),
                "DuckDB for Python is missing: pip install duckdb"
            );
            println!("skipped: DuckDB for Python is not installed (pip install duckdb)");
            None
        }
    }
}

fn write(folder: &Path, machine: &str, day: &str, scenarios: &[&str]) {
    let library = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/scenarios");
    let paths = scenarios.iter().map(|name| library.join(name).with_extension("toml"));
    Command::new(program::path())
        .arg("trial")
        .args(paths)
        .args(["--machine", machine, "--day", day, "--parquet"])
        .arg(folder)
        .assert()
        .success();
}

/// The example query of the page about the library, and one about bands.
#[test]
fn joints_of_two_machines_are_asked_about_at_once() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "bay 1/left", "2026-03-01", &["gas-low", "spindle-stall"]);
    write(folder.path(), "bay-2", "2026-03-02", &["gas-low", "slip-then-leak", "good-89-50hz"]);
    let root = folder.path().display();
    let example =
        include_str!("../../sim/scenarios/alarms_by_machine.sql").replace("fleet", &root.to_string());
    let Some(alarms) = asked(&example) else { return };
    let row = |machine: &str, rule: &str, count: u64| serde_json::json!({ "machine": machine, "rule": rule, "alarms": count });
    for expected in [
        row("bay 1/left", "gas-low", 1),
        row("bay 1/left", "spindle-stall", 1),
        row("bay-2", "gas-low", 2),
        row("bay-2", "spindle-slip", 1),
    ] {
        assert!(alarms.as_array().unwrap().contains(&expected), "{expected} in {alarms:#}");
    }
    let bands = asked(&format!(
        "SELECT joint, count(*) AS bands, bool_and(within_procedure) AS within, \
         string_agg(DISTINCT outcome) AS outcome, min(turn_time_s) AS turn_time_s \
         FROM read_parquet('{root}/bands/**/*.parquet', hive_partitioning = true) \
         WHERE machine = 'bay-2' GROUP BY joint ORDER BY joint"
    ))
    .unwrap();
    let joints: Vec<_> = bands
        .as_array()
        .unwrap()
        .iter()
        .map(|row| (row["bands"].as_u64(), row["within"].as_bool()))
        .collect();
    // The good joint too: at 50 Hz its short circuits cannot be counted, and green is a proof.
    assert_eq!(joints, [(Some(2), Some(false)), (Some(3), Some(false)), (Some(2), Some(false))], "{bands:#}");
    assert_eq!(bands[1]["outcome"].as_str(), Some("not proven"), "{bands:#}");
    // The invented joint of 88.9 mm turns in 84 s by its procedure.
    assert!((83.0..85.0).contains(&bands[1]["turn_time_s"].as_f64().unwrap()), "{bands:#}");
}
