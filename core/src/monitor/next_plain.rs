//! What the next sample must be like to be plain, by all that is known now.
//!
//! Decides: how far each reading may go without ending the arc, or striking it, without leaping, and without reaching the
//! end of its sensor's range.
//! Assumes: it is asked after every sample that was not plain and after every slot that may change what it rests on.
//! Never: decides anything that looking closer would decide otherwise.

use super::Monitor;
use super::plain::{Plain, Window};
use crate::sample::{Channel, ChannelSet};
use crate::statistics::Gather;
use crate::trackers::arc::{LOWEST_ARC_VOLTAGE, Phase};

impl Window {
    /// Sizes from `least` up to, not with, `end`, of one sign, as far as the `channel` can show them.
    fn new(least: u32, end: u32, positive: bool, monitor: &Monitor, channel: Channel) -> Self {
        let rails = monitor.acquisition.sensor_range(channel);
        let size = |rail: i32| if positive { rail } else { rail.saturating_neg() };
        let (near, far) = if positive { (rails.low, rails.high) } else { (rails.high, rails.low) };
        let least = least.max(u32::try_from(size(near).saturating_add(1)).unwrap_or(0));
        let end = end.min(u32::try_from(size(far)).unwrap_or(0)).min(Gather::FURTHEST as u32);
        let Some(width) = end.checked_sub(least) else { return Self::EMPTY };
        // Both are below 2^26.
        let (near_end, far_end) = (least as i32, end.saturating_sub(1) as i32);
        Self { least: if positive { near_end } else { far_end.saturating_neg() }, width }
    }
    /// Sizes below `end`, of either sign, as far as the `channel` can show them.
    fn around_zero(end: u32, monitor: &Monitor, channel: Channel) -> Self {
        let rails = monitor.acquisition.sensor_range(channel);
        let end = i32::try_from(end).unwrap_or(i32::MAX);
        let (low, high) = (rails.low.max(end.saturating_neg()), rails.high.min(end));
        // Neither end is in it.
        if low < high {
            Self { least: low.wrapping_add(1), width: high.abs_diff(low).wrapping_sub(1) }
        } else {
            Self::EMPTY
        }
    }
}

impl Plain {
    /// What the next sample must be like: the arc burns on, or is out as it was between bands, and no reading is at the end
    /// of its sensor's range.
    #[inline(never)]
    pub(super) fn of(monitor: &Monitor) -> Self {
        let trackers = &monitor.trackers;
        let is_known = monitor.acquisition.channels.contains_all(ChannelSet::ELECTRICAL)
            && monitor.channels.distrusted().intersection(ChannelSet::ELECTRICAL).is_empty()
            && !trackers.signal.is_any_railed()
            && !trackers.electrical.is_full();
        match trackers.arc.phase() {
            Phase::Arc if is_known => Self::burning(monitor),
            _ if is_known && monitor.bands.struck.is_none() && trackers.arc.rests(trackers.gas.flows()) => {
                Self {
                    current: Window::around_zero(trackers.arc.strikes_from(), monitor, Channel::Current),
                    voltage: Window::around_zero(LOWEST_ARC_VOLTAGE, monitor, Channel::Voltage),
                }
            }
            _ => Self::NEVER,
        }
    }
    /// The arc burns on, and neither reading leaps.
    fn burning(monitor: &Monitor) -> Self {
        let trackers = &monitor.trackers;
        let pivots = trackers.electrical.pivots().filter(|_| trackers.signal.is_calm());
        let Some((amps, volts)) = pivots else { return Self::NEVER };
        // A reading that turns its sign beside the mean may leap.
        let reach = trackers.reach(monitor.acquisition.period_us);
        let turns = |pivot: i32, sign: i32| sign != 0 && (pivot > 0) != (sign > 0);
        if reach.is_some_and(|reach| turns(amps, reach.amps_sign) || turns(volts, reach.volts_sign)) {
            return Self::NEVER;
        }
        let amps_to = reach.map_or(u32::MAX, |reach| reach.amps_to.saturating_add(1));
        let (low, high) =
            reach.map_or((0, u32::MAX), |reach| (reach.volts_from, reach.volts_to.saturating_add(1)));
        let arc = &monitor.procedure.arc;
        let current_off = arc.current_off.to_bits() as u32;
        let open_circuit = arc.open_circuit.to_bits() as u32;
        let volts_from = LOWEST_ARC_VOLTAGE.max(low);
        Self {
            current: Window::new(current_off, amps_to, amps > 0, monitor, Channel::Current),
            voltage: Window::new(volts_from, open_circuit.min(high), volts > 0, monitor, Channel::Voltage),
        }
    }
}
