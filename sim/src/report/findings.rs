//! Likely causes as text.
//!
//! Decides: how many causes and how much evidence a person at a terminal is shown.
//! Assumes: findings ranked, the likeliest first.
//! Never: hides that there are more.

use super::style::{BOLD, FAINT, line};
use crate::findings::Finding;
use crate::input::quantity::UnitSystem;

/// More causes than this are counted, not listed.
const LISTED: usize = 8;
/// Causes with a lower score are counted, not listed.
const LEAST_SCORE: f64 = 0.2;
/// Sentences of evidence shown for a cause.
const SENTENCES: usize = 4;

/// The section of likely causes; nothing where there are none.
pub fn likely_causes(text: &mut String, findings: &[Finding], system: UnitSystem) {
    if findings.is_empty() {
        return;
    }
    line!(text, "");
    line!(text, "{BOLD}likely causes{BOLD:#}, the likeliest first");
    let listed = likely(findings);
    for finding in listed {
        let (cause, score) = (finding.cause, finding.score);
        line!(text, "  {BOLD}{cause}{BOLD:#} {FAINT}score {score:.2}{FAINT:#}  {}", place(finding));
        line!(text, "         {}", finding.words);
        for evidence in finding.evidence.iter().take(SENTENCES) {
            line!(text, "         - {}", evidence.sentence(system));
        }
        line!(text, "         look at: {}", finding.look_at);
    }
    if findings.len() > listed.len() {
        line!(text, "  and {} less likely: --json lists all", findings.len() - listed.len());
    }
}

/// Those a person is shown.
pub(super) fn likely(findings: &[Finding]) -> &[Finding] {
    let likely = findings.iter().take_while(|finding| finding.score >= LEAST_SCORE);
    &findings[..likely.take(LISTED).count()]
}

/// Where a finding lies on the joint.
pub(super) fn place(finding: &Finding) -> String {
    let band =
        if finding.band > 0 { format!("band {}", finding.band) } else { "before the first band".into() };
    match (finding.from_deg, finding.to_deg) {
        (Some(from), Some(to)) if to - from >= 0.5 => format!("{band}, {from:.0} to {to:.0} deg"),
        (Some(at), _) => format!("{band}, at {at:.0} deg"),
        _ => band,
    }
}
