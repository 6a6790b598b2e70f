//! What an alarm makes of the band and the joint, as it is told and for as long as it stands.
//!
//! Decides: which limits of which band an alarm breaks.
//! Assumes: every judgement of every tick comes here once its alarm has taken it.
//! Never: lets a band pass in a limit whose alarm stood in it, in whichever band, or before which, it was raised.

use super::Monitor;
use crate::alarms::Taken;
use crate::alarms::point::{AlarmEvent, AlarmKind};
use crate::event::{Event, Sink};
use crate::rule::{Rule, Severity};

impl Monitor {
    /// An alarm belongs to every band in which its cause lasts, in whichever it was raised, and though there is nothing
    /// new to tell: it may stand since a tack, since the band before, or come and go.
    pub(super) fn note_standing(&mut self, rule: Rule, taken: &Taken, elapsed_us: u32) {
        if let Some(severity) = taken.stands {
            self.mark(rule, severity);
        }
        if taken.outside {
            let tally = &mut self.bands.tally;
            tally.outside(rule, elapsed_us);
            if taken.active && tally.record.outside_us.get(rule) >= self.procedure.alarm(rule).on_delay_us {
                self.mark(rule, Severity::Warn);
            }
        }
    }
    /// What an alarm of this severity makes of the band.
    fn mark(&mut self, rule: Rule, severity: Severity) {
        if rule.is_of_the_joint() {
            return;
        }
        let record = &mut self.bands.tally.record;
        if breaks(rule, severity) || rule.is_about_measuring() {
            record.violated = record.violated.with(rule);
            record.advised = record.advised.without(rule);
        } else if !record.violated.contains(rule) {
            record.advised = record.advised.with(rule);
        }
    }
    /// Marks what an alarm makes of the band and the joint, and tells of it.
    pub(super) fn tell(&mut self, event: AlarmEvent, in_band: bool, sink: &mut dyn Sink) {
        let rule = event.rule;
        let in_band = in_band && !rule.is_of_the_joint();
        let breaks = breaks(rule, event.severity);
        let is_worse = matches!(event.kind, AlarmKind::Raised | AlarmKind::Escalated);
        if in_band && is_worse {
            self.mark(rule, event.severity);
        }
        // What is told in a band is the band's, and a tack's is nobody's, but for a fault such as a wrong pole.
        let is_of_a_band = in_band && (self.bands.confirmed || rule.watches().is_some());
        if is_worse {
            self.bands.joint.take_alarm(rule, breaks && !is_of_a_band, in_band);
        }
        sink.event(&Event::Alarm(event));
    }
}

/// Does an alarm mean that a limit was broken? A fault of the weld does, however mild the procedure calls it, and
/// a value outside the allowed range or under the floor.
fn breaks(rule: Rule, severity: Severity) -> bool {
    !rule.is_about_measuring() && (rule.watches().is_none() || severity >= Severity::Warn)
}
