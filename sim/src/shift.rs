//! What many logs come to.
//!
//! Decides: what is counted, and what is named: every stop up to a number, every log that failed.
//! Assumes: it is given the logs one after another.
//! Never: judges, nor keeps more of a log than its counts, its stops and its failure.

use crate::alarm::Alarm;
use crate::input::joint_field::folded;
use crate::replay::Replay;
use bandward::rule::RuleSet;
use bandward::{JointRecord, Outcome, Rule, Severity};
use std::collections::BTreeMap;

/// More stops than this are counted, not named.
pub const NAMED_STOPS: usize = 50;

/// A log that could not be read, or not to its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    /// The log, as it was named.
    pub path: String,
    /// Why, on one line.
    pub why: String,
}

/// Joints by their outcome.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// All of them.
    pub joints: u64,
    /// Every limit was judged and held.
    pub proven: u64,
    /// Something is broken.
    pub broken: u64,
    /// Nothing is broken, and not everything was seen.
    pub not_proven: u64,
    /// There was no limit to judge them by.
    pub not_judged: u64,
}

impl Tally {
    fn add(&mut self, outcome: Outcome) {
        self.joints += 1;
        *match outcome {
            Outcome::NotAsked => &mut self.not_judged,
            Outcome::Proven => &mut self.proven,
            Outcome::NotProven => &mut self.not_proven,
            Outcome::Broken => &mut self.broken,
        } += 1;
    }
}

/// Joints by what became of one rule.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RuleTally {
    /// Joints on which it was broken.
    pub broken: u64,
    /// Joints on which it was not proven.
    pub not_proven: u64,
    /// Joints on which it asked for the weld to be stopped.
    pub stopped: u64,
    /// Joints on which it warned or stopped, broken or not.
    pub alarmed: u64,
}

/// An alarm that asked for the weld to be stopped.
#[derive(Clone, Debug, PartialEq)]
pub struct Stop {
    /// The log.
    pub path: String,
    /// The alarm.
    pub alarm: Alarm,
}

/// What many logs come to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shift {
    /// Logs that were read to their end.
    pub read: u64,
    /// Logs in which no joint was found.
    pub without_joint: u64,
    /// Logs that were not judged, and in which something is wrong for which no procedure is needed.
    pub faulty: u64,
    /// Joints that are worse than their traces alone: by inspection, by setup, or because sources disagree.
    pub worsened: u64,
    /// The joints.
    pub all: Tally,
    /// The joints of each machine, as far as the machines are known.
    pub machines: BTreeMap<Option<String>, Tally>,
    /// The joints by rule, as far as there is something to tell.
    pub rules: BTreeMap<Rule, RuleTally>,
    /// The first stops, in the order of the logs.
    pub stops: Vec<Stop>,
    /// How many there are.
    pub stop_count: u64,
    /// The logs that failed.
    pub failures: Vec<Failure>,
    /// Files of folders that are no logs by their names.
    pub passed_over: u64,
    /// How often a log was named again.
    pub named_again: u64,
}

impl Shift {
    /// Counts a log that was read.
    pub fn add(&mut self, replay: &Replay, machine: Option<&str>) {
        self.read += 1;
        self.without_joint += u64::from(replay.joints.is_empty());
        self.faulty += u64::from(replay.outcome() == Outcome::NotAsked && replay.has_faults());
        let machine = machine.map(|machine| self.known_machine(machine));
        for joint in &replay.joints {
            let outcome = replay.outcome_of_joint(joint);
            self.worsened += u64::from(outcome > joint.outcome);
            self.all.add(outcome);
            self.machines.entry(machine.clone()).or_default().add(outcome);
            let of_joint = |alarm: &&Alarm| alarm.joint == joint.joint;
            self.count_rules(joint, replay.alarms.iter().filter(of_joint));
        }
        for alarm in replay.alarms.iter().filter(|alarm| alarm.severity == Severity::Stop) {
            self.stop_count += 1;
            if self.stops.len() < NAMED_STOPS {
                self.stops.push(Stop { path: replay.trace.path.clone(), alarm: *alarm });
            }
        }
    }
    /// A machine by the name it was first told by: other letters and blanks make no other machine.
    fn known_machine(&self, name: &str) -> String {
        let is_it = |known: &&String| folded(known) == folded(name);
        self.machines.keys().flatten().find(is_it).cloned().unwrap_or_else(|| name.to_owned())
    }
    /// Counts a log that failed.
    pub fn fail(&mut self, failure: Failure) {
        self.failures.push(failure);
    }
    /// All logs, and names that lead to none.
    pub fn logs(&self) -> u64 {
        self.read + self.failures.len() as u64
    }
    /// What it comes to: as bad as the worst joint, and not proven where a log failed.
    pub fn outcome(&self) -> Outcome {
        let all = &self.all;
        if all.broken > 0 {
            Outcome::Broken
        } else if all.not_proven > 0 || !self.failures.is_empty() {
            Outcome::NotProven
        } else if all.proven > 0 {
            Outcome::Proven
        } else {
            Outcome::NotAsked
        }
    }
    fn count_rules<'a>(&mut self, joint: &JointRecord, alarms: impl Iterator<Item = &'a Alarm>) {
        let (mut alarmed, mut stopped) = (RuleSet::EMPTY, RuleSet::EMPTY);
        for alarm in alarms.filter(|alarm| alarm.severity >= Severity::Warn) {
            alarmed = alarmed.with(alarm.rule);
            if alarm.severity == Severity::Stop {
                stopped = stopped.with(alarm.rule);
            }
        }
        let all = joint.broken.union(joint.not_proven).union(alarmed);
        for rule in all.iter() {
            let tally = self.rules.entry(rule).or_default();
            tally.broken += u64::from(joint.broken.contains(rule));
            tally.not_proven += u64::from(joint.not_proven.contains(rule));
            tally.stopped += u64::from(stopped.contains(rule));
            tally.alarmed += u64::from(alarmed.contains(rule));
        }
    }
}

/// The rule that matters most of a log: that of its worst alarm, the first of these; where nothing warned,
/// the first that is broken or not proven.
pub fn worst_rule(replay: &Replay) -> Option<Rule> {
    let loud = replay.alarms.iter().filter(|alarm| alarm.severity >= Severity::Warn);
    let worst = loud.reduce(|worst, alarm| if alarm.severity > worst.severity { alarm } else { worst });
    let open = |rules: fn(&JointRecord) -> RuleSet| {
        replay.joints.iter().find_map(|joint| rules(joint).iter().next())
    };
    worst
        .map(|alarm| alarm.rule)
        .or_else(|| open(|joint| joint.broken))
        .or_else(|| open(|joint| joint.not_proven))
}
