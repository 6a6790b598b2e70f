//! Where on a joint its bands were laid, and where the carriage stands while one is.
//!
//! Decides: how far a band is from those before it, with a sign: less than nothing is back over them.
//! Assumes: the bands of a group are laid side by side, all in the direction of its first step.
//! Never: judges. Bands are placed against each other, not on the pipe; and a torch reading that shows the swing
//! alone (filtered, or set to zero at every strike) always has the same centre.

use crate::procedure::MOST_GROUPS;
use crate::statistics::Block;

/// Readings of the carriage are averaged for so long, µs, so that no single one counts.
const WINDOW_US: u64 = 1_000_000;

/// The lowest and the highest place, raw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Reach {
    pub(crate) low: i32,
    pub(crate) high: i32,
}

impl Reach {
    const fn of(place: i32) -> Self {
        Self { low: place, high: place }
    }
    /// With another one.
    pub(crate) fn with(self, other: Option<Self>) -> Self {
        let Some(other) = other else { return self };
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }
    /// How far a place is outside, raw; nothing inside.
    fn distance(self, place: i32) -> i32 {
        let below = self.low.saturating_sub(place);
        below.max(place.saturating_sub(self.high)).max(0)
    }
    /// The furthest from a place, raw.
    pub(crate) fn furthest_from(self, place: i32) -> i32 {
        let below = place.saturating_sub(self.low);
        below.max(self.high.saturating_sub(place)).max(0)
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    Up,
    Down,
}

/// The places of the bands of one joint.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Places {
    /// Of the band before, raw; absent where it was not seen.
    last: Option<i32>,
    /// Which way the bands of this group are laid, once two of them are.
    way: Option<Way>,
    groups: [Option<Reach>; MOST_GROUPS],
}

impl Places {
    /// Nothing yet.
    pub(crate) const fn empty() -> Self {
        Self { last: None, way: None, groups: [None; MOST_GROUPS] }
    }
}

impl Places {
    /// A band was laid here, or nobody saw where.
    pub(crate) fn note(&mut self, place: Option<i32>, group: u8, opens_group: bool) {
        if opens_group {
            self.way = None;
        } else if let (None, Some(place), Some(last)) = (self.way, place, self.last)
            && place != last
        {
            self.way = Some(if place > last { Way::Up } else { Way::Down });
        }
        self.last = place;
        if let (Some(place), Some(slot)) = (place, self.groups.get_mut(usize::from(group))) {
            *slot = Some(Reach::of(place).with(*slot));
        }
    }
    /// A band may have been laid unseen: there is no step from the last one that was seen.
    pub(crate) const fn lose_last(&mut self) {
        self.last = None;
    }
    /// How far a band of `group` here is from the one before it, in the direction of that group, raw; or from
    /// a band of another group, where that is nearer.
    pub(crate) fn step_to(&self, place: i32, group: u8) -> Option<i32> {
        let forward = place.saturating_sub(self.last?);
        let step = match self.way {
            None => forward.saturating_abs(),
            Some(Way::Up) => forward,
            Some(Way::Down) => forward.saturating_neg(),
        };
        let others = self.groups.iter().enumerate().filter(|&(number, _)| number != usize::from(group));
        let distances = others.filter_map(|(_, reach)| reach.map(|reach| reach.distance(place)));
        Some(distances.fold(step, i32::min))
    }
    /// How far a place is from every band of the joint, raw.
    pub(crate) fn distance(&self, place: i32) -> Option<i32> {
        self.groups.iter().flatten().map(|reach| reach.distance(place)).min()
    }
}

/// Where the weave of a band had its centre, and where its carriage stood, raw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Centre {
    pub(crate) weave: i32,
    pub(crate) carriage: Option<i32>,
}

impl Centre {
    /// How far this one is from where another one and the steps between them put it, raw: the torch reading
    /// moves with the carriage, or does not. Absent where nobody can tell: without a carriage, what is no
    /// small part of a step may be the step.
    fn off(self, other: Self, least_step: Option<i32>) -> Option<i32> {
        let apart = self.weave.saturating_sub(other.weave);
        let distance = apart.saturating_abs();
        if let Some((here, there)) = self.carriage.zip(other.carriage) {
            let beside = apart.saturating_sub(here.saturating_sub(there));
            return Some(distance.min(beside.saturating_abs()));
        }
        (distance < least_step? >> 1).then_some(distance)
    }
}

/// The line in which the weaves of a group are laid.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Line {
    first: Option<Centre>,
    last: Option<Centre>,
}

impl Line {
    /// Nothing yet.
    pub(crate) const fn empty() -> Self {
        Self { first: None, last: None }
    }
}

impl Line {
    /// A band was laid with this centre; nobody may have seen it.
    pub(crate) fn note(&mut self, centre: Option<Centre>, opens_group: bool) {
        self.first = if opens_group { centre } else { self.first.or(centre) };
        self.last = centre;
    }
    /// How far a centre is off from that of the first band of the group, or of the one before, raw.
    pub(crate) fn off(&self, centre: Centre, least_step: Option<i32>) -> Option<i32> {
        let from = |other: Option<Centre>| centre.off(other?, least_step);
        from(self.first).max(from(self.last))
    }
}

/// Where the carriage stands while a band is laid.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stand {
    window: Block,
    since_us: u64,
    before: Option<i32>,
    early: Option<Reach>,
    late: Option<Reach>,
    sum: Block,
}

impl Stand {
    /// Nothing yet.
    pub(crate) const fn empty() -> Self {
        Self { window: Block::EMPTY, since_us: 0, before: None, early: None, late: None, sum: Block::EMPTY }
    }
}

impl Stand {
    /// Takes a place of the carriage, raw; `is_late` where it may be on its way to the next band.
    pub(crate) fn push(&mut self, now_us: u64, place: i32, is_late: bool) {
        if self.window.count() == 0 {
            self.since_us = now_us;
        }
        self.window.push(place);
        if !is_late {
            self.sum.push(place);
        }
        if now_us.saturating_sub(self.since_us) < WINDOW_US {
            return;
        }
        let Some(mean) = self.window.take().mean() else { return };
        if let Some(before) = self.before.replace(mean) {
            // What only one window shows is an odd reading.
            let reach = Reach { low: mean.max(before), high: mean.min(before) };
            let reached = if is_late { &mut self.late } else { &mut self.early };
            *reached = Some(reach.with(*reached));
        }
    }
    /// The place of the band, raw.
    pub(crate) fn mean(&self) -> Option<i32> {
        self.sum.mean()
    }
    /// How low and how high it stood; the last part of the turn only where it is known to belong to the band.
    pub(crate) fn reach(&self, with_late: bool) -> Option<Reach> {
        let late = self.late.filter(|_| with_late);
        self.early.map(|early| early.with(late)).or(late)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A group that starts with a step of 23 down, one that goes back, and another place on the joint.
    #[test]
    fn a_step_back_is_less_than_nothing() {
        let mut places = Places::empty();
        assert_eq!((places.step_to(100, 0), places.distance(100)), (None, None));
        places.note(Some(100), 0, true);
        assert_eq!((places.step_to(77, 0), places.step_to(123, 0)), (Some(23), Some(23)));
        places.note(Some(77), 0, false);
        assert_eq!((places.step_to(54, 0), places.step_to(100, 0)), (Some(23), Some(-23)));
        assert_eq!((places.distance(90), places.distance(60)), (Some(0), Some(17)));
        places.note(Some(140), 1, true);
        assert_eq!((places.step_to(163, 1), places.step_to(117, 1)), (Some(23), Some(17)));
        places.note(None, 1, false);
        assert_eq!((places.step_to(186, 1), places.distance(186)), (None, Some(46)));
    }

    /// A line that bends by less than the limit from band to band, as the torch reading shows it that moves with
    /// the carriage, that does not, and without a carriage.
    #[test]
    fn a_centre_is_held_against_the_first_band_and_the_last() {
        for (moves, sees) in [(0, true), (100, true), (0, false)] {
            let centre = |weave: i32, step: i32| Centre {
                weave: weave + step * moves,
                carriage: sees.then_some(700 + 100 * step),
            };
            let mut line = Line::empty();
            assert_eq!(line.off(centre(5, 0), Some(90)), None);
            line.note(Some(centre(5, 0)), true);
            line.note(Some(centre(12, 1)), false);
            assert_eq!(line.off(centre(19, 2), Some(90)), Some(14), "{moves} {sees}");
            assert_eq!(line.off(centre(-3, 2), Some(90)), Some(15), "{moves} {sees}");
        }
        let blind = |weave| Centre { weave, carriage: None };
        let mut line = Line::empty();
        line.note(Some(blind(0)), true);
        assert_eq!((line.off(blind(44), Some(90)), line.off(blind(45), Some(90))), (Some(44), None));
        assert_eq!(line.off(blind(1), None), None);
    }

    #[test]
    fn one_odd_reading_is_no_place_and_a_creep_is() {
        for (creep, odd, low, high) in [(0, 0, 50, 50), (0, 900, 50, 50), (2, 0, 55, 83)] {
            let mut stand = Stand::empty();
            for second in 0..20_i32 {
                let place = if second == 7 { 50 + odd } else { 50 + creep * second };
                stand.push(u64::from(second.unsigned_abs()) * WINDOW_US, place, false);
            }
            let reach = stand.reach(true).map(|reach| (reach.low, reach.high));
            assert_eq!(reach, Some((low, high)), "means of two readings, but for the first and the last");
        }
    }

    #[test]
    fn the_way_to_the_next_band_is_no_place_of_this_one() {
        let mut stand = Stand::empty();
        for second in 0..30_i32 {
            let is_late = second >= 25;
            let place = if is_late { 50 + (second - 25) * 4 } else { 50 };
            stand.push(u64::from(second.unsigned_abs()) * WINDOW_US, place, is_late);
        }
        assert_eq!((stand.mean(), stand.reach(false)), (Some(50), Some(Reach::of(50))));
        assert!(stand.reach(true).is_some_and(|reach| reach.high >= 56));
    }
}
