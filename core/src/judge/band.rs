//! The rules about a band as a whole: how it starts, and how it ends.
//!
//! Decides: when what belongs to a band is known, and so when its record may go out.
//! Assumes: it is asked every tick.
//! Never: guesses at what was not seen.

use super::{BROKEN_OFF, hold};
use crate::band::Ending;
use crate::event::Sink;
use crate::monitor::Monitor;
use crate::rule::{Quantity, Rule};
use crate::units::{Degrees, Duration, Length, Temperature};

/// Gas that flows on for longer than this counts as flowing on, µs.
const POSTFLOW_PATIENCE_US: u64 = 30_000_000;
const FULL_TURN: Degrees = Degrees::from_milli(360_000);

/// What is known once the arc has started: judged until the band is over.
pub(super) fn starting_gas_and_heat(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let open = monitor.arc.phase().is_in_band();
    let record = &monitor.tally.record;
    let preflow = record.gas_preflow.map(Duration::to_bits);
    let work = record.work_at_start.map(Temperature::to_bits);
    let first_band = record.band <= 1;
    hold(monitor, Rule::GasPreflow, open && preflow.is_some(), preflow, sink);
    hold(monitor, Rule::PreheatLow, open && first_band && work.is_some(), work, sink);
    hold(monitor, Rule::InterpassHigh, open && !first_band && work.is_some(), work, sink);
}

pub(super) fn starting_place(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let open = monitor.arc.phase().is_in_band();
    let step_over = monitor.tally.record.step_over.map(Length::to_bits);
    hold(monitor, Rule::StepOverLow, open && step_over.is_some(), step_over, sink);
    hold(monitor, Rule::StepOverHigh, open && step_over.is_some(), step_over, sink);
}

/// What is known once the arc is over: post-flow and overlap; then the record goes out.
pub(super) fn ending(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let Some(closing) = monitor.closing else {
        // A finished band's alarms stay until the next arc.
        if monitor.arc.phase().is_in_band() {
            hold(monitor, Rule::OverlapShort, false, None, sink);
            hold(monitor, Rule::GasPostflow, false, None, sink);
        }
        return;
    };
    judge_overlap(monitor, closing.ending, sink);
    if monitor.tally.work_out(&monitor.procedure.geometry) {
        return;
    }
    let flowed = monitor.gas.after(closing.ended_us, monitor.moment.now_us);
    let enough = monitor
        .least(Quantity::GasPostflow)
        .is_none_or(|needed| Duration::from_micros(flowed.time_us).to_bits() >= needed);
    if !flowed.at_least || (enough && flowed.time_us >= POSTFLOW_PATIENCE_US) {
        judge_ending(monitor, sink);
        monitor.issue_record(sink);
    }
}

/// Judges post-flow and overlap with what is known now.
pub(crate) fn judge_ending(monitor: &mut Monitor, sink: &mut dyn Sink) {
    let Some(closing) = monitor.closing else { return };
    let seen_to_the_end = closing.ending == Ending::ArcOff;
    let flowed = monitor.gas.after(closing.ended_us, monitor.moment.now_us);
    let time = Duration::from_micros(flowed.time_us);
    let enough = monitor.least(Quantity::GasPostflow).is_none_or(|needed| time.to_bits() >= needed);
    let postflow_known = seen_to_the_end && monitor.gas.is_seen() && (enough || !flowed.at_least);
    if postflow_known {
        monitor.tally.record.gas_postflow = Some(time);
    } else {
        monitor.end_unseen = monitor.end_unseen.with(Rule::GasPostflow);
    }
    hold(monitor, Rule::GasPostflow, postflow_known, Some(time.to_bits()).filter(|_| postflow_known), sink);
    judge_overlap(monitor, closing.ending, sink);
}

/// A band that was broken off is an outage, not a short overlap.
fn judge_overlap(monitor: &mut Monitor, ending: Ending, sink: &mut dyn Sink) {
    let overlap = monitor.tally.overlap().filter(|&overlap| {
        ending == Ending::ArcOff && overlap >= BROKEN_OFF.to_bits().saturating_sub(FULL_TURN.to_bits())
    });
    hold(monitor, Rule::OverlapShort, overlap.is_some(), overlap, sink);
}
