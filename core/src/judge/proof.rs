//! Whether a limit is proven: judged in this band for as long as it applies.
//!
//! Decides: which limits are asked for and apply to a band, and how much arc time may go by before a value
//! can be judged at all (its settling).
//! Assumes: every judgement of the band was noted in its [`crate::record::proof::Judged`].
//! Never: proves by default. What was not judged is not proven, for whatever reason.

use super::ranges::work_stood;
use super::{POSTFLOW_PATIENCE_US, View};
use crate::acquisition::TICK_US;
use crate::judge::asked::ASK_FOR_TURNING;
use crate::record::band::Ending;
use crate::record::cooling::Watch;
use crate::record::coverage::{NotJudged, cannot_judge};
use crate::record::proof::{Proof, Why};
use crate::rule::{Quantity, Rule, Side};
use crate::sample::{Channel, ChannelSet};
use crate::trackers::Trackers;
use crate::trackers::gas::Flowed;
use crate::units::Temperature;

/// Settling after more restrikes than this is no excuse any more.
const MOST_RESTRIKES: u16 = 5;
/// A strike settles within this, whatever the procedure says, µs.
const LONGEST_STRIKE_US: u64 = 3_000_000;

/// Short gaps in the readings of a channel are no loss, as long as those of a band come to no more than this, µs.
const MAY_BE_UNSEEN_US: u64 = 1_000_000;

/// What became of the limits that `rule` watches; `is_over` when the band is, else so far.
pub(crate) fn of(rule: Rule, is_over: bool, view: View<'_>) -> Proof {
    if !view.coverage.asked.contains(rule) {
        return Proof::NotAsked;
    }
    let judged_percent = judged_percent(rule, view);
    if view.bands.tally.record.violated.contains(rule) {
        return Proof::Broken { judged_percent };
    }
    if !applies(rule, view) {
        return Proof::NotApplicable;
    }
    match why_not(rule, is_over, view) {
        None => Proof::Held { judged_percent },
        Some(why) => Proof::NotProven { judged_percent, why, waived: is_waived(rule, view) },
    }
}

/// What became of the limit of how fast the joint cools; `is_over` when the joint is, else so far.
pub(crate) fn of_cooling(is_over: bool, view: View<'_>) -> Proof {
    let (rule, procedure) = (Rule::CoolingFast, view.procedure);
    let Some(cooling) = view.bands.cooling.as_ref().filter(|_| view.coverage.asked.contains(rule)) else {
        return Proof::NotAsked;
    };
    let highest =
        procedure.limits(Quantity::Cooling).and_then(|limits| limits.allowed).map(|range| range.high);
    if view.bands.joint.broken().contains(rule) || cooling.fastest().zip(highest).is_some_and(|(k, h)| k > h)
    {
        return Proof::Broken { judged_percent: 100 };
    }
    let why = match (cannot_judge(rule, procedure, view.acquisition), cooling.watch()) {
        (Some(_), _) => Why::NoChannel,
        (None, Watch::Reached) if cooling.fell_early() => Why::FellEarly,
        (None, Watch::Reached) => return Proof::Held { judged_percent: 100 },
        (None, Watch::Lost(why)) => why,
        (None, Watch::Open) if !is_over => return Proof::Held { judged_percent: 0 },
        (None, Watch::Open) => Why::EndUnseen,
    };
    Proof::NotProven { judged_percent: 0, why, waived: is_waived(rule, view) }
}

/// Is it judged only where the trace allows?
fn is_waived(rule: Rule, view: View<'_>) -> bool {
    let procedure = view.procedure;
    if let Some((quantity, _)) = rule.watches() {
        return procedure.is_judged_where_possible(quantity);
    }
    let is_waived =
        |quantity| procedure.limits(quantity).is_none() || procedure.is_judged_where_possible(quantity);
    matches!(rule, Rule::SpindleSlip | Rule::SpindleStall) && ASK_FOR_TURNING.into_iter().all(is_waived)
}

/// Does it apply to this band?
fn applies(rule: Rule, view: View<'_>) -> bool {
    let record = &view.bands.tally.record;
    let stepped_on = view.bands.closing.is_some_and(|closing| closing.ending == Ending::SteppedOn);
    let creeps = view.bands.tally.creeps.get();
    match rule.watches() {
        _ if rule.is_of_the_joint() => false,
        Some((Quantity::Preheat, _)) => record.opens_group,
        Some((Quantity::Interpass | Quantity::StepOver, _)) => !record.opens_group,
        Some((Quantity::GasPreflow, _)) => !record.stepped_in,
        Some((Quantity::GasPostflow, _)) => !stepped_on,
        // A turn of a spiral goes over into the next one: it is closed by that, not by an overlap of its own.
        Some((Quantity::Overlap, _)) => !(stepped_on && creeps),
        _ => true,
    }
}

/// Is it known only when the band is over?
const fn is_of_the_end(rule: Rule) -> bool {
    matches!(rule.watches(), Some((Quantity::GasPostflow | Quantity::Overlap, _)))
}

/// Why it is not proven; `None` where it is.
fn why_not(rule: Rule, is_over: bool, view: View<'_>) -> Option<Why> {
    let judged = &view.bands.tally.judged;
    let is_watched = view.coverage.watched.contains(rule);
    match (!is_watched).then(|| cannot_judge(rule, view.procedure, view.acquisition)).flatten() {
        Some(NotJudged::RateTooLow { .. }) => return Some(Why::RateTooLow),
        Some(_) => return Some(Why::NoChannel),
        None if rule.needs().contains(Channel::Spindle) && view.trackers.spindle.has_leapt() => {
            return Some(Why::ChannelLost);
        }
        None if view.coverage.too_late.contains(rule) => return Some(Why::DelayTooLong),
        None => {}
    }
    let unseen = if rule.is_of_a_moment() { None } else { unseen(rule, view) };
    match unseen {
        Some(why) => return Some(why),
        None if is_over && !doubtful(rests_on(rule), view).is_empty() => {
            return Some(Why::Motionless);
        }
        None if is_over && is_contradicted(rule, view) => return Some(Why::Contradicted),
        None if is_over && gas_hung_before(rule, view) => return Some(Why::Motionless),
        None => {}
    }
    let judged_us = judged.time_us(rule);
    let is_enough = if rule.is_of_a_moment() {
        judged_us > 0 || !is_over && is_of_the_end(rule)
    } else {
        let arc_us = arc_us(view);
        let open_us = arc_us.saturating_sub(judged_us);
        open_us <= settling_us(rule, view) && (!is_over || open_us <= judged_us)
    };
    (!is_enough).then(|| judged.why(rule).unwrap_or_else(|| reason(rule, is_over, view)))
}

/// What was not seen of that on which a rule rests for as long as the arc burns.
fn unseen(rule: Rule, view: View<'_>) -> Option<Why> {
    let (signal, tally) = (&view.trackers.signal, &view.bands.tally);
    let is_lost = signal.unseen_us(rests_on(rule)) > MAY_BE_UNSEEN_US;
    let has_hole = tally.unseen_us > 0 || is_lost && signal.nothing_seen_us() > MAY_BE_UNSEEN_US;
    // A weave that was found to stand, or to change its rate, is told by that.
    let is_told =
        [Rule::WeaveRateLow, Rule::WeaveRateHigh].iter().any(|&rate| tally.record.violated.contains(rate));
    let of_weave = rule.needs().contains(Channel::Torch) && !is_told;
    let weave_is_lost = of_weave && tally.weave_lost_us.get() > MAY_BE_UNSEEN_US;
    match (has_hole, is_lost) {
        (true, _) => Some(Why::Gap),
        (false, true) => Some(Why::ChannelLost),
        (false, false) => weave_is_lost.then_some(Why::Unsettled),
    }
}

/// Does the work as it was read before the arc lie on both sides of the limit, or not fit what was read soon after?
fn is_contradicted(rule: Rule, view: View<'_>) -> bool {
    let Some((quantity @ (Quantity::Preheat | Quantity::Interpass), side)) = rule.watches() else {
        return false;
    };
    let tally = &view.bands.tally;
    let limits = view.procedure.limits(quantity);
    let range = limits.and_then(|limits| limits.allowed.or(limits.recommended));
    let before = tally.record.work_at_start.map(Temperature::to_bits);
    before.is_some() && work_stood(quantity, side, view).is_none()
        || before.zip(range).is_some_and(|(before, range)| {
            tally.work_after.as_ref().is_some_and(|after| after.contradicts(before, range, side))
        })
}

/// The channels whose readings a rule believes.
const fn rests_on(rule: Rule) -> ChannelSet {
    if matches!(rule, Rule::ArcOutage) { ChannelSet::EMPTY.with(Channel::Current) } else { rule.needs() }
}

/// Those `among` the channels of a band that is over whose meters may be dead: those that did not rest or move as they
/// must, and a gas that still flows long after the arc.
fn doubtful(among: ChannelSet, view: View<'_>) -> ChannelSet {
    let Trackers { lively, signal, .. } = view.trackers;
    let flowed = after_arc(view).filter(|_| among.contains(Channel::Gas));
    let runs_on = flowed.is_some_and(|flowed| flowed.at_least && flowed.time_us >= POSTFLOW_PATIENCE_US);
    let doubtful = lively.doubtful(among, signal);
    if runs_on { doubtful.with(Channel::Gas) } else { doubtful }
}

/// For how long gas flowed after the arc of a band that is over.
fn after_arc(view: View<'_>) -> Option<Flowed> {
    view.bands.closing.map(|closing| view.trackers.gas.after(closing.ended_us, view.moment.now_us))
}

/// The reason where none was noted as it happened.
fn reason(rule: Rule, is_over: bool, view: View<'_>) -> Why {
    let tally = &view.bands.tally;
    let is_late = matches!(rule.watches(), Some((Quantity::GasPostflow | Quantity::Overlap, _)));
    let ending = view.bands.closing.map(|closing| closing.ending);
    let flowed_before = matches!(rule.watches(), Some((Quantity::GasPreflow, _)))
        && !tally.record.start_unseen
        && tally.preflow.is_open;
    if flowed_before {
        Why::FlowedBefore
    } else if rule.is_of_a_moment() && !is_late && tally.record.start_unseen {
        Why::StartUnseen
    } else if is_over && is_late && ending == Some(Ending::DataEnded) {
        Why::EndUnseen
    } else if rule.needs().intersection(view.channels.unsound()).first().is_some() {
        Why::ChannelLost
    } else if is_too_coarse(rule, view) {
        Why::TooCoarse
    } else if tally.unseen_us > 0 {
        Why::Gap
    } else if is_time_of_gas(rule) && gas_was_stale(rule, view) {
        Why::Motionless
    } else if is_time_of_gas(rule) && view.acquisition.slack_us() > 0 {
        Why::RateTooLow
    } else {
        Why::Unsettled
    }
}

/// Did the gas meter hang as the arc was struck? Whether gas flowed right before it nobody knows then, whatever was seen
/// before; but what it told was not too short where it was too long.
fn gas_hung_before(rule: Rule, view: View<'_>) -> bool {
    let is_long = view.bands.tally.record.violated.contains(Rule::GasPreflowLong);
    if rule.watches() != Some((Quantity::GasPreflow, Side::Low)) || is_long {
        return false;
    }
    let Trackers { signal, gas, .. } = view.trackers;
    signal.hung_before_us(Channel::Gas, gas.moves_without_an_arc()) > 0
}

/// Did the gas meter stand still where its time is told?
fn gas_was_stale(rule: Rule, view: View<'_>) -> bool {
    if matches!(rule.watches(), Some((Quantity::GasPreflow, _))) {
        return view.bands.tally.preflow.is_stale;
    }
    after_arc(view).is_some_and(|flowed| flowed.stale_us > 0)
}

const fn is_time_of_gas(rule: Rule) -> bool {
    matches!(rule.watches(), Some((Quantity::GasPreflow | Quantity::GasPostflow, _)))
}

fn is_too_coarse(rule: Rule, view: View<'_>) -> bool {
    let needs = rule.needs();
    let record = &view.bands.tally.record;
    let tally_is_coarse = view.bands.tally.weave_is_coarse.get();
    let is_open = !record.start_unseen && record.turned.is_some() && record.overlap.is_none();
    matches!(rule.watches(), Some((Quantity::Overlap, _))) && is_open
        || needs.contains(Channel::Spindle) && view.trackers.spindle.is_too_coarse()
        || needs.contains(Channel::Torch) && (tally_is_coarse || view.trackers.weave.is_too_coarse())
}

/// Time the arc has burned in this band, with holes in the data, µs.
fn arc_us(view: View<'_>) -> u64 {
    let tally = &view.bands.tally;
    tally.burnt_us(view.moment.now_us).saturating_add(tally.unseen_us)
}

/// Arc time that may go by unjudged, µs: until a value has settled, after each strike, and a tick at either
/// end.
fn settling_us(rule: Rule, view: View<'_>) -> u64 {
    let record = &view.bands.tally.record;
    let strike_us = u64::from(view.procedure.arc.strike_us).min(LONGEST_STRIKE_US);
    let strikes = u64::from(record.outages.min(MOST_RESTRIKES)).saturating_add(1);
    let ticks_us = u64::from(view.acquisition.period_us).max(TICK_US).saturating_mul(3);
    let looked_back_us = match rule.watches() {
        Some((Quantity::WeaveWidth | Quantity::BandHeight, _)) => view.bands.tally.width_looked_back_us.get(),
        _ => 0,
    };
    // A mean begins anew with every strike.
    let begins = if rule.needs().intersection(ChannelSet::ELECTRICAL).is_empty() { 1 } else { strikes };
    let first_us = first_value_us(rule).saturating_mul(begins).saturating_add(looked_back_us);
    strike_us.saturating_mul(strikes).saturating_add(first_us).saturating_add(ticks_us)
}

/// Until an arc is known to be a band, and three cycles have gone by, µs.
const WEAVE_US: u64 = 9_000_000;
/// Until an arc is known to be a band, and a slow meter has settled, µs.
const METER_US: u64 = 9_500_000;
/// Until an arc is known to be a band, and its usual speed, µs.
const TURNING_US: u64 = 9_250_000;

/// How long the trackers may need, from the strike, for the first value of what a rule watches, µs.
const fn first_value_us(rule: Rule) -> u64 {
    if matches!(rule, Rule::PolarityWrong) {
        return 1_000_000;
    }
    match rule.watches() {
        Some((Quantity::WeaveRate | Quantity::WeaveWidth, _)) => WEAVE_US,
        Some((Quantity::WeaveCentreDrift, _)) => 12_000_000,
        // A turn time is a mean over up to this long before it: once it is known, that time is judged too.
        Some((Quantity::TurnTime, _)) => 20_000_000,
        Some((Quantity::BandHeight, _)) => 22_000_000,
        // Until the arc is known to be a band, and the meter, or the regulator's surge, has settled.
        Some((Quantity::GasFlow, Side::High)) => 13_000_000,
        Some((Quantity::GasFlow, Side::Low)) => METER_US,
        None => TURNING_US,
        Some(_) => 1_000_000,
    }
}

fn judged_percent(rule: Rule, view: View<'_>) -> u8 {
    let judged_us = view.bands.tally.judged.time_us(rule);
    if rule.is_of_a_moment() {
        return if judged_us > 0 { 100 } else { 0 };
    }
    let seen_us = judged_us.saturating_sub(view.trackers.signal.unseen_us(rests_on(rule)));
    let percent = seen_us.saturating_mul(100).checked_div(arc_us(view)).unwrap_or(0);
    percent.min(100) as u8
}
