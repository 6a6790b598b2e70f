//! A judged inspection as text, for people at a terminal; as JSON it is in `inspection_json`.
//!
//! Decides: what stands where: what is wrong, what nobody looked at, measured beside expected.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: says by colour alone what words do not say.

use super::fit::fit;
use super::model::inspection::{
    difference, efficiency, found, not_inspected, outcome, stands, subject, wanted, whose,
};
use super::style::{BAD, BOLD, FAINT, GOOD, OPEN, line};
use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use crate::inspection::{Check, JudgedInspection, Verdict};
use bandward::Outcome;

/// The inspection; with `is_whole` what is good as well.
pub fn text(inspection: &JudgedInspection, is_whole: bool, system: UnitSystem) -> String {
    let mut text = String::new();
    let of = inspection.outcome();
    let style = match of {
        Outcome::Proven => GOOD,
        Outcome::NotProven => OPEN,
        Outcome::NotAsked => FAINT,
        Outcome::Broken => BAD,
    };
    line!(&mut text, "{BOLD}inspection of the finished bands{BOLD:#}, {}", whose(inspection));
    line!(&mut text, "  {style}{}{style:#}", outcome(of));
    for check in &inspection.checks {
        let is_told = !matches!(check.verdict, Verdict::Within | Verdict::NotAsked | Verdict::NotInspected);
        if is_told || is_whole && check.verdict != Verdict::NotInspected {
            finding(&mut text, check, system);
        }
    }
    let missing = not_inspected(inspection);
    if !missing.is_empty() {
        line!(&mut text, "  not inspected, though the procedure limits it: {}", missing.join("; "));
    }
    for doubt in &inspection.doubts {
        line!(&mut text, "  {OPEN}cannot be{OPEN:#}: {doubt}");
    }
    for band in inspection.inspection.bands.iter().filter(|band| band.note.is_some()) {
        line!(&mut text, "  band {}: {}", band.band, band.note.as_deref().unwrap_or_default());
    }
    if inspection.joint > 0 {
        heights(&mut text, inspection, system);
    }
    fit(&text)
}

fn finding(text: &mut String, check: &Check, system: UnitSystem) {
    let word = stands(check.verdict);
    let style = match check.verdict.outcome() {
        Outcome::Broken => BAD,
        Outcome::NotProven => OPEN,
        _ => FAINT,
    };
    let wanted = wanted(check, system);
    let wanted = if wanted.is_empty() { wanted } else { format!("; wanted {wanted}") };
    line!(text, "  {style}{word}{style:#}  {}: {}{wanted}", subject(check), found(check, system));
}

fn heights(text: &mut String, inspection: &JudgedInspection, system: UnitSystem) {
    let length = |mm: f64| format(mm, Dimension::Length, system);
    let row = |cells: [&str; 5]| {
        format!("  {:>4} {:>8} {:>10} {:>10} {:>11}", cells[0], cells[1], cells[2], cells[3], cells[4])
    };
    let shown: Vec<_> = inspection.heights.iter().filter(|one| one.expected_mm.is_some()).collect();
    if !shown.is_empty() {
        line!(text, "{FAINT}{}{FAINT:#}", row(["band", "at", "measured", "expected", "difference"]));
    }
    for one in shown {
        let cells = [
            one.band.to_string(),
            format!("{:.0} deg", one.at_deg),
            length(one.measured_mm),
            one.expected_mm.map(length).unwrap_or_default(),
            difference(one, system).unwrap_or_default(),
        ];
        let row = row(cells.each_ref().map(String::as_str));
        let why = if one.is_overlapped { "  laid over its own start" } else { "" };
        line!(text, "{row}{why}");
    }
    line!(text, "  {}", efficiency(inspection));
}
