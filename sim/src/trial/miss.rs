//! What there was to be seen of a fault, for those that are missed.
//!
//! Decides: the figures that tell why: how far outside, for how long, and which alarms stood.
//! Assumes: findings and alarms of one procedure, in the order of their time.
//! Never: decides whether a fault was found.

use super::lane::RuleSetting;
use super::marks::Marks;
use bandward::alarms::point::{Judgement, Moment};
use bandward::procedure::Polarity;
use bandward::rule::{RuleSet, Side};
use bandward::{AlarmEvent, AlarmKind, Channel, Procedure, Rule, Severity};

/// Percent of the usual speed below which the pipe stands, and between which it does not slip, as the core
/// has them.
const STANDS_BELOW: i64 = 10;
const SLIPS_BELOW: i64 = 65;
const SLIPS_ABOVE: i64 = 140;

/// How long something was so, in all and at a time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Lasted {
    /// In all, µs.
    pub sum_us: u64,
    /// At a time, at most, µs.
    pub longest_us: u64,
    running_us: u64,
}

impl Lasted {
    fn take(&mut self, is_so: bool, elapsed_us: u32) {
        if is_so {
            self.sum_us += u64::from(elapsed_us);
            self.running_us += u64::from(elapsed_us);
            self.longest_us = self.longest_us.max(self.running_us);
        } else {
            self.running_us = 0;
        }
    }
}

/// What one of the rules that a fault names saw of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SeenBy {
    /// The rule.
    pub rule: Rule,
    /// The worst value, raw; none where the rule was never judged meanwhile.
    pub worst: Option<i32>,
    /// The limit it was held against, raw.
    pub limit: Option<i32>,
    /// The usual speed of the pipe, raw, where the rule is about its turning.
    pub usual: Option<i32>,
    /// How long it was outside.
    pub outside: Lasted,
    /// The limit that stops the weld, raw, where it is another one: the floor.
    pub floor: Option<i32>,
    /// How long it was beyond that.
    pub beyond_floor: Lasted,
    /// Does all that is outside stop the weld?
    pub is_of_stop: bool,
    /// The pole that the procedure asks for, where the rule is about it.
    pub pole: Option<Polarity>,
}

/// What was seen of one fault.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// By each of its rules, in the order of the mark.
    pub by: Vec<SeenBy>,
    /// The rules whose alarms stood meanwhile, of any severity.
    pub instead: RuleSet,
}

/// Watches all faults of a trace.
#[derive(Clone, Debug)]
pub struct Witness<'a> {
    marks: &'a Marks,
    severity: Severity,
    /// The rules that faults name.
    asked: RuleSet,
    settings: Vec<Option<RuleSetting>>,
    seen: Vec<Seen>,
    standing: Vec<(Rule, Option<Channel>, u64)>,
}

impl<'a> Witness<'a> {
    /// Of the faults in `marks`, judged by `procedure`; outside is what calls for `severity`.
    pub fn new(marks: &'a Marks, procedure: &Procedure, severity: Severity) -> Self {
        let named = marks.faults.iter().flat_map(|mark| mark.rules.iter().copied());
        let asked = named.fold(RuleSet::EMPTY, RuleSet::with);
        let setting =
            |rule| asked.contains(rule).then(|| RuleSetting::of(procedure, rule).calling_for(severity));
        let nothing = |mark: &super::marks::Mark| Seen {
            by: mark.rules.iter().map(|&rule| SeenBy::nothing(rule, procedure)).collect(),
            instead: RuleSet::EMPTY,
        };
        Self {
            marks,
            severity,
            asked,
            settings: Rule::ALL.into_iter().map(setting).collect(),
            seen: marks.faults.iter().map(nothing).collect(),
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
            let own = seen.by.iter_mut().find(|by| by.rule == rule);
            let Some(by) = own.filter(|_| self.marks.covers(mark, moment.now_us)) else { continue };
            if let Judgement::Judged { level, value, limit, .. } = setting.judge(found, None) {
                by.take((value, limit), level >= Some(self.severity), moment.elapsed_us);
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

impl SeenBy {
    fn nothing(rule: Rule, procedure: &Procedure) -> Self {
        let is_of_stop = procedure.alarm(rule).severity == Severity::Stop;
        let floor = rule.watches().filter(|(_, side)| *side == Side::Low && !is_of_stop);
        let floor = floor.and_then(|(quantity, _)| procedure.limits(quantity)?.floor);
        Self {
            rule,
            worst: None,
            limit: None,
            usual: None,
            outside: Lasted::default(),
            floor,
            beyond_floor: Lasted::default(),
            is_of_stop,
            pole: procedure.polarity.filter(|_| rule == Rule::PolarityWrong),
        }
    }
    fn take(&mut self, (value, limit): (i32, Option<i32>), is_outside: bool, elapsed_us: u32) {
        let (worse, limit) = match (self.rule, limit) {
            (Rule::SpindleSlip | Rule::SpindleStall, Some(usual)) => {
                let worse = self.is_worse_turning(value, usual);
                self.usual = if worse { Some(usual) } else { self.usual };
                (worse, Some(limit_of_turning(self.rule, value, usual)))
            }
            _ => (self.worst.is_none_or(|worst| is_worse(self.rule, value, worst)), limit),
        };
        if worse {
            (self.worst, self.limit) = (Some(value), limit);
        }
        self.outside.take(is_outside, elapsed_us);
        self.beyond_floor.take(self.floor.is_some_and(|floor| value < floor), elapsed_us);
    }
    /// Was the pipe beyond the limit, but not for as long as its speed is judged over?
    pub fn is_brief(&self) -> bool {
        let (Some(worst), Some(limit), Some(usual)) = (self.worst, self.limit, self.usual) else {
            return false;
        };
        let [worst, limit, usual] = [worst, limit, usual].map(i32::unsigned_abs);
        if worst < usual { worst < limit } else { worst > limit }
    }
    /// Slower for a stall, further from the usual speed for slip.
    fn is_worse_turning(&self, value: i32, usual: i32) -> bool {
        let distance = |value: i32| match self.rule {
            Rule::SpindleStall => i64::from(usual.saturating_abs()) - i64::from(value.saturating_abs()),
            _ => i64::from(usual.saturating_abs()).abs_diff(value.saturating_abs().into()) as i64,
        };
        self.worst.is_none_or(|worst| distance(value) > distance(worst))
    }
}

/// The speed from which on the pipe stands or slips, where it usually turns so fast.
fn limit_of_turning(rule: Rule, value: i32, usual: i32) -> i32 {
    let percent = match rule {
        Rule::SpindleStall => STANDS_BELOW,
        _ if value.saturating_abs() > usual.saturating_abs() => SLIPS_ABOVE,
        _ => SLIPS_BELOW,
    };
    i32::try_from(i64::from(usual.saturating_abs()) * percent / 100).unwrap_or(i32::MAX)
}

/// Further to the side that the rule watches; further from zero where it watches none.
fn is_worse(rule: Rule, value: i32, than: i32) -> bool {
    match rule.watches() {
        Some((_, Side::Low)) => value < than,
        Some((_, Side::High)) => value > than,
        None => value.unsigned_abs() > than.unsigned_abs(),
    }
}
