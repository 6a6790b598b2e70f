//! What each quantity reads now. To add a quantity is to add an arm here.
//!
//! Decides: when a quantity applies, and which tracker speaks for it.
//! Assumes: the windows of the tick are closed.
//! Never: holds it against a range.

use super::{BROKEN_OFF, View};
use crate::heat;
use crate::judge::readings::Reading;
use crate::procedure::Range;
use crate::record::band::{Ending, WireFeedSource};
use crate::record::cooling::Cooling;
use crate::record::coverage::rate_allows;
use crate::record::preflow::Preflow;
use crate::rule::{Quantity, Rule, Side};
use crate::sample::{Channel, ChannelSet};
use crate::trackers::arc::Phase;
use crate::trackers::gas::Flowed;
use crate::trackers::work::Before;
use crate::units::{Degrees, Duration, Length, Temperature, WireSpeed};

const NEEDED_FOR_HEIGHT: ChannelSet =
    ChannelSet::EMPTY.with(Channel::Wire).with(Channel::Spindle).with(Channel::Torch);
/// A gas meter with a time constant of 2 s shows nine tenths of the flow within this, µs.
const METER_SETTLES_US: u64 = 4_600_000;
/// The surge of a regulator is over within this, µs. Common practice, no source.
const SURGE_US: u64 = 8_000_000;
pub(crate) const FULL_TURN: Degrees = Degrees::from_milli(360_000);
/// No overlap is longer. Common practice, no source.
const MOST_OVERLAP: Degrees = Degrees::from_milli(180_000);

/// What `quantity` reads.
pub(crate) fn reading(quantity: Quantity, view: View<'_>) -> Reading {
    if !quantity.is_watched() {
        return Reading::NotApplicable;
    }
    let trackers = view.trackers;
    let record = &view.bands.tally.record;
    let phase = trackers.arc.phase();
    let burning = trackers.arc.is_settled();
    let open = phase.is_in_band();
    // An arc that may yet turn out a tack has no start that could be wrong.
    let is_band = view.bands.confirmed;
    let known = |value: Option<i32>| Reading::when(open && is_band && value.is_some(), value);
    match quantity {
        Quantity::Current => under_arc(view, trackers.current.steady_mean().map(i32::saturating_abs)),
        Quantity::Voltage => under_arc(view, trackers.voltage.steady_mean().map(i32::saturating_abs)),
        Quantity::ShortCircuitRate => {
            let (rate, mean) = (trackers.dips.rate(), trackers.voltage_now.mean());
            match rate {
                None if mean.is_some() => Reading::NotApplicable,
                _ => under_arc(view, rate.filter(|_| mean.is_some())),
            }
        }
        Quantity::GasFlow => Reading::when(burning && is_band, trackers.gas_flow.mean()),
        Quantity::CoolantFlow => Reading::when(open, trackers.coolant_flow.mean()),
        Quantity::GasPreflow => known(record.gas_preflow.map(Duration::to_bits)),
        Quantity::Preheat => known(work(view).filter(|_| record.opens_group)),
        Quantity::Interpass => known(work(view).filter(|_| !record.opens_group)),
        Quantity::StepOver => {
            let step = record.step_over.map(Length::to_bits);
            let applies =
                open && is_band || view.bands.closing.is_some_and(|closing| closing.proofs.is_none());
            Reading::when(applies && step.is_some(), step)
        }
        Quantity::WeaveRate => moving(view, Channel::Torch, trackers.weave.rate()),
        Quantity::WeaveWidth => moving(view, Channel::Torch, weave_width(view)),
        Quantity::WeaveCentreDrift => moving(view, Channel::Torch, drift(view)),
        Quantity::TurnTime => moving(view, Channel::Spindle, turn_time(view)),
        Quantity::WireFeed => under_arc(view, trackers.wire_feed.mean()),
        Quantity::BandHeight => band_height(view),
        Quantity::GasPostflow => postflow(view),
        Quantity::Overlap => overlap(view),
        Quantity::Cooling => view.bands.cooling.as_ref().map_or(Reading::NotApplicable, Cooling::reading),
    }
}

/// May a rule about a quantity be held against something else than its reading? See [`reading_for`].
pub(crate) const fn differs_by_rule(quantity: Quantity) -> bool {
    matches!(
        quantity,
        Quantity::GasFlow
            | Quantity::GasPreflow
            | Quantity::GasPostflow
            | Quantity::Preheat
            | Quantity::Interpass
            | Quantity::StepOver
    )
}

/// What a rule is held against where that is not just the `reading` of its quantity.
pub(crate) fn reading_for(rule: Rule, reading: Reading, view: View<'_>) -> Reading {
    match (rule.watches(), reading) {
        (Some((Quantity::GasFlow, _)), _) if gas_settles(rule, view) => Reading::NotApplicable,
        (Some((quantity @ (Quantity::Preheat | Quantity::Interpass), side)), Reading::Value(_)) => {
            let stood = work_stood(quantity, side, view);
            stood.map_or(Reading::NotApplicable, Reading::Value)
        }
        (Some((Quantity::GasPreflow, side)), Reading::Value(_)) => {
            let Preflow { at_least, at_most, .. } = view.bands.tally.preflow;
            let held = if side == Side::Low { at_least } else { at_most };
            held.map_or(Reading::NotApplicable, Reading::Value)
        }
        (Some((Quantity::GasPostflow, Side::High)), Reading::Value(time)) if may_flow_on(time, view) => {
            Reading::NotApplicable
        }
        (Some((Quantity::StepOver, side)), Reading::Value(_)) => {
            let [least, greatest] = view.bands.steps();
            Reading::when(true, if side == Side::Low { least } else { greatest })
        }
        _ => reading,
    }
}

/// Does the gas meter, or the regulator, still settle after the valve opened at the start of the band? Then too
/// little (a slow meter), or too much (the surge of a regulator), is not judged yet.
fn gas_settles(rule: Rule, view: View<'_>) -> bool {
    let settling_us = match rule {
        Rule::GasLow => METER_SETTLES_US,
        Rule::GasHigh => SURGE_US,
        _ => return false,
    };
    let now_us = view.moment.now_us;
    let gas_fails = rule == Rule::GasLow && view.trackers.gas.has_fallen();
    !gas_fails
        && now_us.saturating_sub(view.bands.tally.record.start_us) < settling_us
        && view.trackers.gas.opened_within(settling_us, now_us)
}

/// The voltage that is held against the floor: over the last tenth of a second. It falls with a current that falls
/// away, which no transfer does.
pub(crate) fn voltage_now(view: View<'_>) -> Reading {
    if view.trackers.sinks {
        return Reading::NotApplicable;
    }
    under_arc(view, view.trackers.voltage_now.mean().map(i32::saturating_abs))
}

/// Of what is read only while the arc burns: a moment in which it is out leaves nothing to read, and loses nothing.
fn under_arc(view: View<'_>, value: Option<i32>) -> Reading {
    let arc = &view.trackers.arc;
    Reading::when(arc.is_settled() && (value.is_some() || arc.phase() == Phase::Arc), value)
}

/// Of something that takes a while to be known, and is lost with its channel.
fn moving(view: View<'_>, channel: Channel, value: Option<i32>) -> Reading {
    let burning = view.trackers.arc.is_settled() && view.bands.confirmed;
    match value {
        _ if !burning => Reading::NotApplicable,
        _ if view.channels.unsound().contains(channel) => Reading::Lost,
        None => Reading::NotApplicable,
        Some(value) => Reading::Value(value),
    }
}

/// A value that lies between two bounds, as the one that decides: both bounds lie inside the range, or both
/// outside. Where the range ends between them it cannot be judged.
fn between(quantity: Quantity, (least, most): (i32, i32), view: View<'_>) -> Option<i32> {
    let limits = view.procedure.limits(quantity)?;
    let floor = limits.floor.map(|low| Range { low, high: i32::MAX });
    let outer = limits.allowed.or(limits.recommended).or(floor)?;
    if least > outer.high {
        Some(least)
    } else if most < outer.low {
        Some(most)
    } else if least >= outer.low && most <= outer.high {
        // What is not outside the recommended range for certain is not called so.
        let inner = limits.recommended.unwrap_or(outer);
        let middle = inner.low.saturating_add(inner.high.saturating_sub(inner.low) >> 1);
        Some(middle.max(least).min(most))
    } else {
        None
    }
}

/// For how long gas flowed, where that can be told: it ended between two samples, and so did the arc, or the waiting for
/// it. Of the times that the samples allow it is the one nearest to what is recommended; all lie inside the range, or all
/// outside.
pub(crate) fn gas_time(quantity: Quantity, flowed: Flowed, view: View<'_>) -> Option<i32> {
    let slack_us = u64::from(view.acquisition.slack_us().max(flowed.slack_us));
    // After the arc both ends may have come later, and the arc's a sample later still.
    let short_us = if quantity == Quantity::GasPostflow { slack_us.saturating_mul(2) } else { slack_us };
    let raw = |time_us: u64| Duration::from_micros(time_us).to_bits();
    let time = raw(flowed.time_us);
    let seen = raw(flowed.time_us.saturating_sub(short_us));
    // What the meter tells is too long, whether it hung or not.
    let limits = view.procedure.limits(quantity);
    let is_long = limits.and_then(|limits| limits.allowed).is_some_and(|range| seen > range.high);
    let stale_us = if is_long { 0 } else { flowed.stale_us };
    let least = seen.saturating_sub(raw(stale_us));
    let most = raw(flowed.time_us.saturating_add(slack_us));
    if flowed.is_lost {
        return None;
    }
    if flowed.at_least {
        return view.procedure.least(quantity).is_none_or(|needed| least >= needed).then_some(time);
    }
    let is_known = slack_us == 0 && stale_us == 0;
    let Some(limits) = limits.filter(|_| !is_known) else { return Some(time) };
    between(quantity, (least, most), view)?;
    let inner = limits.recommended.or(limits.allowed);
    Some(inner.map_or(time, |inner| time.max(inner.low.min(most)).min(inner.high.max(least))))
}

/// The width where it is known to a hundredth, else by its bounds.
fn weave_width(view: View<'_>) -> Option<i32> {
    let weave = &view.trackers.weave;
    weave.width().or_else(|| between(Quantity::WeaveWidth, weave.width_bounds()?, view))
}

/// The time of a turn where it is known to 0.2 %, else by its bounds. Where the angle is read so coarsely that this takes
/// long, the last seconds alone decide as far as they can.
fn turn_time(view: View<'_>) -> Option<i32> {
    let spindle = &view.trackers.spindle;
    let known = spindle.turn_time();
    let lately = spindle.latest_turn_time_bounds();
    let fits = |known: i32| lately.is_none_or(|(least, most)| (least..=most).contains(&known));
    let decides = |bounds| between(Quantity::TurnTime, bounds, view);
    match known {
        Some(known) if fits(known) => Some(known),
        _ => lately.and_then(decides).or(known).or_else(|| decides(spindle.turn_time_bounds()?)),
    }
}

/// Between which values the width that is laid lies. A weave that is measured and not known yet is not the
/// procedure's; one that samples are too slow to follow has no width.
fn laid_width(view: View<'_>) -> Option<(Length, Length)> {
    let geometry = &view.procedure.geometry;
    if !view.acquisition.channels.contains(Channel::Torch) {
        return geometry.laid_width(None).map(|width| (width, width));
    }
    if !rate_allows(Rule::WeaveWidthLow, view.procedure, view.acquisition) {
        return None;
    }
    let weave = &view.trackers.weave;
    let (least, most) = weave.width().map(|width| (width, width)).or_else(|| weave.width_bounds())?;
    let laid = |width| geometry.laid_width(Some(Length::from_bits(width)));
    Some((laid(least)?, laid(most)?))
}

/// Between which values the height of what is laid now lies, raw: of the metal fed now on the width that is laid now.
pub(crate) fn height_bounds(view: View<'_>) -> Option<(i32, i32)> {
    let trackers = view.trackers;
    if !trackers.arc.is_settled() || !view.bands.confirmed {
        return None;
    }
    let geometry = &view.procedure.geometry;
    let feed = WireSpeed::from_bits(trackers.wire_feed.mean()?);
    let (narrowest, widest) = laid_width(view)?;
    let known = trackers.spindle.turn_time().map(|time| (time, time));
    let (shortest, longest) = known.or_else(|| trackers.spindle.turn_time_bounds())?;
    let of = |time, width| {
        let height = heat::band_height_now(feed, geometry, Duration::from_bits(time), width);
        height.map(Length::to_bits)
    };
    let least = of(shortest, widest)?;
    let is_known = (shortest, narrowest) == (longest, widest);
    Some((least, if is_known { least } else { of(longest, narrowest)? }))
}

/// While the arc burns, of what is laid now; of the whole band at its end.
fn band_height(view: View<'_>) -> Reading {
    let trackers = view.trackers;
    let channels = view.acquisition.channels;
    if let Some(closing) = view.bands.closing {
        let record = &view.bands.tally.record;
        let measured = record.wire_feed_source == Some(WireFeedSource::Measured);
        let height = record.band_height.filter(|_| measured && closing.ending != Ending::DataEnded);
        return Reading::when(height.is_some(), height.map(Length::to_bits));
    }
    let lost = view.channels.unsound().intersection(NEEDED_FOR_HEIGHT.intersection(channels));
    let height = view.bands.height_now.get().and_then(|bounds| between(Quantity::BandHeight, bounds, view));
    match height {
        _ if !trackers.arc.is_settled() || !view.bands.confirmed => Reading::NotApplicable,
        _ if lost.first().is_some() => Reading::Lost,
        None => Reading::NotApplicable,
        Some(value) => Reading::Value(value),
    }
}

/// From where the centre of the weave was at the start of the band, or from where the band before puts it.
fn drift(view: View<'_>) -> Option<i32> {
    let centre = view.trackers.weave.settled_centre()?;
    let (start, again) = view.bands.tally.weave_centre_start.get()?;
    let from = |place: i32| centre.saturating_sub(place).saturating_abs();
    let from_start = from(start).max(from(again));
    let least_step = view.procedure.least_step();
    Some(view.bands.off_line(centre, least_step).map_or(from_start, |off| from_start.max(off)))
}

/// The work as the arc was struck, where all that it may have been lies on the same side of the limit.
pub(crate) fn work_stood(quantity: Quantity, side: Side, view: View<'_>) -> Option<i32> {
    let tally = &view.bands.tally;
    let Before { least, most, .. } = tally.work_before.get()?;
    let outer = view.procedure.limits(quantity).and_then(|limits| limits.allowed.or(limits.recommended));
    match (side, outer) {
        (Side::Low, Some(range)) if least < range.low => (most < range.low).then_some(most),
        (Side::High, Some(range)) if most > range.high => {
            let cools = tally.work_fell_to.get().is_some_and(|fell_to| fell_to <= range.high);
            (least > range.high && !cools).then_some(least)
        }
        (Side::Low, _) => Some(least),
        (Side::High, _) => Some(most),
    }
}

fn work(view: View<'_>) -> Option<i32> {
    view.bands.tally.record.work_at_start.map(Temperature::to_bits)
}

/// Of a band whose arc went out before our eyes: known once the gas stops, or has flowed long enough.
fn postflow(view: View<'_>) -> Reading {
    let Some(closing) = view.bands.closing else { return Reading::NotApplicable };
    // A meter that is stuck cannot show that the valve has shut.
    if view.channels.unsound().contains(Channel::Gas) {
        return Reading::when(closing.ending == Ending::ArcOff, None);
    }
    let flowed = view.trackers.gas.after(closing.ended_us, view.moment.now_us);
    let seen = matches!(closing.ending, Ending::ArcOff | Ending::BrokenOff) && view.trackers.gas.is_seen();
    let time = gas_time(Quantity::GasPostflow, flowed, view);
    Reading::when(seen && time.is_some(), time)
}

/// Do the data end while gas flows on, for no longer than is allowed so far?
fn may_flow_on(time: i32, view: View<'_>) -> bool {
    let is_cut = view.bands.closing.is_some_and(|closing| closing.is_cut);
    let limits = view.procedure.limits(Quantity::GasPostflow);
    is_cut
        && view.trackers.gas.flows()
        && limits.and_then(|limits| limits.allowed).is_none_or(|range| time <= range.high)
}

/// A band that was broken off is an outage, not a short overlap. One that the carriage steps on from overlaps by as
/// much as was laid before the step; a turn of a spiral is closed by the next one.
fn overlap(view: View<'_>) -> Reading {
    let Some(closing) = view.bands.closing else { return Reading::NotApplicable };
    let tally = &view.bands.tally;
    let overlap = tally.overlap_bounds().and_then(|bounds| between(Quantity::Overlap, bounds, view));
    // Past that it is another band, and without a carriage nobody saw where.
    let is_counted = tally.carriage.get().is_some() || view.procedure.joint.bands == 1;
    let overlap = overlap.filter(|&overlap| overlap <= MOST_OVERLAP.to_bits() || is_counted);
    let overlap = overlap.filter(|&overlap| match closing.ending {
        Ending::SteppedOn => !tally.creeps.get(),
        Ending::ArcOff => overlap >= BROKEN_OFF.to_bits().saturating_sub(FULL_TURN.to_bits()),
        Ending::BrokenOff | Ending::DataEnded => false,
    });
    Reading::when(overlap.is_some(), overlap)
}
