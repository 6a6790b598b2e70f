//! Likely causes as text.
//!
//! Decides: how many causes and how much evidence a person at a terminal is shown.
//! Assumes: findings ranked, most likely first.
//! Never: hides that there are more.

use super::model::findings::{likely, place};
use super::style::{BOLD, FAINT, line};
use crate::findings::Finding;
use crate::input::quantity::UnitSystem;

/// Sentences of evidence shown for a cause.
const SENTENCES: usize = 4;

/// The section of likely causes; nothing where there are none.
pub fn likely_causes(text: &mut String, findings: &[Finding], system: UnitSystem) {
    if findings.is_empty() {
        return;
    }
    line!(text, "");
    line!(text, "{BOLD}likely causes{BOLD:#}, most likely first");
    let listed = likely(findings);
    for finding in listed {
        let (cause, score) = (finding.cause, finding.score);
        line!(text, "  {BOLD}{cause}{BOLD:#} {FAINT}score {score:.2}{FAINT:#}  {}", place(finding));
        line!(text, "         {}", finding.words);
        for evidence in finding.evidence.iter().take(SENTENCES) {
            line!(text, "         - {}", evidence.sentence(system));
        }
        line!(text, "         check: {}", finding.look_at);
    }
    if findings.len() > listed.len() {
        line!(text, "  and {} less likely: --json lists all", findings.len() - listed.len());
    }
}
