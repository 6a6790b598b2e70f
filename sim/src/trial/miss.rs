//! What there was to be seen of a fault, for those that are missed.
//!
//! Decides: the figures that tell why: how far outside, for how long, and which alarms stood.
//! Assumes: findings and alarms of one procedure, in the order of their time.
//! Never: decides whether a fault was found.

use super::lane::RuleSetting;
use super::marks::Marks;
use bandward::alarms::point::{Judgement, Moment};
use bandward::rule::{RuleSet, Side};
use bandward::{AlarmEvent, AlarmKind, Channel, Procedure, Rule, Severity};

/// What was seen of one fault by the rule it is counted under.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// The worst value, raw; none where the rule was never judged meanwhile.
    pub worst: Option<i32>,
    /// The limit it was held against, raw.
    pub limit: Option<i32>,
    /// How long it was outside in all, µs.
    pub outside_us: u64,
    /// How long at a time, at most, µs.
    pub longest_us: u64,
    /// The rules whose alarms stood meanwhile, of any severity.
    pub instead: RuleSet,
    running_us: u64,
}

/// Watches all faults of a trace.
#[derive(Clone, Debug)]
pub struct Witness<'a> {
    marks: &'a Marks,
    severity: Severity,
    /// The rules that faults are counted under.
    asked: RuleSet,
    settings: Vec<Option<RuleSetting>>,
    seen: Vec<Seen>,
    standing: Vec<(Rule, Option<Channel>, u64)>,
}

impl<'a> Witness<'a> {
    /// Of the faults in `marks`, judged by `procedure`; outside is what calls for `severity`.
    pub fn new(marks: &'a Marks, procedure: &Procedure, severity: Severity) -> Self {
        let leads = marks.faults.iter().filter_map(super::marks::Mark::lead);
        let asked = leads.fold(RuleSet::EMPTY, RuleSet::with);
        let setting =
            |rule| asked.contains(rule).then(|| RuleSetting::of(procedure, rule).calling_for(severity));
        Self {
            marks,
            severity,
            asked,
            settings: Rule::ALL.into_iter().map(setting).collect(),
            seen: vec![Seen::default(); marks.faults.len()],
            standing: Vec::new(),
        }
    }
    /// A rule was judged.
    pub fn found(&mut self, rule: Rule, found: &Judgement, moment: &Moment) {
        if !self.asked.contains(rule) {
            return;
        }
        let Some(setting) = &self.settings[rule as usize] else { return };
        for (mark, seen) in self.marks.faults.iter().zip(&mut self.seen) {
            if mark.lead() != Some(rule) || !self.marks.covers(mark, moment.now_us) {
                continue;
            }
            let judgement = setting.judge(found, None);
            let Judgement::Judged { level, value, limit, .. } = judgement else { continue };
            if seen.worst.is_none_or(|worst| is_worse(rule, value, worst)) {
                (seen.worst, seen.limit) = (Some(value), limit);
            }
            if level >= Some(self.severity) {
                seen.outside_us += u64::from(moment.elapsed_us);
                seen.running_us += u64::from(moment.elapsed_us);
                seen.longest_us = seen.longest_us.max(seen.running_us);
            } else {
                seen.running_us = 0;
            }
        }
    }
    /// Something happened to an alarm.
    pub fn alarm(&mut self, event: &AlarmEvent) {
        if self.marks.faults.is_empty() {
            return;
        }
        let is_same = |(rule, channel, _): &(Rule, Option<Channel>, u64)| {
            (*rule, *channel) == (event.rule, event.channel)
        };
        match event.kind {
            AlarmKind::Raised => self.standing.push((event.rule, event.channel, event.time_us)),
            AlarmKind::Cleared => {
                if let Some(at) = self.standing.iter().position(is_same) {
                    let (rule, _, from_us) = self.standing.swap_remove(at);
                    self.stood(rule, from_us, event.time_us);
                }
            }
            _ => {}
        }
    }
    fn stood(&mut self, rule: Rule, from_us: u64, until_us: u64) {
        for (mark, seen) in self.marks.faults.iter().zip(&mut self.seen) {
            if from_us <= self.marks.deadline_us(mark) && until_us >= mark.start_us {
                seen.instead = seen.instead.with(rule);
            }
        }
    }
    /// What was seen of each fault of a trace that ended at `last_us`.
    pub fn finish(mut self, last_us: u64) -> Vec<Seen> {
        for (rule, _, from_us) in std::mem::take(&mut self.standing) {
            self.stood(rule, from_us, last_us);
        }
        self.seen
    }
}

/// Further to the side that the rule watches; further from zero where it watches none.
fn is_worse(rule: Rule, value: i32, than: i32) -> bool {
    match rule.watches() {
        Some((_, Side::Low)) => value < than,
        Some((_, Side::High)) => value > than,
        None => value.unsigned_abs() > than.unsigned_abs(),
    }
}
