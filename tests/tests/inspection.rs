//! Finished bands: judged against the procedure, and beside the heights that the trace gives.
//!
//! Figures of the statistics are held against the crate `statrs`. All joints are invented.

use bandward::Outcome;
use bandward_sim::demo;
use bandward_sim::dossier::{Beside, Sources};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::inspection::efficiency::{Compared, NoProposal, propose};
use bandward_sim::inspection::{Inspection, JudgedInspection};
use bandward_sim::process::{Scenario, Targets};
use bandward_sim::replay::Replay;
use bandward_sim::report;
use bandward_tests::{made, program};
use serde_json::Value;
use statrs::distribution::{ContinuousCDF as _, StudentsT};
use statrs::statistics::Statistics as _;
use std::fmt::Write as _;
use std::sync::LazyLock;

fn procedure() -> ProcedureFile {
    demo::procedure().expect("the demo is sound")
}

/// A good joint, replayed once for all.
fn good() -> Replay {
    static GOOD: LazyLock<Replay> = LazyLock::new(|| {
        let file = procedure();
        made::replay(&Scenario::good(Targets::of_file(&file), 50.0), &file.procedure).0
    });
    GOOD.clone()
}

fn parsed(text: &str) -> Inspection {
    Inspection::parse("i.toml", text).unwrap_or_else(|errors| panic!("{errors}"))
}

fn with_lines(file: &ProcedureFile, lines: &str) -> ProcedureFile {
    ProcedureFile::parse("p.toml", &format!("{}\n{lines}", file.text))
        .unwrap_or_else(|errors| panic!("{errors}"))
}

/// Judged without a log.
fn judged(inspection: &str, file: &ProcedureFile) -> JudgedInspection {
    JudgedInspection::of(&parsed(inspection), Some(file), 0, &[(1, true), (2, false), (3, false)], &[])
}

/// Three bands whose heights are these shares of what the trace gives at 0, 90, 180 and 270 degrees.
fn gauged(replay: &Replay, shares: [f64; 3]) -> String {
    let mut text = String::from("[inspection]\nby = \"AB\"\n");
    for (course, share) in replay.heights.iter().zip(shares) {
        let height = |at: f64| format!("\"{} mm\"", course.at(at).expect("seen") * share);
        let heights = [0.0, 90.0, 180.0, 270.0].map(height).join(", ");
        let _ = writeln!(text, "[[band]]\nband = {}\nheight = [{heights}]", course.band);
    }
    text
}

fn attached(inspection: &str, file: &ProcedureFile) -> Replay {
    let mut replay = good();
    let beside = Beside { inspection: Some(parsed(inspection)), ..Beside::default() };
    replay.attach(&Sources { beside: Some(&beside), procedure: Some(file), ..Sources::default() });
    replay
}

#[test]
fn the_expected_height_is_that_of_the_band_where_all_is_even() {
    let replay = good();
    assert_eq!(replay.heights.len(), 3);
    for (course, band) in replay.heights.iter().zip(&replay.bands) {
        let mean_mm = f64::from(band.band_height.expect("worked out").to_bits()) / 4096.0;
        for at in [30.0, 90.0, 180.0, 270.0, 330.0] {
            let here_mm = course.at(at).expect("seen");
            assert!((here_mm / mean_mm - 1.0).abs() < 0.03, "band {} at {at}: {here_mm}", band.band);
        }
        // The demo's bands end some ten degrees past their start.
        assert!(course.is_overlapped(3.0) && !course.is_overlapped(90.0));
    }
}

/// Mean, standard error and interval of the bands' mean ratios, against `statrs`.
#[test]
fn the_efficiency_is_that_of_the_measured_metal() {
    let (file, shares) = (procedure(), [0.90, 0.93, 0.96]);
    let replay = attached(&gauged(&good(), shares), &file);
    let inspection = replay.dossier.inspection.as_ref().expect("it is of the only joint");
    let proposal = inspection.efficiency.expect("three bands");
    let error = shares.std_dev() / 3_f64.sqrt();
    let t = StudentsT::new(0.0, 1.0, 2.0).expect("a distribution").inverse_cdf(0.975);
    assert!((proposal.ratio - shares.mean()).abs() < 1e-6, "{proposal:?}");
    assert!((proposal.standard_error - error).abs() < 1e-6, "{proposal:?}");
    assert!((proposal.within - t * error).abs() < 1e-5, "{proposal:?}");
    // The readings at the tie-in lie where the band runs over its own start.
    assert_eq!((proposal.bands, proposal.readings), (3, 9));
    assert!((proposal.efficiency() - 0.95 * shares.mean()).abs() < 1e-6);
    assert!(!proposal.is_a_change(), "{:?}", proposal.interval());
    let sure = attached(&gauged(&good(), [0.900, 0.901, 0.902]), &file);
    let sure = sure.dossier.inspection.as_ref().and_then(|found| found.efficiency.ok()).expect("three bands");
    assert!(sure.is_a_change() && sure.is_possible());
    let text = report::text::replay(&replay, None, bandward_sim::input::quantity::UnitSystem::Metric);
    // 0.95 times 0.93 lies between the two.
    let told =
        |percent| text.contains(&format!("deposition efficiency by the measured heights: {percent} %"));
    assert!(told("88.3") || told("88.4"), "{text}");
}

#[test]
fn intervals_are_those_of_student_for_any_number_of_bands() {
    for count in 2_u16..=60 {
        let ratios: Vec<f64> = (0..count).map(|band| 0.9 + 0.01 * f64::from(band * 7 % 11)).collect();
        let reading = |(band, ratio): (u16, &f64)| Compared {
            band,
            at_deg: 90.0,
            measured_mm: 2.5 * ratio,
            within_mm: 0.0,
            expected_mm: Some(2.5),
            width_ratio: None,
            is_overlapped: false,
        };
        let readings: Vec<_> = (1..).zip(&ratios).map(reading).collect();
        let proposal = propose(&readings, 0.95, true).expect("two bands or more");
        let error = (&ratios).std_dev() / f64::from(count).sqrt();
        let student = StudentsT::new(0.0, 1.0, f64::from(count - 1)).expect("a distribution");
        let within = student.inverse_cdf(0.975) * error;
        assert!((proposal.standard_error - error).abs() < 1e-12, "{count}");
        assert!((proposal.within / within - 1.0).abs() < 1e-6, "{count}: {} {within}", proposal.within);
        assert_eq!(propose(&readings, 0.95, false), Err(NoProposal::FeedNotMeasured));
        assert_eq!(propose(&readings[..1], 0.95, true), Err(NoProposal::OneBand));
    }
    assert_eq!(propose(&[], 0.95, true), Err(NoProposal::NoReading));
}

#[test]
fn what_is_limited_and_not_inspected_is_listed_and_nothing_is_taken_for_good() {
    let found =
        judged("[[band]]\nband = 1\nheight = [\"2.6 mm\", \"\", \"2.6 mm\", \"2.6 mm\"]\n", &procedure());
    assert_eq!(found.outcome(), Outcome::NotProven);
    let told = report::model::inspection::not_inspected(&found);
    assert_eq!(
        told,
        [
            "preheat",
            "between bands, before band 2",
            "between bands, before band 3",
            "band 1 height at 90 deg",
            "band 2 height at 0, 90, 180, 270 deg",
            "band 3 height at 0, 90, 180, 270 deg",
        ]
    );
}

const WHOLE: &str = "[preheat]\ntemperature = \"160 degC\"\nat = \"07:00\"\n\
    [[between]]\nbefore_band = 2\ntemperature = \"200 degC\"\n[[between]]\nbefore_band = 3\ntemperature = \"392 degF\"\n";

fn bands(second: &str) -> String {
    let good = "height = [\"2.6 mm\", \"2.7 mm\", \"2.6 mm\", \"2.5 mm\"]\n";
    format!("{WHOLE}[[band]]\nband = 1\n{good}[[band]]\nband = 2\n{second}\n[[band]]\nband = 3\n{good}")
}

/// The demo allows 2.3 to 3.3 mm and recommends 2.4 to 3.1 mm.
#[test]
fn findings_are_judged_by_the_procedure() {
    let file = procedure();
    let strict = with_lines(
        &file,
        "[inspection]\nwidth = [\"25 mm\", \"28 mm\"]\nhardness_at_least = \"55 HRC\"\nhardness_at_most = \"62 HRC\"\n\
         porosity = \"scattered\"\ncracks = \"hairline\"\nedges = \"sound\"\n",
    );
    let high = "height = [\"2.6 mm\", \"2.6 mm\", \"2.6 mm\", \"{}\"]";
    let height = |size: &str| bands(&high.replace("{}", size));
    let eye = |line: &str| bands(&format!("{}\n{line}", high.replace("{}", "2.6 mm")));
    for (text, file, outcome) in [
        (height("2.6 mm"), &file, Outcome::Proven),
        (height("2.3 mm"), &file, Outcome::Proven),
        (height("2.29 mm"), &file, Outcome::Broken),
        (height("0.131 in"), &file, Outcome::Broken),
        // The procedure does not say: good is good, and what is not the shop decides.
        (eye("cracks = \"none\""), &file, Outcome::Proven),
        (eye("cracks = \"hairline\""), &file, Outcome::NotProven),
        (eye("hardness = [\"20 HRC\"]"), &file, Outcome::Proven),
        // What is limited must be inspected on each band.
        (eye("cracks = \"hairline\""), &strict, Outcome::NotProven),
        (eye("cracks = \"open\""), &strict, Outcome::Broken),
        (eye("porosity = \"cluster\""), &strict, Outcome::Broken),
        (eye("edges = \"cold lap\""), &strict, Outcome::Broken),
        (eye("hardness = [\"58 HRC\", \"54.9 HRC\"]"), &strict, Outcome::Broken),
        (eye("hardness = [\"300 HV\"]"), &strict, Outcome::NotProven),
        (eye("width = [\"26 mm\", \"26 mm\", \"26 mm\", \"24.9 mm\"]"), &strict, Outcome::Broken),
    ] {
        assert_eq!(judged(&text, file).outcome(), outcome, "{text}");
    }
}

/// 200 degC at 23:30 and 150 degC an hour later, past midnight: 50 degC an hour.
#[test]
fn the_joint_cooled_at_a_rate() {
    let file = with_lines(&procedure(), "[cooling]\nallowed = \"at most 50 degC/h\"\nuntil = \"150 degC\"\n");
    for (to, outcome) in [("150 degC", Outcome::Proven), ("149 degC", Outcome::Broken)] {
        let cooling = format!(
            "[cooling]\nfrom = \"200 degC\"\nfrom_at = \"23:30\"\nto = \"{to}\"\nto_at = \"00:30\"\n"
        );
        let text = cooling + &bands("height = [\"2.6 mm\", \"2.6 mm\", \"2.6 mm\", \"2.6 mm\"]");
        assert_eq!(judged(&text, &file).outcome(), outcome, "{to}");
    }
}

#[test]
fn faults_of_an_inspection_file_are_told_together() {
    let text = "[inspection]\ndate = \"yesterday\"\n[preheat]\ntemperature = \"160\"\n[[band]]\nband = 1\n\
        height = [\"2.6 mm\", \"2.6 mm\"]\nhardness = [\"58\"]\ncracks = \"some\"\n[[band]]\nband = 1\nhieght = []\n";
    let told = Inspection::parse("i.toml", text).expect_err("seven faults").to_string();
    for words in [
        "i.toml:2",
        "`yesterday` is no date",
        "`160` has no unit",
        "`height` has 2 entries",
        "`58` is no hardness",
        "`some` is not one of its choices",
        "band 1 is told twice",
        "did you mean `height`?",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
}

#[test]
fn an_inspection_that_found_something_outside_breaks_the_joint() {
    let file = procedure();
    let text = gauged(&good(), [1.0, 0.5, 1.0]);
    let replay = attached(&text, &file);
    assert_eq!((replay.outcome_of_trace(), replay.outcome()), (Outcome::Proven, Outcome::Broken));
    let json = report::json::replay(&replay);
    assert_eq!((&json["outcome"], &json["inspection"]["outcome"]), (&"broken".into(), &"broken".into()));
    let shown = report::text::replay(&replay, None, bandward_sim::input::quantity::UnitSystem::Metric);
    let shown = anstream::adapter::strip_str(&shown).to_string();
    let flat = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    let words = "OUTSIDE THE PROCEDURE: by inspection: band 2 height at 0, 90, 180, 270 deg band start";
    assert!(flat.contains(words), "{shown}");
    // What was not inspected is listed, and does not take the trace's own proof away.
    let replay = attached("[inspection]\nby = \"AB\"\n", &file);
    assert_eq!(replay.outcome(), Outcome::Proven);
    assert_eq!(report::json::replay(&replay)["inspection"]["outcome"], "not proven");
}

#[test]
fn the_program_shows_it_beside_the_trace_and_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let text =
        format!("[inspection]\nserial = \"TJ-1042\"\nby = \"<AB>\"\n{}", bands("note = \"look again\""));
    std::fs::write(folder.path().join("i.toml"), text).expect("written");
    let output = program::run_in(
        folder.path(),
        &["replay", "--inspection", "i.toml", "--json", "--report", "page.html"],
    );
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    let told: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!((&told["context"]["serial"], &told["inspection"]["by"]), (&"TJ-1042".into(), &"<AB>".into()));
    assert_eq!(told["inspection"]["heights"].as_array().map(Vec::len), Some(8));
    let page = std::fs::read_to_string(folder.path().join("page.html")).expect("the page");
    let section =
        page.split("<section id=\"inspection\"").nth(1).and_then(|rest| rest.split("</section>").next());
    let section = section.expect("the section");
    for words in ["Room for the inspector", "&lt;AB&gt;", "<dt>Signature</dt>", "look again", "Measured"] {
        assert!(section.contains(words), "{words}: {section}");
    }
    let output = program::run_in(folder.path(), &["inspect", "--from", "i.toml"]);
    assert_eq!(output.status.code(), Some(3), "{}", String::from_utf8_lossy(&output.stderr));
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(told.contains("not inspected, though the procedure limits it: band 2 height at 0"), "{told}");
    let output = program::run_in(folder.path(), &["inspect"]);
    assert_eq!(output.status.code(), Some(2));
}
