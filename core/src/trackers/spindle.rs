//! How the pipe turns.
//!
//! Decides: the angle turned, the speed, the time of a turn, slip and stall.
//! Assumes: the angle is read at least twice a turn, so that the short way is the way it went.
//! Never: cares which way round it turns, or whether the reading wraps at 360 or runs on.
//!
//! Angles are averaged over tenths of a second first. The short speed is over the last 0.6 s, the long
//! one over the last eight seconds; a short speed far from the long one is slip, one near zero is
//! stall, and while either lasts the long window waits, so that neither is mistaken for a wrong turn
//! time. While the pipe comes to rest, and while it gets going again, nothing is called slip.

use crate::statistics::{clamp_to_i32, push_over};
use crate::units::{Angle, Duration, turns_to_degrees};
use heapless::Deque;

/// Slip and stall are to be found within two seconds: needed sample rate in thousandths of a hertz.
pub const NEEDED_RATE_MHZ: u32 = 2_000;
const POINT_US: u64 = 100_000;
const SHORT_US: u64 = 600_000;
/// The newest points, to tell a pipe that stands now from one that stood just before, µs.
const NEWEST_US: u64 = 200_000;
const LONG_POINT_US: u64 = 1_000_000;
const LONG_LEAST_US: u64 = 3_000_000;
/// A changed speed that lasts this long is the new speed, not slip.
const SLIP_LONGEST_US: u64 = 5_000_000;
/// Without a known speed, slower than a turn in 20 minutes is standing: 0.3 degrees a second, in
/// 2^-32 turn a second.
const STANDING: i64 = (3 << 32) / 3600;
const TURN: i64 = 1 << 32;

/// What the last second showed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    /// Too little seen.
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

/// Which way the reading of the angle goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// It grows.
    Increasing,
    /// It falls.
    Decreasing,
}

/// Follows the spindle: `S` short points (tenths of a second), `L` long ones (seconds).
#[derive(Clone, Debug)]
pub struct SpindleTracker<const S: usize, const L: usize> {
    previous: Option<Angle>,
    total: i64,
    base: i64,
    offsets: i64,
    delays_us: u64,
    count: u32,
    point_start_us: u64,
    short: Deque<(u64, i64), S>,
    long: Deque<(u64, i64), L>,
    reference: Option<i64>,
    motion: Motion,
    slip_since_us: Option<u64>,
}

impl<const S: usize, const L: usize> SpindleTracker<S, L> {
    /// Has seen nothing.
    pub const fn new() -> Self {
        Self {
            previous: None,
            total: 0,
            base: 0,
            offsets: 0,
            delays_us: 0,
            count: 0,
            point_start_us: 0,
            short: Deque::new(),
            long: Deque::new(),
            reference: None,
            motion: Motion::Unknown,
            slip_since_us: None,
        }
    }
    /// Takes one angle.
    #[inline]
    pub fn push(&mut self, now_us: u64, angle: Angle) {
        if let Some(previous) = self.previous {
            self.total = self.total.wrapping_add(i64::from(angle.since(previous)));
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
    /// Closes a point when a tenth of a second has passed; `next_us` is when the next reading is due.
    pub fn tick(&mut self, next_us: u64) {
        if self.count == 0 || next_us.saturating_sub(self.point_start_us) < POINT_US {
            return;
        }
        let count = i64::from(self.count);
        let angle = self.base.wrapping_add(self.offsets.checked_div(count).unwrap_or(0));
        let time_us = self
            .point_start_us
            .saturating_add(self.delays_us.checked_div(u64::from(self.count)).unwrap_or(0));
        self.count = 0;
        self.offsets = 0;
        self.delays_us = 0;
        push_over(&mut self.short, (time_us, angle));
        while self.short.len() > 2
            && self.short.front().is_some_and(|&(old_us, _)| time_us.saturating_sub(old_us) > SHORT_US)
        {
            self.short.pop_front();
        }
        self.motion = self.classify(time_us);
        self.extend_long(time_us, angle);
    }

    fn classify(&mut self, now_us: u64) -> Motion {
        let Some(short) = speed(&self.short, SHORT_US / 2) else {
            return Motion::Unknown;
        };
        let newest = self.newest_speed().unwrap_or(short).saturating_abs();
        let usual = self.reference.map_or(0, i64::saturating_abs);
        if short.saturating_abs() < (usual / 10).max(STANDING) {
            self.slip_since_us = None;
            return Motion::Stalled;
        }
        if self.motion == Motion::Stalled {
            if newest < (usual / 2).max(STANDING) {
                return Motion::Stalled;
            }
            // Turning again: the standing must not count as slow turning.
            let last = self.short.pop_back();
            self.short.clear();
            if let Some(last) = last {
                push_over(&mut self.short, last);
            }
            return Motion::Unknown;
        }
        let Some(reference) = self.reference else {
            return Motion::Steady;
        };
        if percent(newest, usual) < 15 {
            return Motion::Pausing;
        }
        // Against the way it turned counts as slower than standing.
        let along = if reference < 0 { short.saturating_neg() } else { short };
        if (65..=140).contains(&percent(along, usual)) {
            self.slip_since_us = None;
            return Motion::Steady;
        }
        let since_us = *self.slip_since_us.get_or_insert(now_us);
        if now_us.saturating_sub(since_us) > SLIP_LONGEST_US {
            self.slip_since_us = None;
            self.reference = None;
            self.long.clear();
            return Motion::Steady;
        }
        Motion::Slipping
    }

    fn extend_long(&mut self, time_us: u64, angle: i64) {
        match self.motion {
            Motion::Unknown => {}
            Motion::Slipping | Motion::Pausing | Motion::Stalled => self.long.clear(),
            Motion::Steady => {
                let due = self
                    .long
                    .back()
                    .is_none_or(|&(last_us, _)| time_us.saturating_sub(last_us) >= LONG_POINT_US);
                if due {
                    push_over(&mut self.long, (time_us, angle));
                    self.reference = speed(&self.long, LONG_LEAST_US).or(self.reference);
                }
            }
        }
    }

    fn newest_speed(&self) -> Option<i64> {
        let newest = self.short.back()?;
        let before = self.short.iter().rev().find(|point| newest.0.saturating_sub(point.0) >= NEWEST_US)?;
        speed_between(*before, *newest)
    }

    /// TEMP
    pub fn direction(&self) -> Option<Direction> {
        None
    }
    /// TEMP
    pub const fn is_too_coarse(&self) -> bool {
        false
    }
    /// What the last second showed.
    pub const fn motion(&self) -> Motion {
        self.motion
    }
    /// Speed over the last second without sign, raw [`crate::units::Degrees`] a second.
    pub fn speed(&self) -> Option<i32> {
        speed(&self.short, SHORT_US / 2).map(|speed| turns_to_degrees(speed.saturating_abs()).to_bits())
    }
    /// The speed it is held against, likewise.
    pub fn usual_speed(&self) -> Option<i32> {
        self.reference.map(|speed| turns_to_degrees(speed.saturating_abs()).to_bits())
    }
    /// Time of a turn at the speed of the last seconds, raw [`Duration`]; absent while it slips,
    /// stands or too little is seen.
    pub fn turn_time(&self) -> Option<i32> {
        if self.motion != Motion::Steady {
            return None;
        }
        let (oldest, newest) = (self.long.front()?, self.long.back()?);
        let elapsed_us = newest.0.saturating_sub(oldest.0);
        if elapsed_us < LONG_LEAST_US {
            return None;
        }
        turn_time(elapsed_us, newest.1.wrapping_sub(oldest.1))
    }
    /// Forgets speeds, after a hole in the data; the angle turned goes on.
    pub fn forget_speed(&mut self) {
        self.count = 0;
        self.offsets = 0;
        self.delays_us = 0;
        self.short.clear();
        self.long.clear();
        self.motion = Motion::Unknown;
        self.slip_since_us = None;
    }
}

impl<const S: usize, const L: usize> Default for SpindleTracker<S, L> {
    fn default() -> Self {
        Self::new()
    }
}

/// A speed in whole percent of another.
fn percent(speed: i64, of: i64) -> i64 {
    speed.saturating_mul(100).checked_div(of).unwrap_or(i64::MAX)
}

/// Speed between the first and the last point, in 2^-32 turn a second, if they are `least_us` apart.
fn speed<const N: usize>(points: &Deque<(u64, i64), N>, least_us: u64) -> Option<i64> {
    let (oldest, newest) = (points.front()?, points.back()?);
    if newest.0.saturating_sub(oldest.0) < least_us {
        return None;
    }
    speed_between(*oldest, *newest)
}

fn speed_between(oldest: (u64, i64), newest: (u64, i64)) -> Option<i64> {
    let elapsed_us = i64::try_from(newest.0.saturating_sub(oldest.0)).ok()?;
    // Angle in 2^-24 turn times 10^6 over time, and back.
    let scaled = (newest.1.wrapping_sub(oldest.1) >> 8).saturating_mul(1_000_000);
    Some(scaled.checked_div(elapsed_us)?.saturating_mul(256))
}

/// Time of a whole turn, raw [`Duration`], when `turned` (2^-32 turn, either way) took `elapsed_us`.
pub fn turn_time(elapsed_us: u64, turned: i64) -> Option<i32> {
    // elapsed * 2^32 / turned, both shifted down far enough to stay within 64 bits.
    let turned = (turned.unsigned_abs()) >> 12;
    let full = (TURN >> 12) as u64;
    let micros = elapsed_us.saturating_mul(full).checked_div(turned)?;
    Some(clamp_to_i32(i64::from(Duration::from_micros(micros).to_bits())))
}
