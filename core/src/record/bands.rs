//! The open band, the one that is closing, and the ones before.
//!
//! Decides: nothing.
//! Assumes: nothing.
//! Never: judges.

use crate::judge::judgement::Position;
use crate::record::band::Ending;
use crate::record::tally::Tally;

/// A band that is over and waits for its gas post-flow to be known.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Closing {
    pub(crate) ended_us: u64,
    pub(crate) ending: Ending,
}

/// The bands of one joint.
#[derive(Clone, Debug, Default)]
pub(crate) struct Bands {
    pub(crate) tally: Tally,
    pub(crate) closing: Option<Closing>,
    pub(crate) count: u16,
    pub(crate) confirmed: bool,
    pub(crate) previous_carriage: Option<i32>,
    /// The last outage that came back, not yet judged: when it began.
    pub(crate) outage_since_us: Option<u64>,
}

impl Bands {
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
