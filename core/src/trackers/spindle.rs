//! How the pipe turns.
//!
//! Decides: the angle turned, which way round, the speed, the time of a turn, slip and stall; and whether
//! the reading is fine enough for each.
//! Assumes: the angle is read more than twice a turn, so that the short way is the way it went.
//! Never: cares whether the reading wraps at 360 or runs on; takes the counts of an encoder for slip.
//!
//! Angles are averaged over tenths of a second first. The speed is taken over 0.6 s, or longer where the
//! reading needs it: five counts, three readings, or nine times what a point usually lies off the line.
//! Against the usual speed of this band, a short speed far off is slip, one near zero is stall, and while
//! either lasts the long window waits, so that neither is mistaken for a wrong turn time. Where 2.4 s are
//! too short for five counts, slip cannot be seen; a stall can, by the time without a count. While the
//! pipe comes to rest, and while it gets going, nothing is called slip.

use super::pace::{LEAST_US, LongWindow, Point};
use super::resolution::Resolution;
use crate::statistics::push_over;
use crate::units::{Angle, turns_to_degrees};
use heapless::Deque;

pub use super::pace::turn_time;

/// Slip and stall are to be found within a few seconds: needed sample rate in thousandths of a hertz.
pub const NEEDED_RATE_MHZ: u32 = 2_000;
const POINT_US: u64 = 100_000;
const SHORT_US: u32 = 600_000;
/// Slip that takes longer to be seen than this cannot be seen.
const SHORT_MOST_US: u32 = 2_400_000;
/// The newest points, to tell a pipe that stands now from one that stood just before, µs.
const NEWEST_US: u32 = 200_000;
/// A count that takes longer than a third of [`NEWEST_US`] tells by its coming, not by a speed, µs.
const COUNT_US: u32 = NEWEST_US / 3;
/// A changed speed that lasts this long is the new speed, not slip.
const SLIP_LONGEST_US: u32 = 5_000_000;
/// So long after the strike the pipe may stand, µs. Common practice, no source.
const START_US: u32 = 2_000_000;
/// Past the turn the pipe may stand for this long before it is called a stall, µs: the band ends.
/// Common practice, no source.
const STOP_US: u32 = 1_500_000;
/// From here on a band may end: 350 degrees, 2^-32 turn.
const TURN_DONE: u64 = (350 << 32) / 360;
/// Without a known speed, slower than a turn in 20 minutes is standing: 0.3 degrees a second, in
/// 2^-24 turn a second.
const STANDING: i64 = (3 << 24) / 3600;

/// Which way the angle reading runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// It grows.
    Increasing,
    /// It falls.
    Decreasing,
}

/// What the last second showed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    /// Too little seen, or the reading is too coarse to tell.
    Unknown,
    /// Turning as it did.
    Steady,
    /// Turning at quite another speed than just before.
    Slipping,
    /// Coming to rest.
    Pausing,
    /// Standing.
    Stalled,
}

/// Times that follow from the usual speed and the resolution, µs.
#[derive(Clone, Copy, Debug)]
struct Times {
    /// Over which the short speed is taken.
    window_us: u32,
    /// From count to count, or from reading to reading of a fine encoder.
    step_us: u32,
}

/// Follows the spindle: `S` short points (tenths of a second), `L` long ones (seconds).
#[derive(Clone, Debug)]
pub struct SpindleTracker<const S: usize, const L: usize> {
    previous: Option<Angle>,
    total: i64,
    resolution: Resolution,
    base: i64,
    offsets: i64,
    delays_us: u64,
    count: u32,
    point_start_us: u64,
    short: Deque<Point, S>,
    long: LongWindow<L>,
    /// How far a point usually lies off the line of the two before, 2^-24 turn.
    residual: u32,
    /// Usual speed in this band, 2^-24 turn a second.
    reference: Option<i32>,
    /// Is the usual speed known well enough to hold slip against it?
    is_firm: bool,
    motion: Motion,
    times: Times,
    /// Where the last clear move ended.
    anchor: Option<Point>,
    slip_since_us: Option<u32>,
    still_since_us: Option<u32>,
    /// Since when a first move is waited for.
    waiting_since_us: Option<u32>,
    /// Of a coarse reading: the last count came late.
    is_late: bool,
    band_start: Option<i64>,
}

impl<const S: usize, const L: usize> SpindleTracker<S, L> {
    /// Has seen nothing.
    pub const fn new() -> Self {
        Self {
            previous: None,
            total: 0,
            resolution: Resolution::new(),
            base: 0,
            offsets: 0,
            delays_us: 0,
            count: 0,
            point_start_us: 0,
            short: Deque::new(),
            long: LongWindow::new(),
            residual: 0,
            reference: None,
            is_firm: false,
            motion: Motion::Unknown,
            times: Times { window_us: SHORT_US, step_us: 0 },
            anchor: None,
            slip_since_us: None,
            still_since_us: None,
            waiting_since_us: None,
            is_late: false,
            band_start: None,
        }
    }
    /// The angle of one count is known (2^-32 turn), and need not be learnt; zero takes it back.
    pub const fn declare_resolution(&mut self, count: u32) {
        self.resolution.declare(count);
    }
    /// Takes one angle.
    #[inline]
    pub fn push(&mut self, now_us: u64, angle: Angle) {
        if let Some(previous) = self.previous {
            let moved = angle.since(previous);
            self.total = self.total.wrapping_add(i64::from(moved));
            self.resolution.push(now_us as u32, moved);
        }
        self.previous = Some(angle);
        if self.count == 0 {
            self.base = self.total;
            self.point_start_us = now_us;
        }
        self.offsets = self.offsets.saturating_add(self.total.wrapping_sub(self.base));
        self.delays_us = self.delays_us.saturating_add(now_us.saturating_sub(self.point_start_us));
        self.count = self.count.saturating_add(1);
    }
    /// Angle turned since the first reading, signed, in 2^-32 turn.
    pub const fn total(&self) -> i64 {
        self.total
    }
    /// Has there been a reading?
    pub const fn is_seen(&self) -> bool {
        self.previous.is_some()
    }
    /// A band begins: what the pipe did before says nothing of it.
    pub fn begin_band(&mut self) {
        self.short.clear();
        self.reference = None;
        self.is_firm = false;
        self.forget_motion();
        self.band_start = Some(self.total);
    }
    /// Forgets speeds, after a hole in the data; the angle turned goes on.
    pub fn forget_speed(&mut self) {
        self.count = 0;
        self.offsets = 0;
        self.delays_us = 0;
        self.short.clear();
        self.resolution.interrupt();
        self.forget_motion();
    }
    fn forget_motion(&mut self) {
        self.long.clear();
        self.motion = Motion::Unknown;
        self.anchor = None;
        self.slip_since_us = None;
        self.still_since_us = None;
        self.waiting_since_us = None;
        self.is_late = false;
    }

    /// Closes a point when a tenth of a second has passed; `next_us` is when the next reading is due.
    pub fn tick(&mut self, next_us: u64) {
        if self.count == 0 || next_us.saturating_sub(self.point_start_us) < POINT_US {
            return;
        }
        let angle = self.base.wrapping_add(self.offsets.checked_div(i64::from(self.count)).unwrap_or(0));
        let delay_us = self.delays_us.checked_div(u64::from(self.count)).unwrap_or(0);
        self.count = 0;
        self.offsets = 0;
        self.delays_us = 0;
        let point =
            Point { at_us: self.point_start_us.saturating_add(delay_us) as u32, angle: (angle >> 8) as i32 };
        self.learn_residual(point);
        push_over(&mut self.short, point);
        while self.short.len() > 2
            && self.short.front().is_some_and(|&old| point.after_us(old) > SHORT_MOST_US + NEWEST_US)
        {
            self.short.pop_front();
        }
        let has_moved = self.note_move(point);
        self.motion = match self.reference {
            Some(reference) => self.classify(point, reference, has_moved),
            None => self.wait(point),
        };
        self.extend_long(point);
    }

    fn learn_residual(&mut self, point: Point) {
        let mut newest_first = self.short.iter().rev();
        let (Some(&last), Some(&before)) = (newest_first.next(), newest_first.next()) else { return };
        let (wait_us, wait_before_us) = (point.after_us(last), last.after_us(before));
        if wait_us.abs_diff(wait_before_us) > wait_us >> 2 {
            return;
        }
        let off = point.turned(last).saturating_sub(last.turned(before)).unsigned_abs();
        let off = u32::try_from(off).unwrap_or(u32::MAX);
        self.residual = if off > self.residual {
            self.residual.saturating_add(off.saturating_sub(self.residual) >> 5)
        } else {
            self.residual.saturating_sub(self.residual.saturating_sub(off) >> 5)
        };
    }

    /// Did the pipe clearly move on since the last time? A reading that flickers between two counts did not.
    fn note_move(&mut self, point: Point) -> bool {
        let Some(anchor) = self.anchor else {
            self.anchor = Some(point);
            return false;
        };
        let moved = point.turned(anchor);
        let step = i64::from(self.step());
        let along = self.reference.map_or(moved.saturating_abs(), |reference| along(moved, reference));
        let clearly = along.saturating_mul(4) > step.saturating_mul(3)
            || along.saturating_mul(2) < step.saturating_mul(-3);
        if clearly {
            self.anchor = Some(point);
        }
        clearly
    }
    fn quiet_us(&self, now: Point) -> u32 {
        self.anchor.map_or(0, |anchor| now.after_us(anchor))
    }
    /// 2^-24 turn; zero while nothing is known.
    fn step(&self) -> u32 {
        self.resolution.step().unwrap_or(0) >> 8
    }
    /// By how much two points may be wrong against each other, 2^-24 turn.
    fn error(&self) -> u32 {
        (self.resolution.error().unwrap_or(0) >> 8).max(1)
    }

    fn times(&self, reference: i32) -> Times {
        let usual = u64::from(reference.unsigned_abs());
        let needed = u64::from(self.error())
            .saturating_mul(5)
            .max(u64::from(self.step()).saturating_mul(3))
            .max(u64::from(self.residual).saturating_mul(75) >> 3);
        let lasts_us = |angle: u64| {
            let time_us = angle.saturating_mul(1_000_000).checked_div(usual).unwrap_or(u64::MAX);
            u32::try_from(time_us).unwrap_or(u32::MAX)
        };
        Times { window_us: lasts_us(needed).max(SHORT_US), step_us: lasts_us(u64::from(self.step())) }
    }
    /// The newest point at least so old, seen from the last one.
    fn since(&self, age_us: u32) -> Option<Point> {
        let newest = *self.short.back()?;
        self.short.iter().rev().find(|&&point| newest.after_us(point) >= age_us).copied()
    }
    /// The last points over the window, percent of the usual speed, along the usual way.
    fn share(&self, now: Point, window_us: u32, reference: i32) -> Option<i64> {
        let since = self.since(window_us.saturating_sub(window_us >> 3))?;
        let usual = i64::from(reference).saturating_abs();
        let whole = usual.saturating_mul(i64::from(now.after_us(since))) / 100;
        along(now.turned(since), reference).saturating_mul(1_000_000).checked_div(whole)
    }

    /// No speed is known in this band yet: the pipe may stand for a while after the strike.
    fn wait(&mut self, now: Point) -> Motion {
        let since_us = *self.waiting_since_us.get_or_insert(now.at_us);
        if self.resolution.step().is_none() || now.at_us.wrapping_sub(since_us) < START_US {
            return Motion::Unknown;
        }
        // Two counts at a degree a second, six minutes a turn: 10^6 / 2^24 * 360 * 2 = 42.9 µs.
        let counts_us = self.error().saturating_mul(43);
        let stands = if counts_us > START_US {
            self.quiet_us(now) >= counts_us
        } else {
            self.since(START_US - (START_US >> 3)).is_some_and(|since| {
                let moved = now.turned(since).saturating_abs().saturating_mul(1_000_000);
                moved < STANDING.saturating_mul(i64::from(now.after_us(since)))
            })
        };
        if stands { Motion::Stalled } else { Motion::Unknown }
    }

    fn classify(&mut self, now: Point, reference: i32, has_moved: bool) -> Motion {
        self.times = self.times(reference);
        let Times { window_us, step_us } = self.times;
        let by_counts = step_us > COUNT_US;
        let newest = self.share(now, NEWEST_US, reference).filter(|_| !by_counts);
        let share = self.share(now, window_us, reference);
        let stands = if by_counts {
            self.quiet_us(now) >= (step_us.saturating_mul(9) >> 1).max(SHORT_US)
        } else {
            share.is_some_and(|share| share.saturating_abs() < 10)
        };
        let was_still = self.still_since_us.is_some();
        if stands || was_still && newest.is_some_and(|newest| newest.saturating_abs() < 50) {
            return self.stand(now);
        }
        if was_still {
            // Turning again: the standing must not count as slow turning.
            self.still_since_us = None;
            self.short.clear();
            push_over(&mut self.short, now);
            return Motion::Unknown;
        }
        if self.is_too_coarse() {
            return Motion::Steady;
        }
        let Some(share) = share else { return Motion::Unknown };
        if (65..=140).contains(&share) || !self.is_firm {
            self.slip_since_us = None;
            self.is_late = false;
            return Motion::Steady;
        }
        if newest.is_some_and(|newest| newest.saturating_abs() < 15) {
            return Motion::Pausing;
        }
        self.is_late |= has_moved && !(60..=140).contains(&share);
        if by_counts && !self.is_late {
            return Motion::Pausing;
        }
        self.slip(now)
    }
    fn stand(&mut self, now: Point) -> Motion {
        self.slip_since_us = None;
        self.is_late = false;
        let since_us = *self.still_since_us.get_or_insert(now.at_us);
        let may_stop =
            self.band_start.is_some_and(|start| self.total.wrapping_sub(start).unsigned_abs() >= TURN_DONE);
        if may_stop && now.at_us.wrapping_sub(since_us) < STOP_US { Motion::Pausing } else { Motion::Stalled }
    }
    fn slip(&mut self, now: Point) -> Motion {
        let since_us = *self.slip_since_us.get_or_insert(now.at_us);
        if now.at_us.wrapping_sub(since_us) <= SLIP_LONGEST_US {
            return Motion::Slipping;
        }
        self.slip_since_us = None;
        self.is_late = false;
        self.reference = None;
        self.is_firm = false;
        self.long.clear();
        self.waiting_since_us = None;
        Motion::Unknown
    }

    fn extend_long(&mut self, now: Point) {
        match (self.motion, self.reference) {
            (Motion::Slipping | Motion::Pausing | Motion::Stalled, _) => self.long.clear(),
            (Motion::Unknown, Some(_)) => {}
            // Of a coarse reading: a count that is long overdue may never come.
            (_, Some(_)) if self.quiet_us(now) > self.times.step_us.saturating_mul(2).max(SHORT_US) => {}
            (Motion::Unknown | Motion::Steady, _) => {
                if self.long.push(now, self.error()) {
                    self.settle_reference(now);
                }
            }
        }
    }
    fn settle_reference(&mut self, now: Point) {
        let (Some((turned, elapsed_us)), Some(speed)) = (self.long.span(), self.long.speed()) else { return };
        let counts = |count: i64| i64::from(self.error()).saturating_mul(count);
        if elapsed_us < LEAST_US || i64::from(speed).saturating_abs() < STANDING || turned < counts(4) {
            return;
        }
        let is_firm = turned >= counts(16);
        if self.reference.is_some() {
            if is_firm || !self.is_firm {
                self.reference = Some(speed);
                self.is_firm |= is_firm;
            }
            return;
        }
        // Gets going still while the last points are not as fast as the window.
        let times = self.times(speed);
        let is_even = times.window_us > SHORT_MOST_US
            || self.share(now, times.window_us, speed).is_some_and(|share| (75..=125).contains(&share));
        if !is_even {
            self.long.shorten();
            return;
        }
        self.times = times;
        self.reference = Some(speed);
        self.is_firm = is_firm;
        // What it did as it got going is no part of the time of a turn.
        self.long.restart();
    }

    /// What the last second showed.
    pub const fn motion(&self) -> Motion {
        self.motion
    }
    /// Is the reading too coarse, at the usual speed, to tell slip within a few seconds? Also while
    /// nothing is known of it: it never moved.
    pub fn is_too_coarse(&self) -> bool {
        self.resolution.step().is_none() || self.times.window_us > SHORT_MOST_US
    }
    /// Can slip be told now: is a usual speed known, and the reading fine enough?
    pub fn can_judge_slip(&self) -> bool {
        self.is_firm && !self.is_too_coarse()
    }
    /// By how much the difference of two readings may be wrong, 2^-32 turn; `None` while nothing moved.
    pub fn resolution(&self) -> Option<u32> {
        self.resolution.error()
    }
    /// Which way the reading runs, over a second and four counts at least; `None` while that is not clear.
    pub fn direction(&self) -> Option<Direction> {
        let (oldest, newest) = (self.short.front()?, self.short.back()?);
        let turned = newest.turned(*oldest);
        let clear = i64::from(self.step().max(self.residual)).saturating_mul(4);
        let way = if newest.after_us(*oldest) >= 1_000_000 && turned.saturating_abs() > clear {
            turned
        } else {
            i64::from(self.reference.filter(|_| self.motion == Motion::Steady)?)
        };
        Some(if way < 0 { Direction::Decreasing } else { Direction::Increasing })
    }
    /// Speed over the last second without sign, raw [`crate::units::Degrees`] a second.
    pub fn speed(&self) -> Option<i32> {
        let newest = *self.short.back()?;
        newest.speed(self.since(self.times.window_us.min(SHORT_MOST_US) >> 1)?).map(degrees_a_second)
    }
    /// The speed it is held against, likewise.
    pub fn usual_speed(&self) -> Option<i32> {
        self.reference.map(degrees_a_second)
    }
    /// Time of a turn at the speed of the last seconds, raw [`crate::units::Duration`]; absent while it
    /// slips, stands, or has not turned far enough for its resolution: it is right within 0.2 %.
    pub fn turn_time(&self) -> Option<i32> {
        if self.motion == Motion::Steady { self.long.turn_time(self.error()) } else { None }
    }
}

impl<const S: usize, const L: usize> Default for SpindleTracker<S, L> {
    fn default() -> Self {
        Self::new()
    }
}

/// An angle along the way of `reference`: against it is less than nothing.
fn along(moved: i64, reference: i32) -> i64 {
    if reference < 0 { moved.saturating_neg() } else { moved }
}

fn degrees_a_second(speed: i32) -> i32 {
    turns_to_degrees(i64::from(speed).saturating_abs().saturating_mul(256)).to_bits()
}
