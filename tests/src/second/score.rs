//! Was a fault found?
//!
//! Decides: which alarm tells which fault, and how late.
//! Assumes: an alarm of an expected rule that reaches warn or stop while the fault lasts, or shortly after,
//! tells it. One that was standing before the fault does not, right or wrong.

use super::fault::Shape;
use super::kinds::Kind;
use super::truth::{FaultTruth, Truth};
use super::watched::{Signed, Watched};
use bandward::Severity;

/// How long after a fault an alarm may still be its own, s: rules that wait for a band's end, and gas after it.
const AFTERWARDS_S: f64 = 25.0;
/// A first row may come late, and a time may be told as that of the row before, s.
const BEFORE_S: f64 = 1.0;

/// What came of one fault.
#[derive(Clone, Copy, Debug)]
pub struct Score {
    /// Seconds to the alarm: from where the quantity left its range; where nothing measures it, from the
    /// start of the fault, or from the end of the band for what shows only there.
    pub delay_s: Option<f64>,
    /// Did it take its quantity out of the allowed range at all?
    pub breaks_limit: bool,
    /// Was the joint not signed green?
    pub not_green: bool,
    /// Place of its cause among all found, from 0.
    pub cause_at: Option<usize>,
    /// A rule that warned or stopped, and should not have.
    pub other_rule: Option<&'static str>,
}

/// Scores the one fault of a joint; absent where there is none.
pub fn score(truth: &Truth, watched: &Watched) -> Option<Score> {
    let fault = truth.faults.first()?;
    let facts = fault.fault.facts();
    let (rules, causes) = (fault.fault.rules(), fault.fault.causes());
    let loud = || watched.alarms.iter().filter(|alarm| alarm.severity >= Severity::Warn);
    let until_s = fault.end_s.unwrap_or(f64::INFINITY) + AFTERWARDS_S;
    let found = start_s(fault, truth).and_then(|start_s| {
        let mut own = loud().filter(|alarm| rules.contains(&alarm.rule));
        let told = own.find(|alarm| (start_s - BEFORE_S..=until_s).contains(&alarm.reached_s))?;
        Some((told.reached_s - counted_from_s(fault, start_s)).max(0.0))
    });
    Some(Score {
        delay_s: found,
        breaks_limit: facts.gauge.is_none() || fault.outside_s.is_some(),
        not_green: watched.signed != Signed::Proven,
        cause_at: watched.causes.iter().position(|(cause, _)| causes.contains(cause)),
        other_rule: loud().find(|alarm| !rules.contains(&alarm.rule)).map(|alarm| alarm.rule),
    })
}

/// When the fault could first be seen, s: one that lasts all the joint long, as the first band begins.
fn start_s(fault: &FaultTruth, truth: &Truth) -> Option<f64> {
    let all_along = matches!(fault.fault.shape, Shape::Joint | Shape::OnceATurn);
    let first_arc_s = truth.bands.first().map(|band| band.start_s);
    let start_s = fault.start_s?;
    Some(if all_along { start_s.max(first_arc_s?) } else { start_s })
}

fn counted_from_s(fault: &FaultTruth, start_s: f64) -> f64 {
    let at_the_end = matches!(
        fault.fault.kind,
        Kind::NoPostflow | Kind::OverlapShort | Kind::OverlapLong | Kind::StoppedEarly
    );
    fault.outside_s.or(fault.end_s.filter(|_| at_the_end)).unwrap_or(start_s)
}
