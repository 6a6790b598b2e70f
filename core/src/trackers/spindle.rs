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

mod motion;

use super::pace::{LongWindow, Point};
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
/// A stall that takes longer to be seen has burned a hole before it is: it cannot be seen (common practice, no
/// source), µs.
const STALL_MOST_US: u32 = 6_000_000;
/// The newest points, to tell a pipe that stands now from one that stood just before, µs.
const NEWEST_US: u32 = 200_000;

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

/// How the pipe got going in a band.
#[derive(Clone, Copy, Debug)]
enum Start {
    /// No speed is known yet.
    Waited,
    /// Too late after the strike, and that is not told yet.
    Late,
    Known,
}

/// Leaps of the reading in one band.
#[derive(Clone, Copy, Debug)]
enum Leap {
    None,
    /// Once, before a speed was known: the encoder was set to zero.
    AtTheStart,
    Within,
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
    previous: Option<(Angle, u64)>,
    total: i64,
    resolution: Resolution,
    base: i64,
    offsets: i64,
    delays_us: u64,
    count: u32,
    point_start_us: u64,
    short: Deque<Point, S>,
    /// See [`Self::speed`]; worked out with each point.
    speed: Option<i32>,
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
    /// For how long it stood, at least, that turns again, and that is not told yet; else 0.
    stood_us: u32,
    /// Since when a first move is waited for.
    waiting_since_us: Option<u32>,
    /// Of a coarse reading: the last count came late.
    is_late: bool,
    band_start: Option<i64>,
    start: Start,
    leap: Leap,
    /// The last point is not in the long window yet.
    is_new: bool,
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
            speed: None,
            long: LongWindow::new(),
            residual: 0,
            reference: None,
            is_firm: false,
            motion: Motion::Unknown,
            times: Times { window_us: SHORT_US, step_us: 0 },
            anchor: None,
            slip_since_us: None,
            still_since_us: None,
            stood_us: 0,
            waiting_since_us: None,
            is_late: false,
            band_start: None,
            start: Start::Known,
            leap: Leap::None,
            is_new: false,
        }
    }
    /// The angle of one count is known (2^-32 turn), and need not be learnt; zero takes it back.
    pub const fn declare_resolution(&mut self, count: u32) {
        self.resolution.declare(count);
    }
    /// Takes one angle.
    #[inline]
    pub fn push(&mut self, now_us: u64, angle: Angle) {
        let _ = self.push_after(now_us, angle, false);
    }
    /// Takes one angle, which may be one after a leap that `stays`. Is how far the pipe turned since the last one
    /// lost, because it may have been more than half a turn?
    pub(crate) fn push_after(&mut self, now_us: u64, angle: Angle, stays: bool) -> bool {
        let mut is_lost = false;
        if let Some((previous, previous_us)) = self.previous {
            let moved = angle.since(previous);
            let step = self.resolution.step().unwrap_or(0);
            let waited_us = now_us.saturating_sub(previous_us);
            is_lost = self.may_have_turned_half(waited_us);
            if is_lost {
                self.forget_speed();
            } else if is_leap(angle, moved, waited_us, step, stays) {
                self.note_leap();
            } else {
                self.total = self.total.wrapping_add(i64::from(moved));
                self.resolution.push(now_us as u32, moved);
            }
        }
        self.previous = Some((angle, now_us));
        if self.count == 0 {
            self.base = self.total;
            self.point_start_us = now_us;
        }
        self.offsets = self.offsets.saturating_add(self.total.wrapping_sub(self.base));
        self.delays_us = self.delays_us.saturating_add(now_us.saturating_sub(self.point_start_us));
        self.count = self.count.saturating_add(1);
        is_lost
    }
    /// At its usual speed in this band, or as fast as small pipe turns where that is not known.
    fn may_have_turned_half(&self, waited_us: u64) -> bool {
        let usual = self.reference.map_or(FASTEST, i32::unsigned_abs);
        waited_us > SHORT_WAIT_US && u64::from(usual).saturating_mul(waited_us >> 10) >= NEARLY_HALF
    }
    /// The angle is not to be held against the last: it was set to zero, or misread, for no pipe turns so fast.
    const fn note_leap(&mut self) {
        self.resolution.interrupt();
        self.leap = if matches!((self.start, self.leap), (Start::Waited, Leap::None)) {
            Leap::AtTheStart
        } else {
            Leap::Within
        };
    }
    /// How far the pipe turned in this band is lost.
    #[cfg(feature = "motion")]
    pub(crate) const fn lose(&mut self) {
        self.leap = Leap::Within;
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
        self.speed = None;
        self.resolution.begin_band();
        self.reference = None;
        self.is_firm = false;
        self.forget_motion();
        self.band_start = Some(self.total);
        (self.start, self.leap) = (Start::Waited, Leap::None);
    }
    /// The band goes over into the next under one arc, and the pipe turns on.
    pub const fn step_on(&mut self) {
        self.band_start = Some(self.total);
    }
    /// Did the reading leap in this band, other than once at its start, where an encoder is set to zero?
    pub const fn has_leapt(&self) -> bool {
        matches!(self.leap, Leap::Within)
    }
    /// Did the pipe get going too late after the strike? Tells it once, as soon as it can be known.
    pub fn take_late_start(&mut self) -> bool {
        let is_late = matches!(self.start, Start::Late);
        if is_late {
            self.start = Start::Known;
        }
        is_late
    }
    /// For how long the pipe stood that turns again. Tells it once.
    pub fn take_stand_us(&mut self) -> Option<u32> {
        Some(core::mem::take(&mut self.stood_us)).filter(|&stood_us| stood_us > 0)
    }
    /// Forgets speeds, after a hole in the data; the angle turned goes on.
    #[inline(never)]
    pub fn forget_speed(&mut self) {
        self.count = 0;
        self.offsets = 0;
        self.delays_us = 0;
        self.short.clear();
        self.speed = None;
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

    /// Closes a point when a tenth of a second has passed; `next_us` is when the next reading is due. What it means
    /// for the usual speed is left to [`Self::settle`]: two halves, so that no sample bears both.
    pub fn tick(&mut self, next_us: u64) {
        self.settle();
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
        self.is_new = true;
    }
    /// Takes the point that was closed last, if one was, into the usual speed.
    pub fn settle(&mut self) {
        if !core::mem::take(&mut self.is_new) {
            return;
        }
        // None where a new band or a hole in the data came between.
        if let Some(&point) = self.short.back() {
            self.extend_long(point);
        }
        self.speed = self.speed_now();
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

    /// The newest point at least so old, seen from the last one.
    fn since(&self, age_us: u32) -> Option<Point> {
        let newest = *self.short.back()?;
        self.short.iter().rev().find(|&&point| newest.after_us(point) >= age_us).copied()
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
    /// Would a pipe that stands be told soon? By counts it takes so long until one is overdue.
    pub const fn can_judge_stall(&self) -> bool {
        overdue_us(self.times.step_us) <= STALL_MOST_US
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
    pub const fn speed(&self) -> Option<i32> {
        self.speed
    }
    fn speed_now(&self) -> Option<i32> {
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
    /// Between which values that of the last seconds alone lies, where it is measured over longer.
    pub fn latest_turn_time_bounds(&self) -> Option<(i32, i32)> {
        if self.motion == Motion::Steady { self.long.latest_turn_time_bounds(self.error()) } else { None }
    }
    /// Between which values it lies, where it is not known so well yet.
    pub fn turn_time_bounds(&self) -> Option<(i32, i32)> {
        if self.motion == Motion::Steady { self.long.turn_time_bounds(self.error()) } else { None }
    }
}

impl<const S: usize, const L: usize> Default for SpindleTracker<S, L> {
    fn default() -> Self {
        Self::new()
    }
}

/// A wait that needs no second look, µs.
const SHORT_WAIT_US: u64 = 2_000_000;
/// From here on the short way may not be the way it went: nine twentieths of a turn, in 2^-24 turn a second times
/// 2^10 µs.
const NEARLY_HALF: u64 = (9 << 24) / 20 * 1_000_000 / 1024;
/// Small pipe turns in some 20 s (common practice, no source), 2^-24 turn a second.
const FASTEST: u32 = (1 << 24) / 20;

/// No pipe turns so far from reading to reading: 15 degrees, nor faster than 180 degrees a second, 2^-32 turn.
const LEAST_LEAP: u32 = ((15 << 32) / 360_u64) as u32;
const LEAP_A_MS: u64 = (180 << 32) / 360 / 1000;
/// An encoder that is set to zero leaps by more than this, 3 degrees, and comes to within a quarter degree of zero.
const LEAST_RESET: u32 = ((3 << 32) / 360_u64) as u32;
const ZERO: u32 = ((1 << 32) / 1440_u64) as u32;

/// Does an angle leap, from one reading to the next? `step` is the usual move of the reading, nothing before the
/// first: a coarse encoder moves by a whole count. A leap that `stays` was held back for some readings.
fn is_leap(angle: Angle, moved: i32, waited_us: u64, step: u32, stays: bool) -> bool {
    let size = u64::from(moved.unsigned_abs());
    let turned = LEAP_A_MS.saturating_mul(waited_us / 1000);
    let off_zero = angle.since(Angle::from_bits(0)).unsigned_abs();
    let is_zero = off_zero <= if stays { ZERO.saturating_mul(8) } else { ZERO };
    let counts = (u64::from(step).saturating_mul(5) >> 1).max(u64::from(LEAST_RESET));
    if step == 0 || stays {
        return size > counts && (is_zero || step > 0);
    }
    size > turned.max(u64::from(LEAST_LEAP)).max(counts) || is_zero && size > counts.max(turned / 3)
}

/// An angle along the way of `reference`: against it is less than nothing.
fn along(moved: i64, reference: i32) -> i64 {
    if reference < 0 { moved.saturating_neg() } else { moved }
}

fn degrees_a_second(speed: i32) -> i32 {
    turns_to_degrees(i64::from(speed).saturating_abs().saturating_mul(256)).to_bits()
}

/// A count that takes `step_us` is overdue after this, µs.
const fn overdue_us(step_us: u32) -> u32 {
    let counts_us = step_us.saturating_mul(9) >> 1;
    if counts_us > SHORT_US { counts_us } else { SHORT_US }
}

#[cfg(test)]
mod tests;
