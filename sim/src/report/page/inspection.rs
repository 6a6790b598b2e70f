//! What was found on the finished bands, with room for the inspector's name.
//!
//! Decides: the columns of the tables.
//! Never: calls a band good that nobody looked at.

use super::html::{escape, put};
use crate::input::quantity::format;
use crate::input::unit::Dimension;
use crate::inspection::{Check, JudgedInspection, Verdict};
use crate::report::Report;
use crate::report::model::inspection::{
    difference, efficiency, found, not_inspected, outcome, stands, subject, wanted, whose,
};
use crate::report::model::words::typeset;
use bandward::Outcome;

/// The section; nothing where no inspection was given.
pub fn section(page: &mut String, report: &Report<'_>) {
    let Some(inspection) = &report.replay.dossier.inspection else { return };
    put!(page, "<section id=\"inspection\" aria-labelledby=\"inspection-title\">");
    put!(page, "<h2 id=\"inspection-title\">Inspection of the finished bands</h2>");
    let (class, sign) = match inspection.outcome() {
        Outcome::Proven => ("good", "✓"),
        Outcome::NotProven => ("unproven", "!"),
        Outcome::NotAsked => ("advise", "?"),
        Outcome::Broken => ("warn", "✕"),
    };
    let words = outcome(inspection.outcome());
    put!(page, "<p><span class=\"tag {class}\">{sign} {words}</span> {}</p>", escape(&whose(inspection)));
    let missing = not_inspected(inspection);
    if !missing.is_empty() {
        let missing = escape(&missing.join("; "));
        put!(page, "<p><strong>Not inspected, though the procedure limits it:</strong> {missing}</p>");
    }
    for doubt in &inspection.doubts {
        put!(page, "<p><strong>Cannot be:</strong> {}</p>", escape(doubt));
    }
    findings(page, report, inspection);
    heights(page, report, inspection);
    put!(page, "<dl class=\"signature\" aria-label=\"Room for the inspector\">");
    let inspected = &inspection.inspection;
    for (line, value) in [("Inspector", &inspected.by), ("Date", &inspected.date), ("Signature", &None)] {
        put!(page, "<div><dt>{line}</dt><dd>{}</dd></div>", escape(value.as_deref().unwrap_or_default()));
    }
    put!(page, "</dl>\n</section>");
}

fn table(page: &mut String, name: &str, caption: &str, titles: &[&str]) {
    put!(page, "<div class=\"scroll\" role=\"region\" aria-label=\"{name}\" tabindex=\"0\">\n<table>");
    put!(page, "<caption>{caption}</caption>\n<thead><tr>");
    for title in titles {
        put!(page, "<th scope=\"col\">{title}</th>");
    }
    put!(page, "</tr></thead>\n<tbody>");
}

fn findings(page: &mut String, report: &Report<'_>, inspection: &JudgedInspection) {
    table(
        page,
        "What was found",
        "What was found, and what the procedure says of it",
        &["What", "Found", "Wanted", "Verdict"],
    );
    for check in inspection.checks.iter().filter(|check| check.verdict != Verdict::NotInspected) {
        put!(
            page,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td></tr>",
            subject(check),
            typeset(&escape(&found(check, report.system))),
            typeset(&escape(&wanted(check, report.system))),
            verdict(check)
        );
    }
    put!(page, "</tbody>\n</table>\n</div>");
    for band in &inspection.inspection.bands {
        if let Some(note) = &band.note {
            put!(page, "<p>Band {}: {}</p>", band.band, escape(note));
        }
    }
}

fn verdict(check: &Check) -> String {
    let words = escape(stands(check.verdict));
    let class = match check.verdict.outcome() {
        Outcome::Broken => "warn",
        Outcome::NotProven => "unproven",
        Outcome::Proven if check.verdict == Verdict::Within => "good",
        Outcome::Proven => "advise",
        Outcome::NotAsked => return words,
    };
    let sign = if class == "good" { "✓ " } else { "" };
    format!("<span class=\"tag {class}\">{sign}{words}</span>")
}

fn heights(page: &mut String, report: &Report<'_>, inspection: &JudgedInspection) {
    let length = |mm: f64| typeset(&format(mm, Dimension::Length, report.system));
    let shown: Vec<_> = inspection.heights.iter().filter(|one| one.expected_mm.is_some()).collect();
    if !shown.is_empty() {
        table(
            page,
            "Measured beside expected heights",
            "Heights by gauge beside those that the trace gives at the same angle round from the tie-in",
            &["Band", "At", "Measured", "Expected", "Difference"],
        );
    }
    for one in &shown {
        let at = if one.is_overlapped { " (over its own start)" } else { "" };
        put!(
            page,
            "<tr><th scope=\"row\">{}</th><td>{:.0}°{at}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            one.band,
            one.at_deg,
            length(one.measured_mm),
            one.expected_mm.map(length).unwrap_or_default(),
            typeset(&difference(one, report.system).unwrap_or_default())
        );
    }
    if !shown.is_empty() {
        put!(page, "</tbody>\n</table>\n</div>");
    }
    put!(page, "<p>{}</p>", escape(&efficiency(inspection)));
}
