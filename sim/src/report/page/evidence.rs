//! What the page is based on: files, revisions and hashes; and room for a signature.
//!
//! Decides: what is needed to find the same files again.
//! Assumes: nothing.
//! Never: proves who wrote a file.

use super::html::{css_string, escape, put};
use crate::raw::seconds;
use crate::report::Report;
use crate::report::model::coverage::sample_rate_hz;
use crate::report::model::setup::signed;

/// The section.
pub fn section(page: &mut String, report: &Report<'_>) {
    put!(page, "<section id=\"traceability\" aria-labelledby=\"traceability-title\">");
    put!(page, "<h2 id=\"traceability-title\">Traceability</h2>");
    put!(page, "<div class=\"scroll\" role=\"region\" aria-label=\"Traceability\" tabindex=\"0\">\n<table>");
    put!(page, "<caption>What this page was made from; a hash is that of the bytes that were read</caption>");
    put!(page, "<tbody>");
    for (name, value) in rows(report) {
        put!(page, "<tr><th scope=\"row\">{name}</th><td>{}</td></tr>", escape(&value));
    }
    put!(page, "</tbody>\n</table>\n</div>");
    put!(page, "<dl class=\"signature\" aria-label=\"Room for a signature\">");
    for line in ["Inspected by", "Date", "Decision"] {
        put!(page, "<div><dt>{line}</dt><dd></dd></div>");
    }
    put!(page, "</dl>\n</section>");
}

/// What stands at the edges of every sheet of paper, as a style sheet: what it is of, and its number.
pub fn paper(report: &Report<'_>, title: &str) -> String {
    let start = |hash: Option<&str>| hash.map_or("none", |hash| &hash[..hash.len().min(12)]).to_owned();
    let setup = report.setup.map(|setup| setup.sheet.sha256.as_str());
    let files = format!(
        "trace {}  procedure {}  setup {}",
        start(report.provenance.map(|from| from.sha256.as_str())),
        start(report.procedure.map(|file| file.sha256.as_str())),
        start(setup)
    );
    format!(
        "@page {{ @top-left {{ content: {}; }} @bottom-left {{ content: {}; }}\n\
         @bottom-right {{ content: \"sheet \" counter(page) \" of \" counter(pages); }} }}\n",
        css_string(title),
        css_string(&files)
    )
}

fn rows(report: &Report<'_>) -> Vec<(&'static str, String)> {
    let trace = &report.replay.trace;
    let sampling = format!(
        "{} samples, {:.1} a second, {:.1} s; gaps in time: {}; out of order: {}",
        trace.samples,
        sample_rate_hz(report.replay),
        seconds(trace.duration_us),
        trace.gaps,
        trace.out_of_order
    );
    let mut rows = vec![("Trace", trace.path.clone())];
    if let Some(from) = report.provenance {
        rows.push(("SHA-256 of the trace", from.sha256.clone()));
        rows.extend(from.changed.iter().map(|changed| ("The file changed", changed.clone())));
    } else {
        rows.push(("SHA-256 of the trace", "not known".to_owned()));
    }
    rows.push(("Samples", sampling));
    let not_given = || "not given".to_owned();
    if let Some(file) = report.procedure {
        rows.push(("Procedure file", file.file.clone()));
        rows.push(("Procedure", file.name.clone().unwrap_or_else(not_given)));
        rows.push(("Revision", file.revision.clone().unwrap_or_else(not_given)));
        rows.push(("SHA-256 of the procedure", file.sha256.clone()));
    } else {
        rows.push(("Procedure", not_given()));
    }
    if let (Some(setup), Some(procedure)) = (report.setup, report.procedure) {
        rows.push(("Setup file", setup.sheet.file.clone()));
        rows.push(("SHA-256 of the setup", setup.sheet.sha256.clone()));
        rows.push(("Setup", signed(&setup.sheet, procedure)));
    }
    if let Some(inspection) = &report.replay.dossier.inspection {
        rows.push(("Inspection file", inspection.inspection.file.clone()));
        rows.push(("SHA-256 of the inspection", inspection.inspection.sha256.clone()));
    }
    rows.push(("Made with", format!("bandward {}", env!("CARGO_PKG_VERSION"))));
    rows
}
