//! Gas before and after the arc.
//!
//! Decides: whether gas flows, for how long before the arc and for how long after it. A slow meter (up to 2 s)
//! rises and falls late: flow counts from when the reading begins to move, and is over when the reading leaves
//! four fifths of the least flow for good. After a set flow of 4/3 of the least that is 1 s late at 2 s.
//! A meter that settles moves on; what stands still at too little flow for a second is no flow.
//! Assumes: it is told when the arc starts and stops.
//! Never: judges the flow under the arc; that is an envelope.

use crate::acquisition::FAST_US;
use crate::trackers::stale::Stale;

/// How long gas flowed, and whether that is all of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Flowed {
    /// Time seen, µs.
    pub time_us: u64,
    /// It flowed for longer than could be seen: since before the first sample, or still.
    pub at_least: bool,
    /// Within it lies a wait of which nobody knows how long it was.
    pub is_lost: bool,
    /// So long it may be off, where readings came seldom when it began or ended, µs; 0 where they came fast.
    pub slack_us: u32,
    /// So much of it was told by a meter that stood still as it never does, µs.
    pub stale_us: u64,
}

impl Flowed {
    /// For so long, as it was seen.
    const fn seen(time_us: u64, at_least: bool) -> Self {
        Self { time_us, at_least, is_lost: false, slack_us: 0, stale_us: 0 }
    }
}

/// A reading that takes longer than this to rise, or to fall, shows a small flow and not a slow meter, µs.
const SLOWEST_METER_US: u64 = 5_000_000;

/// A reading that settles moves on by an eighth of the flow counted as one within this, µs.
const MOVES_ON_US: u64 = 1_000_000;
/// And it takes ever longer for it: one that took so long, and does it in less than a third of that now, stood, µs.
const STANDS_US: u64 = 400_000;

/// Gas that was off for as long was shut, and not only disturbed, µs. Common practice, no source.
const SHUT_US: u64 = 500_000;

/// Follows the gas.
#[derive(Clone, Debug)]
pub struct GasTracker {
    flows_from: i32,
    stops_below: i32,
    flowing_since_us: Option<u64>,
    /// Since when the reading has been clear of zero.
    moving_since_us: Option<u64>,
    /// Since when it has been below four fifths of the least flow, while gas flows.
    weak_since_us: Option<u64>,
    /// The reading that last moved on from the one before it, and when, µs.
    mark: (u64, i32),
    /// How long it took from the mark before to that one, µs.
    took_us: u64,
    /// It is weak, and has stood still so.
    stands_weak: bool,
    /// The least reading since it fell from a full flow, though not to rest, and when, µs; none at the most there is.
    least: (i32, u64),
    since_first_sample: bool,
    seen: bool,
    stopped_us: u64,
    holes: Holes,
    /// The last sample of which nobody knows how long after the one before it came, µs; 0 before any.
    lost_us: u64,
    /// When it was last read, µs.
    read_us: u64,
    /// The waits for the readings with which it began to move, flowed, began to fall, and stopped, µs; 0 where short.
    waits: Waits,
    stale: Stale,
    /// The most that has flowed since the valve last opened, and the last reading.
    peak: i32,
    last: i32,
}

/// When gas did not flow between the end of an arc and now, or the next one.
#[derive(Clone, Copy, Debug)]
#[allow(clippy::struct_field_names, reason = "units stand in names")]
struct Holes {
    /// When the arc burned last, µs.
    lit_us: u64,
    /// When the valve was shut first, and opened again, µs; 0 where it was not.
    shut_us: u64,
    opened_us: u64,
    /// All the times together for which it was only disturbed before, µs.
    disturbed_us: u64,
}

impl Holes {
    const NONE: Self = Self { lit_us: 0, shut_us: 0, opened_us: 0, disturbed_us: 0 };
    /// Of an arc that burned last at `lit_us`, gas flows again since `since_us`.
    const fn with(self, lit_us: u64, (stopped_us, since_us): (u64, u64)) -> Self {
        let holes = if lit_us > self.lit_us { Self { lit_us, ..Self::NONE } } else { self };
        if holes.opened_us > 0 {
            return holes;
        }
        if since_us.saturating_sub(stopped_us) >= SHUT_US {
            return Self { shut_us: stopped_us, opened_us: since_us, ..holes };
        }
        let from_us = if stopped_us > lit_us { stopped_us } else { lit_us };
        let lasted_us = since_us.saturating_sub(from_us);
        Self { disturbed_us: holes.disturbed_us.saturating_add(lasted_us), ..holes }
    }
    /// For how long it did not flow, all in all, though it was not shut, after an arc that ended at `ended_us`, µs.
    const fn disturbed_us(self, ended_us: u64) -> u64 {
        if self.lit_us.saturating_add(SHUT_US) >= ended_us { self.disturbed_us } else { 0 }
    }
}

/// For how long nothing was read before readings that matter, µs.
#[derive(Clone, Copy, Debug)]
#[allow(clippy::struct_field_names, reason = "units stand in names")]
struct Waits {
    rise_us: u32,
    flow_us: u32,
    fall_us: u32,
    stop_us: u32,
}

/// A wait that leaves in doubt when something happened; 0 where readings come fast.
fn doubt(wait_us: u64) -> u32 {
    u32::try_from(wait_us).map_or(u32::MAX, |wait_us| if wait_us > FAST_US { wait_us } else { 0 })
}

impl GasTracker {
    /// Gas flows from the raw flow `flows_from` on and stops at four fifths of it.
    pub const fn new(flows_from: i32) -> Self {
        Self {
            flows_from,
            stops_below: flows_from.saturating_sub(flows_from / 5),
            flowing_since_us: None,
            moving_since_us: None,
            weak_since_us: None,
            mark: (0, 0),
            took_us: 0,
            stands_weak: false,
            least: (i32::MAX, 0),
            since_first_sample: false,
            seen: false,
            stopped_us: 0,
            holes: Holes::NONE,
            lost_us: 0,
            read_us: 0,
            waits: Waits { rise_us: 0, flow_us: 0, fall_us: 0, stop_us: 0 },
            stale: Stale::NEVER,
            peak: 0,
            last: 0,
        }
    }
    /// Forgets everything, after a hole in the data.
    #[inline(never)]
    pub fn forget(&mut self) {
        *self = Self::new(self.flows_from);
    }
    /// How long before this sample the last one was read is not known.
    pub const fn lose_time(&mut self, now_us: u64) {
        self.lost_us = now_us;
    }
    /// Looks at a flow between two arcs, of which the last burned until `lit_us`. Where the reading stands still, as it never
    /// does: since when, and until when it is to have stood under the arc.
    /// The flow comes with the smallest difference between two readings.
    pub fn look(&mut self, times_us: (u64, u64), flow: (i32, u32), stands_us: Option<(u64, u64)>) {
        self.stale.look(times_us, flow, stands_us);
    }
    /// Was it seen to move all the time without an arc?
    pub const fn moves_without_an_arc(&self) -> bool {
        self.stale.is_lively()
    }
    /// Takes one raw flow; an arc burned last at `lit_us`.
    #[inline]
    pub fn push(&mut self, now_us: u64, flow: i32, lit_us: u64) {
        let wait_us = if self.seen { doubt(now_us.saturating_sub(self.read_us)) } else { 0 };
        self.read_us = now_us;
        self.follow_meter(now_us, flow, wait_us);
        match self.flowing_since_us {
            None if flow >= self.flows_from => {
                // What stood small meanwhile began to move later.
                let since_us = within_reach(self.moving_since_us.max(self.turned_us()), now_us);
                self.holes = self.holes.with(lit_us, (self.stopped_us, since_us));
                (self.flowing_since_us, self.least) = (Some(since_us), (i32::MAX, 0));
                self.waits.flow_us = if since_us < now_us { self.waits.rise_us } else { wait_us };
                self.since_first_sample = !self.seen;
                self.peak = flow;
            }
            Some(_) if flow < self.stops_below => {
                self.flowing_since_us = None;
                self.stopped_us = match self.weak_since_us {
                    Some(since_us) if self.stands_weak => since_us,
                    since_us => within_reach(since_us, now_us),
                };
                self.waits.stop_us = if self.stopped_us < now_us { self.waits.fall_us } else { wait_us };
            }
            _ => {}
        }
        self.peak = self.peak.max(flow);
        self.last = flow;
        self.seen = true;
    }
    /// Has a flow that was there fallen off: under four fifths of the least flow, and of the most that flowed
    /// since the valve opened? A slow meter that settles only rises.
    pub fn has_fallen(&self) -> bool {
        self.weak_since_us.is_some() && self.last < self.peak.saturating_sub(self.peak / 5)
    }
    /// Notes where a slow meter begins to rise and to fall.
    fn follow_meter(&mut self, now_us: u64, flow: i32, wait_us: u32) {
        if flow < self.flows_from / 4 {
            (self.moving_since_us, self.least) = (None, (i32::MAX, 0));
        } else if self.moving_since_us.is_none() {
            (self.moving_since_us, self.waits.rise_us) = (Some(now_us), wait_us);
        }
        if self.weak_since_us.is_some() {
            self.follow_weak(now_us, flow);
        }
        // The least flow is twice `flows_from`.
        if i64::from(flow) >= i64::from(self.flows_from).saturating_mul(8) / 5 {
            if let Some(since_us) = self.reopened_us() {
                (self.flowing_since_us, self.since_first_sample) = (Some(since_us), false);
            }
            (self.weak_since_us, self.stands_weak, self.least) = (None, false, (i32::MAX, 0));
        } else if self.weak_since_us.is_none() {
            (self.weak_since_us, self.mark) = (Some(now_us), (now_us, flow));
            self.waits.fall_us = wait_us;
            if self.flowing_since_us.is_some() {
                self.least = (flow, now_us);
            }
        }
        if self.least.0 < i32::MAX && flow <= self.least.0 {
            self.least = (flow, now_us);
        }
    }
    /// When the valve opened again that shut for so short a time that a slow meter did not fall to the end: it rises
    /// from then on, µs.
    fn turned_us(&self) -> Option<u64> {
        let (least, at_us) = self.least;
        // Noise about the least that is a full flow is no fall.
        (least < self.peak.saturating_sub(self.peak / 5)).then_some(at_us)
    }
    /// The same, of a flow that was never over.
    fn reopened_us(&self) -> Option<u64> {
        let since_us = self.flowing_since_us?;
        self.turned_us().map(|at_us| at_us.max(since_us))
    }
    /// A small flow that stood still is not the beginning of a larger one.
    fn follow_weak(&mut self, now_us: u64, flow: i32) {
        let (mark_us, mark) = self.mark;
        let takes_us = now_us.saturating_sub(mark_us);
        if self.moving_since_us.is_none() {
            (self.mark, self.took_us, self.stands_weak) = ((now_us, flow), 0, false);
            return;
        }
        if flow.abs_diff(mark) < self.flows_from.unsigned_abs() / 8 {
            self.stands_weak |= takes_us > MOVES_ON_US;
            return;
        }
        let stood = self.took_us >= STANDS_US && takes_us < self.took_us / 3;
        if flow > mark && (self.stands_weak || stood) {
            self.moving_since_us = Some(now_us);
            self.flowing_since_us = self.flowing_since_us.map(|_| now_us);
        }
        self.stands_weak &= flow < mark;
        (self.mark, self.took_us) = ((now_us, flow), takes_us);
    }
    /// Did the valve open before our eyes less than `settling_us` ago?
    pub fn opened_within(&self, settling_us: u64, now_us: u64) -> bool {
        !self.since_first_sample
            && self.flowing_since_us.is_some_and(|since_us| now_us.saturating_sub(since_us) < settling_us)
    }
    /// Does gas flow?
    pub const fn flows(&self) -> bool {
        self.flowing_since_us.is_some()
    }
    /// Has there been a reading?
    pub const fn is_seen(&self) -> bool {
        self.seen
    }
    /// How long gas has flowed before an arc that starts at `struck_us`.
    pub fn before(&self, struck_us: u64) -> Flowed {
        let flowed = match self.flowing_since_us {
            Some(since_us) if !self.stands_weak => {
                let reopened_us = self.reopened_us();
                let time_us = struck_us.saturating_sub(reopened_us.unwrap_or(since_us));
                let flowed = Flowed::seen(time_us, self.since_first_sample && reopened_us.is_none());
                Flowed { slack_us: self.waits.flow_us, ..flowed }
            }
            // It may have begun since it was read.
            _ => Flowed { slack_us: doubt(struck_us.saturating_sub(self.read_us)), ..Flowed::seen(0, false) },
        };
        let since_us = struck_us.saturating_sub(flowed.time_us);
        let stale_us = self.stale.before(flowed.time_us, struck_us);
        Flowed { is_lost: self.lost_us > 0 && self.lost_us >= since_us, stale_us, ..flowed }
    }
    /// How long gas has flowed after an arc that ended at `ended_us`: neither that of a valve that was opened again, nor
    /// while it was disturbed.
    pub fn after(&self, ended_us: u64, now_us: u64) -> Flowed {
        let Holes { shut_us, opened_us, .. } = self.holes;
        let flowed = match (self.flowing_since_us, self.weak_since_us.filter(|_| self.stands_weak)) {
            _ if opened_us > ended_us => Flowed {
                slack_us: self.waits.stop_us,
                ..Flowed::seen(shut_us.saturating_sub(ended_us), false)
            },
            (Some(_), Some(since_us)) => Flowed::seen(since_us.saturating_sub(ended_us), false),
            (Some(_), None) => Flowed::seen(now_us.saturating_sub(ended_us), true),
            (None, _) => {
                let flowed = Flowed::seen(self.stopped_us.saturating_sub(ended_us), false);
                Flowed { slack_us: self.waits.stop_us, ..flowed }
            }
        };
        let until_us = ended_us.saturating_add(flowed.time_us);
        Flowed {
            stale_us: self.stale.after(flowed.time_us, ended_us),
            time_us: flowed.time_us.saturating_sub(self.holes.disturbed_us(ended_us)),
            is_lost: self.lost_us > ended_us && self.lost_us <= until_us,
            ..flowed
        }
    }
}

/// `since_us`, where a slow meter can have taken from then until now; else now.
fn within_reach(since_us: Option<u64>, now_us: u64) -> u64 {
    since_us.filter(|&since_us| now_us.saturating_sub(since_us) <= SLOWEST_METER_US).unwrap_or(now_us)
}

#[cfg(test)]
#[allow(clippy::float_arithmetic, clippy::cast_precision_loss)]
mod tests {
    use super::*;

    /// A meter of first order that lags by `lag_s`, read 25 times a second; the least flow is 15 L/min. The valve
    /// gives `flow(time)`. What is said of an arc struck at 10 s and over at 20 s.
    fn flowed(lag_s: f64, flow: impl Fn(f64) -> f64) -> (u64, u64) {
        let raw = |flow: f64| (flow * 1000.0) as i32;
        let mut gas = GasTracker::new(raw(7.5));
        let (mut read, mut before, mut after) = (0.0, 0, 0);
        for index in 0..1000_u64 {
            let time = index as f64 / 25.0;
            read += (flow(time) - read) * (1.0 - (-0.04 / lag_s).exp());
            let now_us = index * 40_000;
            gas.push(now_us, raw(read), if now_us < 10_000_000 { 0 } else { now_us.min(20_000_000) });
            if index == 250 {
                before = gas.before(10_000_000).time_us;
            }
            after = gas.after(20_000_000, index * 40_000).time_us;
        }
        (before / 100_000, after / 100_000)
    }

    /// Gas is read fifty times a second but where `is_read` says no; the valve opens at `opens_s`. What is said of an arc
    /// struck at `struck_s`: the least and the most that has flowed before it, s.
    fn bounds(opens_s: f64, struck_s: f64, is_read: impl Fn(u64) -> bool) -> (f64, f64) {
        let mut gas = GasTracker::new(7500);
        for index in (0..(struck_s * 50.0) as u64).filter(|index| is_read(*index)) {
            gas.push(index * 20_000, if index as f64 / 50.0 >= opens_s { 17_500 } else { 0 }, 0);
        }
        let flowed = gas.before((struck_s * 1e6) as u64);
        let (time, slack) = (flowed.time_us as f64 / 1e6, f64::from(flowed.slack_us) / 1e6);
        ((time - slack).max(0.0), time + slack)
    }

    #[test]
    fn gas_that_is_read_seldom_flowed_for_a_time_between_bounds() {
        // Cells that are empty from 13 s to 7.5 s before the strike, within which the valve opens.
        let (least, most) = bounds(18.0, 30.0, |index| !(850..1125).contains(&index));
        assert!(least <= 12.0 && most >= 12.0, "{least} {most}");
        for every in [50, 100] {
            for opens_s in [26.0, 27.3, 28.4, 29.6] {
                let (least, most) = bounds(opens_s, 30.0, |index| index % every == 7);
                let time = 30.0 - opens_s;
                assert!(
                    least <= time && time <= most && most - least <= 4.1,
                    "{every} {opens_s}: {least} {most}"
                );
            }
        }
        let (least, most) = bounds(28.0, 30.0, |_| true);
        assert!((most - least).abs() < 1e-9 && (most - 2.0).abs() < 0.03, "{least} {most}");
    }

    /// The arc is over at 20 s. What flows once the valve is opened again is of the next band, or of nothing.
    #[test]
    fn gas_that_is_shut_with_the_arc_and_comes_back_is_no_postflow() {
        for lag_s in [0.02, 0.1, 0.5] {
            let open =
                |shut_s: f64, again: std::ops::Range<f64>| {
                    flowed(lag_s, move |time| {
                        if (8.0..shut_s).contains(&time) || again.contains(&time) { 17.5 } else { 0.0 }
                    })
                    .1
                };
            for (shut_s, least, most) in [(20.0, 0, 8), (21.0, 10, 18), (23.0, 30, 38)] {
                for again in [shut_s + 2.0..shut_s + 3.0, shut_s + 2.9..39.0, shut_s + 4.0..shut_s + 5.0] {
                    let after = open(shut_s, again.clone());
                    assert!((least..=most).contains(&after), "shut at {shut_s}, {again:?}, {lag_s}: {after}");
                }
            }
        }
    }

    /// Gas on for so long of every so long after the arc, and then the valve opened for the next band: what flowed counts.
    #[test]
    fn gas_that_comes_and_goes_is_postflow_while_it_flows() {
        for (on_s, every_s, most) in [(0.1, 0.4, 10), (0.2, 0.4, 16), (0.04, 0.36, 6)] {
            let after = flowed(0.01, |time| {
                let chatters = (20.0..23.0).contains(&time) && (time - 20.0) % every_s < on_s;
                if (8.0..20.0).contains(&time) || chatters || (25.0..30.0).contains(&time) {
                    17.5
                } else {
                    0.0
                }
            });
            assert!(after.1 <= most, "{on_s} of {every_s} s: {after:?}");
        }
        // Back for a moment, and again: the valve was shut once and for all the first time.
        for again_s in [22.4, 22.8, 24.0] {
            let after = flowed(0.02, |time| {
                let back = (22.0..22.2).contains(&time) || (again_s..30.0).contains(&time);
                if (8.0..20.0).contains(&time) || back { 17.5 } else { 0.0 }
            });
            assert!(after.1 <= 2, "again at {again_s} s: {after:?}");
        }
        // One low reading is no end of it.
        let after = flowed(0.01, |time| {
            if (8.0..26.0).contains(&time) && !(22.0..22.04).contains(&time) { 17.5 } else { 0.0 }
        });
        assert!((58..=61).contains(&after.1), "{after:?}");
    }

    #[test]
    fn too_little_gas_is_no_preflow_and_no_postflow_and_a_slow_meter_is_not_too_little() {
        for lag_s in [0.1, 0.5, 1.0, 2.0] {
            let (before, after) = flowed(lag_s, |time| if (8.0..26.0).contains(&time) { 17.5 } else { 0.0 });
            assert!((15..=20).contains(&before) && (60..=70).contains(&after), "{lag_s}: {before} {after}");
        }
        for lag_s in [0.1, 0.5] {
            for little in [3.0, 6.0, 10.0] {
                let flow = |time| {
                    if (9.8..20.2).contains(&time) {
                        17.5
                    } else if time > 5.0 {
                        little
                    } else {
                        0.0
                    }
                };
                let (before, after) = flowed(lag_s, flow);
                assert!(before <= 5 && after <= 20, "{lag_s}: {before} {after}");
            }
        }
    }
}
