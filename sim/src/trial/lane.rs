//! One rule with one setting, run over what the rule found in the samples.
//!
//! Decides: nothing; the ranges are held by the core's [`envelope::stand`], the delays by its
//! [`AlarmPoint`], as when every sample is run through the monitor.
//! Assumes: it is given all that was found, in order.
//! Never: sees a sample.

use super::excursion::Excursion;
use super::marks::Marks;
use super::tally::RuleTally;
use super::watch::RuleWatch;
use bandward::alarms::point::{AlarmPoint, Judgement, Moment};
use bandward::judge::envelope::{self, Tiers};
use bandward::procedure::{AlarmSetting, Limits, Range};
use bandward::rule::Side;
use bandward::{Procedure, Quantity, Rule, Severity};

/// So many findings are passed over at once where none of them can matter.
const STRETCH: usize = 64;

/// What a rule found at one tick.
#[derive(Clone, Copy, Debug)]
struct Finding {
    found: Judgement,
    moment: Moment,
}

/// The extremes of a stretch of findings.
#[derive(Clone, Copy, Debug)]
struct Extremes {
    lowest: i32,
    highest: i32,
    calls: bool,
}

/// What one rule found, a block of ticks at a time.
#[derive(Clone, Debug, Default)]
pub struct Track {
    findings: Vec<Finding>,
    stretches: Vec<Extremes>,
}

impl Track {
    /// Takes what was found.
    pub fn push(&mut self, found: &Judgement, moment: &Moment) {
        if self.findings.len().is_multiple_of(STRETCH) {
            self.stretches.push(Extremes { lowest: i32::MAX, highest: i32::MIN, calls: false });
        }
        if let (Judgement::Judged { level, value, .. }, Some(stretch)) = (found, self.stretches.last_mut()) {
            stretch.lowest = stretch.lowest.min(*value);
            stretch.highest = stretch.highest.max(*value);
            stretch.calls |= level.is_some();
        }
        self.findings.push(Finding { found: *found, moment: *moment });
    }
    /// Number of findings held.
    pub fn len(&self) -> usize {
        self.findings.len()
    }
    /// Is nothing held?
    pub fn is_empty(&self) -> bool {
        self.findings.is_empty()
    }
    /// Forgets the findings.
    pub fn clear(&mut self) {
        self.findings.clear();
        self.stretches.clear();
    }
}

/// The setting of one rule: all of a procedure that its alarm depends on, once the samples have been
/// looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct RuleSetting {
    rule: Rule,
    alarm: AlarmSetting,
    /// The ends of the ranges that the rule watches; all other ends are open.
    limits: Option<Limits>,
    /// The floor that can hold the rule back, and the alarm about it.
    floor: Option<(i32, AlarmSetting)>,
}

impl RuleSetting {
    /// That of `rule` in `procedure`.
    pub fn of(procedure: &Procedure, rule: Rule) -> Self {
        let limits = rule.watches().and_then(|(quantity, side)| {
            let limits = procedure.limits(quantity)?;
            Some(watched_part(limits, side, Tiers::of(rule)))
        });
        let floor = procedure.limits(Quantity::Voltage).and_then(|limits| limits.floor);
        let floor = floor.filter(|_| rule == Rule::VoltageLow);
        Self {
            rule,
            alarm: procedure.alarm(rule),
            limits,
            floor: floor.map(|floor| (floor, procedure.alarm(Rule::TransferLowVoltage))),
        }
    }
    /// The rule.
    pub const fn rule(&self) -> Rule {
        self.rule
    }
    /// With the ranges alone that call for `severity` or worse: the recommended one only advises.
    #[must_use]
    pub fn calling_for(mut self, severity: Severity) -> Self {
        if let Some(limits) = self.limits.as_mut().filter(|_| severity > Severity::Advise) {
            limits.recommended = None;
        }
        self
    }
    /// What a finding comes to with these ranges, after a level of `previous`.
    pub fn judge(&self, found: &Judgement, previous: Option<Severity>) -> Judgement {
        match (found, self.rule.watches(), &self.limits) {
            (&Judgement::Judged { value, since_us, .. }, Some((_, side)), Some(limits)) => {
                let tiers = Tiers::of(self.rule);
                let standing = envelope::stand(value, limits, side, &self.alarm, tiers, previous);
                Judgement::Judged { level: standing.level, value, limit: standing.limit, since_us }
            }
            _ => *found,
        }
    }
    /// Can anything in a stretch call for an alarm that is at rest? An end that lies inside says that
    /// all between lies inside.
    fn may_call(&self, stretch: &Extremes) -> bool {
        let Some((_, side)) = self.rule.watches() else { return stretch.calls };
        let value = match side {
            Side::Low => stretch.lowest,
            Side::High => stretch.highest,
        };
        // Nothing was judged at all.
        if stretch.lowest > stretch.highest {
            return false;
        }
        let found = Judgement::Judged { level: None, value, limit: None, since_us: None };
        matches!(self.judge(&found, None), Judgement::Judged { level: Some(_), .. })
    }
}

fn watched_part(limits: &Limits, side: Side, tiers: Tiers) -> Limits {
    let part = |range: Range| match side {
        Side::Low => Range { high: i32::MAX, ..range },
        Side::High => Range { low: i32::MIN, ..range },
    };
    let has_ranges = tiers != Tiers::Floor;
    let has_floor = tiers != Tiers::Ranges && side == Side::Low;
    Limits {
        recommended: limits.recommended.filter(|_| has_ranges).map(part),
        allowed: limits.allowed.filter(|_| has_ranges).map(part),
        floor: limits.floor.filter(|_| has_floor),
    }
}

/// One rule with one setting at work in one trace.
#[derive(Clone, Debug)]
pub struct Lane {
    setting: RuleSetting,
    point: AlarmPoint,
    /// The alarm about the floor, where that can hold the rule back.
    floor: Option<(RuleSetting, AlarmPoint)>,
    watch: RuleWatch,
    excursion: Excursion,
}

impl Lane {
    /// At rest.
    pub fn new(setting: RuleSetting) -> Self {
        let floor = setting.floor.map(|(floor, alarm)| {
            let limits = Limits { recommended: None, allowed: None, floor: Some(floor) };
            let rule = Rule::TransferLowVoltage;
            let about_floor = RuleSetting { rule, alarm, limits: Some(limits), floor: None };
            (about_floor, AlarmPoint::new())
        });
        Self {
            setting,
            point: AlarmPoint::new(),
            floor,
            watch: RuleWatch::default(),
            excursion: Excursion::default(),
        }
    }
    /// Runs over a block of what its rule found; `floor_track` is that of the rule about the voltage's
    /// floor at the same ticks.
    pub fn run(&mut self, track: &Track, floor_track: &Track, marks: &Marks, severity: Severity) {
        for (index, stretch) in track.stretches.iter().enumerate() {
            let floor_stretch = floor_track.stretches.get(index);
            if self.is_at_rest()
                && !self.setting.may_call(stretch)
                && !floor_stretch.is_some_and(|stretch| self.floor_may_call(stretch))
            {
                continue;
            }
            let first = index * STRETCH;
            for at in first..track.findings.len().min(first + STRETCH) {
                self.step(&track.findings[at], floor_track.findings.get(at), marks, severity);
            }
        }
    }
    /// What it came to in a trace that ended at `last_us`.
    pub fn finish(self, marks: &Marks, last_us: u64) -> RuleTally {
        self.watch.finish(marks, last_us).0
    }
    /// The longest time for which its cause lasted on good welding, µs; none where it never was there.
    pub const fn longest_us(&self) -> Option<u64> {
        self.excursion.longest_us()
    }
    /// The rule.
    pub const fn rule(&self) -> Rule {
        self.setting.rule
    }

    fn step(&mut self, finding: &Finding, floor: Option<&Finding>, marks: &Marks, severity: Severity) {
        let instead = floor.and_then(|floor| self.step_floor(floor));
        let judgement = instead.unwrap_or_else(|| self.setting.judge(&finding.found, self.point.level()));
        let is_sound = || marks.is_sound(self.setting.rule, finding.moment.now_us);
        self.excursion.take(&judgement, &finding.moment, severity, is_sound);
        let alarm = &self.setting.alarm;
        let event = self.point.update(self.setting.rule, None, alarm, judgement, &finding.moment);
        if let Some(event) = event {
            self.watch.take(&event, marks, severity);
        }
    }
    /// What the alarm about the floor has the rule judge in place of its own finding.
    fn step_floor(&mut self, finding: &Finding) -> Option<Judgement> {
        let (about_floor, point) = self.floor.as_mut()?;
        let judgement = about_floor.judge(&finding.found, point.level());
        point.update(about_floor.rule, None, &about_floor.alarm, judgement, &finding.moment);
        point.of_a_milder_rule()
    }
    /// Does a finding that calls for nothing change nothing? Nobody shelves an alarm here.
    fn is_at_rest(&self) -> bool {
        let rests = |point: &AlarmPoint| point.level().is_none() && point.active().is_none();
        rests(&self.point) && self.floor.as_ref().is_none_or(|(_, point)| rests(point))
    }
    fn floor_may_call(&self, stretch: &Extremes) -> bool {
        self.floor.as_ref().is_some_and(|(about_floor, _)| about_floor.may_call(stretch))
    }
}
