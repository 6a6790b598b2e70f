//! The open band, the one that is closing, and the ones before.
//!
//! Decides: nothing.
//! Assumes: nothing.
//! Never: judges.

use crate::judge::judgement::Position;
use crate::procedure::JointPlan;
use crate::record::band::Ending;
use crate::record::cooling::Cooling;
use crate::record::joint::{JointSoFar, Shortfall};
use crate::record::places::{Centre, Line, Places, Reach};
use crate::record::tally::{BandPlace, Tally};
use crate::rule::Rule;
use crate::sample::ChannelSet;
use crate::trackers::spindle::Direction;
use crate::units::{Degrees, Length};
use crate::watched::{HEAT, MOTION, Only};

/// An arc that is back within this is the same that was out, µs. Common practice, no source.
const FLICKERS_US: u64 = 100_000;
const FULL_TURN: Degrees = Degrees::from_milli(360_000);

/// A band that is over and waits for its gas post-flow to be known, then for its proofs.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Closing {
    pub(crate) ended_us: u64,
    pub(crate) ending: Ending,
    /// So many parts of what is known only at the end have been judged.
    pub(crate) judged: u8,
    /// All of them have; the proofs of so many rules are worked out.
    pub(crate) proofs: Option<u8>,
    /// No more data come: what has not come to its end by now is not known.
    pub(crate) is_cut: bool,
}

impl Closing {
    /// Are all proofs worked out?
    pub(crate) fn is_proven(self) -> bool {
        self.proofs.is_some_and(|proofs| usize::from(proofs) >= Rule::COUNT)
    }
}

/// What a band begins with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Start {
    /// A strike.
    Strike,
    /// The carriage has stepped under the burning arc, or it creeps on all the time.
    Step { creeps: bool },
}

/// A band that was struck, or stepped into, and is begun over the next samples.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Struck {
    pub(crate) start: Start,
    pub(crate) at_us: u64,
    /// When the arc before it was last seen, µs; 0: there was none.
    pub(crate) before_us: u64,
    /// What was just before the strike was not seen.
    pub(crate) unseen_before: bool,
    /// The slow channels that came with the strike or since, and when the last of them did, µs.
    pub(crate) slow: ChannelSet,
    pub(crate) slow_us: u64,
    /// So many parts are done.
    pub(crate) part: u8,
}

/// An outage that came back.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Outage {
    /// When it began, µs.
    pub(crate) out_us: u64,
    /// When the arc was back, µs.
    pub(crate) back_us: u64,
    /// The angle of the band at which it began.
    pub(crate) turned: Option<Degrees>,
}

impl Outage {
    /// Past the full turn, and for longer than an arc flickers: is the arc that came back the wire that burned back?
    pub(crate) fn is_touch(self) -> bool {
        self.is_past() && self.back_us.saturating_sub(self.out_us) > FLICKERS_US
    }
    /// Did the arc go out past the full turn?
    pub(crate) fn is_past(self) -> bool {
        self.turned >= Some(FULL_TURN)
    }
}

/// How far the carriage has come from the bands of the joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Travel {
    /// Nobody can tell.
    Unknown,
    /// No further than to the next band.
    Step,
    /// Clearly further than a step.
    Beyond,
    /// So far that it is in another place, full or not.
    Far,
}

/// The bands of one joint.
#[derive(Clone, Debug)]
pub(crate) struct Bands {
    pub(crate) tally: Tally,
    pub(crate) closing: Option<Closing>,
    pub(crate) struck: Option<Struck>,
    /// Bands of this joint.
    pub(crate) count: u16,
    /// The strike has settled.
    pub(crate) settled: bool,
    /// It is a band, and no tack.
    pub(crate) confirmed: bool,
    /// Where the carriage was last seen on a band, raw.
    pub(crate) previous_carriage: Only<Option<i32>, MOTION>,
    pub(crate) places: Only<Places, MOTION>,
    line: Only<Line, MOTION>,
    /// The angle of the band before at which its carriage was seen.
    pub(crate) previous_placed_at: Only<Option<Degrees>, MOTION>,
    /// When the carriage was last followed under an arc, µs.
    pub(crate) followed_us: Only<u64, MOTION>,
    /// The first outage that came back and is not judged yet.
    pub(crate) outage: Option<Outage>,
    pub(crate) joint: JointSoFar,
    /// How the joint cools after its last band.
    pub(crate) cooling: Only<Cooling, HEAT>,
    /// Between which values the height of what is laid lies, raw, at this tick.
    pub(crate) height_now: Only<Option<(i32, i32)>, MOTION>,
    /// A marker came while a band was open: the joint ends with it.
    pub(crate) joint_marked: bool,
    group: u8,
    /// Bands laid in this group.
    in_group: u8,
    /// The sign of the first band's turning on this joint.
    pub(crate) first_turning: Only<Option<Direction>, MOTION>,
}

impl Bands {
    /// Before the first.
    pub(crate) const fn empty() -> Self {
        Self {
            tally: Tally::empty(),
            closing: None,
            struck: None,
            count: 0,
            settled: false,
            confirmed: false,
            previous_carriage: Only::new(None),
            places: Only::new(Places::empty()),
            line: Only::new(Line::empty()),
            previous_placed_at: Only::new(None),
            followed_us: Only::new(0),
            outage: None,
            joint: JointSoFar::begin(1, 0),
            cooling: Only::of([const { Cooling::new() }; HEAT]),
            height_now: Only::new(None),
            joint_marked: false,
            group: 0,
            in_group: 0,
            first_turning: Only::new(None),
        }
    }
    /// Before the first, part by part: all of it at once would pass over the stack.
    #[inline(never)]
    pub(crate) fn start(&mut self) {
        // Named one by one, so that none is forgotten.
        let Self {
            tally,
            closing,
            struck,
            count,
            settled,
            confirmed,
            previous_carriage,
            places,
            cooling,
            height_now,
            line,
            previous_placed_at,
            followed_us,
            outage,
            joint,
            joint_marked,
            group,
            in_group,
            first_turning,
        } = self;
        tally.clear();
        *closing = None;
        *struck = None;
        *count = 0;
        *settled = false;
        *confirmed = false;
        previous_carriage.set(None);
        places.set(Places::empty());
        cooling.set(Cooling::new());
        height_now.set(None);
        line.set(Line::empty());
        previous_placed_at.set(None);
        followed_us.set(0);
        *outage = None;
        *joint = JointSoFar::begin(1, 0);
        *joint_marked = false;
        *group = 0;
        *in_group = 0;
        first_turning.set(None);
    }
    /// Has the group all its bands?
    pub(crate) fn group_is_full(&self, plan: &JointPlan) -> bool {
        plan.group(self.group).is_some_and(|bands| self.in_group >= bands)
    }
    /// Has the group, or the joint where there are no groups, all its bands, the open one among them?
    pub(crate) fn is_last(&self, plan: &JointPlan) -> bool {
        self.group_is_full(plan) || plan.bands > 0 && self.count >= plan.bands
    }
    /// Where the band that begins now belongs. A full group ends where the carriage has gone further than a
    /// step, one that is not where it has gone far.
    pub(crate) fn next_place(&self, plan: &JointPlan, travel: Travel) -> BandPlace {
        let has_next = plan.group(self.group.saturating_add(1)).is_some();
        let goes = match travel {
            Travel::Step => false,
            Travel::Unknown | Travel::Beyond => self.group_is_full(plan),
            Travel::Far => true,
        };
        let moves_on = self.count > 0 && self.in_group > 0 && has_next && goes;
        BandPlace {
            joint: self.joint.number(),
            band: self.count.saturating_add(1),
            group: self.group.saturating_add(u8::from(moves_on)),
            opens_group: self.count == 0 || moves_on,
        }
    }
    /// Is the open band one of those that were counted?
    pub(crate) const fn is_counted(&self) -> bool {
        self.count == self.tally.record.band
    }
    /// The band that began is one, after a `travel` to its place that the procedure `asks` to be shown.
    pub(crate) fn count_band(&mut self, plan: &JointPlan, travel: Travel, asks: bool) {
        let record = &self.tally.record;
        let (is_full, opens_next) = (self.group_is_full(plan), record.group != self.group);
        let has_next = plan.group(self.group.saturating_add(1)).is_some();
        let unseen = opens_next && travel == Travel::Unknown && asks;
        if opens_next && !is_full || !opens_next && is_full && has_next || unseen {
            self.joint.short_of(Shortfall::GroupsNotProven);
        }
        self.count = record.band;
        self.in_group = if record.opens_group { 1 } else { self.in_group.saturating_add(1) };
        self.group = record.group;
    }
    /// How low and how high the carriage stood, but for a spiral. Towards the end of a turn it may be on its way
    /// to the next band; of a band that has ended otherwise, that part is known to belong to it.
    fn reach(&self) -> Option<Reach> {
        let with_late = self.closing.is_some_and(|closing| closing.ending != Ending::SteppedOn);
        self.tally.stand.as_ref()?.reach(with_late).filter(|_| !self.tally.creeps.get())
    }
    /// The least and the greatest step of the band from the one before, all along it, raw.
    pub(crate) fn steps(&self) -> [Option<i32>; 2] {
        let record = &self.tally.record;
        let placed = record.step_over.map(Length::to_bits);
        let step_to = |place| self.places.as_ref()?.step_to(place, record.group);
        let ends = self.reach().and_then(|reach| step_to(reach.low).zip(step_to(reach.high)));
        let Some((placed, (one, other))) = placed.zip(ends) else { return [placed; 2] };
        [Some(placed.min(one).min(other)), Some(placed.max(one).max(other))]
    }
    /// How far the carriage went from where the band was begun, raw; nothing is said of a spiral.
    pub(crate) fn moved(&self) -> Option<i32> {
        Some(self.reach()?.furthest_from(self.tally.carriage.get()?))
    }
    /// How far the centre of the weave is off the line of the bands before, raw.
    pub(crate) fn off_line(&self, weave: i32, least_step: Option<i32>) -> Option<i32> {
        if self.tally.record.opens_group {
            return None;
        }
        self.line.as_ref()?.off(Centre { weave, carriage: self.tally.carriage.get() }, least_step)
    }
    /// Data are missing for long enough that a band may lie there.
    pub(crate) fn note_hole(&mut self) {
        self.joint.note_hole();
        self.lose_last_place();
    }
    /// Where the last band was laid tells nothing of the next one.
    pub(crate) fn lose_last_place(&mut self) {
        if let Some(places) = self.places.as_mut() {
            places.lose_last();
        }
    }
    /// The open band is over: where it was laid is known.
    pub(crate) fn note_place(&mut self) {
        let (place, weave) = (self.tally.place(), self.tally.weave_centre.get().mean());
        let record = &self.tally.record;
        let (Some(places), Some(line)) = (self.places.as_mut(), self.line.as_mut()) else { return };
        places.note(place, record.group, record.opens_group);
        // One that was laid beside the line is no line for the next.
        let weave = weave.filter(|_| !record.violated.contains(Rule::WeaveCentreDrift));
        line.note(weave.map(|weave| Centre { weave, carriage: place }), record.opens_group);
    }
    /// The next joint begins.
    pub(crate) fn begin_joint(&mut self, now_us: u64) {
        self.joint = JointSoFar::begin(self.joint.number().saturating_add(1), now_us);
        (self.count, self.group, self.in_group) = (0, 0, 0);
        self.joint_marked = false;
        self.previous_carriage.set(None);
        self.first_turning.set(None);
        self.places.set(Places::empty());
        self.line.set(Line::empty());
        self.cooling.set(Cooling::new());
    }
    /// Where on the joint it is.
    pub(crate) fn position(&self, is_open: bool, spindle_total: i64) -> Position {
        let (band, turned) = if is_open {
            (self.tally.record.band, self.tally.turned(spindle_total))
        } else if self.closing.is_some() {
            (self.tally.record.band, self.tally.turned_at_end())
        } else {
            (self.count, None)
        };
        Position { band, turned }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::format;

    /// Cleared part by part, it must be what it is built as: two lists that could part.
    #[test]
    fn what_is_cleared_in_place_is_as_new() {
        let mut bands = Bands::empty();
        bands.start();
        assert_eq!(format!("{bands:?}"), format!("{:?}", Bands::empty()));
        bands.tally.skip(1);
        bands.tally.count_from(9);
        bands.count = 3;
        assert_ne!(format!("{bands:?}"), format!("{:?}", Bands::empty()));
        bands.start();
        assert_eq!(format!("{bands:?}"), format!("{:?}", Bands::empty()));
    }
}
