//! The temperature of the work before an arc.
//!
//! Decides: between what the work stood as an arc was struck: the means over a second each of the last four seconds, but
//! for one that drops out, so that a reading that moves is not taken for one that stands; and what it was before a flame
//! that plays over the pyrometer by then.
//! Assumes: a flame comes within a second, and plays for less than nine; no steel is heated by 25 K in a second.
//! Never: looks back further than twelve seconds before the strike.

use crate::statistics::{Block, push_over};
use crate::units::Temperature;
use heapless::Deque;

/// How far back, s.
const WINDOW_S: u32 = 12;
/// Until an arc is known to be a band, so many seconds after its strike, what was read before it is kept.
const KEPT: usize = 18;

/// What is read as the arc is struck is the work of so many seconds.
const STRIKE_S: u32 = 4;
/// A flame plays for no longer, in whole seconds between two means: less than nine. Common practice, no source.
const FLAME_S: u32 = 8;
/// No steel is heated by so much in a second, by a burner or by the arc beside it: many times what a burner does to a
/// thick wall. Common practice, no source. Raw.
pub(crate) const LEAP: i32 = Temperature::from_milli(25_000).to_bits();
/// Less than this is noise, and no movement, raw. Common practice, no source.
const NOISE: i32 = Temperature::from_milli(3_000).to_bits();

/// The work as an arc is struck, raw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Before {
    /// It was at least so hot.
    pub least: i32,
    /// And at most so hot.
    pub most: i32,
    /// A flame is over the pyrometer: it is what was read before that.
    pub in_flame: bool,
}

impl Before {
    /// The middle.
    pub const fn middle(self) -> i32 {
        self.least.saturating_add(self.most.saturating_sub(self.least) >> 1)
    }
}

/// Follows the work temperature.
#[derive(Clone, Debug)]
pub struct WorkTracker {
    sums: Block,
    /// The second that is added up.
    adding_s: u32,
    means: Deque<(u32, i32), KEPT>,
}

impl WorkTracker {
    /// Has seen nothing.
    pub const fn new() -> Self {
        Self { sums: Block::EMPTY, adding_s: 0, means: Deque::new() }
    }
    /// Forgets everything, after a hole in the data.
    pub fn forget(&mut self) {
        *self = Self::new();
    }
    /// Takes one raw temperature.
    pub fn push(&mut self, now_us: u64, temperature: i32) {
        let now = seconds(now_us);
        if now != self.adding_s {
            if let Some(mean) = self.sums.take().mean() {
                push_over(&mut self.means, (self.adding_s, mean));
            }
            self.adding_s = now;
        }
        self.sums.push(temperature);
    }
    /// The work as an arc was struck then.
    pub fn before(&self, struck_us: u64) -> Option<Before> {
        let struck = seconds(struck_us);
        let (mut least, mut most, mut previous) = (None::<i32>, None::<i32>, None::<(u32, i32)>);
        // Since when, and from what, the reading leapt away.
        let mut away = None::<(u32, i32)>;
        let means = self.means.iter().copied().chain(self.sums.mean().map(|mean| (self.adding_s, mean)));
        for (of, mean) in means.filter(|(of, _)| struck.wrapping_sub(*of) <= WINDOW_S) {
            let far = |from: i32| mean.saturating_sub(from).saturating_abs();
            if let Some((since, from)) = away {
                let lasts_s = if mean > from { FLAME_S } else { 0 };
                let stays = of.wrapping_sub(since) > lasts_s;
                if stays && far(from) > LEAP {
                    // Another joint lies there: what was read before is not of this one.
                    (least, most) = (None, None);
                }
                away = away.filter(|_| far(from) > LEAP && !stays);
            } else if let Some((at, from)) = previous {
                let leaps = far(from) > LEAP.saturating_mul(of.wrapping_sub(at) as i32);
                away = leaps.then_some((of, from));
            }
            previous = Some((of, mean));
            if away.is_none() && struck.wrapping_sub(of) < STRIKE_S {
                (least, most) = (Some(least.map_or(mean, |least| least.min(mean))), most.max(Some(mean)));
            }
        }
        let (newest_s, newest) = previous?;
        let flame = away.filter(|&(_, from)| newest > from && struck.wrapping_sub(newest_s) < STRIKE_S);
        if let Some((_, from)) = flame {
            return Some(Before { least: from, most: from, in_flame: true });
        }
        let before = Before { least: least.unwrap_or(newest), most: most.unwrap_or(newest), in_flame: false };
        let moves = before.most.saturating_sub(before.least) > NOISE;
        let middle = before.middle();
        Some(if moves { before } else { Before { least: middle, most: middle, ..before } })
    }
}

impl WorkTracker {
    /// The lowest and the highest mean over a second since then, raw: it was at least, and at most, so hot all the
    /// time.
    pub fn span_since(&self, since_us: u64) -> Option<(i32, i32)> {
        let from = seconds(since_us);
        let means = self.means.iter().filter(|(of, _)| of.wrapping_sub(from) <= WINDOW_S);
        let means = means.map(|&(_, mean)| mean).chain(self.sums.mean());
        means.fold(None, |span, mean| {
            let (lowest, highest) = span.unwrap_or((mean, mean));
            Some((mean.min(lowest), mean.max(highest)))
        })
    }
}

#[cfg(feature = "heat")]
impl WorkTracker {
    /// The means over a second that are closed, of the seconds after `last_s`: when, s, and how hot, raw.
    pub(crate) fn closed_after(&self, last_s: u32) -> impl Iterator<Item = (u32, i32)> {
        self.means.iter().copied().filter(move |&(of_s, _)| of_s > last_s)
    }
}

impl Default for WorkTracker {
    fn default() -> Self {
        Self::new()
    }
}

/// The second that a time is in.
pub(crate) const fn seconds(now_us: u64) -> u32 {
    (now_us / 1_000_000) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tenths of a second after the beginning, and tenths of a degree; the arc is struck in the last of 300.
    fn before(temperature: impl Fn(u64) -> i32) -> Before {
        let mut work = WorkTracker::new();
        for tenth in 0..300_u64 {
            work.push(tenth * 100_000, temperature(tenth) * Temperature::from_milli(100).to_bits());
        }
        work.before(29_900_000).unwrap()
    }
    fn stands(of: i32) -> (i32, i32) {
        let raw = of * Temperature::from_milli(100).to_bits();
        (raw, raw)
    }

    #[test]
    fn a_flame_and_a_dropped_reading_leave_it_and_a_cold_work_does_not() {
        let told = |temperature: fn(u64) -> i32| {
            let Before { least, most, .. } = before(temperature);
            (least, most)
        };
        assert_eq!(told(|tenth| if tenth > 220 { 3000 } else { 1000 }), stands(1000));
        assert_eq!(told(|tenth| if (280..290).contains(&tenth) { 0 } else { 1000 }), stands(1000));
        assert_eq!(told(|tenth| if (290..299).contains(&tenth) { 0 } else { 1000 }), stands(1000));
        assert_eq!(told(|tenth| if (250..260).contains(&tenth) { 0 } else { 1000 }), stands(1000));
        assert_eq!(told(|tenth| if tenth > 100 { 400 } else { 1000 }), stands(400));
        // A cold joint was put in three seconds before, after a hot one.
        assert_eq!(told(|tenth| if tenth > 266 { 950 } else { 2040 }), stands(950));
        // Too long for a flame.
        assert_eq!(told(|tenth| if tenth > 190 { 3700 } else { 3000 }), stands(3700));
    }

    #[test]
    fn what_is_warmed_up_stood_where_it_had_come_to() {
        let at = |tenths: f64| (tenths * f64::from(Temperature::from_milli(100).to_bits())) as i32;
        // A kelvin a second up to 160 degrees, and four.
        for (rate, slack) in [(1, 35.0), (4, 150.0)] {
            let told = before(|tenth| 1600 - rate * (299 - tenth as i32));
            assert!(told.most <= at(1600.0) && told.least >= at(1600.0 - slack), "{told:?} at {rate}");
        }
        // The burner was taken away five seconds before.
        let told = before(|tenth| 1560.min(1560 - (250 - tenth as i32)));
        assert_eq!((told.least, told.most), stands(1560));
    }
}
