//! One finding on a finished band, and how it stands.
//!
//! Decides: the verdict on what was found beside what is wanted.
//! Never: takes what was not measured for good.

use crate::input::bounds::Bounds;
use crate::input::inspection_limits::{Hardness, Look};
use crate::input::setting::Setting;
use crate::input::unit::Dimension;
use crate::standing::{Departure, beyond, departure};
use bandward::rule::Side;
use bandward::{Outcome, Severity};

/// What was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Found {
    /// Nothing: it was not looked at.
    Nothing,
    /// A size, in the house unit.
    Size(f64, Dimension),
    /// A hardness.
    Hardness(Hardness),
    /// One of the words of a look.
    Look(Look, usize),
}

/// What the procedure wants.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wanted {
    /// Nothing.
    Nothing,
    /// A setting with its ranges.
    Setting(Setting),
    /// A range.
    Bounds(Bounds, Dimension),
    /// No softer and no harder than these.
    Hardness(Option<Hardness>, Option<Hardness>),
    /// No worse than this.
    NoWorse(Look, usize),
}

/// How a finding stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Verdict {
    /// Within what is wanted.
    Within,
    /// A size outside a range.
    Departs(Departure),
    /// Worse than allowed.
    Worse,
    /// The procedure limits it, and nobody looked.
    NotInspected,
    /// The procedure says nothing of it, and it is no good sign: the shop decides.
    Undecided,
    /// It cannot be compared.
    NotCompared(&'static str),
    /// The procedure says nothing of it.
    NotAsked,
}

impl Verdict {
    /// What it comes to.
    pub const fn outcome(self) -> Outcome {
        match self {
            Self::Departs(Departure { severity: Severity::Advise, .. }) | Self::Within => Outcome::Proven,
            Self::Departs(_) | Self::Worse => Outcome::Broken,
            Self::NotInspected | Self::Undecided | Self::NotCompared(_) => Outcome::NotProven,
            Self::NotAsked => Outcome::NotAsked,
        }
    }
}

/// One finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// What was looked at: `height`, `preheat`.
    pub title: &'static str,
    /// On which band.
    pub band: Option<u16>,
    /// Where on it, degrees round from the tie-in.
    pub at_deg: Option<f64>,
    /// What was found.
    pub found: Found,
    /// What the procedure wants.
    pub wanted: Wanted,
    /// How it stands.
    pub verdict: Verdict,
}

/// One finding; nothing where neither anybody looked nor the procedure asks.
pub(super) fn check(
    title: &'static str,
    band: Option<u16>,
    at_deg: Option<f64>,
    found: Found,
    wanted: Wanted,
) -> Option<Check> {
    let verdict = match (found, wanted) {
        (Found::Nothing, Wanted::Nothing) => return None,
        (Found::Nothing, _) => Verdict::NotInspected,
        (Found::Look(_, rank), Wanted::Nothing) if rank > 0 => Verdict::Undecided,
        (_, Wanted::Nothing) => Verdict::NotAsked,
        (Found::Size(size, _), Wanted::Setting(setting)) => {
            departure(size, &setting).map_or(Verdict::Within, Verdict::Departs)
        }
        (Found::Size(size, _), Wanted::Bounds(bounds, _)) => {
            beyond(size, Some(bounds), Severity::Warn).map_or(Verdict::Within, Verdict::Departs)
        }
        (Found::Hardness(reading), Wanted::Hardness(low, high)) => hardness(reading, low, high),
        (Found::Look(_, rank), Wanted::NoWorse(_, worst)) if rank > worst => Verdict::Worse,
        (Found::Look(..), Wanted::NoWorse(..)) => Verdict::Within,
        _ => Verdict::NotCompared("the procedure limits something else"),
    };
    Some(Check { title, band, at_deg, found, wanted, verdict })
}

fn hardness(reading: Hardness, low: Option<Hardness>, high: Option<Hardness>) -> Verdict {
    if [low, high].into_iter().flatten().any(|end| end.scale != reading.scale) {
        return Verdict::NotCompared("the procedure gives another scale, and scales are not converted");
    }
    let is_soft = low.filter(|end| reading.number < end.number).map(|end| (Side::Low, end));
    let is_hard = high.filter(|end| reading.number > end.number).map(|end| (Side::High, end));
    match is_soft.or(is_hard) {
        None => Verdict::Within,
        Some((side, end)) => Verdict::Departs(Departure {
            severity: Severity::Warn,
            side,
            limit: end.number,
            off_by: (reading.number - end.number).abs(),
        }),
    }
}
