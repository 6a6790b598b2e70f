//! What the rules found, kept so that any settings can be put together.
//!
//! Decides: which of several alarms about one fault has found it: the first.
//! Assumes: a fault's place among the marks goes with its tallies.
//! Never: keeps an alarm that is about no fault; it is counted.

use super::marks::Marks;
use super::score::{Hit, Miss, RuleScore};
use bandward::rule::RuleSet;
use bandward::{Procedure, Rule, Severity};

/// The first alarm of a rule about a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// The place of the fault.
    pub mark: u32,
    /// When it came, µs.
    pub found_us: u64,
    /// When the rule's alarm about the fault was a stop, µs.
    pub stop_us: Option<u64>,
    /// How long before the fault its cause began, where it stood already then, µs.
    pub stood_us: Option<u64>,
    /// How long it, or a later one of the rule about the fault, stood after its end, µs.
    pub stands_us: u64,
    /// How long at a time it, or a later one, was active about the fault, µs.
    pub active_us: u64,
}

/// The alarms of one rule with one setting.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RuleTally {
    /// At most one for each fault, in the order of these.
    pub candidates: Vec<Candidate>,
    /// Faults in traces in which the rule could not be judged.
    pub unjudged: Vec<u32>,
    /// Alarms while nothing was wrong.
    pub false_alarms: u64,
    /// Those of them that were stops.
    pub false_stops: u64,
    /// Further alarms about a fault.
    pub repeats: u64,
    /// Alarms during a fault of another rule.
    pub beside: u64,
    /// Alarms that follow from a fault that was over.
    pub late: u64,
}

impl RuleTally {
    /// Is there an alarm about this fault?
    pub fn has(&self, mark: usize) -> bool {
        self.candidate(mark as u32).is_some()
    }
    /// The first alarm about a fault.
    pub fn candidate(&self, mark: u32) -> Option<&Candidate> {
        let at = self.candidates.binary_search_by_key(&mark, |candidate| candidate.mark).ok()?;
        self.candidates.get(at)
    }
    /// Takes the first alarm about a fault.
    pub fn find(&mut self, candidate: Candidate) {
        let at = self.candidates.partition_point(|known| known.mark < candidate.mark);
        self.candidates.insert(at, candidate);
    }
    /// An alarm about a fault is a stop.
    pub fn stops(&mut self, mark: usize, time_us: u64) {
        let own = self.candidates.iter_mut().find(|known| known.mark as usize == mark);
        if let Some(candidate) = own {
            candidate.stop_us.get_or_insert(time_us);
        }
    }
    /// An alarm about a fault was active so long, and stood so long after the fault's end.
    pub fn stood(&mut self, mark: usize, active_us: u64, stands_us: u64) {
        let own = self.candidates.iter_mut().find(|known| known.mark as usize == mark);
        if let Some(candidate) = own {
            candidate.stands_us = candidate.stands_us.max(stands_us);
            candidate.active_us = candidate.active_us.max(active_us);
        }
    }
    /// Adds what another trace came to, whose faults follow on those so far.
    pub fn add(&mut self, other: &Self, faults_so_far: u32) {
        let moved = |candidate: &Candidate| Candidate { mark: candidate.mark + faults_so_far, ..*candidate };
        self.candidates.extend(other.candidates.iter().map(moved));
        self.unjudged.extend(other.unjudged.iter().map(|mark| mark + faults_so_far));
        self.false_alarms += other.false_alarms;
        self.false_stops += other.false_stops;
        self.repeats += other.repeats;
        self.beside += other.beside;
        self.late += other.late;
    }
    fn is_unjudged(&self, mark: u32) -> bool {
        self.unjudged.binary_search(&mark).is_ok()
    }
}

/// What is kept of a fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The rule it is booked on where it is missed.
    pub lead: Option<Rule>,
    /// The rules it names.
    pub named: RuleSet,
    /// Those whose alarms may find it; few, and asked again and again.
    pub answering: Box<[Rule]>,
    /// It must stop the weld.
    pub is_stop: bool,
    /// One of the procedures that are tried stops for it: without a stop it is missed.
    pub needs_a_stop: bool,
    /// From when it could be seen, µs.
    pub outside_from_us: u64,
    /// To, µs.
    pub end_us: u64,
    /// Until when it could be found, µs.
    pub deadline_us: u64,
}

impl Fault {
    /// Those of a trace; where a mark does not say how bad its fault is, the procedure does.
    pub fn all(marks: &Marks, procedure: &Procedure) -> Vec<Self> {
        let fault = |mark: &super::marks::Mark| Self {
            lead: mark.lead(),
            named: mark.rules.iter().copied().fold(RuleSet::EMPTY, RuleSet::with),
            answering: mark.answering().iter().collect(),
            is_stop: mark
                .severity
                .or_else(|| mark.lead().map(|rule| procedure.alarm(rule).severity))
                .is_some_and(|severity| severity == Severity::Stop),
            needs_a_stop: false,
            outside_from_us: mark.outside_from_us,
            end_us: mark.end_us,
            deadline_us: marks.deadline_us(mark),
        };
        marks.faults.iter().map(fault).collect()
    }
}

/// How a fault fared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// Found.
    Found {
        /// By an alarm of this rule.
        by: Rule,
        /// The figures.
        hit: Hit,
    },
    /// Not found.
    Missed(Miss),
    /// No rule that it names could be judged; it costs as much as a missed one.
    NotJudged(Miss),
}

/// How the fault at `place` fares, given the tally of each rule.
pub fn fate<'a>(fault: &Fault, place: u32, tally: impl Fn(Rule) -> &'a RuleTally) -> Fate {
    let mut first: Option<(Rule, &Candidate)> = None;
    let mut stop_us: Option<u64> = None;
    let (mut stands_us, mut is_judged) = (0, false);
    for &rule in &fault.answering {
        let tally = tally(rule);
        is_judged |= fault.named.contains(rule) && !tally.is_unjudged(place);
        let Some(candidate) = tally.candidate(place) else { continue };
        stands_us = stands_us.max(candidate.stands_us);
        stop_us = [stop_us, candidate.stop_us].into_iter().flatten().min();
        if first.is_none_or(|(_, first)| candidate.found_us < first.found_us) {
            first = Some((rule, candidate));
        }
    }
    let is_stop = fault.is_stop;
    let delay_us = |time_us: u64| time_us.saturating_sub(fault.outside_from_us);
    match first {
        Some((by, found)) if !fault.needs_a_stop || stop_us.is_some() => Fate::Found {
            by,
            hit: Hit {
                delay_us: delay_us(found.found_us),
                stop_delay_us: stop_us.map(delay_us),
                needs_a_stop: fault.needs_a_stop,
                stood_us: found.stood_us,
                stands_us,
                is_stop,
            },
        },
        told => {
            let window_us = fault.deadline_us.saturating_sub(fault.outside_from_us);
            let miss = Miss { window_us, is_stop, only_warned: told.is_some() };
            if is_judged { Fate::Missed(miss) } else { Fate::NotJudged(miss) }
        }
    }
}

/// The rule that a fault is booked on: the one that told of it first, where the mark names it; else the first
/// that the mark names.
pub fn booked_on(fault: &Fault, fate: &Fate) -> Option<Rule> {
    match fate {
        Fate::Found { by, .. } if fault.named.contains(*by) => Some(*by),
        _ => fault.lead,
    }
}

/// The score of `rule`: the faults that are booked on it, and its own alarms.
pub fn score<'a>(faults: &[Fault], rule: Rule, tally: impl Fn(Rule) -> &'a RuleTally) -> RuleScore {
    let own = tally(rule);
    let mut score = RuleScore {
        false_alarms: own.false_alarms,
        false_stops: own.false_stops,
        repeats: own.repeats,
        beside: own.beside,
        late: own.late,
        ..RuleScore::default()
    };
    for (place, fault) in (0_u32..).zip(faults).filter(|(_, fault)| fault.answering.contains(&rule)) {
        let fate = fate(fault, place, &tally);
        let is_own = booked_on(fault, &fate) == Some(rule);
        match fate {
            Fate::Found { by, hit, .. } => {
                if is_own {
                    score.found.push(hit);
                }
                // An alarm about what another rule has told already.
                score.repeats += u64::from(by != rule && own.has(place as usize));
            }
            Fate::Missed(miss) if is_own => score.misses.push(miss),
            Fate::NotJudged(miss) if is_own => score.unjudged.push(miss),
            Fate::Missed(_) | Fate::NotJudged(_) => {}
        }
    }
    score
}
