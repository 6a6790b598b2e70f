//! Whether what a stream of rows shows is of now.
//!
//! Decides: when rows count as silent, as out of order, or as late; and how late they are at least.
//! Assumes: the times of the rows go as fast as this machine's clock, to one in a hundred. It is asked some times a second.
//! Rows behind a hole tell nothing of how late those before it were.
//! Never: takes rows for those of now that waited, or that come faster or slower than time passes; only a source that
//! stood still goes on as on time when its rows are even again: its clock may have stood too.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// Rows that are out of order for so long are told: one among good ones is not.
const OUT_OF_ORDER: Duration = Duration::from_millis(500);
/// Rows are even where they come on no more than so much sooner within `EVEN`.
const SOONER_US: i64 = 500_000;
const EVEN: Duration = Duration::from_secs(1);
/// A clock of the rows may be so much slower than that of this machine: one part in so many.
const DRIFT: i64 = 100;

/// Why what is shown is not of now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotNow {
    /// No row has come for so long, s.
    Silent(u64),
    /// Rows come, but stamped so much before one that was read already, s.
    OutOfOrder(u64),
    /// What is shown is at least so old, s.
    Late(u64),
}

impl NotNow {
    /// The large word, and the rest.
    pub fn words(self) -> (&'static str, String) {
        match self {
            Self::Silent(for_s) => ("NO DATA", format!("no row has come for {for_s} s")),
            Self::OutOfOrder(0) => {
                ("NO DATA", "rows are out of order: stamped no later than the last one read".to_owned())
            }
            Self::OutOfOrder(back_s) => {
                ("NO DATA", format!("rows are out of order: stamped {back_s} s before the last one read"))
            }
            Self::Late(0) => ("LATE", "rows come faster than time passes: catching up".to_owned()),
            Self::Late(by_s) => ("LATE", format!("what is shown is at least {by_s} s old")),
        }
    }
}

/// Rows so far apart have a hole between them, µs.
pub const HOLE_US: u64 = 2_000_000;

/// How far the rows are that were taken.
#[derive(Clone, Copy, Debug, Default)]
pub struct Taken {
    /// Time of the newest one, µs.
    pub newest_us: u64,
    /// Time of the newest that waits, µs; `None` where none waits.
    pub waiting_us: Option<u64>,
    /// By how much the last one was stamped before the newest, µs, where it was not later.
    pub back_us: Option<u64>,
    /// Time of the first row behind the last hole, µs.
    pub hole_us: u64,
}

/// Keeps how the times of rows go beside this machine's clock.
pub struct Timeliness {
    /// So long no row may come.
    silence: Duration,
    begun: Instant,
    /// The newest time, µs, and when it came.
    last: Option<(u64, Instant)>,
    hole_us: u64,
    /// The furthest that rows ever were ahead of the clock, µs, and when that was looked at.
    ahead: Option<(i64, Instant)>,
    /// The same over the last `EVEN`.
    before: VecDeque<(Instant, i64)>,
}

impl Timeliness {
    /// Before the first row.
    pub const fn new(silence: Duration, now: Instant) -> Self {
        Self { silence, begun: now, last: None, hole_us: 0, ahead: None, before: VecDeque::new() }
    }
    /// Looks at what was taken up to `now`.
    pub fn look(&mut self, taken: Taken, now: Instant) -> Option<NotNow> {
        let has_come = self.last.is_none_or(|(newest_us, _)| newest_us != taken.newest_us);
        let (_, came) = *self.last.get_or_insert((taken.newest_us, now));
        if has_come {
            self.last = Some((taken.newest_us, now));
        }
        if taken.hole_us != self.hole_us {
            self.hole_us = taken.hole_us;
            self.begin_anew();
        }
        let silent = if has_come { Duration::ZERO } else { now.saturating_duration_since(came) };
        if let Some(waiting_us) = taken.waiting_us {
            return Some(NotNow::Late(waiting_us.saturating_sub(taken.newest_us) / 1_000_000));
        }
        if let Some(back_us) = taken.back_us.filter(|_| silent > OUT_OF_ORDER) {
            self.begin_anew();
            return Some(NotNow::OutOfOrder(back_us / 1_000_000));
        }
        if silent > self.silence {
            self.begin_anew();
            return Some(NotNow::Silent(silent.as_secs()));
        }
        let late_us = self.late_us(taken.newest_us, has_come, now);
        let is_late = late_us > self.silence.as_micros() as i64;
        (is_late || self.is_uneven()).then_some(NotNow::Late(if is_late {
            late_us as u64 / 1_000_000
        } else {
            0
        }))
    }
    fn begin_anew(&mut self) {
        self.ahead = None;
        self.before.clear();
    }
    /// How much further behind the clock the rows are than they were at best, µs.
    fn late_us(&mut self, newest_us: u64, has_come: bool, now: Instant) -> i64 {
        let passed_us = |since: Instant| now.saturating_duration_since(since).as_micros() as i64;
        let ahead_us = (newest_us as i64).saturating_sub(passed_us(self.begun));
        let best_us = match self.ahead {
            Some((best_us, at)) => best_us.saturating_sub(passed_us(at) / DRIFT),
            None if has_come => ahead_us,
            None => return 0,
        };
        let best_us = best_us.max(ahead_us);
        self.ahead = Some((best_us, now));
        while self.before.front().is_some_and(|&(at, _)| now.saturating_duration_since(at) > EVEN) {
            self.before.pop_front();
        }
        self.before.push_back((now, best_us));
        best_us.saturating_sub(ahead_us)
    }
    /// Do the rows come faster than time passes?
    fn is_uneven(&self) -> bool {
        let ends = self.before.front().zip(self.before.back());
        ends.is_some_and(|((_, first_us), (_, last_us))| last_us.saturating_sub(*first_us) > SOONER_US)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The time of the newest row at a time, both in ms.
    type Newest = fn(u64) -> u64;

    const SILENCE: Duration = Duration::from_secs(2);

    /// What is told at each look, every 50 ms.
    fn told(until_ms: u64, newest_ms: Newest) -> Vec<(u64, Option<NotNow>)> {
        let begun = Instant::now();
        let mut timeliness = Timeliness::new(SILENCE, begun);
        let look = |at_ms: u64| {
            let taken = Taken { newest_us: newest_ms(at_ms) * 1000, ..Taken::default() };
            (at_ms, timeliness.look(taken, begun + Duration::from_millis(at_ms)))
        };
        (0..until_ms / 50).map(|index| index * 50).map(look).collect()
    }

    #[test]
    fn even_rows_are_of_now_in_blocks_and_with_a_clock_that_is_slow_or_fast_by_a_hundredth() {
        let even: [(&str, Newest); 4] = [
            ("even", |at_ms| at_ms),
            ("blocks of 1.5 s", |at_ms| at_ms / 1500 * 1500),
            ("slow", |at_ms| at_ms * 995 / 1000),
            ("fast", |at_ms| at_ms * 1010 / 1000),
        ];
        for (name, newest_ms) in even {
            let wrong = told(1_200_000, newest_ms).into_iter().find(|(_, told)| told.is_some());
            assert_eq!(wrong, None, "{name}");
        }
    }

    #[test]
    fn rows_that_come_faster_or_slower_than_time_passes_are_late() {
        // 90 s that waited come at thrice the pace of time; then they are even.
        let caught_up = told(60_000, |at_ms| if at_ms < 45_000 { 3 * at_ms } else { 90_000 + at_ms });
        for (at_ms, told) in caught_up {
            // It takes some tenths of a second to see, and a second of even rows to know that it is over.
            if !(100..400).contains(&at_ms) && !(45_000..46_200).contains(&at_ms) {
                let is_late = matches!(told, Some(NotNow::Late(_)));
                assert_eq!(is_late, (400..45_000).contains(&at_ms), "{at_ms}: {told:?}");
            }
        }
        // At nine tenths of it they fall behind, which is told once it is as much as a silence may last.
        let behind = told(60_000, |at_ms| at_ms * 9 / 10);
        assert!(behind.iter().all(|(at_ms, told)| told.is_none() || *at_ms > 20_000), "{behind:?}");
        assert!(matches!(behind.last(), Some((_, Some(NotNow::Late(4..=6))))), "{:?}", behind.last());
    }

    #[test]
    fn what_waits_is_late_by_what_is_known_of_it() {
        let begun = Instant::now();
        let mut timeliness = Timeliness::new(SILENCE, begun);
        let taken = Taken { newest_us: 1_000_000, waiting_us: Some(82_500_000), ..Taken::default() };
        assert_eq!(timeliness.look(taken, begun), Some(NotNow::Late(81)));
    }

    #[test]
    fn a_silence_is_told_and_afterwards_rows_are_on_time_at_once_if_they_are_even() {
        // Silent from 10 s to 16 s; then as late as that for ever, or all at once.
        let stood: Newest = |at_ms| if at_ms < 10_000 { at_ms } else { at_ms.max(16_000) - 6_000 };
        let burst: Newest = |at_ms| if (10_000..16_000).contains(&at_ms) { 10_000 } else { at_ms };
        for newest_ms in [stood, burst] {
            for (at_ms, told) in told(30_000, newest_ms) {
                let is_silent = matches!(told, Some(NotNow::Silent(_)));
                // Whichever it is, it is read again at 16 s.
                assert!(
                    is_silent == (12_050..16_000).contains(&at_ms) || at_ms == 16_000,
                    "{at_ms}: {told:?}"
                );
                assert!(told.is_none() || is_silent, "{at_ms}: {told:?}");
            }
        }
    }

    #[test]
    fn a_hole_is_no_hurry() {
        let begun = Instant::now();
        let mut timeliness = Timeliness::new(SILENCE, begun);
        // A clock that is set forward by an hour at 5 s.
        for at_ms in (0..10_000).step_by(50) {
            let (ahead_us, hole_us) = if at_ms < 5000 { (0, 0) } else { (3_600_000_000, 3_605_000_000) };
            let taken = Taken { newest_us: at_ms * 1000 + ahead_us, hole_us, ..Taken::default() };
            assert_eq!(timeliness.look(taken, begun + Duration::from_millis(at_ms)), None, "{at_ms}");
        }
    }

    #[test]
    fn rows_that_are_out_of_order_are_told_as_that() {
        let begun = Instant::now();
        let mut timeliness = Timeliness::new(SILENCE, begun);
        let mut look = |at_ms: u64, back_us: Option<u64>| {
            let taken = Taken { newest_us: at_ms.min(1000) * 1000, back_us, ..Taken::default() };
            timeliness.look(taken, begun + Duration::from_millis(at_ms))
        };
        assert_eq!([look(0, None), look(1000, None), look(1400, Some(8_020_000))], [None, None, None]);
        assert_eq!(look(1600, Some(8_020_000)), Some(NotNow::OutOfOrder(8)));
        assert_eq!(look(9000, Some(0)), Some(NotNow::OutOfOrder(0)));
    }
}
