//! All alarms of a monitor: one a rule, one a channel.
//!
//! Decides: which alarm a rule, or a channel, has.
//! Assumes: every judgement of every tick comes here.
//! Never: looks at a reading, or decides what is wrong.

#[doc(hidden)] // as `judge` is
pub mod point;

use crate::alarms::point::{AlarmEvent, AlarmPoint};
use crate::event::{Event, Sink};
use crate::judge::judgement::{Judgement, Moment};
use crate::procedure::Procedure;
use crate::rule::{Rule, Severity};
use crate::sample::Channel;

/// The rules of this build that have an alarm of their own: those about a channel have none, and stand before the last.
const ALARMS: usize = Rule::WATCHED.saturating_sub(4);
const _: () = {
    let [.., stuck, railed, missing, implausible, late] = Rule::ALL;
    let of_channels = stuck.is_about_a_channel()
        && railed.is_about_a_channel()
        && missing.is_about_a_channel()
        && implausible.is_about_a_channel();
    assert!(of_channels && matches!(late, Rule::SignalLate), "the last rule has the last alarm");
};

/// An alarm that is active.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct ActiveAlarm {
    /// The rule.
    pub rule: Rule,
    /// The channel, for rules about one.
    pub channel: Option<Channel>,
    /// The worst severity it reached.
    pub severity: Severity,
    /// A person has seen it.
    pub acknowledged: bool,
    /// A person has put it away for a time.
    pub shelved: bool,
}

/// What became of a judgement.
pub(crate) struct Taken {
    /// The value is outside the allowed range, or worse.
    pub(crate) outside: bool,
    /// The alarm is active.
    pub(crate) active: bool,
    /// The severity that its cause has called for long enough, as it does now: with or without an event.
    pub(crate) stands: Option<Severity>,
    pub(crate) event: Option<AlarmEvent>,
}

/// All alarms.
#[derive(Clone, Debug)]
pub(crate) struct Alarms {
    points: [AlarmPoint; ALARMS],
    channel_points: [AlarmPoint; Channel::WATCHED],
    /// The rule each channel's alarm is about now.
    about: [Rule; Channel::WATCHED],
    /// The channel whose sign was found wrong.
    wrong_pole: Option<Channel>,
}

impl Alarms {
    pub(crate) const fn new() -> Self {
        Self {
            points: [AlarmPoint::new(); ALARMS],
            channel_points: [AlarmPoint::new(); Channel::WATCHED],
            about: [Rule::SignalMissing; Channel::WATCHED],
            wrong_pole: None,
        }
    }
    /// All at rest, in place: together they are large.
    pub(crate) fn start(&mut self) {
        let Self { points, channel_points, about, wrong_pole } = self;
        for point in points.iter_mut().chain(channel_points) {
            *point = AlarmPoint::new();
        }
        (*about, *wrong_pole) = ([Rule::SignalMissing; Channel::WATCHED], None);
    }
    /// Takes the judgement of a rule; `None` where nothing comes of it, as nearly always.
    pub(crate) fn take(
        &mut self,
        rule: Rule,
        channel: Option<Channel>,
        judgement: Judgement,
        procedure: &Procedure,
        moment: &Moment,
    ) -> Option<Taken> {
        let point = self.point_mut(rule, channel)?;
        if point.stays_at_rest(&judgement) {
            return None;
        }
        let mut setting = procedure.alarm(rule);
        if rule.is_of_a_moment() {
            // What is known once a band is not there to be waited for.
            setting.on_delay_us = 0;
        }
        let event = point.update(rule, channel, &setting, judgement, moment);
        let is_judged = judgement != Judgement::Unknown;
        let outside = point.level() >= Some(Severity::Warn) && is_judged;
        let stands = if is_judged { point.stands(setting.on_delay_us) } else { None };
        let active = point.active().is_some();
        (outside || stands.is_some() || event.is_some()).then_some(Taken { outside, active, stands, event })
    }
    /// A rule about the weld has no alarm: what called for it was nothing.
    pub(crate) fn forget(&mut self, rule: Rule) {
        if let Some(point) = self.point_mut(rule, None) {
            *point = AlarmPoint::new();
        }
    }
    /// Has the alarm of a rule about the weld nothing to count, and nothing to end?
    pub(crate) fn is_at_rest(&self, rule: Rule) -> bool {
        self.points.get(rule.place()).is_some_and(|point| point.stays_at_rest(&Judgement::NotApplicable))
    }
    /// The level of a rule's last judgement.
    pub(crate) fn level(&self, rule: Rule) -> Option<Severity> {
        self.points.get(rule.place()).and_then(AlarmPoint::level)
    }
    /// What becomes of a milder rule beside this one; see [`AlarmPoint::of_a_milder_rule`].
    pub(crate) fn held_back_by(&self, graver: Rule) -> Option<Judgement> {
        self.points.get(graver.place()).and_then(AlarmPoint::of_a_milder_rule)
    }
    /// The channel that the alarm about polarity names: the one found wrong when it was raised.
    pub(crate) fn polarity_channel(&mut self, found: Option<Channel>) -> Option<Channel> {
        if !self.is_pole_active() {
            self.wrong_pole = found;
        }
        self.wrong_pole
    }
    /// The channel that the alarm about polarity names while it is active.
    pub(crate) fn named_pole(&self) -> Option<Channel> {
        self.wrong_pole.filter(|_| self.is_pole_active())
    }
    fn is_pole_active(&self) -> bool {
        self.is_active(Rule::PolarityWrong)
    }
    /// Is the alarm of a rule about the weld active?
    pub(crate) fn is_active(&self, rule: Rule) -> bool {
        self.points.get(rule.place()).is_some_and(|point| point.active().is_some())
    }
    /// The rule a channel's alarm is about, once a fault `found` there has been taken note of: an alarm that is
    /// active ends before the one about another fault begins.
    pub(crate) fn channel_rule(
        &mut self,
        channel: Channel,
        found: Option<Rule>,
        moment: &Moment,
        sink: &mut dyn Sink,
    ) -> Option<Rule> {
        let about = self.about.get_mut(channel.place())?;
        let point = self.channel_points.get_mut(channel.place())?;
        if let Some(rule) = found
            && rule != *about
            && point.active().is_none()
        {
            // Whoever put the old fault away has not seen the new one.
            if let Some(unshelved) = point.shelve(0, *about, Some(channel), moment) {
                sink.event(&Event::Alarm(unshelved));
            }
            (*about, *point) = (rule, AlarmPoint::new());
        }
        Some(*about)
    }

    pub(crate) fn acknowledge(&mut self, moment: &Moment, sink: &mut dyn Sink) {
        self.tell_every_alarm(sink, |rule, channel, point| point.acknowledge(rule, channel, moment));
    }
    pub(crate) fn shelve(&mut self, rule: Rule, for_us: u32, moment: &Moment, sink: &mut dyn Sink) {
        self.tell_every_alarm(sink, |each, channel, point| {
            let meant = each == rule && (!rule.is_about_a_channel() || point.active().is_some());
            meant.then(|| point.shelve(for_us, rule, channel, moment)).flatten()
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
        for ((channel, rule), point) in
            Channel::HERE.into_iter().zip(self.about).zip(&mut self.channel_points)
        {
            if let Some(event) = tell(rule, Some(channel), point) {
                sink.event(&Event::Alarm(event));
            }
        }
    }
    fn point_mut(&mut self, rule: Rule, channel: Option<Channel>) -> Option<&mut AlarmPoint> {
        if rule == Rule::SignalLate {
            self.points.last_mut()
        } else if rule.is_about_a_channel() {
            self.channel_points.get_mut(channel?.place())
        } else {
            self.points.get_mut(rule.place())
        }
    }
    fn all_points(&self) -> impl Iterator<Item = &AlarmPoint> {
        self.points.iter().chain(&self.channel_points)
    }
    pub(crate) fn worst_active(&self) -> Option<Severity> {
        self.all_points().filter_map(AlarmPoint::active).max()
    }
    pub(crate) fn worst_unacknowledged(&self) -> Option<Severity> {
        self.all_points().filter(|point| point.wants_attention()).filter_map(AlarmPoint::active).max()
    }
    /// Every alarm that is active.
    pub(crate) fn active(&self) -> impl Iterator<Item = ActiveAlarm> {
        let rules = Rule::ALL.into_iter().filter(|rule| rule.is_watched() && !rule.is_about_a_channel());
        let channel_of = |rule| self.wrong_pole.filter(|_| rule == Rule::PolarityWrong);
        let of_rules = rules.zip(&self.points).map(move |(rule, point)| (rule, channel_of(rule), point));
        let of_channels = Channel::HERE
            .into_iter()
            .zip(self.about)
            .zip(&self.channel_points)
            .map(|((channel, rule), point)| (rule, Some(channel), point));
        of_rules.chain(of_channels).filter_map(|(rule, channel, point)| {
            let severity = point.active()?;
            let acknowledged = point.is_acknowledged();
            let shelved = point.is_shelved();
            Some(ActiveAlarm { rule, channel, severity, acknowledged, shelved })
        })
    }
}

#[cfg(test)]
mod tests;
