//! `setup --register FILE` and `inspect --register FILE`: what was measured or found, kept without a log.
//!
//! Decides: the words in which it is told what became of it.
//! Assumes: whoever calls has shown it already.
//! Never: hides that it was not recorded: the command then ends with 2.

use crate::input::joint_field::{JointField, Stated};
use crate::input::procedure_file::ProcedureFile;
use crate::inspection::{Inspection, JudgedInspection};
use crate::output::named;
use crate::output::terminal::remark;
use crate::register::{AddedDocument, DocumentKind, NewDocument, Register};
use crate::report;
use crate::setup::{Checked, SetupSheet};
use jiff::Timestamp;
use std::path::Path;

/// Records a setup.
///
/// # Errors
/// It cannot be recorded.
pub fn setup(
    path: &Path,
    sheet: &SetupSheet,
    checked: &Checked,
    procedure: &ProcedureFile,
) -> anyhow::Result<()> {
    let signature = sheet.signature.as_ref();
    record(
        path,
        &NewDocument {
            kind: DocumentKind::Setup,
            serial: sheet.joint.as_deref(),
            file: &sheet.file,
            text: &sheet.to_text(),
            procedure,
            signed: [signature.map(|one| one.initials.as_str()), signature.map(|one| one.time.as_str())],
            record: &report::setup::json(sheet, checked, procedure),
            added_at: Timestamp::now(),
        },
    )
}

/// Records an inspection; `text` is its file.
///
/// # Errors
/// It cannot be recorded.
pub fn inspection(
    path: &Path,
    (inspection, text): (&Inspection, &str),
    judged: &JudgedInspection,
    procedure: &ProcedureFile,
) -> anyhow::Result<()> {
    let serial = inspection.claims.iter().find_map(|claim| match (&claim.field, &claim.stated) {
        (JointField::Serial, Stated::Text(serial)) => Some(serial.as_str()),
        _ => None,
    });
    record(
        path,
        &NewDocument {
            kind: DocumentKind::Inspection,
            serial,
            file: &inspection.file,
            text,
            procedure,
            signed: [inspection.by.as_deref(), inspection.date.as_deref()],
            record: &report::inspection_json(judged),
            added_at: Timestamp::now(),
        },
    )
}

/// Refuses a file that is no register, before anybody types an answer.
///
/// # Errors
/// Another file was meant, or another version of this program.
pub fn check(path: &Path) -> anyhow::Result<()> {
    match Register::open(path) {
        Err(error) if error.is_wrong_file() => Err(error.into()),
        // Told when it is to be recorded; it may be there by then.
        _ => Ok(()),
    }
}

fn record(path: &Path, new: &NewDocument<'_>) -> anyhow::Result<()> {
    let added = Register::open(path).and_then(|mut register| register.add_document(new));
    let added = added.inspect_err(|_| {
        remark(&format!("NOT RECORDED: the {} is shown, and not in the register", new.kind.name()));
    })?;
    remark(&format!("recorded in {}: {}", named(path), words(new, &added)));
    Ok(())
}

/// What became of it.
fn words(new: &NewDocument<'_>, added: &AddedDocument) -> String {
    let kind = new.kind.name();
    if !added.is_new {
        return format!("nothing new; this {kind} was there already");
    }
    let signed = if new.signed[0].is_some() { "" } else { ", NOT SIGNED" };
    let joints: Vec<_> = added.joints.iter().map(i64::to_string).collect();
    match (new.serial, &joints[..]) {
        (None, _) => format!("one {kind} that names no joint{signed}"),
        (Some(serial), []) => {
            format!("{kind} of {serial}{signed}; no joint with this serial is there yet, it is kept for it")
        }
        (Some(serial), [joint]) => format!("{kind} of {serial}{signed}, which is joint {joint}"),
        (Some(serial), joints) => {
            format!("{kind} of {serial}{signed}, which {} joints have: {}", joints.len(), joints.join(", "))
        }
    }
}
