//! Alarms about the wire between the strike and the moment at which the arc is known to be a band.
//!
//! Decides: nothing; they wait here until it is one, for a tack is struck with a wire that still runs in.
//! Assumes: it is emptied when the arc is known to be a band, or a tack.
//! Never: keeps a stop waiting: it is not told of one.

use crate::event::{AlarmEvent, AlarmKind};
use crate::rule::Rule;

/// The first alarm that waits, and what became of it.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct EarlyWire {
    raised: Option<AlarmEvent>,
    last: Option<AlarmEvent>,
}

impl EarlyWire {
    /// Does it keep alarms of this rule?
    pub(crate) const fn concerns(rule: Rule) -> bool {
        matches!(rule, Rule::WireFeedLow | Rule::WireFeedHigh)
    }
    /// Keeps what happened to an alarm.
    pub(crate) fn note(&mut self, event: AlarmEvent) {
        match (event.kind, self.raised) {
            (AlarmKind::Raised, None) => self.raised = Some(event),
            (_, Some(raised)) if raised.rule == event.rule => self.last = Some(event),
            _ => {}
        }
    }
    /// Hands over what waits, in order.
    pub(crate) fn take(&mut self) -> impl Iterator<Item = AlarmEvent> + use<> {
        let Self { raised, last } = core::mem::take(self);
        raised.into_iter().chain(last)
    }
}
