//! The open band, the one that is closing, and the ones before.
//!
//! Decides: nothing.
//! Assumes: nothing.
//! Never: judges.

use crate::judge::judgement::Position;
use crate::procedure::JointPlan;
use crate::record::band::Ending;
use crate::record::joint::JointSoFar;
use crate::record::tally::Tally;
use crate::trackers::spindle::Direction;
use crate::units::Degrees;

/// A band that is over and waits for its gas post-flow to be known, then for its proofs.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Closing {
    pub(crate) ended_us: u64,
    pub(crate) ending: Ending,
    /// All that is known only at the end has been judged; the proofs of so many rules are worked out.
    pub(crate) proofs: Option<u8>,
}

/// Which band of which joint.
#[derive(Clone, Copy, Debug)]
pub(crate) struct BandPlace {
    pub(crate) joint: u16,
    pub(crate) band: u16,
    pub(crate) group: u8,
    pub(crate) opens_group: bool,
}

/// The bands of one joint.
#[derive(Clone, Debug)]
pub(crate) struct Bands {
    pub(crate) tally: Tally,
    pub(crate) closing: Option<Closing>,
    /// Bands of this joint.
    pub(crate) count: u16,
    /// The strike has settled.
    pub(crate) settled: bool,
    /// It is a band, and no tack.
    pub(crate) confirmed: bool,
    pub(crate) previous_carriage: Option<i32>,
    /// The angle of the band before at which its carriage was seen.
    pub(crate) previous_placed_at: Option<Degrees>,
    /// The first outage that came back and is not judged yet: when it began, and when the arc was back, µs.
    pub(crate) outage: Option<(u64, u64)>,
    pub(crate) joint: JointSoFar,
    /// A marker came while a band was open: the joint ends with it.
    pub(crate) joint_marked: bool,
    group: u8,
    /// Bands laid in this group.
    in_group: u8,
    /// The sign of the first band's turning on this joint.
    pub(crate) first_turning: Option<Direction>,
}

impl Default for Bands {
    fn default() -> Self {
        Self {
            tally: Tally::default(),
            closing: None,
            count: 0,
            settled: false,
            confirmed: false,
            previous_carriage: None,
            previous_placed_at: None,
            outage: None,
            joint: JointSoFar::begin(1, 0),
            joint_marked: false,
            group: 0,
            in_group: 0,
            first_turning: None,
        }
    }
}

impl Bands {
    /// Where the band that begins now belongs. A group ends when it is full, or where the carriage has gone
    /// `far` from the last band.
    pub(crate) fn next_place(&self, plan: &JointPlan, went_far: bool) -> BandPlace {
        let is_full = plan.group(self.group).is_some_and(|bands| self.in_group >= bands);
        let has_next = plan.group(self.group.saturating_add(1)).is_some();
        let moves_on = self.count > 0 && has_next && (is_full || went_far && self.in_group > 0);
        BandPlace {
            joint: self.joint.number(),
            band: self.count.saturating_add(1),
            group: self.group.saturating_add(u8::from(moves_on)),
            opens_group: self.count == 0 || moves_on,
        }
    }
    /// The band that began is one.
    pub(crate) fn count_band(&mut self) {
        let record = &self.tally.record;
        self.count = record.band;
        self.in_group = if record.opens_group { 1 } else { self.in_group.saturating_add(1) };
        self.group = record.group;
    }
    /// The next joint begins.
    pub(crate) fn begin_joint(&mut self, now_us: u64) {
        self.joint = JointSoFar::begin(self.joint.number().saturating_add(1), now_us);
        (self.count, self.group, self.in_group) = (0, 0, 0);
        (self.previous_carriage, self.joint_marked, self.first_turning) = (None, false, None);
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
