//! The likely causes, each with the evidence a person can check in the traces.
//!
//! Decides: how a cause is laid out, and which stretches its evidence links to.
//! Assumes: findings ranked, most likely first.
//! Never: calls a cause certain.

use super::html::{escape, put};
use super::traces::link;
use crate::findings::Finding;
use crate::report::Report;
use crate::report::model::chart::letter;
use crate::report::model::findings::{likely, place};
use crate::report::model::words::typeset;

/// The section; nothing where there are no findings.
pub fn section(page: &mut String, report: &Report<'_>) {
    let findings = &report.replay.findings;
    if findings.is_empty() {
        return;
    }
    put!(page, "<section id=\"causes\" aria-labelledby=\"causes-title\">");
    put!(page, "<h2 id=\"causes-title\">Likely causes</h2>");
    put!(
        page,
        "<p>Most likely first. A score of 1 means that every sign of the cause was seen; it is no \
         probability. The letters are those in the traces.</p>\n<ol class=\"causes\">"
    );
    let likely = likely(findings);
    for (index, finding) in likely.iter().enumerate() {
        cause(page, report, index, finding);
    }
    put!(page, "</ol>");
    if findings.len() > likely.len() {
        put!(page, "<p>And {} less likely; replay with --json lists all.</p>", findings.len() - likely.len());
    }
    put!(page, "</section>");
}

fn cause(page: &mut String, report: &Report<'_>, index: usize, finding: &Finding) {
    let name = letter(index).map_or(String::new(), |letter| format!("<b class=\"letter\">{letter}</b> "));
    let (words, score) = (escape(finding.words), finding.score);
    let place = typeset(&place(finding));
    put!(page, "<li><h3>{name}{words} <small>{place}; score {score:.2}</small></h3>\n<ul>");
    for evidence in &finding.evidence {
        let sentence = escape(&typeset(&evidence.sentence(report.system)));
        let (from_s, to_s) = (evidence.from_us as f64 / 1e6, evidence.to_us as f64 / 1e6);
        let show = link(report, from_s, to_s, &format!("Show in the traces: {sentence}"));
        put!(page, "<li>{sentence} {show}</li>");
    }
    put!(page, "</ul>\n<p><strong>Check:</strong> {}</p></li>", escape(finding.look_at));
}
