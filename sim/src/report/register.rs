//! What a register tells, as text.
//!
//! Decides: the columns of the table of joints, and the words for an outcome.
//! Never: leaves a joint out of the table.

use super::fit::fit;
use super::style::{BAD, BOLD, FAINT, GOOD, OPEN, line};
use crate::register::{Document, Found, Stored};
use std::fmt::Write as _;

/// What stands in a column for a joint.
type Cell<'a> = &'a dyn Fn(&Found) -> String;

/// The joints that were found, a line each; columns in which nothing stands are left out.
pub fn joints(found: &[Found]) -> String {
    let or_empty = |text: &Option<String>| text.clone().unwrap_or_default();
    let columns: [(&str, Cell<'_>); 7] = [
        ("no.", &|one| one.id.to_string()),
        ("welded", &|one| one.welded_at.as_deref().map(minute).unwrap_or_default()),
        ("serial", &|one| or_empty(&one.serial)),
        ("end", &|one| or_empty(&one.end)),
        ("machine", &|one| or_empty(&one.machine)),
        ("operator", &|one| or_empty(&one.operator)),
        ("log", &|one| one.path.as_deref().map(file_name).unwrap_or_default()),
    ];
    let mut lines = vec![String::new(); found.len() + 1];
    for (title, cell) in columns {
        let cells: Vec<String> = found.iter().map(cell).collect();
        let has_serials = found.iter().all(|one| one.serial.is_some());
        if cells.iter().all(String::is_empty) || (title == "log" && has_serials) {
            continue;
        }
        let width = cells.iter().map(|cell| cell.chars().count()).max().unwrap_or(0).max(title.len());
        for (line, cell) in lines.iter_mut().zip(std::iter::once(title.to_owned()).chain(cells)) {
            // Writing to a string cannot fail.
            let _ = write!(line, "{cell:<width$}  ");
        }
    }
    let mut text = String::new();
    line!(&mut text, "{FAINT}{}verdict{FAINT:#}", lines[0]);
    for (line, one) in lines[1..].iter().zip(found) {
        line!(&mut text, "{line}{}", verdict(one));
    }
    fit(&text)
}

fn verdict(found: &Found) -> String {
    let (style, words) = of_outcome(&found.outcome);
    let mut verdict = format!("{style}{words}{style:#}");
    for (name, list) in [("", &found.broken), ("cause ", &found.causes)] {
        if let Some((first, others)) = list.split_first() {
            let more = if others.is_empty() { String::new() } else { format!(" and {} more", others.len()) };
            let _ = write!(verdict, "; {name}{first}{more}");
        }
    }
    for document in &found.documents {
        if let Some((kind, outcome)) = document.split_once(' ') {
            let _ = write!(verdict, "; {kind} recorded on its own: {}", of_outcome(outcome).1);
        }
    }
    if found.is_older {
        verdict.push_str("; older judgement");
    }
    verdict
}

/// A setup or an inspection that was recorded on its own, in one line.
pub fn document(document: &Document) -> String {
    let (style, words) = of_outcome(&document.outcome);
    let of = document
        .serial
        .as_ref()
        .map_or("of no joint that it names".to_owned(), |serial| format!("of {serial}"));
    let by = document.signed_by.as_ref().map_or("NOT SIGNED".to_owned(), |by| format!("signed by {by}"));
    let at = document.signed_at.as_ref().map_or(String::new(), |at| format!(" at {at}"));
    let file = if document.file.is_empty() { String::new() } else { format!(" ({})", document.file) };
    format!("{} {of}: {style}{words}{style:#}, {by}{at}{file}", document.kind)
}

/// Those of a joint, below it.
pub fn documents(documents: &[Document]) -> String {
    let mut text = String::new();
    line!(&mut text, "\n{BOLD}Recorded on their own for this serial{BOLD:#}");
    for one in documents {
        line!(&mut text, "  {}", document(one));
    }
    fit(&text)
}

fn of_outcome(outcome: &str) -> (anstyle::Style, &'static str) {
    match outcome {
        "proven" => (GOOD, "within"),
        "not proven" => (OPEN, "NOT PROVEN"),
        "broken" => (BAD, "OUTSIDE"),
        _ => (FAINT, "not judged"),
    }
}

/// Date and time to the minute, as they are written.
fn minute(welded_at: &str) -> String {
    welded_at.get(..16).unwrap_or(welded_at).replace('T', " ")
}

fn file_name(path: &str) -> String {
    path.rsplit(['/', '\\']).next().unwrap_or(path).to_owned()
}

/// Where what is shown of a joint comes from.
pub fn origin(stored: &Stored) -> String {
    let mut text = String::new();
    line!(&mut text, "{BOLD}joint {} of the register{BOLD:#}", stored.id);
    line!(&mut text, "  recorded {} by bandward {}", stored.added_at, stored.program);
    line!(&mut text, "  log: {}", stored.log_path.as_deref().unwrap_or("came through a pipe"));
    line!(&mut text, "  SHA-256 of the log: {}", stored.log_sha256);
    if let Some(sha256) = &stored.procedure_sha256 {
        line!(&mut text, "  SHA-256 of the procedure: {sha256}");
    }
    line!(&mut text, "");
    fit(&text)
}
