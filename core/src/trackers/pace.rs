//! Points of the turning, and the long window that gives the time of a turn.
//!
//! Decides: how far back the time of a turn is measured: as far as the resolution needs, no further.
//! Assumes: points in order of time, less than 71 minutes and 128 turns apart.
//! Never: knows what the pipe should do.

use crate::statistics::{clamp_to_i32, push_over};
use crate::units::Duration;
use heapless::Deque;

/// A whole turn, in the unit of [`Point::angle`].
pub(crate) const TURN: i64 = 1 << 24;
/// The time of a turn is right to this share: one in so many.
const ONE_IN: i64 = 500;
/// Bounds of it are given from here on.
const ROUGHLY_ONE_IN: i64 = 30;
/// Those of the last seconds alone from here on.
const NEARLY_ONE_IN: i64 = 60;
/// A window longer than this may hide what the pipe did for some seconds, µs.
const LONG_US: u32 = 8_000_000;
/// No speed is taken over less than this, µs.
pub(crate) const LEAST_US: u32 = 3_000_000;
/// Nearest distance of two points of the long window, µs.
const SPACING_US: u32 = 1_000_000;

/// The angle at one time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Point {
    /// Low bits of the time, µs.
    pub(crate) at_us: u32,
    /// Low bits of the angle turned, 2^-24 turn.
    pub(crate) angle: i32,
}

impl Point {
    /// µs since another point.
    pub(crate) const fn after_us(self, earlier: Self) -> u32 {
        self.at_us.wrapping_sub(earlier.at_us)
    }
    /// Angle turned since another point, 2^-24 turn.
    pub(crate) fn turned(self, earlier: Self) -> i64 {
        i64::from(self.angle.wrapping_sub(earlier.angle))
    }
    /// Speed since another point, 2^-24 turn a second.
    pub(crate) fn speed(self, earlier: Self) -> Option<i32> {
        let scaled = self.turned(earlier).saturating_mul(1_000_000);
        scaled.checked_div(i64::from(self.after_us(earlier))).map(clamp_to_i32)
    }
}

/// The points over which the time of a turn is taken.
#[derive(Clone, Debug)]
pub(crate) struct LongWindow<const L: usize> {
    points: Deque<Point, L>,
    spacing_us: u32,
}

impl<const L: usize> LongWindow<L> {
    pub(crate) const fn new() -> Self {
        Self { points: Deque::new(), spacing_us: SPACING_US }
    }
    pub(crate) fn clear(&mut self) {
        self.points.clear();
        self.spacing_us = SPACING_US;
    }
    /// Begins anew at the newest point.
    pub(crate) fn restart(&mut self) {
        let newest = self.points.back().copied();
        self.clear();
        if let Some(newest) = newest {
            push_over(&mut self.points, newest);
        }
    }
    /// Lets the oldest point go.
    pub(crate) fn shorten(&mut self) {
        self.points.pop_front();
    }
    /// Takes a point where one is due; true if it did. Points may be wrong by `error` against each other.
    pub(crate) fn push(&mut self, point: Point, error: u32) -> bool {
        if self.points.back().is_some_and(|&last| point.after_us(last) < self.spacing_us) {
            return false;
        }
        if self.points.is_full() {
            self.thin();
        }
        push_over(&mut self.points, point);
        while self.points.iter().nth(1).is_some_and(|&second| {
            let turned = point.turned(second).saturating_abs();
            turned >= needed(error) && point.after_us(second) >= LEAST_US || turned > TURN
        }) {
            self.points.pop_front();
        }
        self.drop_another_speed(error);
        true
    }
    /// Every second point goes; from here on they come half as often.
    fn thin(&mut self) {
        for index in 0..self.points.len() {
            if let Some(point) = self.points.pop_front().filter(|_| index & 1 == 0) {
                push_over(&mut self.points, point);
            }
        }
        self.spacing_us = self.spacing_us.saturating_mul(2);
    }
    /// The older half of another speed (by a twelfth, beyond all error) belongs to before a change.
    fn drop_another_speed(&mut self, error: u32) {
        let middle = self.points.len() / 2;
        let mut points = self.points.iter();
        let (Some(&first), Some(&half), Some(&last)) =
            (points.next(), self.points.iter().nth(middle), self.points.back())
        else {
            return;
        };
        let (old_us, new_us) = (i64::from(half.after_us(first)), i64::from(last.after_us(half)));
        let old = half.turned(first).saturating_mul(new_us);
        let new = last.turned(half).saturating_mul(old_us);
        let doubt = i64::from(error).saturating_mul(old_us.saturating_add(new_us));
        let allowed = (old.saturating_abs() / 12).saturating_add(doubt);
        if old.saturating_sub(new).saturating_abs() > allowed {
            for _ in 0..middle {
                self.points.pop_front();
            }
        }
    }
    /// Angle without sign and time between the first point and the last.
    pub(crate) fn span(&self) -> Option<(i64, u32)> {
        let (oldest, newest) = (self.points.front()?, self.points.back()?);
        Some((newest.turned(*oldest).saturating_abs(), newest.after_us(*oldest)))
    }
    /// Speed over the window, 2^-24 turn a second.
    pub(crate) fn speed(&self) -> Option<i32> {
        self.points.back()?.speed(*self.points.front()?)
    }
    /// The time of a whole turn, raw [`Duration`], once it is known to one in [`ONE_IN`].
    pub(crate) fn turn_time(&self, error: u32) -> Option<i32> {
        let (turned, elapsed_us) = self.span()?;
        if elapsed_us < LEAST_US || turned < needed(error) {
            return None;
        }
        turn_time(u64::from(elapsed_us), turned.saturating_mul(256))
    }

    /// Between which values the time of a whole turn lies, raw [`Duration`], once it is known to one in
    /// [`ROUGHLY_ONE_IN`].
    pub(crate) fn turn_time_bounds(&self, error: u32) -> Option<(i32, i32)> {
        let (turned, elapsed_us) = self.span()?;
        if elapsed_us < LEAST_US || turned < i64::from(error).saturating_mul(ROUGHLY_ONE_IN) {
            return None;
        }
        bounds(turned, elapsed_us, error)
    }
    /// The same of the newest points alone, as few as show it to one in [`NEARLY_ONE_IN`], where the window is long.
    pub(crate) fn latest_turn_time_bounds(&self, error: u32) -> Option<(i32, i32)> {
        let (newest, (_, window_us)) = (*self.points.back()?, self.span()?);
        if window_us < LONG_US {
            return None;
        }
        let enough = i64::from(error).saturating_mul(NEARLY_ONE_IN);
        let spans = self
            .points
            .iter()
            .rev()
            .map(|&point| (newest.turned(point).saturating_abs(), newest.after_us(point)));
        let (turned, elapsed_us) =
            spans.into_iter().find(|&(turned, us)| us >= LEAST_US && turned >= enough)?;
        bounds(turned, elapsed_us, error)
    }
}

/// Between which values the time of a whole turn lies, raw [`Duration`].
fn bounds(turned: i64, elapsed_us: u32, error: u32) -> Option<(i32, i32)> {
    let of = |turned: i64| turn_time(u64::from(elapsed_us), turned.saturating_mul(256));
    let error = i64::from(error);
    Some((of(turned.saturating_add(error))?, of(turned.saturating_sub(error))?))
}

/// The angle over which an error of the angle is small enough.
const fn needed(error: u32) -> i64 {
    (error as i64).saturating_mul(ONE_IN)
}

/// Time of a whole turn, raw [`Duration`], when `turned` (2^-32 turn, either way) took `elapsed_us`.
pub fn turn_time(elapsed_us: u64, turned: i64) -> Option<i32> {
    // elapsed * 2^32 / turned, both shifted down far enough to stay within 64 bits.
    let turned = (turned.unsigned_abs()) >> 12;
    let full = 1_u64 << 20;
    let micros = elapsed_us.saturating_mul(full).checked_div(turned)?;
    Some(clamp_to_i32(i64::from(Duration::from_micros(micros).to_bits())))
}
