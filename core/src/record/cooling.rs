//! How a joint cools after its last band: its fall over ten minutes.
//!
//! Decides: from when and until when the fall is followed, what is taken for a reading of the work, and how fast
//! it falls. The means over a minute are kept, ten minutes of them: a pyrometer's noise of 2 K is some 0.3 K in a
//! mean, and a draught that is over in a minute is not called cooling. What is heated again cools again: the window
//! begins at its peak then, after the end of the limit as before it. A fall of the first minutes is told apart: heat that
//! spreads and a plunge look alike.
//! Assumes: the temperature comes as means over a second, in order of time.
//! Never: takes a hole, a dead, a frozen or a leaping meter for a joint that cools slowly: the watch is lost then, for good.

use crate::judge::readings::Reading;
use crate::record::proof::Why;
use crate::statistics::push_over;
use crate::trackers::WorkTracker;
use crate::trackers::work::seconds;
use crate::units::{CoolingRate, Temperature};
use heapless::Deque;

/// The first minutes after the arc are heat that spreads within the wall, not heat that leaves the joint. In a wall
/// of thickness L it is even to a part in ten thousand after L²/a: 160 s for 40 mm of steel of a = 10 mm²/s
/// (Carslaw and Jaeger, Conduction of Heat in Solids, slab, first term exp(-9.87)). Twice that, µs.
pub(crate) const SETTLES_US: u64 = 300_000_000;
const MINUTE_S: u32 = 60;
const MINUTE_US: u64 = 60_000_000;
/// The window, and its ends: so many means over a minute.
const MEANS: usize = 11;
/// A pyrometer read once a minute is read in each of them, s.
const BLIND_S: u32 = 65;
/// Ten minutes in an hour's time.
const WINDOWS_AN_HOUR: i32 = 6;
/// The first seconds that are followed have a mean of their own: a quench that begins right then has not come far.
const START_S: u8 = 10;
/// The peak before the watch is of means over so many seconds.
const TEN_S: u32 = 10;
/// Steps of 5 s: a minute, from the middle of the first seconds to that of their minute, an hour.
const STEPS_A_MINUTE: i64 = 12;
const STEPS_FROM_START: i64 = 5;
const STEPS_AN_HOUR: i64 = 720;
/// What rises by so much is heated again: many times the noise of a mean. Common practice, no source. Raw.
const REHEAT: i32 = Temperature::from_milli(2_000).to_bits();
/// No steel falls or rises by so much within two seconds: something came over the pyrometer, or it failed. A leap from
/// one reading to the next may fall into two means. Common practice, no source. Raw.
const LEAP: u32 = Temperature::from_milli(25_000).to_bits().unsigned_abs();
/// What leapt and then came again and again for so long was not read, s. Common practice, no source.
const LEAPT_AND_STANDS_S: u32 = 30;
/// A mean over a second that comes again and again for so long was not read: it stood, s. Common practice, no source.
const FROZEN_S: u32 = 60;
/// A leap within a second falls into two means.
const LEAP_LASTS_S: u32 = 2;
/// A plunge goes on after that, s.
const GOES_ON_S: u32 = 5;
/// So many means are looked back on.
const LAST: usize = 4;
/// So many seconds of leaping are no passing hand or flame.
const MOST_LEAPS: u8 = 10;
/// Nor are so many in all: a pyrometer that leaps again and again shows something else than the joint.
const MOST_LEAPS_IN_ALL: u8 = 60;

/// What is known of the cooling.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Watch {
    /// It has not been followed to its end.
    Open,
    /// It was followed all the way down.
    Reached,
    /// It can no longer be followed.
    Lost(Why),
}

/// What the procedure asks of the cooling, raw.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Limit {
    /// The fastest fall allowed.
    pub high: i32,
    /// Below this temperature it no longer matters.
    pub until: i32,
}

/// A reading that stands.
#[derive(Clone, Copy, Debug)]
struct Stood {
    at: i32,
    /// It leapt there, and did not come there by and by.
    has_leapt: bool,
    /// Its first second, and its last.
    since: u32,
    until: u32,
    /// It has leapt to this, and it is not known yet whether it goes on.
    leapt_to: Option<i32>,
}

impl Stood {
    const fn is_long(self) -> bool {
        self.until.saturating_sub(self.since) >= FROZEN_S
    }
}

/// The joint as it cools.
#[derive(Clone, Debug)]
pub(crate) struct Cooling {
    /// Its last band ended then, µs.
    ended_us: u64,
    /// It was last looked at then, µs.
    followed_us: u64,
    /// The highest mean over ten seconds before the watch began.
    peak: Option<i32>,
    /// From that peak it fell, before the watch began, by more than the limit allows in ten minutes.
    fell_early: bool,
    /// The mean of the first seconds, while the window reaches back to them.
    start: Option<i32>,
    means: Deque<i32, MEANS>,
    /// The sum and the number of the means over a second in this minute.
    sum: i64,
    count: u8,
    leaps: u8,
    leaps_in_all: u8,
    /// Minutes that are closed.
    minutes: u32,
    /// The last second that was taken, and how hot it was.
    second: u32,
    last: Deque<(u32, i32), LAST>,
    stood: Option<Stood>,
    now: Option<i32>,
    fastest: Option<i32>,
    watch: Watch,
    /// How many bands the joint has is not known: nobody knows which was the last until it is over.
    awaits_end: bool,
}

impl Cooling {
    /// Before the last band.
    pub(crate) const fn new() -> Self {
        Self {
            ended_us: u64::MAX,
            followed_us: 0,
            peak: None,
            fell_early: false,
            start: None,
            means: Deque::new(),
            sum: 0,
            count: 0,
            leaps: 0,
            leaps_in_all: 0,
            minutes: 0,
            second: 0,
            last: Deque::new(),
            stood: None,
            now: None,
            fastest: None,
            watch: Watch::Open,
            awaits_end: false,
        }
    }
    /// What is known of it.
    pub(crate) const fn watch(&self) -> Watch {
        self.watch
    }
    /// Is it followed, or about to be?
    pub(crate) fn is_followed(&self) -> bool {
        self.ended_us != u64::MAX && self.watch == Watch::Open
    }
    /// Did it fall, before the watch began, by more than the limit allows in ten minutes?
    pub(crate) const fn fell_early(&self) -> bool {
        self.fell_early
    }
    /// The fastest fall, raw.
    pub(crate) const fn fastest(&self) -> Option<i32> {
        self.fastest
    }
    /// What is held against the limit.
    pub(crate) fn reading(&self) -> Reading {
        match (self.now, self.watch) {
            _ if self.awaits_end => Reading::NotApplicable,
            (_, Watch::Lost(_)) => Reading::Lost,
            (now, _) => Reading::when(now.is_some(), now),
        }
    }
    /// The joint is over: what was found of a last band that was not known to be the last.
    pub(crate) fn conclude(&mut self) {
        if self.awaits_end {
            self.awaits_end = false;
            self.now = self.fastest;
        }
    }
    /// Another band than the last so far ended at `ended_us`: it is all to be seen again.
    pub(crate) fn follow_from(&mut self, ended_us: u64, now_us: u64, awaits_end: bool) {
        if self.ended_us != ended_us {
            let second = seconds(ended_us);
            *self = Self { ended_us, followed_us: now_us, second, awaits_end, ..Self::new() };
        }
    }
    /// Takes what was measured since. The pyrometer is `railed` at an end of its range.
    pub(crate) fn follow(&mut self, now_us: u64, work: &WorkTracker, railed: bool, limit: Limit) {
        if matches!(self.watch, Watch::Lost(_)) {
            return;
        }
        let is_gap = now_us < self.followed_us || now_us.saturating_sub(self.followed_us) > MINUTE_US;
        self.followed_us = now_us;
        if is_gap {
            return self.lose(Why::Gap);
        }
        if railed {
            return self.lose(Why::ChannelLost);
        }
        for (second, mean) in work.closed_after(self.second) {
            self.take(second, mean, limit);
        }
        let now = seconds(now_us);
        let has_empty_minute = now > self.settled_s() && self.minute_of(now) > self.minutes.saturating_add(1);
        if has_empty_minute || now.saturating_sub(self.second) > BLIND_S {
            self.lose(Why::ChannelLost);
        }
    }
    /// How long it took from the last sample to this one is not known.
    pub(crate) fn lose_time(&mut self) {
        if self.is_followed() {
            self.lose(Why::Gap);
        }
    }
    /// Followed no further; down at the end of the limit that takes nothing back.
    fn lose(&mut self, why: Why) {
        if matches!(self.watch, Watch::Reached) {
            (self.sum, self.count, self.leaps) = (0, 0, 0);
            self.last.clear();
        } else {
            self.watch = Watch::Lost(why);
        }
    }
    /// The last second of the first minutes.
    const fn settled_s(&self) -> u32 {
        seconds(self.ended_us.saturating_add(SETTLES_US))
    }
    fn minute_of(&self, second: u32) -> u32 {
        second.saturating_sub(self.settled_s().saturating_add(1)) / MINUTE_S
    }
    fn take(&mut self, second: u32, mean: i32, limit: Limit) {
        if matches!(self.watch, Watch::Lost(_)) {
            return;
        }
        let (before, is_early) = (self.second, second <= self.settled_s());
        self.second = second;
        if before <= self.settled_s() && (!is_early || before / TEN_S != second / TEN_S) {
            self.peak = self.peak.max(self.mean());
            (self.sum, self.count) = (0, 0);
        }
        if self.watch == Watch::Reached && self.count == 0 {
            self.minutes = self.minute_of(second);
        }
        if self.believed().any(|last| last.abs_diff(mean) > LEAP) {
            self.leaps = self.leaps.saturating_add(1);
            self.leaps_in_all = self.leaps_in_all.saturating_add(1);
            if self.leaps > MOST_LEAPS || self.leaps_in_all > MOST_LEAPS_IN_ALL {
                self.lose(Why::ChannelLost);
            }
            return;
        }
        self.leaps = 0;
        if self.was_frozen(second, mean) {
            return self.lose(Why::ChannelLost);
        }
        push_over(&mut self.last, (second, mean));
        if self.minute_of(second) > self.minutes && !self.may_leap() {
            self.close_minute(limit);
        }
        self.sum = self.sum.saturating_add(i64::from(mean));
        self.count = self.count.saturating_add(1);
        if !is_early && self.minutes == 0 && self.count == START_S {
            self.start = self.mean();
        }
    }
    /// Did the reading stand for minutes, and has it leapt and stayed there, or has it leapt and stood? What it was
    /// meanwhile nobody saw. A plunge goes on.
    fn was_frozen(&mut self, second: u32, mean: i32) -> bool {
        let has_leapt = self.has_leapt_to(mean);
        let new = Stood { at: mean, has_leapt, since: second, until: second, leapt_to: None };
        let stood = self.stood.get_or_insert(new);
        let since = second.saturating_sub(stood.until);
        if let Some(to) = stood.leapt_to {
            if since < LEAP_LASTS_S.saturating_add(GOES_ON_S) {
                return false;
            }
            let (leap, then) = (to.abs_diff(stood.at), mean.abs_diff(to));
            *stood = new;
            return then < leap / 2;
        }
        if stood.at == mean {
            stood.until = second;
            return stood.has_leapt && second.saturating_sub(stood.since) >= LEAPT_AND_STANDS_S;
        } else if !stood.is_long() || since > LEAP_LASTS_S {
            *stood = new;
        } else if since == LEAP_LASTS_S {
            let leaps = mean.saturating_sub(stood.at).saturating_abs() > REHEAT;
            if leaps {
                stood.leapt_to = Some(mean);
            } else {
                *stood = new;
            }
        }
        false
    }
    /// The last mean that was no leap, however long ago, and the one of the second before it.
    fn believed(&self) -> impl Iterator<Item = i32> {
        let newest = self.last.back().map_or(0, |&(of, _)| of);
        self.last
            .iter()
            .rev()
            .take(2)
            .filter(move |&&(of, _)| newest.wrapping_sub(of) <= 1)
            .map(|&(_, mean)| mean)
    }
    /// The means of so many seconds before this one, the newest first.
    fn before(&self, seconds: u32) -> impl Iterator<Item = i32> {
        let since = self.second.saturating_sub(seconds);
        self.last.iter().rev().filter(move |&&(of, _)| of >= since).map(|&(_, mean)| mean)
    }
    /// Did the reading come there within two seconds, and moved by less than half as much in the two before?
    fn has_leapt_to(&self, mean: i32) -> bool {
        let (Some(from), Some(before)) = (self.before(2).last(), self.before(4).last()) else { return false };
        mean.abs_diff(from) > REHEAT.unsigned_abs() && from.abs_diff(before) < mean.abs_diff(from) / 2
    }
    /// Has a reading that stood moved, and is it not known yet whether it leapt?
    fn may_leap(&self) -> bool {
        self.stood.is_some_and(|stood| stood.is_long() && self.second != stood.until)
    }
    /// The mean so far in this minute, rounded to nearest.
    fn mean(&self) -> Option<i32> {
        let count = i64::from(self.count);
        let half = if self.sum < 0 { count.saturating_neg() } else { count } / 2;
        let mean = self.sum.saturating_add(half).checked_div(count)?;
        Some(i32::try_from(mean).unwrap_or(i32::MAX))
    }
    /// Takes the mean of a minute into the window, which begins at the peak of what was heated again.
    fn widen(&mut self, mean: i32) {
        push_over(&mut self.means, mean);
        if self.means.is_full() {
            self.start = None;
        }
        let highest = self.means.iter().copied().max().unwrap_or(mean);
        let first = self.start.or(self.means.front().copied()).unwrap_or(mean);
        if highest.saturating_sub(first) >= REHEAT {
            self.start = None;
            while self.means.front().is_some_and(|front| *front < highest) {
                self.means.pop_front();
            }
        }
    }
    /// A minute is over: it ends a window that began up to ten minutes before. A shorter one tells what fell so far
    /// in ten minutes, but where the end at `until` is reached within it: then it tells how fast that was.
    fn close_minute(&mut self, Limit { high, until }: Limit) {
        let Some(mean) = self.mean() else {
            return self.lose(Why::ChannelLost);
        };
        if self.minutes == 0
            && let Some(peak) = self.peak
        {
            let fell = peak.saturating_sub(self.start.unwrap_or(mean));
            self.fell_early = fell.saturating_mul(WINDOWS_AN_HOUR) > high;
        }
        (self.sum, self.count, self.minutes) = (0, 0, self.minutes.saturating_add(1));
        if self.watch == Watch::Reached {
            if mean < until.saturating_add(REHEAT) {
                return;
            }
            (self.watch, self.start) = (Watch::Open, None);
            self.means.clear();
        }
        self.widen(mean);
        let first = self.start.or(self.means.front().copied()).unwrap_or(mean);
        let has_two = self.means.len() > 1 || self.start.is_some();
        if has_two {
            let fall = match self.fall_to(until) {
                // It went on falling, but nobody asks about that: it took no longer than down to here.
                Some(fall) => fall,
                None => first.saturating_sub(mean).saturating_mul(WINDOWS_AN_HOUR),
            };
            self.now = Some(fall);
            self.fastest = self.fastest.max(self.now);
        }
        if mean <= until {
            // What was never above it was not seen to cool.
            self.watch = if has_two && first > until { Watch::Reached } else { Watch::Lost(Why::Unsettled) };
        }
    }
    /// How fast it fell to `until`, where it is there: over the time that this took, between the last two means in
    /// proportion. Raw, an hour.
    fn fall_to(&self, until: i32) -> Option<i32> {
        let (front, last) = (*self.means.front()?, *self.means.back()?);
        let first = self.start.unwrap_or(front);
        // The mean before the last; in the first minute that of its first seconds.
        let minutes = i64::try_from(self.means.len()).ok()?.checked_sub(2);
        let (before, step, steps) = match (self.means.iter().rev().nth(1), minutes, self.start) {
            (Some(before), Some(minutes), None) => {
                (*before, STEPS_A_MINUTE, minutes.saturating_mul(STEPS_A_MINUTE))
            }
            (Some(before), Some(minutes), Some(_)) => {
                let steps = minutes.saturating_mul(STEPS_A_MINUTE).saturating_add(STEPS_FROM_START);
                (*before, STEPS_A_MINUTE, steps)
            }
            (_, _, start) => (start?, STEPS_FROM_START, 0),
        };
        if last > until || before <= last || first <= until {
            return None;
        }
        let [first, before, last, until] = [first, before, last, until].map(i64::from);
        // The last step is as many parts as it fell in it.
        let parts = before.saturating_sub(last);
        let took =
            steps.saturating_mul(parts).saturating_add(step.saturating_mul(before.saturating_sub(until)));
        let fall = first.saturating_sub(until).saturating_mul(parts).saturating_mul(STEPS_AN_HOUR);
        i32::try_from(fall.checked_div(took)?).ok()
    }
}

/// A raw fall over ten minutes as a rate.
pub(crate) fn rate(fall: Option<i32>) -> Option<CoolingRate> {
    fall.map(CoolingRate::from_bits)
}

#[cfg(test)]
mod tests {
    use super::*;

    const END_US: u64 = 1_000_000_000;
    const SECOND_US: u64 = 1_000_000;
    const LIMIT: Limit = Limit {
        high: CoolingRate::from_milli(300_000).to_bits(),
        until: Temperature::from_milli(100_000).to_bits(),
    };

    fn raw(celsius: i64) -> i32 {
        Temperature::from_milli(celsius * 1000).to_bits()
    }
    /// Looks every second for so many after the last band; each second has one reading, in °C.
    fn cool(for_s: u64, read: impl Fn(u64) -> Option<i64>) -> Cooling {
        let (mut cooling, mut work) = (Cooling::new(), WorkTracker::new());
        cooling.follow_from(END_US, END_US, false);
        for second in 0..for_s {
            let now_us = END_US + second * SECOND_US;
            if let Some(celsius) = read(second) {
                work.push(now_us, raw(celsius));
            }
            cooling.follow(now_us, &work, false, LIMIT);
        }
        cooling
    }

    #[test]
    fn an_even_fall_is_told_as_it_is_and_a_plunge_before_it_apart() {
        // A kelvin a minute, after a fall of so much in the first five minutes: 50 K are allowed in ten.
        for (plunge, fell_early) in [(0, false), (49, false), (51, true), (200, true)] {
            let early = |second: u64| plunge - plunge.min((second as i64 - 60).max(0));
            let cooling = cool(3_600, |second| {
                Some(if second <= 300 { 200 + early(second) } else { 200 - (second as i64 - 301) / 60 })
            });
            assert_eq!(cooling.fastest(), Some(CoolingRate::from_milli(60_000).to_bits()));
            assert_eq!((cooling.watch(), cooling.fell_early()), (Watch::Open, fell_early), "{plunge}");
        }
    }

    #[test]
    fn an_end_that_is_reached_early_is_no_slow_cooling() {
        // 10 K a minute from 150 down to 100, and from 108: 600 K/h, however soon it is over.
        for from in [150, 108] {
            let even = |second: u64| from * 1000 - (second as i64 - 301) * 10_000 / 60;
            let read = |second| Some(if second < 301 { from } else { even(second) / 1000 });
            let cooling = cool(900, read);
            assert_eq!(cooling.watch(), Watch::Reached);
            // Whole degrees are read: half of one over the minute that is looked at in the shorter one.
            let told = CoolingRate::from_bits(cooling.fastest().unwrap()).to_milli();
            assert!((570_000..=630_000).contains(&told), "{told} from {from}");
        }
        // A plunge within a minute.
        let cooling = cool(900, |second| Some(140 - 3 * (second.clamp(400, 415) as i64 - 400)));
        assert!(cooling.fastest() > Some(CoolingRate::from_milli(900_000).to_bits()));
    }

    #[test]
    fn a_leap_that_stays_and_a_minute_without_a_reading_lose_it_and_a_hand_does_not() {
        let lost = Watch::Lost(Why::ChannelLost);
        assert_eq!(cool(900, |second| Some(if second < 500 { 300 } else { 200 })).watch(), lost);
        assert_eq!(cool(900, |second| (second < 500).then_some(300)).watch(), lost);
        // In the first minutes as well: what nobody saw may have been a plunge.
        let blind =
            |from: u64, to: u64| cool(900, move |second| (!(from..to).contains(&second)).then_some(300));
        assert_eq!(blind(100, 190).watch(), lost);
        assert_eq!(blind(100, 140).watch(), Watch::Open);
        assert_eq!(
            cool(900, |second| Some(if (500..508).contains(&second) { 40 } else { 300 })).watch(),
            Watch::Open
        );
        assert_eq!(cool(900, |_| Some(90)).watch(), Watch::Lost(Why::Unsettled));
        // Glitches: 88 K up for 20 s, 32 K down for a minute, 52 K down for long; 72 K down for 5 s is passed over.
        let glitch = |to: i64, for_s: u64| {
            cool(1_800, move |second| {
                Some(if (900..900 + for_s).contains(&second) { to } else { 212 - second as i64 / 60 })
            })
        };
        for (to, for_s) in [(300, 20), (160, 60), (140, 200)] {
            assert_eq!(glitch(to, for_s).watch(), lost, "{to} for {for_s} s");
        }
        let again =
            |second: u64| if second > 400 && second % 11 < 9 { 500 } else { 300 - second as i64 / 60 };
        assert_eq!(cool(1_800, |second| Some(again(second))).watch(), lost, "again and again");
        let passed = glitch(140, 5);
        assert_eq!(passed.watch(), Watch::Open);
        assert!(passed.fastest() <= Some(CoolingRate::from_milli(66_000).to_bits()));
    }

    #[test]
    fn a_reading_that_stood_and_leaps_was_not_seen_and_a_plunge_is() {
        // A kelvin a minute; the reading stands for so long, and leaps down to the truth by as many kelvins.
        let frozen = |minutes: u64| {
            cool(1_800, move |second| {
                let stands = (600..600 + minutes * 60).contains(&second);
                Some(300 - (if stands { 600 } else { second } as i64) / 60)
            })
        };
        for minutes in [5, 10] {
            let cooling = frozen(minutes);
            assert_eq!(cooling.watch(), Watch::Lost(Why::ChannelLost), "{minutes} min");
            assert!(cooling.fastest() <= Some(CoolingRate::from_milli(66_000).to_bits()));
        }
        assert_eq!(frozen(1).watch(), Watch::Open, "it moves by one each minute anyway");
        // A quarter of the leap falls into the second before.
        let slow = |second: u64| match second {
            ..900 => 300,
            900 => 298,
            _ => 293,
        };
        assert_eq!(cool(1_200, |second| Some(slow(second))).watch(), Watch::Lost(Why::ChannelLost));
        // It stands four kelvins too low.
        let low = |second: u64| if (900..1_200).contains(&second) { 281 } else { 300 - second as i64 / 60 };
        let cooling = cool(1_800, |second| Some(low(second)));
        assert_eq!(cooling.watch(), Watch::Lost(Why::ChannelLost));
        assert!(cooling.fastest() <= Some(CoolingRate::from_milli(70_000).to_bits()));
        // It stood, and plunges through all that lies between: seen, and fast.
        let plunge = cool(1_200, |second| Some(300 - (second.clamp(900, 960) as i64 - 900)));
        assert_eq!(plunge.watch(), Watch::Open);
        assert!(plunge.fastest() > Some(CoolingRate::from_milli(300_000).to_bits()));
    }

    #[test]
    fn a_quench_as_the_watch_begins_and_one_after_a_reheat_are_seen() {
        let told = |cooling: &Cooling| CoolingRate::from_bits(cooling.fastest().unwrap()).to_milli() / 1000;
        // 8 K a second for 30 s, 20 s into the first minute; then nothing moves any more.
        let quench = |second: u64| 380 - 8 * (second.clamp(320, 350) as i64 - 320);
        let cooling = cool(1_800, |second| Some(quench(second)));
        assert!(told(&cooling) > 1_400, "{}", told(&cooling));
        // Down to the end in an hour, heated to 200 again, and 20 K a minute down.
        let slow = |second: u64| 160 - (second as i64 - 301).max(0) / 60;
        let again =
            |second: u64| if second < 4_200 { slow(second) } else { 200 - (second as i64 - 4_800) / 3 };
        let read = |second: u64| if (4_200..4_800).contains(&second) { 200 } else { again(second) };
        let cooling = cool(4_199, |second| Some(read(second)));
        assert_eq!((cooling.watch(), told(&cooling)), (Watch::Reached, 60));
        let steps = |second: u64| match second {
            // No steel leaps: it is heated over four minutes.
            4_200..4_440 => 95 + (second as i64 - 4_200) * 105 / 240,
            _ => read(second),
        };
        assert_eq!(cool(4_700, |second| Some(steps(second))).watch(), Watch::Open);
        let cooling = cool(5_400, |second| Some(steps(second)));
        assert_eq!(cooling.watch(), Watch::Reached);
        // 100 K in the ten minutes that end there.
        assert!((540..=660).contains(&told(&cooling)), "{}", told(&cooling));
    }

    #[test]
    fn a_clock_that_is_set_back_is_a_hole() {
        let mut cooling = cool(900, |_| Some(300));
        cooling.follow(END_US - SECOND_US, &WorkTracker::new(), false, LIMIT);
        assert_eq!(cooling.watch(), Watch::Lost(Why::Gap));
    }
}
