//! What a register tells, as text.
//!
//! Decides: the columns of the table of joints, and the words for an outcome.
//! Never: leaves a joint out of the table.

use super::fit::fit;
use super::style::{BAD, BOLD, FAINT, GOOD, OPEN, line};
use crate::register::{Document, Found, Standing, Stored};
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
    for document in &found.recorded {
        let words = of_document(document).1;
        let _ = write!(verdict, "; {} {}: {words}", document.kind, how(document));
    }
    if found.is_older {
        verdict.push_str("; older judgement");
    }
    verdict
}

const fn how(document: &Document) -> &'static str {
    if document.is_of_log { "told with an earlier judgement" } else { "recorded on its own" }
}

/// A setup or an inspection that was recorded, in one line.
pub fn document(document: &Document) -> String {
    let (style, words) = of_document(document);
    let of = document
        .serial
        .as_ref()
        .map_or("of no joint that it names".to_owned(), |serial| format!("of {serial}"));
    let of = if document.is_of_log { "of this log".to_owned() } else { of };
    let by = document.signed_by.as_ref().map_or("NOT SIGNED".to_owned(), |by| format!("signed by {by}"));
    let at = document.signed_at.as_ref().map_or(String::new(), |at| format!(" at {at}"));
    let file = if document.file.is_empty() { String::new() } else { format!(" ({})", document.file) };
    let doubts = document.reasons.iter().flat_map(|reason| ["; ", reason.as_str()]).collect::<String>();
    format!("{} {of}: {style}{words}{style:#}, {by}{at}{file}{doubts}", document.kind)
}

/// What counts for a joint besides its judgement, a line each.
pub fn counting(standing: &Standing) -> Vec<String> {
    let line = |one: &Document| {
        format!("{}; recorded {}; it counts for joint {}", document(one), one.added_at, standing.joint)
    };
    standing.recorded.iter().map(line).collect()
}

/// How a joint stands with what was recorded for it, above what was told of it without that; nothing where that is all.
pub fn standing(stored: &Stored) -> String {
    let Some(standing) = stored.standing().filter(|standing| !standing.recorded.is_empty()) else {
        return String::new();
    };
    let mut text = String::new();
    let (style, words) = of_outcome(&standing.outcome);
    line!(&mut text, "{style}{words}{style:#}: the worst of its judgement and of what was recorded for it");
    for one in &standing.recorded {
        line!(&mut text, "  {}; {}, recorded {}", document(one), how(one), one.added_at);
    }
    line!(&mut text, "");
    line!(&mut text, "{BOLD}Its judgement alone, as it was told when it was recorded:{BOLD:#}");
    line!(&mut text, "");
    fit(&text)
}

/// What was not inspected is nothing against a joint.
fn of_document(document: &Document) -> (anstyle::Style, &'static str) {
    match (document.effect.as_str(), document.outcome.as_str()) {
        ("not asked", "not proven") if document.kind == "inspection" => (FAINT, "within as far as inspected"),
        _ => of_outcome(document.standing()),
    }
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
