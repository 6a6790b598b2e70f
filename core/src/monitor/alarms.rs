//! The alarms as a person meets them: acknowledged, shelved, the worst of them.
//!
//! Decides: which alarm a rule, or a channel, has.
//! Assumes: nothing.
//! Never: raises or clears one; that is judging.

use super::Monitor;
use crate::alarm::{AlarmPoint, Moment};
use crate::event::{AlarmEvent, Event, Sink};
use crate::rule::{Rule, Severity};
use crate::sample::Channel;

impl Monitor {
    /// Acknowledges every active alarm: horns fall silent, lamps stay while the alarms do.
    pub fn acknowledge(&mut self, time_us: u64, sink: &mut dyn Sink) {
        let moment = Moment { now_us: time_us, ..self.moment };
        self.tell_every_alarm(sink, |rule, channel, point| point.acknowledge(rule, channel, &moment));
    }

    /// Puts a rule away for `for_us` microseconds (at most 71 minutes; 0 takes it back), counted in
    /// samples' time; a rule about channels only for the channels with such an alarm now.
    pub fn shelve(&mut self, rule: Rule, for_us: u32, sink: &mut dyn Sink) {
        let moment = self.moment;
        self.tell_every_alarm(sink, |each, channel, point| {
            let meant = each == rule && (!rule.is_about_a_channel() || point.active().is_some());
            meant.then(|| point.shelve(for_us, rule, channel, &moment)).flatten()
        });
    }

    fn tell_every_alarm(
        &mut self,
        sink: &mut dyn Sink,
        mut tell: impl FnMut(Rule, Option<Channel>, &mut AlarmPoint) -> Option<AlarmEvent>,
    ) {
        for rule in Rule::ALL {
            let channel = self.wrong_pole.filter(|_| rule == Rule::PolarityWrong);
            if let Some(point) = self.point_mut(rule, None)
                && let Some(event) = tell(rule, channel, point)
            {
                sink.event(&Event::Alarm(event));
            }
        }
        for (channel, (rule, point)) in Channel::ALL.into_iter().zip(&mut self.channel_points) {
            if let Some(event) = tell(*rule, Some(channel), point) {
                sink.event(&Event::Alarm(event));
            }
        }
    }

    /// The alarm of a rule, or of a channel for rules about one.
    pub(crate) fn point_mut(&mut self, rule: Rule, channel: Option<Channel>) -> Option<&mut AlarmPoint> {
        if rule == Rule::SignalLate {
            self.points.last_mut()
        } else if rule.is_about_a_channel() {
            self.channel_points.get_mut(channel? as usize).map(|(_, point)| point)
        } else {
            self.points.get_mut(rule as usize)
        }
    }

    fn all_points(&self) -> impl Iterator<Item = &AlarmPoint> {
        self.points.iter().chain(self.channel_points.iter().map(|(_, point)| point))
    }

    /// The worst severity of all active alarms.
    pub fn worst_active(&self) -> Option<Severity> {
        self.all_points().filter_map(AlarmPoint::active).max()
    }

    /// The worst severity of all alarms that nobody has acknowledged or shelved: sound a horn.
    pub fn worst_unacknowledged(&self) -> Option<Severity> {
        self.all_points().filter(|point| point.wants_attention()).filter_map(AlarmPoint::active).max()
    }
}
