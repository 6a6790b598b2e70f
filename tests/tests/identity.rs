//! Which joint a trace is of: by every source, where two disagree, and whether setup and trace belong together.
//!
//! All joints, serials and times are invented.

use bandward::Outcome;
use bandward_sim::demo;
use bandward_sim::dossier::Sources;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::{Scenario, Targets};
use bandward_sim::replay::Replay;
use bandward_sim::setup::{JudgedSetup, SetupSheet, check};
use bandward_tests::said::write;
use bandward_tests::{made, program};
use serde_json::Value;
use std::path::Path;
use std::sync::LazyLock;

fn procedure() -> ProcedureFile {
    demo::procedure().expect("the demo is sound")
}

fn scenario() -> Scenario {
    Scenario::good(Targets::of_file(&procedure()), 50.0)
}

/// A good joint, replayed once for all.
fn good() -> Replay {
    static GOOD: LazyLock<Replay> = LazyLock::new(|| made::replay(&scenario(), &procedure().procedure).0);
    GOOD.clone()
}

/// A folder with the demo's procedure and the trace of a good joint, `joint-7.csv`.
fn folder() -> tempfile::TempDir {
    static TRACE: LazyLock<Vec<u8>> = LazyLock::new(|| {
        let folder = tempfile::tempdir().expect("a folder");
        write(scenario().rows(), &folder.path().join("joint-7.csv"));
        std::fs::read(folder.path().join("joint-7.csv")).expect("written")
    });
    let folder = tempfile::tempdir().expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo/procedure.toml");
    std::fs::copy(demo, folder.path().join("p.toml")).expect("a copy");
    std::fs::write(folder.path().join("joint-7.csv"), &*TRACE).expect("written");
    folder
}

struct Told {
    code: Option<i32>,
    out: String,
    error: String,
}

fn replayed(folder: &Path, arguments: &[&str]) -> Told {
    let all = [&["replay", "--procedure", "p.toml", "joint-7.csv"], arguments].concat();
    let output = program::run_in(folder, &all);
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Told { code: output.status.code(), out: text(&output.stdout), error: text(&output.stderr) }
}

fn json(told: &Told) -> Value {
    serde_json::from_str(&told.out).unwrap_or_else(|error| panic!("{error}: {}{}", told.out, told.error))
}

const JOINT_FILE: &str = "[joint]\nserial = \"TJ-1042\"\nend = \"box\"\nwork = \"repair\"\nold_bands = true\n\
    welded_at = \"2026-03-04T07:15:00+01:00\"\n[shop]\nmachine = \"Bay 2\"\noperator = \"AB\"\n\
    [consumables]\ngas_certificate = \"G 17\"\n";

#[test]
fn the_file_beside_the_trace_names_the_joint_everywhere() {
    let folder = folder();
    let before = replayed(folder.path(), &[]);
    assert_eq!(before.code, Some(0), "{}", before.out);
    assert!(before.out.starts_with("joint-7.csv: "), "{}", before.out);
    std::fs::write(folder.path().join("joint-7.joint.toml"), JOINT_FILE).expect("written");
    let told = replayed(folder.path(), &["--report", "page.html"]);
    assert_eq!(told.code, Some(0), "{}{}", told.out, told.error);
    assert!(told.out.starts_with("TJ-1042, box\njoint-7.csv: "), "{}", told.out);
    let flat = told.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("machine Bay 2, operator AB"), "{}", told.out);
    let page = std::fs::read_to_string(folder.path().join("page.html")).expect("the page");
    assert!(page.contains("<h1>TJ-1042, box</h1>") && page.contains("<title>TJ-1042, box: WITHIN"));
    assert!(page.contains("<dt>File</dt><dd>joint-7.csv</dd>"));
    let told = json(&replayed(folder.path(), &["--json"]));
    for (key, value) in [
        ("serial", Value::from("TJ-1042")),
        ("end", "box".into()),
        ("work", "repair".into()),
        ("old_bands", true.into()),
        ("welded_at", "2026-03-04T07:15:00+01:00".into()),
        ("gas_certificate", "G 17".into()),
        ("machine", "Bay 2".into()),
        ("revision", "A".into()),
        ("outside_diameter_mm", 88.9.into()),
    ] {
        assert_eq!(told["context"][key], value, "{key}");
    }
    assert_eq!(told["joints"][0]["serial"], "TJ-1042");
}

#[test]
fn two_sources_that_disagree_are_both_told_with_their_places() {
    let folder = folder();
    std::fs::write(folder.path().join("joint-7.joint.toml"), JOINT_FILE).expect("written");
    // Another operator costs nothing, another serial the proof.
    let told = replayed(folder.path(), &["--operator", "CD"]);
    assert_eq!(told.code, Some(0), "{}", told.out);
    let flat = told.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("note: operator: CD (--operator), but AB (joint-7.joint.toml, line 9)"), "{flat}");
    let told = replayed(folder.path(), &["--serial", "TJ-1024"]);
    assert_eq!(told.code, Some(3), "{}", told.out);
    let flat = told.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("NOT PROVEN: 3 bands; what came with the trace does not agree"), "{flat}");
    assert!(flat.contains("serial: TJ-1024 (--serial), but TJ-1042 (joint-7.joint.toml, line 2)"), "{flat}");
    let told = json(&replayed(folder.path(), &["--serial", "TJ-1024", "--json"]));
    assert_eq!((&told["outcome"], &told["within_procedure"]), (&"not proven".into(), &false.into()));
    assert_eq!(told["context"]["serial"], "TJ-1024");
    let found = &told["identity"]["disagreements"][0];
    assert_eq!((&found["field"], &found["costs_proof"]), (&"serial".into(), &true.into()));
    assert_eq!(found["other"]["source"], "joint-7.joint.toml, line 2");
    // The same name in other letters is the same.
    assert_eq!(replayed(folder.path(), &["--serial", "tj-1042"]).code, Some(0));
    // What it was judged by stands; a file that names another one is told.
    let other = format!("{JOINT_FILE}[procedure]\nrevision = \"B\"\n");
    std::fs::write(folder.path().join("joint-7.joint.toml"), other).expect("written");
    let told = json(&replayed(folder.path(), &["--json"]));
    assert_eq!((&told["outcome"], &told["context"]["revision"]), (&"not proven".into(), &"A".into()));
}

#[test]
fn faults_of_a_joint_file_are_told_with_line_and_what_is_allowed() {
    let folder = folder();
    std::fs::write(folder.path().join("joint-7.joint.toml"), "[joint]\nserail = \"x\"\nend = \"middle\"\n")
        .expect("written");
    let told = replayed(folder.path(), &[]);
    assert_eq!((told.code, told.out.as_str()), (Some(2), ""));
    for words in
        ["joint-7.joint.toml:2", "did you mean `serial`?", "joint-7.joint.toml:3", "\"pin\" or \"box\""]
    {
        assert!(told.error.contains(words), "{words}: {}", told.error);
    }
    let told = replayed(folder.path(), &["joint-7.csv", "--serial", "x"]);
    assert_eq!(told.code, Some(2));
    assert!(told.error.contains("--serial is of one joint"), "{}", told.error);
}

/// Whatever a serial holds, it is text on the page.
#[test]
fn a_serial_is_no_markup() {
    let folder = folder();
    let told = replayed(folder.path(), &["--serial", "<b>&\"1", "--report", "page.html"]);
    assert_eq!(told.code, Some(0), "{}", told.error);
    let page = std::fs::read_to_string(folder.path().join("page.html")).expect("the page");
    assert!(page.contains("<h1>&lt;b&gt;&amp;&quot;1, box</h1>"));
    let told = replayed(folder.path(), &["--serial", "1\u{1b}[2J"]);
    assert_eq!(told.code, Some(2), "{}", told.out);
    assert!(told.error.contains("cannot be printed") && !told.error.contains('\u{1b}'), "{}", told.error);
}

/// The trace with a column of serials, which is `one` up to a share of its rows and `two` from there on.
fn with_serials(folder: &Path, one: &str, two: &str, share: f64) {
    let text = std::fs::read_to_string(folder.join("joint-7.csv")).expect("the trace");
    let count = text.lines().count() as f64;
    let lines = text.lines().enumerate().map(|(index, line)| match index {
        0 => format!("{line},Joint no\n"),
        at if (at as f64) < share * count => format!("{line},{one}\n"),
        _ => format!("{line},{two}\n"),
    });
    std::fs::write(folder.join("joint-7.csv"), lines.collect::<String>()).expect("written");
    let layout = "[time]\nseconds = \"time_s\"\n[channels]\n\
        current = { column = \"current_a\", unit = \"A\" }\nvoltage = { column = \"voltage_v\", unit = \"V\" }\n\
        gas = { column = \"gas_lpm\", unit = \"L/min\" }\ntorch = { column = \"torch_mm\", unit = \"mm\" }\n\
        spindle = { column = \"spindle_deg\", unit = \"deg\" }\n\
        wire = { column = \"wire_mm_per_min\", unit = \"mm/min\" }\n\
        coolant = { column = \"coolant_lpm\", unit = \"L/min\" }\nwork = { column = \"work_c\", unit = \"degC\" }\n\
        carriage = { column = \"carriage_mm\", unit = \"mm\" }\n[joint]\nserial = \"Joint no\"\n";
    std::fs::write(folder.join("layout.toml"), layout).expect("written");
}

#[test]
fn a_column_of_the_log_names_the_joint_and_may_not_change_within_it() {
    let folder = folder();
    with_serials(folder.path(), "TJ-9", "TJ-9", 0.5);
    let told = json(&replayed(folder.path(), &["--layout", "layout.toml", "--json"]));
    assert_eq!((&told["context"]["serial"], &told["outcome"]), (&"TJ-9".into(), &"proven".into()));
    let other = self::folder();
    with_serials(other.path(), "TJ-9", "TJ-8", 0.5);
    let told = json(&replayed(other.path(), &["--layout", "layout.toml", "--json"]));
    assert_eq!((&told["joints"][0]["serial"], &told["outcome"]), (&"TJ-9".into(), &"not proven".into()));
    let found = &told["identity"]["disagreements"][0];
    assert_eq!((&found["taken"]["value"], &found["other"]["value"]), (&"TJ-9".into(), &"TJ-8".into()));
    // Half of the rows are before it, and the header.
    let rows = std::fs::read_to_string(other.path().join("joint-7.csv")).expect("the trace");
    let line = 1 + rows.lines().position(|line| line.ends_with("TJ-8")).expect("it changes");
    assert_eq!(found["other"]["source"], format!("the log, line {line}"));
}

fn signed(joint: &str, time: &str, hash: &str, file: &ProcedureFile) -> JudgedSetup {
    let text = format!(
        "[setup]\njoint = \"{joint}\"\n[measured]\noutside_diameter = \"88.9 mm\"\nold_band = \"none\"\n\
         [signed]\ninitials = \"AB\"\ntime = \"{time}\"\nprocedure_sha256 = \"{hash}\"\nwithin_procedure = true\n"
    );
    let sheet = SetupSheet::parse("s.toml", &text).unwrap_or_else(|errors| panic!("{errors}"));
    let checked = check(&sheet, file);
    JudgedSetup { sheet, checked }
}

/// The first arc of the made joint is some seconds after the first row, which is at 07:00 UTC.
#[test]
fn a_setup_belongs_to_the_trace_by_joint_text_and_time() {
    let file = procedure();
    let half_an_hour = ProcedureFile::parse(
        "p.toml",
        &file.text.replace("[procedure]\n", "[procedure]\nsetup_holds = \"30 min\"\n"),
    )
    .unwrap_or_else(|errors| panic!("{errors}"));
    let (own, other) = (file.sha256.clone(), "0".repeat(64));
    let at = "2026-03-04T07:00:00Z";
    let civil = "2026-03-04T07:00:00";
    for (file, joint, signed_at, hash, start, words) in [
        (&file, "TJ-1", "2026-03-04T06:50:00Z", &own, at, None),
        (&file, "TJ-1", "2026-03-04T07:50:00+01:00", &own, at, None),
        (&file, "TJ-2", "2026-03-04T06:50:00Z", &own, at, Some("serial: TJ-1 (--serial), but TJ-2 (s.toml)")),
        (&file, "TJ-1", "2026-03-04T06:50:00Z", &other, at, Some("another text of the procedure")),
        (&file, "TJ-1", "2026-03-04T07:20:00Z", &own, at, Some("signed off after the weld had begun")),
        (
            &file,
            "TJ-1",
            "2026-03-03T18:00:00Z",
            &own,
            at,
            Some("13.0 h before the weld; a setup holds for 12.0 h"),
        ),
        (&file, "TJ-1", "2025-12-04T07:00:00Z", &own, at, Some("90 days before the weld")),
        (
            &half_an_hour,
            "TJ-1",
            "2026-03-04T06:20:00Z",
            &half_an_hour.sha256,
            at,
            Some("0.5 h by the procedure"),
        ),
        // Without its offset a time may be 14 h ahead or 12 h behind: only what is certain is told.
        (&file, "TJ-1", "2026-03-04T18:00:00Z", &own, civil, None),
        (&file, "TJ-1", "2026-03-03T18:00:00Z", &own, civil, None),
        (&file, "TJ-1", "2026-03-05T07:00:00Z", &own, civil, Some("after the weld had begun")),
        (&file, "TJ-1", "2026-02-04T07:00:00Z", &own, civil, Some("28 days before the weld")),
    ] {
        let mut replay = good();
        replay.trace.start = Some(start.to_owned());
        let setup = signed(joint, signed_at, hash, file);
        let serial = bandward_sim::input::joint_file::Claim {
            field: bandward_sim::input::joint_field::JointField::Serial,
            stated: bandward_sim::input::joint_field::Stated::Text("TJ-1".to_owned()),
            source: "--serial".to_owned(),
        };
        replay.attach(&Sources {
            options: &[serial],
            setup: Some(&setup),
            procedure: Some(file),
            ..Sources::default()
        });
        let told = replay.dossier.identity.costs(bandward_sim::input::quantity::UnitSystem::Metric);
        // The setup was not measured whole, which costs the proof by itself.
        assert_eq!(replay.outcome(), Outcome::NotProven, "{joint} {signed_at} {start}: {told:?}");
        assert_eq!(replay.dossier.identity.has_costs(), words.is_some(), "{joint} {signed_at}: {told:?}");
        match words {
            None => assert!(told.is_empty(), "{joint} {signed_at}: {told:?}"),
            Some(words) => assert!(told.len() == 1 && told[0].contains(words), "{words}: {told:?}"),
        }
    }
}

/// Neither trace nor anybody tells when it was welded: that is said, and costs nothing.
#[test]
fn a_time_that_is_not_known_is_told() {
    let file = procedure();
    let mut replay = good();
    let setup = signed("TJ-1", "2026-03-04T06:50:00Z", &file.sha256.clone(), &file);
    replay.attach(&Sources { setup: Some(&setup), procedure: Some(&file), ..Sources::default() });
    assert!(!replay.dossier.identity.has_costs());
    let notes = &replay.dossier.identity.notes;
    assert!(notes.len() == 1 && notes[0].contains("when the joint was welded is not known"), "{notes:?}");
    assert_eq!(replay.dossier.identity.context.title().as_deref(), Some("TJ-1, box"));
    assert_eq!(replay.dossier.identity.context.old_bands, Some(false));
}
