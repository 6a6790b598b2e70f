//! Likely causes: which of them people are shown, and where they lie.
//!
//! Decides: how many causes a person is shown.
//! Assumes: findings ranked, most likely first.

use crate::findings::Finding;

/// More causes than this are counted, not listed.
const LISTED: usize = 8;

/// Causes with a lower score are counted, not listed.
const LEAST_SCORE: f64 = 0.2;

/// Those a person is shown.
pub fn likely(findings: &[Finding]) -> &[Finding] {
    let likely = findings.iter().take_while(|finding| finding.score >= LEAST_SCORE);
    &findings[..likely.take(LISTED).count()]
}

/// Where a finding lies on the joint.
pub fn place(finding: &Finding) -> String {
    let band =
        if finding.band > 0 { format!("band {}", finding.band) } else { "before the first band".into() };
    match (finding.from_deg, finding.to_deg) {
        (Some(from), Some(to)) if to - from >= 0.5 => format!("{band}, {from:.0} to {to:.0} deg"),
        (Some(at), _) => format!("{band}, at {at:.0} deg"),
        _ => band,
    }
}
