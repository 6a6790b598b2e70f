//! An inspection in words that every way of showing it shares.
//!
//! Decides: how a finding, a wish of the procedure and a proposal are told.
//! Never: lays anything out.

use crate::input::inspection_limits::Hardness;
use crate::input::quantity::{UnitSystem, format, format_beside, format_difference};
use crate::input::unit::Dimension;
use crate::inspection::check::Wanted;
use crate::inspection::efficiency::{Compared, Proposal};
use crate::inspection::{Check, Found, JudgedInspection, Verdict};
use crate::standing::{show_bounds, show_setting};
use bandward::{Outcome, Severity};

/// What was looked at, and where.
pub fn subject(check: &Check) -> String {
    let band = check.band.map(|band| format!(" {band}"));
    let at = check.at_deg.map(|at| format!(" at {at:.0} deg"));
    match (check.title, band) {
        (title @ "between bands, before", Some(band)) => format!("{title} band{band}"),
        (title, Some(band)) => format!("band{band} {title}{}", at.unwrap_or_default()),
        (title, None) => title.to_owned(),
    }
}

/// What was found; a size that is outside does not read like its limit.
pub fn found(check: &Check, system: UnitSystem) -> String {
    match (check.found, check.verdict) {
        (Found::Nothing, _) => "not inspected".to_owned(),
        (Found::Size(size, dimension), Verdict::Departs(left)) => {
            format_beside(size, left.limit, dimension, system)
        }
        (Found::Size(size, dimension), _) => format(size, dimension, system),
        (Found::Hardness(hardness), _) => hardness.show(),
        (Found::Look(look, rank), _) => look.words().get(rank).copied().unwrap_or_default().to_owned(),
    }
}

/// What the procedure wants; empty where it says nothing.
pub fn wanted(check: &Check, system: UnitSystem) -> String {
    let ends = |low: Option<Hardness>, high: Option<Hardness>| {
        let low = low.map(|end| format!("at least {}", end.show()));
        let high = high.map(|end| format!("at most {}", end.show()));
        low.into_iter().chain(high).collect::<Vec<_>>().join(", ")
    };
    match check.wanted {
        Wanted::Nothing => String::new(),
        Wanted::Setting(setting) => show_setting(&setting, system),
        Wanted::Bounds(bounds, dimension) => show_bounds(bounds, dimension, system),
        Wanted::Hardness(low, high) => ends(low, high),
        Wanted::NoWorse(look, rank) => match look.words().get(rank).copied().unwrap_or_default() {
            best if rank == 0 => best.to_owned(),
            worst => format!("no worse than {worst}"),
        },
    }
}

/// How a finding stands, in a word or two.
pub const fn stands(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Within => "good",
        Verdict::Departs(left) if matches!(left.severity, Severity::Advise) => "ADVISORY",
        Verdict::Departs(_) | Verdict::Worse => "OUTSIDE",
        Verdict::NotInspected => "not inspected",
        Verdict::Undecided => "DECIDE: the procedure does not say",
        Verdict::NotCompared(reason) => reason,
        Verdict::NotAsked => "not asked for",
    }
}

/// How the whole stands.
pub const fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Proven => "within the procedure",
        Outcome::NotProven => "NOT PROVEN",
        Outcome::NotAsked => "not judged: the procedure limits nothing of it",
        Outcome::Broken => "OUTSIDE THE PROCEDURE",
    }
}

/// Whose it is.
pub fn whose(inspection: &JudgedInspection) -> String {
    let of = &inspection.inspection;
    let by = of.by.as_ref().map(|by| format!("by {by}"));
    [Some(of.file.clone()), by, of.date.clone()].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// What was not inspected though the procedure limits it.
pub fn not_inspected(inspection: &JudgedInspection) -> Vec<String> {
    together(inspection.not_inspected())
}

/// What an inspection found that costs the proof and breaks nothing, in words.
pub fn open(inspection: &JudgedInspection) -> Vec<String> {
    let shown = |check: &Check| {
        let found = found(check, UnitSystem::Metric);
        format!("by inspection: {}: {found}: {}", subject(check), stands(check.verdict))
    };
    let doubts = inspection.doubts.iter().map(|doubt| format!("by inspection: {doubt}"));
    inspection.open().map(shown).chain(doubts).collect()
}

/// What was looked at: places of one band together.
pub fn together<'a>(checks: impl Iterator<Item = &'a Check>) -> Vec<String> {
    let mut told: Vec<(&'static str, Option<u16>, Vec<String>, String)> = Vec::new();
    for check in checks {
        let at = check.at_deg.map(|at| format!("{at:.0}"));
        let known = told.iter_mut().find(|(title, band, ..)| (*title, *band) == (check.title, check.band));
        if let Some((_, _, places, _)) = known {
            places.extend(at);
        } else {
            let plain = subject(&Check { at_deg: None, ..check.clone() });
            told.push((check.title, check.band, at.into_iter().collect(), plain));
        }
    }
    let words = |(.., places, plain): (_, _, Vec<String>, String)| {
        if places.is_empty() { plain } else { format!("{plain} at {} deg", places.join(", ")) }
    };
    told.into_iter().map(words).collect()
}

/// Measured less expected.
pub fn difference(compared: &Compared, system: UnitSystem) -> Option<String> {
    // A gauge reads no finer than this.
    let off_by = ((compared.measured_mm - compared.expected_mm?) * 100.0).round() / 100.0;
    let sign = if off_by > 0.0 { "+" } else { "" };
    Some(format!("{sign}{}", format_difference(off_by, Dimension::Length, system)))
}

/// What the measured heights speak for.
pub fn efficiency(inspection: &JudgedInspection) -> String {
    match inspection.efficiency {
        Err(reason) => format!("no deposition efficiency is proposed: {}", reason.words()),
        Ok(proposal) => proposed(&proposal),
    }
}

fn proposed(proposal: &Proposal) -> String {
    let percent = |share: f64| format!("{:.1}", 100.0 * share);
    let [low, high] = proposal.interval().map(percent);
    let (bands, readings) = (proposal.bands, proposal.readings);
    let rests_on = format!("{bands} bands, {readings} readings, 95 % interval {low} to {high} %");
    let (own, now) = (percent(proposal.efficiency()), percent(proposal.now));
    if !proposal.is_possible() {
        return format!(
            "the measured heights speak for {own} % of the wire in the bands ({rests_on}), which cannot be: look at the \
             scale of the wire feed, the wire's diameter and the gauge"
        );
    }
    if !proposal.is_sure() {
        return format!(
            "no deposition efficiency is proposed: the measured heights leave it too open ({own} %; {rests_on}); gauge more \
             bands, or finer"
        );
    }
    let verdict = if proposal.is_a_change() {
        format!("{own} % is proposed instead of the procedure's {now} %")
    } else {
        format!("{own} %, no change proposed: the procedure's {now} % is within the interval")
    };
    format!("deposition efficiency by the measured heights: {verdict} ({rests_on})")
}
