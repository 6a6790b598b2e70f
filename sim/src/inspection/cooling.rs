//! How fast an inspected joint cooled, and whether what was taken down can show it.
//!
//! Decides: when two temperatures with their times are no proof: they must fall, in order, from the heat of the weld
//! down to where the procedure ends.
//! Assumes: a later time that is the smaller one is of the next day.
//! Never: calls a rate good that was followed over a part of the way only.

use super::check::{Check, Found, Verdict, Wanted, check};
use super::sheet::Taken;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::{Setting, Subject};
use crate::input::unit::Dimension;
use crate::standing::departure;
use bandward::{Quantity, Severity};

/// Nobody takes down a cooling that lasts longer: past midnight, the two times are in the wrong order. Invented.
const LONGEST_H: f64 = 18.0;

/// The finding; nothing where neither anybody looked nor the procedure asks.
pub(super) fn checked(cooling: Option<[Taken; 2]>, procedure: Option<&ProcedureFile>) -> Option<Check> {
    let setting = |quantity| procedure.and_then(|file| file.setting(Subject::Judged(quantity))).copied();
    let limit = setting(Quantity::Cooling);
    let wanted = limit.map_or(Wanted::Nothing, Wanted::Setting);
    let Some([from, to]) = cooling else { return check("cooling", None, None, Found::Nothing, wanted) };
    let hours = lasted_h(from, to)?;
    let fall_c = from.temperature_c - to.temperature_c;
    let found = if hours > 0.0 {
        Found::Size(fall_c / hours, Dimension::CoolingRate)
    } else {
        Found::Size(to.temperature_c, Dimension::Temperature)
    };
    let mut told = check("cooling", None, None, found, wanted)?;
    let Some(limit) = limit else { return Some(told) };
    let coolest_c =
        [Quantity::Interpass, Quantity::Preheat].into_iter().filter_map(setting).filter_map(low_c);
    let coolest_c = coolest_c.reduce(f64::max);
    if let Some(reason) = senseless(hours, fall_c) {
        told.verdict = Verdict::NotCompared(reason);
    } else if departure(fall_c / hours, &limit).is_none_or(|left| left.severity == Severity::Advise)
        && let Some(reason) = partial(from, to, &limit, coolest_c)
    {
        told.verdict = Verdict::NotCompared(reason);
    }
    Some(told)
}

/// From the earlier to the later, h; past midnight where the later time is the smaller.
fn lasted_h(from: Taken, to: Taken) -> Option<f64> {
    let seconds = to.at?.duration_since(from.at?).as_secs_f64();
    Some((if seconds < 0.0 { seconds + 86_400.0 } else { seconds }) / 3600.0)
}

/// Why the two are no cooling at all.
fn senseless(hours: f64, fall_c: f64) -> Option<&'static str> {
    if hours <= 0.0 {
        return Some("the two times are the same");
    }
    if hours > LONGEST_H {
        return Some("the later time is before the earlier one");
    }
    (fall_c <= 0.0).then_some("the temperature did not fall")
}

/// Why they show only a part of it.
fn partial(from: Taken, to: Taken, limit: &Setting, coolest_c: Option<f64>) -> Option<&'static str> {
    if coolest_c.is_some_and(|coolest_c| from.temperature_c < coolest_c) {
        return Some("begun below the temperature that the joint is welded at");
    }
    let is_short = limit.until_c.is_some_and(|until_c| to.temperature_c > until_c);
    is_short.then_some("not followed down to the temperature that the procedure names")
}

/// The lowest that a setting allows.
fn low_c(setting: Setting) -> Option<f64> {
    setting.allowed.or(setting.recommended).and_then(|bounds| bounds.low)
}
