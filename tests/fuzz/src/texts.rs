//! Every text that a person writes: read, or refused with its place.
//!
//! Decides: which forms there are; that messages name file and line; that what this program writes again reads the
//! same; that whoever takes what was read does not fall over it: the core, and the judges of setup and inspection.
//! Assumes: nothing of the bytes.
//! Never: says what a key means.

use crate::bytes::Bytes;
use crate::told;
use bandward_sim::demo;
use bandward_sim::input::diagnostic::InputErrors;
use bandward_sim::input::joint_file;
use bandward_sim::input::layout::Layout;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::{Dimension, UnitSystem, format};
use bandward_sim::input::written_quantity::parse;
use bandward_sim::inspection::{Inspection, JudgedInspection};
use bandward_sim::preferences::Preferences;
use bandward_sim::process::Scenario;
use bandward_sim::replay::sound;
use bandward_sim::setup::{SetupSheet, check};
use bandward_sim::trend::event_file;
use bandward_sim::trial::marks::Marks;
use bandward_sim::trial::sweep::Sweep;
use bandward_sim::trial::tunable::Tunable;
use bandward_sim::trial::tuned_file::{Tuned, tuned_text};
use bandward_sim::{propose, report, trace};
use std::path::Path;
use std::sync::LazyLock;

const FILE: &str = "any.toml";

/// Some of those that a value may have: each way of reading a number.
const DIMENSIONS: [Dimension; 8] = [
    Dimension::Current,
    Dimension::Flow,
    Dimension::Length,
    Dimension::WireSpeed,
    Dimension::Temperature,
    Dimension::Rate,
    Dimension::Duration,
    Dimension::Share,
];

static PROCEDURE: LazyLock<ProcedureFile> = LazyLock::new(|| demo::procedure().expect("it is built in"));

/// What was read; none where it was refused as it must be.
fn read<T>(text: &str, result: Result<T, InputErrors>) -> Option<T> {
    result.inspect_err(|errors| told::check_in_lines(errors, FILE, text)).ok()
}

fn procedure(text: &str) {
    let Some(file) = read(text, ProcedureFile::parse(FILE, text)) else { return };
    // The core takes it, and so does a wire.
    let core = sound(&file.procedure);
    let bytes = postcard::to_allocvec(&*core).expect("it fits");
    assert_eq!(postcard::from_bytes(&bytes).as_ref(), Ok(&*core));
    assert!(file.warnings().iter().all(|line| !line.is_empty()) && !file.title_with_warning().is_empty());
    for system in [UnitSystem::Metric, UnitSystem::Inch] {
        let _ = file.temperature_place(system);
    }
    // With one number changed, to what it is: it says the same.
    for tunable in Tunable::all() {
        let Some(value) = tunable.value(&file.procedure) else { continue };
        let change = Tuned { tunable, value, why: "as it was".to_owned() };
        if let Ok(text) = tuned_text(&file, &[change], "written again") {
            let again = ProcedureFile::parse(FILE, &text).unwrap_or_else(|errors| panic!("{errors}\n{text}"));
            assert_eq!(again.settings.len(), file.settings.len(), "{tunable}\n{text}");
            let is_near = |other: f64| (other - value).abs() <= 1e-3 * value.abs().max(1.0);
            assert!(tunable.value(&again.procedure).is_some_and(is_near), "{tunable} {value}\n{text}");
        }
        break;
    }
}

fn layout(text: &str) {
    let Some(layout) = read(text, Layout::parse(FILE, text)) else { return };
    // Whatever it says of a log, the log is read or refused.
    let log = "time_s;current_a,voltage_v\n0,1;5,2\n1,270;5,30\n2,270,30\n";
    let rows = trace::open_stream(log.as_bytes(), "any.csv", Some(&layout))
        .and_then(|mut reader| reader.by_ref().collect::<Result<Vec<_>, _>>());
    if let Err(errors) = rows {
        told::check(&errors, "any.csv", log);
    }
}

fn setup(text: &str) {
    let Some(sheet) = read(text, SetupSheet::parse(FILE, text)) else { return };
    let again = SetupSheet::parse(FILE, &sheet.to_text()).unwrap_or_else(|errors| panic!("{errors}"));
    let same = SetupSheet { sha256: sheet.sha256.clone(), ..again };
    assert_eq!(same, sheet);
    let checked = check(&sheet, &PROCEDURE);
    let _ = checked.outcome();
    for system in [UnitSystem::Metric, UnitSystem::Inch] {
        assert!(!report::setup::text(&sheet, &checked, &PROCEDURE, system).is_empty());
    }
}

fn inspection(text: &str) {
    let Some(inspection) = read(text, Inspection::parse(FILE, text)) else { return };
    let judged =
        JudgedInspection::of(&inspection, Some(&PROCEDURE), 1, &[(1, true), (2, false), (3, false)], &[]);
    for system in [UnitSystem::Metric, UnitSystem::Inch] {
        assert!(!report::inspection::text(&judged, true, system).is_empty());
    }
    assert!(judged.outcome() >= judged.effect());
    let _ = bandward_sim::repair::of_inspection(&judged);
}

fn marks(text: &str) {
    if let Some(marks) = read(text, Marks::parse(FILE, text, 2.0, 30.0)) {
        let _ = format!("{marks:?}");
    }
}

fn scenario(text: &str) {
    // There is no such folder: a procedure that it names is not there.
    match Scenario::parse(FILE, text, Path::new("/nonexistent"), None) {
        Ok(scenario) => assert!(!scenario.name.contains('\u{1b}')),
        Err(error) => told::check_any(&error, FILE, text),
    }
}

fn preferences(text: &str) {
    if let Some(read) = read(text, Preferences::parse(FILE, text)) {
        assert_eq!(Preferences::parse(FILE, &read.to_text()), Ok(read));
    }
}

/// A value with its unit, and what is given on the command line.
fn short(text: &str) {
    for dimension in DIMENSIONS {
        let Ok(value) = parse(text, dimension) else { continue };
        assert!(value.is_finite(), "{text:?}");
        for system in [UnitSystem::Metric, UnitSystem::Inch] {
            let shown = format(value, dimension, system);
            assert!(!shown.contains("NaN"), "{text:?}: {shown}");
        }
    }
    for problem in [Sweep::parse(text).err(), Tunable::parse(text).err()].into_iter().flatten() {
        assert!(!problem.is_empty());
    }
    let _ = bandward_sim::trend::record::Moment::parse(text);
}

/// The first rows of a log: what is proposed for them is a layout, but for what it asks a person to fill in.
fn proposal(text: &str) {
    let Ok(proposal) = propose::propose("any.csv", text) else { return };
    if let Err(errors) = Layout::parse(FILE, &proposal.text) {
        told::check(&errors, FILE, &proposal.text);
        let is_toml = errors.faults().iter().all(|fault| !fault.problem.contains("TOML"));
        assert!(is_toml, "{errors}\n{}", proposal.text);
    }
}

/// Which form, then the text.
pub fn target(bytes: &[u8]) {
    let bytes = &mut Bytes::new(bytes);
    let form = bytes.byte();
    let text = &*String::from_utf8_lossy(bytes.rest());
    match form % 12 {
        0 => procedure(text),
        1 => layout(text),
        2 => setup(text),
        3 => inspection(text),
        4 => {
            for claim in read(text, joint_file::parse(FILE, text)).unwrap_or_default() {
                assert!(claim.source.starts_with(FILE), "{claim:?}");
            }
        }
        5 => drop(read(text, event_file::of_toml(FILE, text))),
        6 => drop(read(text, event_file::of_csv(FILE, text))),
        7 => marks(text),
        8 => scenario(text),
        9 => preferences(text),
        10 => short(text),
        _ => proposal(text),
    }
}
