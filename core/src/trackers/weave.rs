//! Weave rate, width and centre from the torch position.
//!
//! Decides: when the torch crossed the centre of its weave, and what rate, width and centre follow.
//! Assumes: at least [`SAMPLES_PER_CYCLE`] positions a weave cycle for the rate, and
//! [`SAMPLES_FOR_WIDTH`] for the width; half cycles that bend one way only.
//! Never: assumes a sine: a dwell at the ends, a drifting centre and noise are expected; gives a width
//! whose ends may have been missed between two positions (it is absent then).
//!
//! A crossing counts after the torch has been clearly (a fifth of the width) on the other side; its
//! time is interpolated between the two positions around the centre. The rate is taken over up to
//! `N - 1` cycles of upward and of downward crossings together, so that an error of the tracked centre
//! cancels. A torch that moves less than half the width for a whole cycle has a narrow weave, before any crossing.

mod ends;
mod phases;
mod span;

use crate::statistics::{clamp_to_i32, divide_rounded, push_over};
use crate::units::{Length, WeaveRate};
use ends::AROUND;
use heapless::Deque;
use phases::Phases;
use span::Span;

/// Positions a weave cycle below which a rate is not trusted.
pub const SAMPLES_PER_CYCLE: u32 = 5;
/// Positions a weave cycle below which its width is not known.
pub const SAMPLES_FOR_WIDTH: u32 = 8;
/// From this many positions a cycle on, a round end is hardly missed.
const DENSE_FROM: u32 = 16;
/// Half cycles after which an end that was not seen again is out of date.
const ENDS_LAST: u8 = 8;
/// From this many positions a cycle on, three are averaged before the ends of the weave are taken.
const SMOOTHING_FROM: u64 = 48;
/// Less movement than this is no weave: 1 mm, raw.
const LEAST_WIDTH: i32 = 1 << Length::FRACTION_BITS;
/// Before the first cycle, no weave is declared after this long.
const START_PATIENCE_US: u64 = 3_000_000;
/// How many of the last ends are averaged for width and centre.
const ENDS: usize = 4;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Unknown,
    Below,
    Above,
}

/// A half cycle that is complete, and not yet counted.
#[derive(Clone, Copy, Debug)]
struct Crossing {
    at_us: u64,
    upward: bool,
    /// Where the torch was after it, smoothed.
    position: i32,
    /// So long after a position it was, and so long from that to the next, µs.
    within: (u32, u32),
    /// The end before it is not looked at yet.
    is_new: bool,
}

/// Follows the weave; keeps `N` crossings each way.
#[derive(Clone, Debug)]
pub struct WeaveTracker<const N: usize> {
    side: Side,
    guard_passed: bool,
    previous: Option<(u64, i32)>,
    recent: [i32; 2],
    started_us: u64,
    stopped: bool,
    last_crossing_us: Option<u64>,
    period_us: u64,
    positions_since_crossing: u32,
    positions_per_cycle: u64,
    low: i32,
    high: i32,
    lows: Deque<i32, ENDS>,
    highs: Deque<i32, ENDS>,
    /// Low bits of the times of the crossings, µs: a weave that goes on has none an hour apart.
    upward: Deque<u32, N>,
    downward: Deque<u32, N>,
    rate: Option<i32>,
    mean_low: Option<i32>,
    mean_high: Option<i32>,
    /// Mean spacing of the positions, µs.
    gap_us: u32,
    /// The last positions, and those around the highest and the lowest of the half cycle.
    around: [i32; AROUND],
    around_high: Option<[i32; AROUND]>,
    around_low: Option<[i32; AROUND]>,
    /// Ends that are known to a hundredth, and the half cycles since the last of them.
    tops: Deque<i32, ENDS>,
    bottoms: Deque<i32, ENDS>,
    unseen_tops: u8,
    unseen_bottoms: u8,
    phases_top: Phases,
    phases_bottom: Phases,
    /// Where the half cycle began between two positions, and how far they are apart, µs.
    began: (u32, u32),
    span: Span,
    /// How wide the weave last was for certain, raw.
    wide: i32,
    crossing: Option<Crossing>,
}

impl<const N: usize> WeaveTracker<N> {
    /// Has seen nothing.
    pub const fn new() -> Self {
        Self {
            side: Side::Unknown,
            guard_passed: false,
            previous: None,
            recent: [0; 2],
            started_us: 0,
            stopped: false,
            last_crossing_us: None,
            period_us: 0,
            positions_since_crossing: 0,
            positions_per_cycle: 0,
            low: i32::MAX,
            high: i32::MIN,
            lows: Deque::new(),
            highs: Deque::new(),
            upward: Deque::new(),
            downward: Deque::new(),
            rate: None,
            mean_low: None,
            mean_high: None,
            gap_us: 0,
            around: [0; AROUND],
            around_high: None,
            around_low: None,
            tops: Deque::new(),
            bottoms: Deque::new(),
            unseen_tops: 0,
            unseen_bottoms: 0,
            phases_top: Phases::NONE,
            phases_bottom: Phases::NONE,
            began: (0, 0),
            span: Span::NONE,
            wide: 0,
            crossing: None,
        }
    }

    /// Takes one position, raw [`Length`]. What a crossing comes to is left to [`Self::settle_end`] and
    /// [`Self::settle`]: three parts, so that no sample bears all.
    pub fn push(&mut self, now_us: u64, position: i32) {
        self.settle();
        let Some((before_us, before)) = self.previous.replace((now_us, position)) else {
            self.started_us = now_us;
            self.recent = [position; 2];
            self.around = [position; AROUND];
            self.extend(position);
            return;
        };
        let waited_us = now_us.saturating_sub(before_us);
        if self.period_us > 0 && waited_us > self.period_us >> 1 {
            // Half cycles may lie in between: those on either side are not of one count.
            let (span, wide, period_us) = (self.span, self.wide, self.period_us);
            *self = Self { period_us, span, wide, ..Self::new() };
            return;
        }
        self.note_gap(waited_us);
        self.note_around(position);
        self.span.push(now_us, position);
        let smoothed = self.smooth(position);
        self.extend(smoothed);
        self.positions_since_crossing = self.positions_since_crossing.saturating_add(1);
        if self.is_stopped(now_us) {
            self.forget_cycles(now_us, position);
            return;
        }
        let centre = self.centre();
        let width = self.width_for_guard();
        if width < LEAST_WIDTH {
            return;
        }
        let guard = width / 5;
        let above = position > centre;
        match self.side {
            Side::Unknown => {
                self.side = if above { Side::Above } else { Side::Below };
                self.guard_passed = false;
            }
            Side::Below | Side::Above => {
                let was_above = self.side == Side::Above;
                if above == was_above {
                    self.guard_passed |= position.abs_diff(centre) > guard.unsigned_abs();
                    return;
                }
                if !self.guard_passed {
                    return;
                }
                let at_us = interpolate(before_us, before, now_us, position, centre);
                let since = |us: u64| u32::try_from(us.saturating_sub(before_us)).unwrap_or(u32::MAX);
                let within = (since(at_us), since(now_us));
                self.crossing =
                    Some(Crossing { at_us, upward: above, position: smoothed, within, is_new: true });
            }
        }
    }

    fn smooth(&mut self, position: i32) -> i32 {
        let [older, newer] = self.recent;
        self.recent = [newer, position];
        if self.positions_per_cycle < SMOOTHING_FROM {
            return position;
        }
        let sum = i64::from(older).saturating_add(i64::from(newer)).saturating_add(i64::from(position));
        clamp_to_i32(sum / 3)
    }

    fn note_gap(&mut self, gap_us: u64) {
        let gap_us = u32::try_from(gap_us).unwrap_or(u32::MAX);
        self.gap_us = match self.gap_us {
            0 => gap_us,
            mean_us => mean_us.saturating_sub(mean_us >> 3).saturating_add(gap_us >> 3),
        };
    }

    /// Keeps the positions around the ends; the one in the middle is three positions old.
    fn note_around(&mut self, position: i32) {
        let [_, second, third, fourth, fifth, sixth, last] = self.around;
        self.around = [second, third, fourth, fifth, sixth, last, position];
        if self.around_high.is_none_or(|[_, _, _, highest, ..]| fifth > highest) {
            self.around_high = Some(self.around);
        }
        if self.around_low.is_none_or(|[_, _, _, lowest, ..]| fifth < lowest) {
            self.around_low = Some(self.around);
        }
    }

    /// Are there fewer positions a cycle than this?
    fn has_fewer_than(&self, positions: u32) -> bool {
        // A hundredth of grace: the spacing is a rounded mean.
        let needed_us = u64::from(self.gap_us).saturating_mul(u64::from(positions));
        needed_us > self.period_us.saturating_add(self.period_us >> 6)
    }

    /// The end before last is over: half a cycle later all positions around it are there.
    fn take_end(&mut self, now_us: u64, upward: bool) {
        let (centre, width) = (self.centre(), self.width_for_guard());
        let is_dense = !self.has_fewer_than(DENSE_FROM);
        let is_known = self.is_known();
        let (around, known, unseen) = if upward {
            (self.around_high.take(), &mut self.tops, &mut self.unseen_tops)
        } else {
            // Upside down, a bottom is a top.
            let turned = self.around_low.take().map(|around| around.map(i32::saturating_neg));
            (turned, &mut self.bottoms, &mut self.unseen_bottoms)
        };
        let centre = if upward { centre } else { centre.saturating_neg() };
        if let Some([_, _, _, highest, ..]) = around.filter(|_| is_known) {
            let phases = if upward { &mut self.phases_top } else { &mut self.phases_bottom };
            // Half a spacing, at the mean speed of the weave.
            let missed = i64::from(width).checked_div(self.positions_per_cycle as i64).unwrap_or(0);
            phases.push(now_us, highest, self.began, clamp_to_i32(missed));
        }
        // Before cycles are known the torch may have come from rest, and the centre may be off.
        let around = around.filter(|_| is_known);
        match around.and_then(|around| ends::top(around, centre, width, is_dense)) {
            Some(end) => {
                push_over(known, end);
                *unseen = 0;
            }
            None => *unseen = unseen.saturating_add(1),
        }
        if *unseen > ENDS_LAST {
            known.clear();
        }
    }

    fn extend(&mut self, position: i32) {
        self.low = self.low.min(position);
        self.high = self.high.max(position);
    }

    /// Looks at the end of the half cycle before the one that the last position completed, if it did.
    pub fn settle_end(&mut self) {
        let Some(crossing) = &mut self.crossing else { return };
        if !core::mem::take(&mut crossing.is_new) {
            return;
        }
        let Crossing { at_us, upward, within, .. } = *crossing;
        let width = self.width_for_guard();
        if !self.lows.is_empty() && self.high.saturating_sub(self.low) > width.saturating_add(width >> 1) {
            // Half as wide again: what came before was noise at an end, or another weave.
            self.lows.clear();
            self.highs.clear();
            self.upward.clear();
            self.downward.clear();
            self.tops.clear();
            self.bottoms.clear();
        }
        self.take_end(at_us, upward);
        self.began = within;
    }

    /// Counts the half cycle that the last position completed, if it did; returns the time since the crossing in the
    /// same direction before, if that one belongs to the same weave, µs.
    pub fn settle(&mut self) -> Option<u64> {
        self.settle_end();
        let Crossing { at_us: crossed_us, upward, position, .. } = self.crossing.take()?;
        // A centre between ends that were not both reached yet is off.
        let centre_is_sound = !self.lows.is_empty() && !self.highs.is_empty();
        let (crossings, ends, end) = if upward {
            (&mut self.upward, &mut self.lows, self.low)
        } else {
            (&mut self.downward, &mut self.highs, self.high)
        };
        let low_us = crossed_us as u32;
        let period_us = crossings.back().map(|&earlier_us| u64::from(low_us.wrapping_sub(earlier_us)));
        if centre_is_sound {
            push_over(crossings, low_us);
        }
        // Before the first crossing the torch came from rest: that was no whole half cycle.
        if self.last_crossing_us.is_some() {
            push_over(ends, end);
        }
        if let Some(period_us) = period_us {
            self.period_us = period_us;
            self.span.set_part(period_us);
        }
        // Two half cycles.
        self.positions_per_cycle = u64::from(self.positions_since_crossing).saturating_mul(2);
        self.positions_since_crossing = 0;
        self.last_crossing_us = Some(crossed_us);
        self.stopped = false;
        self.side = if upward { Side::Above } else { Side::Below };
        self.guard_passed = false;
        self.mean_low = mean(&self.lows);
        self.mean_high = mean(&self.highs);
        self.rate = self.rate_over_cycles();
        if self.is_known() && self.span.over_a_cycle().is_none_or(|moved| moved >= self.wide / 2) {
            self.wide = self.width_for_guard();
        }
        // The next half cycle has its own end.
        if upward {
            self.high = position;
        } else {
            self.low = position;
        }
        period_us
    }

    /// No crossing for one and a half cycles: the weave has stopped. Before a rate is known, what
    /// looks like cycles may be noise at an end.
    fn is_stopped(&self, now_us: u64) -> bool {
        match self.last_crossing_us {
            Some(last_us) => {
                let patience_us = if self.is_known() {
                    self.period_us.saturating_add(self.period_us >> 1)
                } else {
                    START_PATIENCE_US
                };
                now_us.saturating_sub(last_us) > patience_us
            }
            None => now_us.saturating_sub(self.started_us) > START_PATIENCE_US,
        }
    }

    fn forget_cycles(&mut self, now_us: u64, position: i32) {
        // How far the torch moves goes on being watched.
        let (span, gap_us, wide) = (self.span, self.gap_us, self.wide);
        *self = Self { span, gap_us, wide, around: [position; AROUND], ..Self::new() };
        self.previous = Some((now_us, position));
        self.started_us = now_us;
        self.stopped = true;
        self.recent = [position; 2];
        self.extend(position);
    }

    /// Centre of the weave, raw [`Length`]: the middle between the mean ends of the last cycles.
    pub fn centre(&self) -> i32 {
        let (low, high) = self.ends();
        clamp_to_i32(i64::from(low).saturating_add(i64::from(high)) >> 1)
    }

    fn ends(&self) -> (i32, i32) {
        (self.mean_low.unwrap_or(self.low), self.mean_high.unwrap_or(self.high))
    }

    fn width_for_guard(&self) -> i32 {
        let (low, high) = self.ends();
        high.saturating_sub(low)
    }

    /// Complete cycles a minute, raw [`WeaveRate`]: zero when the weave stands, absent before two
    /// cycles have been seen.
    pub const fn rate(&self) -> Option<i32> {
        if self.stopped { Some(0) } else { self.rate }
    }
    fn rate_over_cycles(&self) -> Option<i32> {
        if !self.is_known() {
            return None;
        }
        let (up_cycles, up_us) = cycles(&self.upward);
        let (down_cycles, down_us) = cycles(&self.downward);
        rate_per_minute(up_cycles.saturating_add(down_cycles), up_us.saturating_add(down_us))
    }
    /// Have two cycles been seen, and not only noise?
    pub fn is_known(&self) -> bool {
        // Three cycles either way together.
        self.upward.len().saturating_add(self.downward.len()) >= 5
    }
    /// Peak-to-peak width over the last cycles, raw [`Length`]; absent before two cycles, and where the ends
    /// cannot be known to a hundredth. A weave that has become narrow or stopped is told by its last cycle.
    pub fn width(&self) -> Option<i32> {
        if let Some(moved) = self.span.over_a_cycle()
            && (self.stopped || moved < self.wide / 2)
        {
            return Some(moved);
        }
        if self.is_too_coarse() {
            return None;
        }
        if self.tops.len() < 2 || self.bottoms.len() < 2 {
            return self.width_of_many();
        }
        let (top, bottom) = (mean(&self.tops)?, mean(&self.bottoms)?);
        // Bottoms are kept upside down.
        Some(top.saturating_add(bottom))
    }
    /// How far back the cycles lie that the width is taken from, where it takes many, µs.
    pub fn looked_back_us(&self) -> u64 {
        let seen_at_once = self.tops.len() >= 2 && self.bottoms.len() >= 2;
        let looked_us = self.phases_top.looked_back_us().max(self.phases_bottom.looked_back_us());
        if seen_at_once { 0 } else { looked_us }
    }
    /// The width over many cycles, where it is known to a hundredth.
    fn width_of_many(&self) -> Option<i32> {
        let ((top, top_open), (bottom, bottom_open)) = (self.phases_top.end()?, self.phases_bottom.end()?);
        let width = top.saturating_add(bottom);
        (top_open.saturating_add(bottom_open) <= width / 100).then_some(width)
    }
    /// Between which values the width lies, raw [`Length`], where [`Self::width`] does not know it to a
    /// hundredth: the highest and lowest positions of the last cycles were reached, and between two positions
    /// the torch goes no further than at its mean speed (a dwell goes less far). Absent as the width is.
    pub fn width_bounds(&self) -> Option<(i32, i32)> {
        if self.is_too_coarse() || self.stopped || !self.is_known() || self.positions_per_cycle == 0 {
            return None;
        }
        let reached = self.width_for_guard();
        // Half a spacing at either end at twice the width a cycle; smoothing over three takes as much again,
        // and two thirds.
        let missed = i64::from(reached).saturating_mul(2).checked_div(self.positions_per_cycle as i64)?;
        let smoothed = self.positions_per_cycle >= SMOOTHING_FROM;
        let missed = if smoothed { missed.saturating_mul(5) / 3 } else { missed };
        Some((reached, clamp_to_i32(i64::from(reached).saturating_add(missed))))
    }
    /// Centre over the last cycles, raw [`Length`]; absent before four cycles.
    pub fn settled_centre(&self) -> Option<i32> {
        (self.lows.is_full() && self.highs.is_full()).then(|| self.centre())
    }
    /// Do the positions come too slowly for the width of this weave?
    pub fn is_too_coarse(&self) -> bool {
        self.is_known() && self.has_fewer_than(SAMPLES_FOR_WIDTH)
    }
    /// A band begins: half cycles of a weave that rested lately, or came to none, as around a tack, are none of its own.
    pub fn begin_band(&mut self, now_us: u64) {
        let rests = self.last_crossing_us.is_some_and(|last_us| {
            now_us.saturating_sub(last_us) > self.period_us.saturating_sub(self.period_us >> 2)
        });
        if rests || !self.is_known() || !is_even(&self.upward) || !is_even(&self.downward) {
            let (span, gap_us, wide) = (self.span, self.gap_us, self.wide);
            *self = Self { gap_us, span, wide, ..Self::new() };
        }
    }
    /// Forgets everything, after a hole in the data.
    pub fn clear(&mut self) {
        if self.previous.is_some() {
            *self = Self::new();
        }
    }
}

impl<const N: usize> Default for WeaveTracker<N> {
    fn default() -> Self {
        Self::new()
    }
}

/// Time at which the way from one position to the next passes `centre`.
fn interpolate(before_us: u64, before: i32, now_us: u64, position: i32, centre: i32) -> u64 {
    let gap_us = now_us.saturating_sub(before_us);
    let part = u64::from(centre.abs_diff(before));
    let whole = u64::from(position.abs_diff(before));
    let share_us = gap_us.min(u64::from(u32::MAX)).saturating_mul(part).checked_div(whole).unwrap_or(gap_us);
    before_us.saturating_add(share_us.min(gap_us))
}

/// Is none of the cycles longer by a quarter than another: did the weave not rest meanwhile?
fn is_even<const N: usize>(crossings: &Deque<u32, N>) -> bool {
    let cycles =
        crossings.iter().zip(crossings.iter().skip(1)).map(|(first, next)| next.wrapping_sub(*first));
    let (shortest, longest) =
        cycles.fold((u32::MAX, 0), |(shortest, longest), cycle| (cycle.min(shortest), cycle.max(longest)));
    longest <= shortest.saturating_add(shortest >> 2)
}

/// Cycles between the first and the last crossing, and the time they took, µs.
fn cycles<const N: usize>(crossings: &Deque<u32, N>) -> (u64, u64) {
    let (Some(&first_us), Some(&last_us)) = (crossings.front(), crossings.back()) else {
        return (0, 0);
    };
    ((crossings.len() as u64).saturating_sub(1), u64::from(last_us.wrapping_sub(first_us)))
}

/// `cycles` in `elapsed_us` microseconds, as raw [`WeaveRate`].
pub fn rate_per_minute(cycles: u64, elapsed_us: u64) -> Option<i32> {
    let scaled = cycles.saturating_mul(60_000_000_u64 << WeaveRate::FRACTION_BITS);
    scaled.checked_div(elapsed_us).map(|rate| i32::try_from(rate).unwrap_or(i32::MAX))
}

fn mean<const N: usize>(values: &Deque<i32, N>) -> Option<i32> {
    let sum = values.iter().fold(0_i64, |sum, &value| sum.saturating_add(i64::from(value)));
    divide_rounded(sum, values.len() as u32).map(clamp_to_i32)
}

#[cfg(test)]
mod tests;
