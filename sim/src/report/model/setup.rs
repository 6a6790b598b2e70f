//! A judged setup in words that every way of showing it shares.
//!
//! Decides: how a wanted value and a signature are told.
//! Never: lays anything out.

use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format_beside};
use crate::setup::item::Kind;
use crate::setup::{Item, Judged, Measured, SettingVerdict, SetupSheet, Wanted};
use crate::standing::show_setting;

/// What the procedure wants, as people read it.
pub fn show_wanted(item: Item, wanted: Wanted, system: UnitSystem) -> String {
    match wanted {
        Wanted::Ranges(setting) => show_setting(&setting, system),
        Wanted::Exactly(value) => item.show(value, system),
    }
}

/// What was measured, as people read it; a size that is outside does not read like its limit.
pub fn show_measured(judged: &Judged, system: UnitSystem) -> Option<String> {
    let value = judged.value?;
    Some(match (value, judged.item.kind(), judged.verdict) {
        (Measured::Size(size), Kind::Size(dimension, _), SettingVerdict::Departs(left, _)) => {
            format_beside(size, left.limit, dimension, system)
        }
        _ => judged.item.show(value, system),
    })
}

/// Who signed it off, and whether on this procedure.
pub fn signed(sheet: &SetupSheet, procedure: &ProcedureFile) -> String {
    let Some(signature) = &sheet.signature else { return "not signed off".to_owned() };
    let other = if signature.procedure_sha256.eq_ignore_ascii_case(&procedure.sha256) {
        ""
    } else {
        ", on another text of the procedure than this one"
    };
    let stood = if signature.is_within_procedure { "within" } else { "outside" };
    format!("signed off by {} at {}, {stood} the procedure{other}", signature.initials, signature.time)
}
