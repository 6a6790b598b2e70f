//! Likely causes: which of them people are shown, and where they lie.
//!
//! Decides: how many causes a person is shown.
//! Assumes: findings ranked, most likely first.

use crate::findings::{Finding, Place};
use std::fmt::Write as _;

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
    let Place { band, from_deg, to_deg, .. } = finding.place;
    let band = if band > 0 { format!("band {band}") } else { "before the first band".into() };
    let mut text = match (from_deg, to_deg) {
        (Some(from), Some(to)) if to - from >= 0.5 => format!("{band}, {from:.0} to {to:.0} deg"),
        (Some(at), _) => format!("{band}, at {at:.0} deg"),
        _ => band,
    };
    let others: Vec<String> = finding.other_bands().iter().map(u16::to_string).collect();
    if !others.is_empty() {
        let bands = if others.len() == 1 { "band" } else { "bands" };
        let _ = write!(text, "; also {bands} {}", others.join(", "));
    }
    text
}
