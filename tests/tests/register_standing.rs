//! How a joint stands in a register: what was told of it once is not forgotten, and counts wherever the joint is told.
//!
//! Decides: what is told, and in which order.
//! Assumes: a good joint of the process is within the demo's procedure.
//! Never: holds the register against itself where a replay with the same files says what it must be. All joints are invented.

use bandward_sim::demo;
use bandward_sim::process::{Scenario, Targets};
use bandward_tests::program::{self, Ran};
use bandward_tests::said::write;
use parquet::file::reader::{FileReader as _, SerializedFileReader};
use rusqlite::Connection;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use tempfile::TempDir;

struct Shop(TempDir);

const REPLAY: &str = "replay -p p.toml --register r.register joint.csv";

impl Shop {
    /// The good log `joint.csv`, with a joint file beside it.
    fn new() -> Self {
        static LOG: LazyLock<String> = LazyLock::new(|| {
            let folder = tempfile::tempdir().expect("a folder");
            let file = demo::procedure().expect("the demo is sound");
            write(Scenario::good(Targets::of_file(&file), 25.0).rows(), &folder.path().join("g.csv"));
            fs::read_to_string(folder.path().join("g.csv")).expect("written")
        });
        let shop = Self(tempfile::tempdir().expect("a folder"));
        shop.put("p.toml", &demo::procedure().expect("the demo is sound").text);
        shop.put("joint.csv", &LOG);
        shop.put(
            "joint.joint.toml",
            "[joint]\nserial = \"TJ-1\"\nwelded_at = \"2026-03-01T07:15:00+01:00\"\n[shop]\nmachine = \"Bay 2\"\n\
             operator = \"A. Example\"\n",
        );
        shop
    }
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    fn put(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).expect("written");
    }
    /// The log alone in a folder, without what lies beside it.
    fn bare(&self) {
        fs::create_dir(self.path("bare")).expect("a folder");
        fs::copy(self.path("joint.csv"), self.path("bare/joint.csv")).expect("copied");
    }
    fn run(&self, words: &str, code: i32) -> Ran {
        program::ran(self.0.path(), words, code)
    }
    fn find(&self, more: &str) -> Vec<Value> {
        let ran = self.run(&format!("register find r.register --json{more}"), 0);
        ran.out.lines().map(|line| serde_json::from_str(line).expect("an object a line")).collect()
    }
    /// Wherever the joint is told, it has this outcome.
    fn is_everywhere(&self, outcome: &str, words: [&str; 2]) {
        let found =
            self.find(&format!(" --serial TJ-1 --machine bay?2 --from 2026-03-01 --outcome {outcome}"));
        assert_eq!(found.len(), 1, "{:?}", self.find(" --all"));
        let show = self.run("register show r.register --serial TJ-1 --json", 0);
        let shown: Value = serde_json::from_str(&show.out).expect("an object");
        for (told, place) in [(&shown, "the log"), (&shown["joints"][0], "the joint")] {
            assert_eq!(told["outcome"], outcome, "{place}");
            assert_eq!(told["within_procedure"], outcome == "proven", "{place}");
        }
        let text = self.run("register show r.register --serial TJ-1", 0).out;
        let place = |words: &str| text.find(words).unwrap_or(usize::MAX);
        assert!(place(words[0]) <= place("WITHIN THE PROCEDURE"), "{text}");
        // With its log and without it.
        for log in ["joint.csv", "away.csv"] {
            fs::rename(self.path("joint.csv"), self.path(log)).expect("renamed");
            self.run("register show r.register --serial TJ-1 --report page.html", 0);
            fs::rename(self.path(log), self.path("joint.csv")).expect("renamed");
            let page = fs::read_to_string(self.path("page.html")).expect("a page");
            assert!(page.contains(words[1]) && page.contains("nspection"), "{log}: {page}");
        }
        let file = Connection::open(self.path("r.register")).expect("opened");
        for query in ["SELECT outcome FROM newest_joints", "SELECT outcome FROM newest_judgements"] {
            let told: String = file.query_row(query, [], |row| row.get(0)).expect("a row");
            assert_eq!(told, outcome, "{query}");
        }
        drop(file);
        let _ = fs::remove_dir_all(self.path("tables"));
        self.run("register export r.register tables", 0);
        for (table, column) in [("joints", "outcome"), ("bands", "joint_outcome"), ("records", "outcome")] {
            let folder = format!("tables/{table}/machine=Bay%202/day=2026-03-01/joint=joint/{table}.parquet");
            assert_eq!(cells(&self.path(&folder), column), [outcome], "{table}");
        }
        self.run("register check r.register", 0);
    }
}

/// All that stands in a column, each once.
fn cells(path: &Path, column: &str) -> Vec<String> {
    let reader = SerializedFileReader::new(fs::File::open(path).expect("it is there")).expect("Parquet");
    let rows = reader.get_row_iter(None).expect("rows").map(|row| row.expect("a row").into_columns());
    let mut found: Vec<String> = rows
        .flatten()
        .filter(|(name, _)| name == column)
        .map(|(_, field)| field.to_string().trim_matches('"').to_owned())
        .collect();
    found.sort_unstable();
    found.dedup();
    found
}

/// An inspection of the joint: all bands so high.
fn inspection(height_mm: &str, date: &str) -> String {
    let band = |band: u32| {
        format!(
            "[[band]]\nband = {band}\nheight = [\"{height_mm} mm\", \"{height_mm} mm\", \"{height_mm} mm\", \"{height_mm} mm\"]\n"
        )
    };
    let bands: String = (1..=3).map(band).collect();
    format!("[inspection]\nserial = \"TJ-1\"\nby = \"CD\"\ndate = \"{date}\"\n{bands}")
}

#[test]
fn what_was_told_of_a_joint_outlives_a_replay_that_says_less() {
    let shop = Shop::new();
    shop.put("joint.inspection.toml", &inspection("4.7", "2026-03-05"));
    shop.run(REPLAY, 1);
    shop.bare();
    // Beside nothing it is within; the register knows more, and says so.
    shop.run("replay -p p.toml bare/joint.csv", 0);
    let again = shop.run("replay -p p.toml --register r.register bare/joint.csv", 1);
    for words in
        ["keeps serial TJ-1, ", "machine Bay 2", "operator A. Example", "inspection of this log: OUTSIDE"]
    {
        assert!(again.err.contains(words), "{words}: {}", again.err);
    }
    let found = shop.find("");
    assert_eq!(
        (&found[0]["outcome"], &found[0]["outcome_of_judgement"]),
        (&json!("broken"), &json!("proven"))
    );
    assert_eq!(found[0]["operator"], "A. Example");
    fs::remove_file(shop.path("joint.inspection.toml")).expect("removed");
    shop.run(REPLAY, 1);
    shop.is_everywhere("broken", ["OUTSIDE", "OUTSIDE THE PROCEDURE"]);
    // A new inspection beside the log takes the place of the old one, as it does for a replay.
    shop.put("joint.inspection.toml", &inspection("2.7", "2026-03-06"));
    shop.run("replay -p p.toml joint.csv", 0);
    shop.run(REPLAY, 0);
    assert_eq!(shop.find("")[0]["outcome"], "proven");
}

#[test]
fn an_inspection_recorded_afterwards_counts_wherever_the_joint_is_told() {
    let shop = Shop::new();
    shop.run(REPLAY, 0);
    shop.put("i.toml", &inspection("4.7", "2026-03-05"));
    shop.run("inspect -p p.toml --from i.toml --register r.register", 1);
    shop.is_everywhere("broken", ["OUTSIDE", "OUTSIDE THE PROCEDURE"]);
    // Told again it is no better, and whoever replays it is told.
    let again = shop.run(REPLAY, 1);
    assert!(again.err.contains("inspection of TJ-1: OUTSIDE, signed by CD at 2026-03-05"), "{}", again.err);
    shop.is_everywhere("broken", ["OUTSIDE", "OUTSIDE THE PROCEDURE"]);
    // Repaired and inspected anew.
    shop.put("i.toml", &inspection("2.7", "2026-03-06"));
    let sound = program::run_in(
        shop.0.path(),
        &["inspect", "-p", "p.toml", "--from", "i.toml", "--register", "r.register"],
    );
    // What was not looked at leaves the proof of the trace, as in a replay.
    assert_ne!(sound.status.code(), Some(1), "{sound:?}");
    shop.is_everywhere("proven", ["within", "WITHIN THE PROCEDURE"]);
    // Inspected before it was welded: it is of another joint.
    shop.put("i.toml", &inspection("2.7", "2025-12-06"));
    program::run_in(
        shop.0.path(),
        &["inspect", "-p", "p.toml", "--from", "i.toml", "--register", "r.register"],
    );
    assert_eq!(shop.find("")[0]["outcome"], "not proven");
    // Whoever changes an outcome by hand is found.
    let by_hand = Connection::open(shop.path("r.register")).expect("opened");
    by_hand.execute("UPDATE joints SET outcome = 'proven'", []).expect("changed");
    drop(by_hand);
    assert!(shop.run("register check r.register", 1).out.contains("its outcome is not that of its record"));
}

/// A setup within the demo's procedure; all of it is invented.
const SETUP: &str = "[setup]\njoint = \"TJ-1\"\n[measured]\noutside_diameter = \"88.9 mm\"\nrotation = \"clockwise\"\n\
    old_band = \"none\"\npreheat = \"200 degC\"\npolarity = \"DCEP\"\nwire_diameter = \"1.6 mm\"\nnozzle_bore = \"3/4 in\"\n\
    tip_recess = \"2 mm\"\nstick_out = \"24 mm\"\ntorch_angle = \"13 deg\"\ntorch_side = \"left\"\ntorch_offset = \"20 mm\"\n\
    turn_time = \"84 s\"\nweave_width = \"25 mm\"\nweave_rate = \"80 /min\"\nstep_over = \"23 mm\"\ngas_mixture = \"98Ar/2O2\"\n\
    gas_flow = \"17.5 L/min\"\ncoolant_before_arc = \"yes\"\ncoolant_flow = \"5 L/min\"\nwire_feed = \"7.2 m/min\"\n\
    current = \"320 A\"\nvoltage = \"31.5 V\"\n";

#[test]
fn a_setup_recorded_on_its_own_is_judged_as_by_a_replay() {
    let shop = Shop::new();
    shop.put("s.toml", SETUP);
    shop.run("setup -p p.toml --from s.toml --save signed.toml --initials AB", 0);
    let signed = fs::read_to_string(shop.path("signed.toml")).expect("saved");
    let line = signed.lines().find(|line| line.starts_with("time = ")).expect("when it was signed");
    // In time, months after the weld, and too long before it.
    for (number, (time, code, outcome)) in [
        ("2026-03-01T06:00:00+01:00", 0, "proven"),
        ("2026-11-27T06:00:00+01:00", 3, "not proven"),
        ("2026-02-20T06:00:00+01:00", 3, "not proven"),
    ]
    .into_iter()
    .enumerate()
    {
        shop.put("own.toml", &signed.replace(line, &format!("time = \"{time}\"")));
        let _ = fs::remove_file(shop.path("r.register"));
        shop.run("replay -p p.toml --setup own.toml joint.csv", code);
        // Before the log or after it.
        if number % 2 == 0 {
            shop.run("setup -p p.toml --from own.toml --register r.register", 0);
            shop.run(REPLAY, code);
        } else {
            shop.run(REPLAY, 0);
            shop.run("setup -p p.toml --from own.toml --register r.register", 0);
        }
        assert_eq!(shop.find("")[0]["outcome"], outcome, "{time}");
    }
    let told = shop.run("register show r.register --serial TJ-1", 0).out;
    assert!(told.contains("a setup holds for"), "{told}");
    // Told with the log it is not forgotten either.
    fs::remove_file(shop.path("r.register")).expect("removed");
    shop.run("replay -p p.toml --register r.register --setup own.toml joint.csv", 3);
    let again = shop.run(REPLAY, 3);
    assert!(again.err.contains("setup of this log: NOT PROVEN"), "{}", again.err);
    assert_eq!(shop.find("")[0]["outcome"], "not proven");
}

/// What was recorded before outcomes were kept with the joints is brought up to date when the register is opened.
#[test]
fn an_older_register_tells_an_inspection_everywhere_too() {
    let shop = Shop::new();
    shop.run(REPLAY, 0);
    shop.put("i.toml", &inspection("4.7", "2026-03-05"));
    shop.run("inspect -p p.toml --from i.toml --register r.register", 1);
    let older = Connection::open(shop.path("r.register")).expect("opened");
    older
        .execute_batch(
            "UPDATE joints SET outcome = outcome_of_judgement; UPDATE judgements SET outcome = 'proven'; \
             ALTER TABLE joints DROP COLUMN recorded; ALTER TABLE joints DROP COLUMN outcome_of_judgement; \
             PRAGMA user_version = 4;",
        )
        .expect("made older");
    drop(older);
    shop.is_everywhere("broken", ["OUTSIDE", "OUTSIDE THE PROCEDURE"]);
}
