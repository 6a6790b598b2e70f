//! The page of all keys, held against what the readers take.
//!
//! Decides: whether every key that a reader takes is on the page, and every key on the page is taken.

use bandward_sim::input::document::{Document, Section};
use bandward_sim::input::layout::Layout;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::input::source::Source;
use bandward_sim::input::survey::{self, Form, Key};
use bandward_sim::inspection::sheet::Inspection;
use bandward_sim::process::fault::Kind;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::reference::template::{self, Known};
use bandward_sim::reference::{self, File};
use bandward_sim::setup::sheet::SetupSheet;
use bandward_sim::trend::event_file;
use std::fmt::Write as _;
use std::path::Path;

/// All faults of a text as a file of its kind.
fn faults(file: File, text: &str) -> String {
    let told = match file {
        File::Procedure => ProcedureFile::parse("x", text).map(drop).map_err(|errors| errors.to_string()),
        File::Layout => Layout::parse("x", text).map(drop).map_err(|errors| errors.to_string()),
        File::Setup => SetupSheet::parse("x", text).map(drop).map_err(|errors| errors.to_string()),
        File::Scenario => {
            Scenario::parse("x", text, Path::new(""), None).map(drop).map_err(|error| format!("{error:#}"))
        }
        File::Joint => {
            bandward_sim::input::joint_file::parse("x", text).map(drop).map_err(|errors| errors.to_string())
        }
        File::Inspection => Inspection::parse("x", text).map(drop).map_err(|errors| errors.to_string()),
        File::Events => event_file::of_toml("x", text).map(drop).map_err(|errors| errors.to_string()),
    };
    told.err().unwrap_or_default()
}

/// A text with one key in its table, and nothing else.
fn with_key(keys: &[Key], path: &str, form: &Form) -> String {
    let is_list = |table: &str| keys.iter().any(|key| key.path == table && key.form == Form::Tables);
    let (table, name) = path.rsplit_once('.').unwrap_or(("", path));
    let mut text = String::new();
    let mut above = String::new();
    for part in table.split('.').filter(|part| !part.is_empty()) {
        above = if above.is_empty() { part.to_owned() } else { format!("{above}.{part}") };
        let _ = if is_list(&above) { writeln!(text, "[[{above}]]") } else { writeln!(text, "[{above}]") };
    }
    let value = match form {
        Form::Table => "{}",
        Form::Tables => "[]",
        Form::Value(_) => "\"?\"",
    };
    let _ = writeln!(text, "{name} = {value}");
    text
}

/// Which keys a fault has depends on its kind.
fn is_taken_by(kind: Kind, path: &str) -> bool {
    let (name, key) = (kind.description().name, path.trim_start_matches("fault."));
    let kind = if matches!(key, "kind" | "rule") { String::new() } else { format!("kind = \"{name}\"\n") };
    let text = format!("[scenario]\nname = \"x\"\n[shift]\njoints = 2\n[[fault]]\n{kind}{key} = \"?\"\n");
    !faults(File::Scenario, &text).contains("not known")
}

#[test]
fn every_listed_key_is_taken_and_no_other() {
    let mut count = 0;
    for file in File::ALL {
        let keys = file.keys();
        for key in &keys {
            count += 1;
            if key.path.starts_with("fault.") {
                assert!(Kind::ALL.iter().any(|kind| is_taken_by(*kind, &key.path)), "{}", key.path);
                continue;
            }
            let text = with_key(&keys, &key.path, &key.form);
            let told = faults(file, &text);
            assert!(!told.contains("not known"), "{}: {}: {told}", file.name(), key.path);
        }
        let table = keys.iter().find(|key| !matches!(key.form, Form::Value(_))).expect("a table");
        let told = faults(file, &with_key(&keys, &format!("{}.no_such_key", table.path), &Form::Table));
        assert!(told.contains("no_such_key: not known"), "{told}");
    }
    assert!(count > 300, "{count}");
}

/// The files that are shipped are taken, so every key in them must be on the page.
#[test]
fn every_key_of_the_shipped_files_is_listed() {
    let demo = |name: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo").join(name);
        std::fs::read_to_string(path).expect("it is shipped")
    };
    for (file, text) in [
        (File::Procedure, demo("procedure.toml")),
        (File::Layout, demo("layout-robotic-welder.toml")),
        (File::Setup, demo("setup.toml")),
        (File::Scenario, demo("scenario.toml")),
        (File::Scenario, demo("find-the-fault.toml")),
    ] {
        let listed: Vec<String> = file.keys().into_iter().map(|key| key.path).collect();
        let value: toml::Table = text.parse().expect("valid TOML");
        let mut written = Vec::new();
        paths("", &toml::Value::Table(value), &mut written);
        assert!(written.len() > 5, "{}", file.name());
        for path in written {
            assert!(listed.contains(&path), "{}: {path} is not listed", file.name());
        }
    }
}

fn paths(above: &str, value: &toml::Value, found: &mut Vec<String>) {
    match value {
        toml::Value::Table(table) => {
            for (key, value) in table {
                let path = if above.is_empty() { key.clone() } else { format!("{above}.{key}") };
                found.push(path.clone());
                paths(&path, value, found);
            }
        }
        toml::Value::Array(list) => list.iter().for_each(|value| paths(above, value, found)),
        _ => {}
    }
}

#[test]
fn every_key_is_explained_and_nothing_else() {
    let odd: Vec<_> = File::ALL.map(|file| (file, reference::unexplained(file))).into_iter().collect();
    let none = (Vec::new(), Vec::new());
    assert_eq!(odd, File::ALL.map(|file| (file, none.clone())));
}

/// A reader that takes one more key has it on the page, with nothing written anywhere else.
#[test]
fn a_key_is_found_because_it_is_read() {
    fn read(text: &str, more: impl Fn(&Section<'_>)) {
        let source = Source::new("x", text);
        let document = Document::new(&source);
        let root = document.root();
        for part in root.sections("part") {
            part.whole("number", 1..9);
            more(&part);
            part.finish();
        }
        root.finish();
        drop(document.finish());
    }
    let listed = |more: fn(&Section<'_>)| {
        let keys = survey::keys(|text| read(text, more), &[]);
        keys.into_iter().map(|key| key.path).collect::<Vec<_>>()
    };
    assert_eq!(listed(|_| ()), ["part", "part.number"]);
    assert_eq!(listed(|part| drop(part.flag("new"))), ["part", "part.number", "part.new"]);
}

#[test]
fn the_template_is_a_procedure_without_a_limit() {
    let known = Known { diameter_mm: 168.275, wire_mm: 1.6, units: UnitSystem::Inch };
    let text = template::procedure(known);
    let procedure = ProcedureFile::parse("template", &text).unwrap_or_else(|errors| panic!("{errors}"));
    // 6 5/8 in x 25.4.
    assert!((procedure.joint.outside_diameter_mm.expect("written") - 168.275).abs() < 1e-9);
    assert!(text.contains("outside_diameter = \"6 5/8 in\""), "{text}");
    assert_eq!(procedure.wire.diameter_mm, Some(1.6));
    assert!(procedure.settings.is_empty(), "{:?}", procedure.settings);
    let keys = File::Procedure.keys();
    for key in keys.iter().filter(|key| !key.path.starts_with("alarm")) {
        let name = key.path.rsplit('.').next().expect("a name");
        assert!(text.contains(name), "{} is not in the template", key.path);
    }
}

#[test]
fn the_page_has_every_file() {
    let page = reference::page();
    for words in [
        "### `[channels.<channel>]`",
        "- `hold`: an empty cell repeats the one before for so long",
        "### `[[place]]`",
        "- `until`: of [cooling] alone",
        "| `weave_rate` | weave rate |",
        "### `[alarm.<rule>]`",
        "- `serial`:",
        "### `[[fault]]`",
        "- `channel`: of which instrument",
        "## inspection",
        "- `before_band`: the band that was laid next",
        "## events",
        "### `[[event]]`",
        // What may stand there, of what is measured and of what is known of a joint.
        "- `rotation`: seen towards the chuck; \"clockwise\", \"counter-clockwise\"",
        "- `end`: which end of the pipe it is; \"pin\", \"box\"",
        "- `outside_diameter`: across the joint where the bands go; a number with its unit, in mm, in, cm, m, ft; 20 mm to 1000 mm",
    ] {
        assert!(page.contains(words), "{words}");
    }
    // Bounds that one joint, one kind of fault or one shift has are no bounds of the key.
    for words in
        ["- `size`: how large; a number with its unit\n", "- `band`: on which band; a whole number\n"]
    {
        assert!(page.contains(words), "{words}");
    }
    // What a key is for is more than its name once more.
    for line in page.lines().filter_map(|line| line.strip_prefix("- `")) {
        let (key, words) = line.split_once("`: ").expect("a key and its words");
        let said = words.split(';').next().unwrap_or(words);
        assert_ne!(said, key.replace('_', " "), "{line}");
    }
}

#[test]
fn a_diameter_that_no_tool_joint_has_is_refused() {
    let told = |size: &str| faults(File::Procedure, &format!("[joint]\noutside_diameter = \"{size}\"\n"));
    for size in ["0.01 mm", "19 mm", "1.1 m"] {
        assert!(told(size).contains("20 mm to 1000 mm"), "{size}: {}", told(size));
    }
    assert!(!told("6 5/8 in").contains("outside_diameter"), "{}", told("6 5/8 in"));
}
