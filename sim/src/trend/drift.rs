//! A drift as it is told.

use super::change::Change;
use super::event::Kind;
use bandward::rule::Side;

/// A drift: both charts signal on the same side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Which way it goes.
    pub side: Side,
    /// The point at which it began: the change point; where none is told, the one after the sum of the CUSUM was
    /// last nothing.
    pub since: usize,
    /// The first point at which both charts signal.
    pub signal: usize,
    /// The last point at which both charts signal.
    pub until: usize,
    /// Does it still stand at the last point of all?
    pub is_standing: bool,
    /// It came nearer for a while, and the joints since then are off by more than half of it all the same.
    pub stays_off: bool,
    /// Mean from where it began to the last point at which both signal, or to the event after it.
    pub mean: f64,
    /// Where and how it changed.
    pub change: Option<Change>,
    /// The event after it, and whether the level came back with it.
    pub after: Option<(Kind, bool)>,
    /// The point of that event.
    pub(super) after_at: Option<usize>,
}

impl Drift {
    /// The last point whose reading shows it.
    pub fn end(&self) -> usize {
        self.after_at.map_or(self.until, |after| self.until.min(after.saturating_sub(1)))
    }
}
