//! A procedure to fill in: every key with what it is for, and no limit that somebody could take for a qualified one.
//!
//! Decides: what the shop has said already is written: the diameter, the wire, the bands; everything else is a
//! comment with an empty value.
//! Never: proposes a limit.

use super::{File, meaning, pattern};
use crate::input::quantity::{Dimension, UnitSystem, format};
use crate::input::setting::Subject;
use crate::input::survey::{Form, Key};
use crate::input::written_quantity::parse;
use std::fmt::Write as _;

/// What the shop says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known {
    /// Outside diameter of the joint, mm.
    pub diameter_mm: f64,
    /// Wire diameter, mm.
    pub wire_mm: f64,
    /// Units to write sizes in.
    pub units: UnitSystem,
}

/// The text of the procedure.
pub fn procedure(known: Known) -> String {
    let length = |mm: f64| {
        let shown = format(mm, Dimension::Length, known.units);
        // 1.6 mm is shown as 1/16 in, which it is not.
        let is_same = parse(&shown, Dimension::Length).is_ok_and(|read| (read - mm).abs() < 1e-9);
        if is_same { shown } else { format!("{mm} mm") }
    };
    let mut text = String::from(
        "# A procedure to fill in, written by `bandward procedure`. It has no limit yet: nothing is judged until\n\
         # whoever answers for the weld writes one from a qualified procedure. A line that begins with # is not\n\
         # read; take the # away and fill in the value. Tables without a key are taken away or left as comments.\n",
    );
    let written = [
        ("procedure.name", "NOT QUALIFIED: fill in".to_owned()),
        ("procedure.units", known.units.name().to_owned()),
        ("joint.outside_diameter", length(known.diameter_mm)),
        ("wire.diameter", length(known.wire_mm)),
    ];
    let keys = File::Procedure.keys();
    let is_alarm = |key: &Key| key.path.starts_with("alarm");
    for table in keys.iter().filter(|key| !is_alarm(key)) {
        let (open, close) = match table.form {
            Form::Table => ("[", "]"),
            Form::Tables => ("[[", "]]"),
            Form::Value(_) => continue,
        };
        let heading = format!("{open}{}{close}", table.path);
        let is_written = written.iter().any(|(path, _)| parent(path) == table.path);
        let mark = if is_written { "" } else { "# " };
        let _ = writeln!(text, "\n# {}\n{mark}{heading}", of_table(&table.path));
        for key in keys.iter().filter(|key| parent(&key.path) == table.path) {
            let Form::Value(form) = &key.form else { continue };
            let meaning =
                meaning::of(File::Procedure, &pattern(File::Procedure, &key.path)).unwrap_or_default();
            let name = key.path.rsplit('.').next().unwrap_or(&key.path);
            let _ = match written.iter().find(|(path, _)| *path == key.path) {
                Some((_, value)) => writeln!(text, "{name} = {}  # {meaning}", quoted(value)),
                None => writeln!(text, "# {name} =   # {meaning}; {form}"),
            };
        }
    }
    text.push_str(
        "\n# Alarms are as built in; one is changed by a table such as [alarm.voltage-low] with the keys\n# on_delay, \
         off_delay, re_alarm, deadband, latched, severity: see `bandward keys`.\n",
    );
    text
}

/// TOML's own quoting.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn parent(path: &str) -> &str {
    path.rsplit_once('.').map_or("", |(parent, _)| parent)
}

/// What a table is about; settings have a name of their own.
fn of_table(path: &str) -> String {
    match Subject::all().find(|subject| subject.table_name() == path) {
        Some(subject) => subject.title(),
        None => meaning::of(File::Procedure, path).unwrap_or_default().to_owned(),
    }
}
