//! `bandward register export`: its tables are those a replay writes, and `trend` says the same from them.
//!
//! Decides: how near a figure of the record, which has six decimals, must be to that of the replay.
//! Assumes: the demo's log, and the records of the demo's shop with machines that are invented here.

use bandward_sim::register::Register;
use bandward_tests::{program, registered};
use parquet::file::reader::{FileReader as _, SerializedFileReader};
use parquet::record::Field;
use serde_json::{Value, json};
use std::fs;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::Output;

fn shipped(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(name)
}

fn rows(path: &Path) -> Vec<Vec<(String, Field)>> {
    let reader = SerializedFileReader::new(fs::File::open(path).expect("it is there")).expect("Parquet");
    let rows = reader.get_row_iter(None).expect("rows");
    rows.map(|row| row.expect("a row").into_columns()).collect()
}

fn is_same(one: &(String, Field), other: &(String, Field)) -> bool {
    let is_near = match (&one.1, &other.1) {
        (Field::Double(one), Field::Double(other)) => (one - other).abs() <= 0.51e-6,
        (one, other) => one == other,
    };
    one.0 == other.0 && is_near
}

fn run(folder: &Path, arguments: &[&str], code: i32) -> Output {
    let ran = program::run_in(folder, arguments);
    assert_eq!(ran.status.code(), Some(code), "{arguments:?}: {}", String::from_utf8_lossy(&ran.stderr));
    ran
}

/// The bands and alarms that a replay writes and those out of the register are the same rows in the same place.
#[test]
fn its_tables_are_those_of_a_replay() {
    let shop = tempfile::tempdir().expect("a folder");
    let shop = shop.path();
    fs::copy(shipped("sim/demo/joint.csv.gz"), shop.join("joint.csv.gz")).expect("copied");
    fs::copy(shipped("sim/demo/procedure.toml"), shop.join("p.toml")).expect("copied");
    fs::write(shop.join("joint.joint.toml"), "[joint]\nserial = \"TJ-7\"\n").expect("written");
    let replay =
        ["replay", "joint.csv.gz", "-p", "p.toml", "--machine", "bay 2/left", "--parquet", "replayed"];
    run(shop, &[&replay[..], &["--register", "shop.register"]].concat(), 1);
    run(shop, &["register", "export", "shop.register", "exported"], 0);
    for (table, least) in [("bands", 3), ("alarms", 2)] {
        let place = format!("{table}/machine=bay%202%2Fleft/day=undated/joint=joint/{table}.parquet");
        let replayed = rows(&shop.join("replayed").join(&place));
        let exported = rows(&shop.join("exported").join(&place));
        assert!(replayed.len() >= least && replayed.len() == exported.len(), "{table}: {}", replayed.len());
        for (one, other) in replayed.iter().flatten().zip(exported.iter().flatten()) {
            assert!(is_same(one, other), "{table}: {one:?} {other:?}");
        }
        assert_eq!(replayed[0].len(), exported[0].len(), "{table}");
    }
    let joints =
        rows(&shop.join("exported/joints/machine=bay%202%2Fleft/day=undated/joint=joint/joints.parquet"));
    assert!(joints[0].contains(&("serial".to_owned(), Field::Str("TJ-7".to_owned()))), "{joints:?}");
    // Tables in a folder of logs are no logs.
    let found = run(shop, &["replay", "."], 1);
    assert!(String::from_utf8_lossy(&found.stdout).starts_with("1 log;"), "{found:?}");
}

/// Machine and day of a joint file, and a name with dots: the replay and the register write to the same folders.
#[test]
fn a_replay_and_a_register_name_the_same_folders() {
    let shop = tempfile::tempdir().expect("a folder");
    let shop = shop.path();
    fs::copy(shipped("sim/demo/procedure.toml"), shop.join("p.toml")).expect("copied");
    let logs = [("a", "Bay 1", "07.15"), ("b", "Bay 2", "07.15"), ("b", "Bay 2", "08.20")];
    for (folder, machine, time) in logs {
        fs::create_dir_all(shop.join(folder)).expect("a folder");
        let name = format!("{folder}/2026-03-04.{time}");
        fs::copy(shipped("sim/demo/joint.csv.gz"), shop.join(format!("{name}.csv.gz"))).expect("copied");
        let told = format!(
            "[joint]\nserial = \"{machine} {time}\"\nwelded_at = \"2026-03-04T23:50:00-06:00\"\n[shop]\nmachine = \"{machine}\"\n"
        );
        fs::write(shop.join(format!("{name}.joint.toml")), told).expect("written");
    }
    run(shop, &["replay", "a", "b", "-p", "p.toml", "--parquet", "replayed"], 1);
    for (folder, machine, time) in logs {
        let place = format!(
            "bands/machine={}/day=2026-03-04/joint=2026-03-04.{time}/bands.parquet",
            machine.replace(' ', "%20")
        );
        assert!(shop.join("replayed").join(&place).is_file(), "{place}");
        let log = format!("{folder}/2026-03-04.{time}.csv.gz");
        let (register, tables) = (format!("{folder}{time}.register"), format!("{folder}{time}"));
        run(shop, &["replay", &log, "-p", "p.toml", "--register", &register], 1);
        run(shop, &["register", "export", &register, &tables], 0);
        assert!(shop.join(&tables).join(&place).is_file(), "{place}");
    }
    // Of two of the same machine, day and name the second has a folder of its own.
    fs::create_dir(shop.join("c")).expect("a folder");
    let told = "2026-03-04.07.15.joint.toml";
    fs::copy(shop.join("b").join(told), shop.join("c").join(told)).expect("copied");
    // Another log by its content: the same one would stand once.
    let mut rows = Vec::new();
    let packed = fs::read(shipped("sim/demo/joint.csv.gz")).expect("read");
    flate2::read::GzDecoder::new(&packed[..]).read_to_end(&mut rows).expect("unpacked");
    fs::write(shop.join("c/2026-03-04.07.15.csv"), rows).expect("written");
    let same = run(shop, &["replay", "b", "c", "-p", "p.toml", "--parquet", "same"], 1);
    assert!(String::from_utf8_lossy(&same.stderr).contains("of that machine and day"), "{same:?}");
    let joints = fs::read_dir(shop.join("same/bands/machine=Bay%202/day=2026-03-04")).expect("written");
    assert_eq!(joints.count(), 3);
}

/// A register of the demo's shop: two machines, the logs of both with the same names, each judged twice.
fn two_machines(path: &Path) {
    let records = fs::read_to_string(shipped("sim/demo/joints.json")).expect("read");
    let records: Vec<Value> = serde_json::from_str(&records).expect("an array");
    let mut register = Register::open(path).expect("a new one");
    for (machine, hour) in [("bay-1", 6), ("bay-2", 14)] {
        for (number, record) in records.iter().enumerate() {
            let mut record = record.clone();
            // Of an older form, without joints.
            let outcome = if record["within_procedure"] == true { "proven" } else { "broken" };
            record["outcome"] = outcome.into();
            record["joints"] = json!([{ "joint": 1, "bands": 3, "outcome": outcome, "reasons": [] }]);
            record["trace"]["path"] = format!("shift/joint-{}.csv", number % 5).into();
            record["trace"]["start"] = format!("2026-03-04T{hour:02}:{number:02}:00").into();
            let mut other = record.clone();
            other["context"]["machine"] = "not yet told".into();
            record["context"]["machine"] = machine.into();
            for record in [&other, &record] {
                let log = format!("{machine} {number}");
                assert!(registered::add_record(&mut register, &log, record).expect("added"));
            }
        }
    }
}

/// In text and in JSON, byte for byte.
#[test]
fn trend_says_the_same_from_it() {
    let shop = tempfile::tempdir().expect("a folder");
    let shop = shop.path();
    two_machines(&shop.join("shop.register"));
    run(shop, &["register", "export", "shop.register", "tables"], 0);
    for form in [&["--json"][..], &["--units", "metric"]] {
        let from_register = run(shop, &[&["trend", "--register", "shop.register"], form].concat(), 1);
        let from_tables = run(shop, &[&["trend", "tables"], form].concat(), 1);
        assert_eq!(from_tables.stdout, from_register.stdout, "{form:?}");
        let text = String::from_utf8_lossy(&from_tables.stdout).into_owned();
        assert!(["bay-1", "bay-2"].iter().all(|machine| text.contains(machine)), "{text}");
        assert!(!text.contains("not yet told"), "an older judgement went out: {text}");
    }
    // Only what is asked for, and nothing into a folder that has something in it.
    let part = ["register", "export", "shop.register", "part", "--machine", "bay-2", "--json"];
    let part = run(shop, &part, 0);
    let part: Value = serde_json::from_slice(&part.stdout).expect("an object");
    assert_eq!(part["logs"].as_u64(), part["joints"].as_u64());
    assert!(shop.join("part/records/machine=bay-2/day=2026-03-04/joint=joint-0-2/records.parquet").is_file());
    assert!(!shop.join("part/records/machine=bay-1").exists());
    let again = run(shop, &["register", "export", "shop.register", "part"], 2);
    assert!(String::from_utf8_lossy(&again.stderr).contains("not empty"), "{again:?}");
    let none = run(shop, &["register", "export", "shop.register", "none", "--serial", "no-such"], 2);
    assert!(String::from_utf8_lossy(&none.stderr).contains("no such joint"), "{none:?}");
    // A damaged table is told with its name, a folder of something else too.
    fs::write(shop.join("part/records/spoilt.parquet"), "PAR1 and no more").expect("written");
    let damaged = run(shop, &["trend", "part"], 2);
    assert!(String::from_utf8_lossy(&damaged.stderr).contains("spoilt.parquet"), "{damaged:?}");
    let other = run(shop, &["trend", "part/bands"], 2);
    assert!(String::from_utf8_lossy(&other.stderr).contains("register export"), "{other:?}");
}
