//! What every quantity reads and every fault comes to, at one tick.
//!
//! Decides: whether something applies now, and which value stands for it.
//! Assumes: the windows of the tick are closed.
//! Never: changes anything: it is shown all there is, and answers.

pub(crate) mod asked;
pub use asked::waits_too_long;
pub(crate) mod channels;
pub mod envelope;
pub(crate) mod faults;
pub mod judgement;
pub(crate) mod proof;
pub(crate) mod ranges;
pub(crate) mod readings;

use crate::acquisition::Acquisition;
use crate::judge::channels::ChannelWatch;
use crate::judge::judgement::Moment;
use crate::procedure::Procedure;
use crate::record::bands::Bands;
use crate::record::coverage::Coverage;
use crate::trackers::Trackers;
use crate::units::Degrees;

/// A band whose arc went out before this angle was broken off.
pub(crate) const BROKEN_OFF: Degrees = Degrees::from_milli(345_000);

/// Gas that flows on after the arc for longer than this counts as flowing on, µs.
pub(crate) const POSTFLOW_PATIENCE_US: u64 = 30_000_000;

/// All that judging may look at.
#[derive(Clone, Copy)]
pub(crate) struct View<'m> {
    pub(crate) procedure: &'m Procedure,
    pub(crate) acquisition: &'m Acquisition,
    pub(crate) trackers: &'m Trackers,
    pub(crate) channels: &'m ChannelWatch,
    pub(crate) bands: &'m Bands,
    pub(crate) coverage: &'m Coverage,
    pub(crate) moment: &'m Moment,
}
