//! What came with a trace, made wrong on purpose: wherever a joint is told of, it is as bad as the worst of its trace, its
//! inspection, its setup and what is known of it.
//!
//! Decides: the wrong things, and what each must cost.
//! Never: holds an outcome against another part of the program where the file says what it must be. All joints are
//! invented.

use bandward::Outcome;
use bandward_sim::demo;
use bandward_sim::dossier::{Beside, Sources};
use bandward_sim::input::joint_field::{JointField, Stated};
use bandward_sim::input::joint_file::{self, Claim};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::inspection::efficiency::{Compared, propose};
use bandward_sim::inspection::{Inspection, JudgedInspection};
use bandward_sim::process::{Scenario, Targets};
use bandward_sim::register::{Filter, Register};
use bandward_sim::replay::Replay;
use bandward_sim::report;
use bandward_sim::setup::{JudgedSetup, SetupSheet, check};
use bandward_tests::said::write;
use bandward_tests::{made, program, registered};
use rusqlite::Connection;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Output;
use std::sync::LazyLock;
use tempfile::TempDir;

fn procedure() -> ProcedureFile {
    demo::procedure().expect("the demo is sound")
}

fn with_text(text: &str) -> ProcedureFile {
    ProcedureFile::parse("p.toml", text).unwrap_or_else(|errors| panic!("{errors}"))
}

fn with_lines(lines: &str) -> ProcedureFile {
    with_text(&format!("{}\n{lines}", procedure().text))
}

/// A good joint, replayed once for all.
fn good() -> Replay {
    static GOOD: LazyLock<Replay> = LazyLock::new(|| {
        let file = procedure();
        made::replay(&Scenario::good(Targets::of_file(&file), 50.0), &file.procedure).0
    });
    GOOD.clone()
}

/// The same joint twice in one log.
fn two_joints() -> Replay {
    let mut replay = good();
    let (mut joint, mut bands) = (replay.joints[0], replay.bands.clone());
    joint.joint = 2;
    for band in &mut bands {
        band.joint = 2;
    }
    replay.joints.push(joint);
    replay.bands.extend(bands);
    replay
}

fn inspected(text: &str) -> Inspection {
    Inspection::parse("i.toml", text).unwrap_or_else(|errors| panic!("{errors}"))
}

fn judged(text: &str, file: &ProcedureFile) -> JudgedInspection {
    JudgedInspection::of(&inspected(text), Some(file), 1, &[(1, true), (2, false), (3, false)], &[])
}

fn told_of(claims: &[(JointField, Stated)]) -> Vec<Claim> {
    let claim = |(field, stated): &(JointField, Stated)| Claim {
        field: *field,
        stated: stated.clone(),
        source: "--option".to_owned(),
    };
    claims.iter().map(claim).collect()
}

fn text(words: &str) -> Stated {
    Stated::Text(words.to_owned())
}

fn costs(replay: &Replay) -> String {
    replay.dossier.identity.costs(UnitSystem::Metric).join("; ")
}

/// A folder with the demo's procedure, and logs of good joints `S/0.csv` and on, no two of the same bytes.
struct Shop(TempDir);

impl Shop {
    fn new(logs: usize) -> Self {
        static TRACE: LazyLock<String> = LazyLock::new(|| {
            let folder = tempfile::tempdir().expect("a folder");
            let scenario = Scenario::good(Targets::of_file(&procedure()), 25.0);
            write(scenario.rows(), &folder.path().join("g.csv"));
            fs::read_to_string(folder.path().join("g.csv")).expect("written")
        });
        let shop = Self(tempfile::tempdir().expect("a folder"));
        fs::create_dir(shop.0.path().join("S")).expect("a folder");
        shop.put("p.toml", &procedure().text);
        for log in 0..logs {
            shop.put(&format!("S/{log}.csv"), &raised(&TRACE, 0.01 * log as f64));
        }
        shop
    }
    fn put(&self, name: &str, text: &str) {
        fs::write(self.0.path().join(name), text).expect("written");
    }
    fn path(&self) -> &Path {
        self.0.path()
    }
    fn run(&self, arguments: &[&str]) -> Output {
        program::run_in(self.path(), arguments)
    }
}

/// The trace with so many volts more in every row: another weld, and as good.
fn raised(trace: &str, volts: f64) -> String {
    let mut lines = trace.lines();
    let header = lines.next().expect("a header");
    let at = header.split(',').position(|name| name == "voltage_v").expect("a column");
    let row = |row: &str| {
        let mut cells: Vec<_> = row.split(',').map(str::to_owned).collect();
        if let Ok(voltage) = cells[at].parse::<f64>() {
            cells[at] = format!("{:.3}", voltage + volts);
        }
        format!("{}\n", cells.join(","))
    };
    format!("{header}\n{}", lines.map(row).collect::<String>())
}

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn lines(output: &Output) -> Vec<Value> {
    out(output).lines().map(|line| serde_json::from_str(line).expect("a value a line")).collect()
}

const ONE_BAND_TOO_HIGH: &str =
    "[inspection]\n[[band]]\nband = 1\nheight = [\"9 mm\", \"2.7 mm\", \"2.7 mm\", \"2.7 mm\"]\n";

/// A broken inspection, another procedure, an inspection of another serial: in the summary, the lines of the joints,
/// the head of the index, the tables and the register.
#[test]
fn many_logs_are_told_with_all_that_came_with_them() {
    let shop = Shop::new(4);
    shop.put("S/0.inspection.toml", ONE_BAND_TOO_HIGH);
    shop.put("S/1.joint.toml", "[joint]\nserial = \"D1\"\n[procedure]\nname = \"Another\"\n");
    shop.put("S/2.joint.toml", "[joint]\nserial = \"D2\"\n");
    shop.put("S/2.inspection.toml", "[inspection]\nserial = \"D9\"\n");
    let call = [
        "replay",
        "-p",
        "p.toml",
        "--json",
        "S",
        "--register",
        "r.db",
        "--report",
        "pages",
        "--parquet",
        "t",
    ];
    let output = shop.run(&call);
    assert_eq!(output.status.code(), Some(1));
    let told = lines(&output);
    let expected = ["broken", "not proven", "not proven", "proven"];
    for (line, outcome) in told.iter().zip(expected) {
        assert_eq!((&line["outcome"], &line["joints"][0]["outcome"]), (&outcome.into(), &outcome.into()));
        assert_eq!(line["joints"][0]["outcome_of_trace"], "proven");
    }
    assert_eq!(told[0]["joints"][0]["reasons"], Value::from(vec!["inspection-outside"]));
    assert_eq!(told[1]["joints"][0]["reasons"], Value::from(vec!["identity-in-doubt"]));
    let summary = &told[4]["summary"];
    for (key, count) in [("broken", 1), ("not_proven", 2), ("proven", 1), ("worsened", 3)] {
        assert_eq!(summary[key], count, "{key}: {summary}");
    }
    let index = fs::read_to_string(shop.path().join("pages/index.html")).expect("the index");
    assert!(index.contains("1 broken, 2 not proven, 1 proven"), "{index}");
    let found = lines(&shop.run(&["register", "find", "r.db", "--json", "--outcome", "proven"]));
    assert_eq!(found.len(), 1, "{found:?}");
    let register = Connection::open(shop.path().join("r.db")).expect("opened");
    let count = "SELECT count(*) FROM newest_joints WHERE outcome = 'proven'";
    assert_eq!(register.query_row(count, [], |row| row.get(0)), Ok(1));
    drop(register);
    assert_eq!(shop.run(&["register", "check", "r.db"]).status.code(), Some(0));
    let table = fs::read(shop.path().join("t/bands/machine=unnamed/day=undated/joint=0/bands.parquet"));
    let table = table.expect("the table");
    let has = |word: &[u8]| table.windows(word.len()).any(|part| part == word);
    assert!(has(b"joint_outcome") && has(b"broken"));
}

fn signed(lines: &str, signature: &str, file: &ProcedureFile) -> JudgedSetup {
    let sheet = SetupSheet::parse("s.toml", &format!("[setup]\n[measured]\n{lines}{signature}"));
    let sheet = sheet.unwrap_or_else(|errors| panic!("{errors}"));
    let checked = check(&sheet, file);
    JudgedSetup { sheet, checked }
}

/// Current far outside, or hardly anything measured; nobody signed.
#[test]
fn a_setup_counts_for_the_joint() {
    let file = procedure();
    for (lines, outcome, why) in [
        ("current = \"100 A\"\n", Outcome::Broken, "setup-outside"),
        ("current = \"320 A\"\n", Outcome::NotProven, "setup-not-proven"),
    ] {
        let mut replay = good();
        let setup = signed(lines, "", &file);
        replay.attach(&Sources { setup: Some(&setup), procedure: Some(&file), ..Sources::default() });
        let told = report::json::replay(&replay);
        assert_eq!((replay.outcome(), &told["joints"][0]["outcome"]), (outcome, &outcome.name().into()));
        let reasons = told["joints"][0]["reasons"].to_string();
        assert!(reasons.contains(why) && reasons.contains("identity-in-doubt"), "{reasons}");
        assert!(costs(&replay).contains("s.toml: nobody signed the setup off"), "{}", costs(&replay));
        let shown = report::text::replay(&replay, None, UnitSystem::Metric);
        assert!(!shown.contains("WITHIN THE PROCEDURE"), "{shown}");
    }
}

/// The demo does not say which cracks it allows: then nobody may call the joint proven, and the list names the place.
#[test]
fn what_the_shop_must_decide_is_not_proven_and_is_to_be_repaired() {
    for (line, word) in [
        ("cracks = \"open\"", "cracks: open"),
        ("edges = \"unbonded\"", "edges: unbonded"),
        ("porosity = \"cluster\"", "porosity: cluster"),
    ] {
        let beside = Beside {
            inspection: Some(inspected(&format!("[[band]]\nband = 2\n{line}\n"))),
            ..Beside::default()
        };
        let (mut replay, file) = (good(), procedure());
        replay.attach(&Sources { beside: Some(&beside), procedure: Some(&file), ..Sources::default() });
        assert_eq!(replay.outcome(), Outcome::NotProven, "{line}");
        let told = report::json::replay(&replay);
        assert_eq!(told["joints"][0]["reasons"], Value::from(vec!["inspection-open"]));
        let [repair] = &replay.dossier.repairs[..] else { panic!("{:?}", replay.dossier.repairs) };
        assert_eq!((repair.band, repair.actions.len()), (2, 1));
        assert!(repair.found.as_deref().is_some_and(|found| found.contains(word)), "{repair:?}");
        let shown = report::text::replay(&replay, None, UnitSystem::Metric);
        assert!(shown.contains("where the inspector found it") && shown.contains("NOT PROVEN"), "{shown}");
    }
}

/// A serial, a joint file and an inspection are of one joint: where nobody says which of two, neither gets it.
#[test]
fn one_joint_of_several_is_named_or_nothing_is_proven() {
    let file = procedure();
    let attached = |inspection: &str, of_joint| {
        let mut replay = two_joints();
        let joint_file = joint_file::parse("j.toml", "[joint]\nserial = \"S1\"\n");
        let beside = Beside {
            joint_file: joint_file.unwrap_or_else(|errors| panic!("{errors}")),
            inspection: Some(inspected(inspection)),
            ..Beside::default()
        };
        replay.attach(&Sources {
            beside: Some(&beside),
            procedure: Some(&file),
            of_joint,
            ..Sources::default()
        });
        replay
    };
    let replay = attached(ONE_BAND_TOO_HIGH, None);
    assert_eq!((replay.outcome(), replay.dossier.identity.unplaced.len()), (Outcome::NotProven, 2));
    assert!(replay.dossier.identity.context.serial.is_none() && replay.dossier.identity.serials.is_empty());
    assert!(costs(&replay).contains("--of-joint NUMBER says which"), "{}", costs(&replay));
    let replay = attached(ONE_BAND_TOO_HIGH, Some(2));
    let told = report::json::replay(&replay);
    let of = |at: usize| (&told["joints"][at]["serial"], &told["joints"][at]["outcome"]);
    assert_eq!(of(0), (&Value::Null, &"proven".into()));
    assert_eq!(of(1), (&"S1".into(), &"broken".into()));
    assert_eq!(told["context"]["serial"], Value::Null);
    // The page of the other joint tells nothing of it.
    assert!(replay.only(1).dossier.inspection.is_none() && replay.only(2).dossier.inspection.is_some());
    assert_eq!(replay.only(1).outcome(), Outcome::Proven);
    // The inspection says itself which joint it is of; the serial stays without one.
    let replay = attached(&ONE_BAND_TOO_HIGH.replace("]\n[[", "]\njoint = 2\n[["), None);
    assert_eq!((replay.outcome(), replay.dossier.identity.unplaced.len()), (Outcome::Broken, 1));
    // No such joint: neither is of any.
    let identity = attached(ONE_BAND_TOO_HIGH, Some(7)).dossier.identity;
    assert!(identity.serials.is_empty() && identity.unplaced.len() == 2, "{identity:?}");
}

/// At most 50 degC an hour down to 100 degC: half of the way, from too low, upwards, at one time, against the clock.
#[test]
fn a_cooling_is_followed_all_the_way_or_is_not_proven() {
    let file = with_lines("[cooling]\nallowed = \"at most 50 degC/h\"\nuntil = \"100 degC\"\n");
    let whole = "[preheat]\ntemperature = \"160 degC\"\n[[between]]\nbefore_band = 2\ntemperature = \"200 degC\"\n\
                 [[between]]\nbefore_band = 3\ntemperature = \"200 degC\"\n";
    let band = |number| {
        let four = "[\"2.7 mm\", \"2.7 mm\", \"2.7 mm\", \"2.7 mm\"]";
        format!("[[band]]\nband = {number}\nheight = {four}\n")
    };
    let bands = [1, 2, 3].map(band).concat();
    for (from, from_at, to, to_at, outcome, words) in [
        ("300 degC", "20:00", "100 degC", "00:00", Outcome::Proven, ""),
        ("300 degC", "20:00", "100 degC", "23:00", Outcome::Broken, ""),
        ("300 degC", "20:00", "101 degC", "00:10", Outcome::NotProven, "not followed down"),
        ("119 degC", "20:00", "100 degC", "21:00", Outcome::NotProven, "begun below"),
        ("100 degC", "20:00", "300 degC", "23:00", Outcome::NotProven, "did not fall"),
        ("300 degC", "20:00", "100 degC", "20:00", Outcome::NotProven, "are the same"),
        ("300 degC", "20:00", "100 degC", "19:00", Outcome::NotProven, "before the earlier one"),
    ] {
        let cooling = format!(
            "[cooling]\nfrom = \"{from}\"\nfrom_at = \"{from_at}\"\nto = \"{to}\"\nto_at = \"{to_at}\"\n"
        );
        let found = judged(&format!("{whole}{cooling}{bands}"), &file);
        assert_eq!(found.outcome(), outcome, "{from} {from_at} {to} {to_at}");
        let told = report::inspection::text(&found, true, UnitSystem::Metric);
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(words), "{words}: {told}");
        assert!(outcome != Outcome::NotProven || found.effect() == Outcome::NotProven);
    }
}

/// Diameter, end, kind of work, old bands, days: each costs the proof, and is told.
#[test]
fn what_disagrees_with_the_procedure_or_the_clock_costs_the_proof() {
    let never =
        with_text(&procedure().text.replace("over_old_bands = \"compatible\"", "over_old_bands = \"never\""));
    assert_ne!(never.text, procedure().text);
    let own = procedure();
    for (file, field, stated, start, words) in [
        (&own, JointField::OutsideDiameter, Stated::Size(127.0), None, "outside diameter"),
        (&own, JointField::OutsideDiameter, Stated::Size(89.0), None, ""),
        (&own, JointField::End, text("pin"), None, "end: pin"),
        (&own, JointField::OldBands, Stated::Flag(true), None, ""),
        (&never, JointField::OldBands, Stated::Flag(true), None, "lays none over them"),
        (&never, JointField::OldBands, Stated::Flag(false), None, ""),
        (&own, JointField::WeldedAt, text("2026-03-04T07:00:00+01:00"), Some("2026-03-04T19:00:00"), ""),
        (
            &own,
            JointField::WeldedAt,
            text("2026-03-04T07:00:00+01:00"),
            Some("2026-03-09T07:00:00"),
            "the log's own clock says",
        ),
    ] {
        let mut replay = good();
        replay.trace.start = start.map(str::to_owned);
        let options = told_of(&[(field, stated.clone())]);
        replay.attach(&Sources { options: &options, procedure: Some(file), ..Sources::default() });
        let expected = if words.is_empty() { Outcome::Proven } else { Outcome::NotProven };
        assert_eq!(replay.outcome(), expected, "{field:?} {stated:?} {start:?}: {}", costs(&replay));
        assert!(costs(&replay).contains(words), "{words}: {}", costs(&replay));
    }
    let mut replay = good();
    let options = told_of(&[(JointField::Work, text("repair")), (JointField::Work, text("new"))]);
    replay.attach(&Sources { options: &options, procedure: Some(&own), ..Sources::default() });
    assert_eq!(replay.outcome(), Outcome::NotProven);
    for wrong in ["2026-03-04T07:15:00+25:00", "0000-01-01T00:00:00Z", "2026-03-04T07:15:00-13:00"] {
        assert!(JointField::WeldedAt.parse(wrong).is_err(), "{wrong}");
    }
}

/// Bands that are not there, a joint that welding made thinner, an inspection of before the weld.
#[test]
fn an_inspection_that_cannot_be_costs_the_proof() {
    for (lines, words) in [
        ("[diameter]\nbefore = \"88.9 mm\"\nafter = \"80 mm\"\n", "smaller than that of the joint before"),
        ("[[between]]\nbefore_band = 9\ntemperature = \"200 degC\"\n", "before band 9"),
        ("[[band]]\nband = 4\n", "band 4 was inspected"),
        ("", "before it was welded"),
        ("", "more than a year after"),
    ] {
        let date = if words.starts_with("more") { "2099-03-05" } else { "2025-03-05" };
        let date = if lines.is_empty() { date } else { "2026-03-05" };
        let beside = Beside {
            inspection: Some(inspected(&format!("[inspection]\ndate = \"{date}\"\n{lines}"))),
            ..Beside::default()
        };
        let (mut replay, file) = (good(), procedure());
        let options = told_of(&[(JointField::WeldedAt, text("2026-03-04T07:15:00+01:00"))]);
        replay.attach(&Sources {
            options: &options,
            beside: Some(&beside),
            procedure: Some(&file),
            ..Sources::default()
        });
        assert_eq!(replay.outcome(), Outcome::NotProven, "{words}");
        let told = report::model::verdict::Verdict::of(&replay).reasons.join("; ");
        assert!(told.contains(words), "{words}: {told}");
    }
    let twice = "[[between]]\nbefore_band = 2\ntemperature = \"200 degC\"\n";
    let refused = Inspection::parse("i.toml", &twice.repeat(2)).expect_err("twice").to_string();
    assert!(refused.contains("before band 2 is told twice"), "{refused}");
}

#[test]
fn gauge_places_are_four_or_more_and_all_others() {
    let at = |places: &[u32]| {
        let list = |unit: &str, value: &dyn Fn(u32) -> String| {
            places.iter().map(|place| format!("\"{} {unit}\"", value(*place))).collect::<Vec<_>>().join(", ")
        };
        let (angles, heights) = (list("deg", &|place| place.to_string()), list("mm", &|_| "2.6".to_owned()));
        Inspection::parse("i.toml", &format!("[[band]]\nband = 1\nat = [{angles}]\nheight = [{heights}]\n"))
    };
    let five = at(&[0, 72, 144, 216, 288]).unwrap_or_else(|errors| panic!("{errors}"));
    assert_eq!((five.bands[0].at_deg.len(), five.bands[0].heights_mm.len()), (5, 5));
    for (wrong, words) in [
        (&[0, 0, 0, 0][..], "the same place as another one"),
        (&[0, 90, 180, 360], "the same place as another one"),
        (&[0, 120, 240], "`at` has 3 entries"),
    ] {
        let told = at(wrong).expect_err("refused").to_string();
        assert!(told.contains(words), "{words}: {told}");
    }
}

/// Three bands gauged to a tenth, all 2.7 mm beside 2.6 mm: no scatter, and yet no surer than half a tenth of 2.6 mm.
#[test]
fn an_efficiency_is_no_surer_than_the_gauge() {
    let reading = |band: u16, measured_mm: f64| Compared {
        band,
        at_deg: 90.0,
        measured_mm,
        within_mm: 0.05,
        expected_mm: Some(2.6),
        width_ratio: None,
        is_overlapped: false,
    };
    let same: Vec<_> = (1..=3).map(|band| reading(band, 2.7)).collect();
    let found = propose(&same, 0.9, true).expect("three bands");
    assert!((found.within - 0.05 / 2.6).abs() < 1e-9 && found.is_sure(), "{found:?}");
    let wide: Vec<_> = [(1, 1.6), (2, 2.7), (3, 3.6)].map(|(band, mm)| reading(band, mm)).into();
    assert!(!propose(&wide, 0.9, true).expect("three bands").is_sure());
    let more: Vec<_> = (1..=3).map(|band| reading(band, 3.0)).collect();
    assert!(!propose(&more, 0.9, true).expect("three bands").is_sure());
}

/// A, B, A: what was told last is the newest, and a copy without a joint file keeps the serial.
#[test]
fn a_register_shows_what_was_told_last_and_keeps_a_serial() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut register = Register::open(&folder.path().join("r.db")).expect("a new one");
    let (mut proven, broken) = (registered::record("S1"), registered::record("S1"));
    proven["joints"][0]["outcome"] = "proven".into();
    proven["outcome"] = "proven".into();
    let mut nameless = broken.clone();
    nameless["context"]["serial"] = Value::Null;
    for (record, outcome, is_new) in [
        (&broken, "broken", true),
        (&proven, "proven", true),
        (&broken, "broken", false),
        (&broken, "broken", false),
        (&nameless, "broken", true),
        (&proven, "proven", false),
        (&nameless, "broken", false),
    ] {
        assert_eq!(registered::add_record(&mut register, "log", record).expect("added"), is_new);
        let found = register.find(&Filter::default()).expect("found");
        let [joint] = &found[..] else { panic!("{found:?}") };
        assert_eq!((joint.outcome.as_str(), joint.serial.as_deref()), (outcome, Some("S1")));
    }
    assert_eq!(register.faults().expect("looked at"), [] as [String; 0]);
}

/// What was changed behind its back is told; a copy of the file alone is whole, also after a program was killed.
#[test]
fn a_register_tells_what_was_changed_and_is_whole_in_one_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("r.db");
    let mut register = Register::open(&path).expect("a new one");
    registered::add(&mut register, "S1").expect("added");
    // A program that was killed leaves its log: here one that still runs, and its files are copied.
    let killed = folder.path().join("killed.db");
    for ending in ["", "-wal"] {
        let [from, to] = ["r.db", "killed.db"].map(|name| folder.path().join(format!("{name}{ending}")));
        fs::copy(from, to).expect("copied");
    }
    let other = Register::open(&killed).expect("opened");
    fs::copy(&killed, folder.path().join("alone.db")).expect("copied");
    drop(other);
    let alone = Register::read(&folder.path().join("alone.db")).expect("opened");
    assert_eq!(alone.find(&Filter::default()).expect("found").len(), 1);
    drop((alone, register));
    for (change, words) in [
        (
            "UPDATE judgements SET record = replace(record, 'gas-low', 'gas-LOW')",
            "is not the text whose SHA-256",
        ),
        ("UPDATE joints SET outcome = 'proven'", "its outcome is not that of its record"),
        (
            "INSERT INTO procedures VALUES (printf('%064d', 7), 'p.toml', 'P', 'A', 'text')",
            "procedure p.toml",
        ),
    ] {
        let changed = folder.path().join("changed.db");
        fs::copy(&path, &changed).expect("copied");
        Connection::open(&changed).expect("opened").execute_batch(change).expect("changed");
        let faults = Register::read(&changed).expect("opened").faults().expect("looked at");
        assert!(faults.len() == 1 && faults[0].contains(words), "{change}: {faults:?}");
    }
    let error = Register::open(&folder.path().join("no/such/r.db")).err().expect("no folder").to_string();
    assert!(error.contains("there is no such folder"), "{error}");
}

/// A link in another folder, a file that was named, one that is no file.
#[test]
fn files_beside_a_log_are_found_through_a_link_and_never_passed_over() {
    let shop = Shop::new(1);
    shop.put("S/0.joint.toml", "[joint]\nserial = \"S1\"\n");
    shop.put("other.toml", "[joint]\nserial = \"S2\"\n");
    let log = shop.path().join("S/0.csv");
    #[cfg(unix)]
    std::os::unix::fs::symlink(&log, shop.path().join("a.csv")).expect("a link");
    #[cfg(not(unix))]
    fs::copy(&log, shop.path().join("a.csv")).expect("a copy");
    let claims = |trace: &Path, named: Option<&Path>| {
        let beside = Beside::read(Some(trace), named, None).unwrap_or_else(|error| panic!("{error:#}"));
        beside.joint_file.into_iter().map(|claim| claim.stated).collect::<Vec<_>>()
    };
    #[cfg(unix)]
    assert_eq!(claims(&shop.path().join("a.csv"), None), [text("S1")]);
    let other = shop.path().join("other.toml");
    assert_eq!(claims(&log, Some(&other)), [text("S2"), text("S1")]);
    assert_eq!(claims(&log, Some(&shop.path().join("S/0.joint.toml"))), [text("S1")]);
    fs::create_dir(shop.path().join("S/0.inspection.toml")).expect("a folder");
    let error = Beside::read(Some(&log), None, None).expect_err("a folder is no file");
    assert!(format!("{error:#}").contains("0.inspection.toml"), "{error:#}");
}

/// `trend` of traces knows their machines by the files beside them, and goes by when each joint was welded.
#[test]
fn a_trend_of_traces_reads_what_lies_beside_them() {
    let shop = Shop::new(3);
    for (log, machine, day) in [(0, "Bay 2", 9), (1, "bay 2", 7), (2, "Bay 1", 8)] {
        let lines = format!(
            "[joint]\nwelded_at = \"2026-03-{day:02}T07:00:00+01:00\"\n[shop]\nmachine = \"{machine}\"\n"
        );
        shop.put(&format!("S/{log}.joint.toml"), &lines);
    }
    shop.put("S/0.inspection.toml", &ONE_BAND_TOO_HIGH.replace("9 mm", "2.7 mm"));
    let call = ["trend", "-p", "p.toml", "S/0.csv", "S/1.csv", "S/2.csv", "--json"];
    let told: Value = serde_json::from_slice(&shop.run(&call).stdout).expect("JSON");
    let told = told.to_string();
    assert!(told.contains("Bay 1") && told.contains("gauged_less_expected_mm"), "{told}");
    let order = ["S/1.csv", "S/2.csv", "S/0.csv"].map(|log| told.find(log).expect("told"));
    assert!(order.is_sorted(), "{told}");
}
