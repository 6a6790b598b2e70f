//! A procedure as a board without a link has it: Rust source to compile in, or bytes to read.
//!
//! Decides: how it is written out.
//! Never: rounds: every number is the raw one that the board judges by, and what a person reads stands beside it.

use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format};
use crate::input::setting::Subject;
use crate::raw::from_raw;
use bandward::procedure::Limits;
use bandward::units::FixedPoint;
use bandward::{Procedure, Quantity, Rule, Severity};
use std::fmt::Write as _;

/// The bytes that the link carries too: [`bandward::Procedure`] by serde, in the form of postcard.
///
/// # Errors
/// Only where there is no memory for it.
pub fn bytes(file: &ProcedureFile) -> anyhow::Result<Vec<u8>> {
    Ok(postcard::to_allocvec(&file.procedure)?)
}

/// A Rust module with one static, `PROCEDURE`, which is checked while it is compiled.
pub fn source(file: &ProcedureFile, system: UnitSystem) -> String {
    let procedure = &file.procedure;
    let mut code = head(file);
    code.push_str(&sizes(procedure));
    for quantity in Quantity::ALL {
        if let Some(limits) = procedure.limits(quantity) {
            let _ = writeln!(code, "    // {}", beside(quantity, limits, system));
            let _ = writeln!(code, "    written = written.limited(Quantity::{quantity:?}, {limits:?});");
        }
        if procedure.is_judged_where_possible(quantity) {
            let _ = writeln!(code, "    written = written.judged_where_possible(Quantity::{quantity:?});");
        }
    }
    let usual = Procedure::new();
    for rule in Rule::ALL.into_iter().filter(|&rule| procedure.alarm(rule) != usual.alarm(rule)) {
        let _ = writeln!(code, "    written = set(written, Rule::{rule:?}, {:?});", procedure.alarm(rule));
    }
    code.push_str(TAIL);
    code
}

fn head(file: &ProcedureFile) -> String {
    // What a person called it must not end the comment.
    let title: String = file.title().chars().map(|sign| if sign.is_control() { ' ' } else { sign }).collect();
    let severities =
        [Severity::Advise, Severity::Warn, Severity::Stop].map(|severity| format!("{severity:?}"));
    format!(
        "// {title}\n// SHA-256 of its text: {}\n// Made by bandward {}: change the procedure, and make this anew.\n\
         #![allow(dead_code, unused_imports, clippy::unreadable_literal)]\n\n\
         use bandward::Severity::{{{}}};\n\
         use bandward::procedure::{{ArcSettings, Geometry, JointPlan, Limits, Polarity, Range, Rotation}};\n\
         use bandward::units::{{Current, Length, Temperature, Voltage}};\n\
         use bandward::rule::AlarmSetting;\n\
         use bandward::{{Procedure, Quantity, Rule, SoundProcedure}};\n\n\
         /// What the board watches by.\n\
         pub static PROCEDURE: SoundProcedure = match SoundProcedure::of(written()) {{\n    \
         Ok(sound) => sound,\n    Err(_) => panic!(\"the procedure makes no sense\"),\n}};\n\n\
         const fn written() -> Procedure {{\n    let mut written = Procedure::new();\n",
        file.sha256,
        env!("CARGO_PKG_VERSION"),
        severities.join(", "),
    )
}

const TAIL: &str = "    written
}

const fn set(written: Procedure, rule: Rule, setting: AlarmSetting) -> Procedure {
    match written.with_alarm(rule, setting) {
        Ok(written) => written,
        Err(_) => panic!(\"an alarm makes no sense\"),
    }
}
";

/// All that is no limit and no alarm.
fn sizes(procedure: &Procedure) -> String {
    let Procedure { polarity, geometry, arc, joint, cooling_until, .. } = procedure;
    let mut code = String::new();
    let polarity = polarity.map(|polarity| format!("Polarity::{polarity:?}"));
    let _ = writeln!(code, "    written.polarity = {};", optional(polarity));
    let _ = writeln!(
        code,
        "    written.geometry = Geometry {{\n        outside_diameter: {},\n        wire_diameter: {},\n        \
         deposition_efficiency_milli: {},\n        stick_out: {},\n        band_width: {},\n        run_out: {},\n    }};",
        optional(geometry.outside_diameter.map(|length| raw("Length", length))),
        optional(geometry.wire_diameter.map(|length| raw("Length", length))),
        geometry.deposition_efficiency_milli,
        optional(geometry.stick_out.map(|length| raw("Length", length))),
        optional(geometry.band_width.map(|length| raw("Length", length))),
        raw("Length", geometry.run_out),
    );
    let _ = writeln!(
        code,
        "    written.arc = ArcSettings {{\n        current_on: {},\n        current_off: {},\n        open_circuit: {},\n        \
         strike_us: {},\n        outage_join_us: {},\n        gap_join_us: {},\n        crater_fill_us: {},\n    }};",
        raw("Current", arc.current_on),
        raw("Current", arc.current_off),
        raw("Voltage", arc.open_circuit),
        arc.strike_us,
        arc.outage_join_us,
        arc.gap_join_us,
        arc.crater_fill_us,
    );
    let _ = writeln!(
        code,
        "    written.joint = JointPlan {{\n        bands: {},\n        groups: {:?},\n        rotation: {},\n        \
         ends_with_carriage_beyond: {},\n        ends_with_arc_off_us: {:?},\n    }};",
        joint.bands,
        joint.groups,
        optional(joint.rotation.map(|rotation| format!("Rotation::{rotation:?}"))),
        optional(joint.ends_with_carriage_beyond.map(|length| raw("Length", length))),
        joint.ends_with_arc_off_us,
    );
    let until = cooling_until.map(|until| raw("Temperature", until));
    let _ = writeln!(code, "    written.cooling_until = {};", optional(until));
    code
}

fn raw(unit: &str, value: impl FixedPoint) -> String {
    format!("{unit}::from_bits({})", value.bits())
}

fn optional(code: Option<String>) -> String {
    code.map_or("None".to_owned(), |code| format!("Some({code})"))
}

/// As a person reads it.
fn beside(quantity: Quantity, limits: &Limits, system: UnitSystem) -> String {
    let subject = Subject::Judged(quantity);
    let shown = |raw| match raw {
        i32::MIN | i32::MAX => "any".to_owned(),
        raw => format(from_raw(raw, quantity.fraction_bits()), subject.dimension(), system),
    };
    let mut words = subject.title();
    for (name, range) in [("allowed", limits.allowed), ("recommended", limits.recommended)] {
        if let Some(range) = range {
            let _ = write!(words, ", {name} {} to {}", shown(range.low), shown(range.high));
        }
    }
    if let Some(floor) = limits.floor {
        let _ = write!(words, ", never below {}", shown(floor));
    }
    words
}
