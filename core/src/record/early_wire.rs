//! Alarms about the wire between the strike and the moment at which the arc is known to be a band.
//!
//! Decides: which of them wait: those that are raised then, until the arc is a band, or a tack: a tack is struck
//! with a wire that still runs in.
//! Assumes: it is emptied when the arc is known to be a band or a tack, and before anybody acknowledges.
//! Never: keeps a stop waiting: it is not told of one.

use crate::event::{AlarmEvent, AlarmKind};
use crate::rule::Rule;

/// What waits of one rule.
#[derive(Clone, Copy, Debug)]
struct Kept {
    raised: Option<AlarmEvent>,
    cleared: Option<AlarmEvent>,
}

/// What waits of wire feed low and high.
#[derive(Clone, Copy, Debug)]
pub(crate) struct EarlyWire([Kept; 2]);

impl EarlyWire {
    /// Nothing waits.
    pub(crate) const EMPTY: Self = Self([Kept { raised: None, cleared: None }; 2]);

    /// Does it keep alarms of this rule?
    pub(crate) const fn concerns(rule: Rule) -> bool {
        matches!(rule, Rule::WireFeedLow | Rule::WireFeedHigh)
    }
    /// Takes what happened to an alarm; gives it back where it is to be told at once.
    pub(crate) fn note(&mut self, event: AlarmEvent) -> Option<AlarmEvent> {
        let [low, high] = &mut self.0;
        let kept = if event.rule == Rule::WireFeedLow { low } else { high };
        match event.kind {
            AlarmKind::Raised => *kept = Kept { raised: Some(event), cleared: None },
            AlarmKind::Escalated if kept.raised.is_some() => {
                kept.raised = Some(AlarmEvent { kind: AlarmKind::Raised, ..event });
            }
            AlarmKind::Cleared if kept.raised.is_some() => kept.cleared = Some(event),
            _ => return Some(event),
        }
        None
    }
    /// Hands over what waits, the next in order.
    pub(crate) fn take(&mut self) -> Option<AlarmEvent> {
        let [low, high] = &mut self.0;
        let [low, high] =
            [low, high].map(|kept| if kept.raised.is_some() { &mut kept.raised } else { &mut kept.cleared });
        if low.is_some() { low.take() } else { high.take() }
    }
}
