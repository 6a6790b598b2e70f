//! Once through a trace, for every setting at once.
//!
//! Decides: how much is held before the settings are run over it.
//! Assumes: rows in the order of the trace.
//! Never: holds more than a block of samples and of findings a rule, whatever the length of the trace.

use super::lane::{Lane, Track};
use super::marks::{AlarmClass, Marks, Raised};
use super::miss::{Seen, Witness};
use super::plan::Plan;
use super::tally::{Fate, Fault, RuleTally, fate};
use super::watch::RuleWatch;
use crate::fleet::JointTables;
use crate::replay::sound;
use crate::trace::{Row, TraceHeader};
use bandward::JointRecord;
use bandward::alarms::point::{Judgement, Moment};
use bandward::rule::RuleSet;
use bandward::{BandRecord, Channel, Event, Monitor, NotJudged, Rule, Sample, Severity, Sink};
use rayon::prelude::*;

/// Samples that are held before they are run through the monitors.
const BLOCK: usize = 1024;
/// Findings a rule, of all monitors together, that are held before the settings are run over them.
const FINDINGS: usize = 4096;
/// Of one monitor no fewer are held, so that a lane has something to run over.
const FEWEST_FINDINGS: usize = 128;
/// So many settings at least are worth another core.
const SHARE: usize = 16;
/// No more single false alarms, and misses, of a rule in a trace are told than this.
const TOLD: usize = 10;

/// A fault that was not found.
#[derive(Clone, Debug, PartialEq)]
pub struct Missed {
    /// The rules any of which should have told of it.
    pub rules: Vec<Rule>,
    /// It must stop the weld.
    pub is_stop: bool,
    /// It was told of, and the weld was not stopped.
    pub is_told: bool,
    /// Could any of its rules be judged in the trace?
    pub is_judged: bool,
    /// What was seen of it.
    pub seen: Seen,
}

impl Missed {
    /// Did an alarm of its rules stand, where it took a stop?
    pub fn only_warned(&self) -> bool {
        let own = || self.rules.iter().any(|&rule| self.seen.instead.contains(rule));
        self.is_told || self.is_stop && own()
    }
}

/// Something a person will want to check.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// By which of the procedures that are tried, from 0.
    pub of: usize,
    /// The rule.
    pub rule: Rule,
    /// The channel, where it is about one.
    pub channel: Option<Channel>,
    /// When, µs.
    pub time_us: u64,
    /// The fault that was missed; none for a false alarm.
    pub missed: Option<Missed>,
}

impl Told {
    /// Is it a false alarm, and not a miss?
    pub const fn is_false_alarm(&self) -> bool {
        self.missed.is_none()
    }
}

/// What a trace came to.
#[derive(Default)]
pub struct TraceScore {
    /// The faults.
    pub faults: Vec<Fault>,
    /// For each variant of the plan, a tally a rule.
    pub own: Vec<Vec<RuleTally>>,
    /// A tally for each lane of the plan.
    pub lanes: Vec<RuleTally>,
    /// Time in which nothing was wrong, µs.
    pub sound_us: u64,
    /// From the first row to the last, µs.
    pub duration_us: u64,
    /// Time of the last row, µs.
    pub last_us: u64,
    /// Rows.
    pub samples: u64,
    /// False alarms and misses of the procedures that are tried, the first of them.
    pub told: Vec<Told>,
    /// For each lane of the plan, the longest time for which its cause lasted on good welding, µs.
    pub longest_us: Vec<Option<u64>>,
    /// The tables of the first variant's bands and alarms, where they are written.
    pub tables: Option<JointTables>,
}

impl TraceScore {
    /// How the fault at `place` fares with a variant of the plan as it is.
    pub fn fate(&self, variant: usize, place: usize) -> Fate {
        let tallies = &self.own[variant];
        fate(&self.faults[place], place as u32, |rule| &tallies[rule as usize])
    }
}

/// Listens to the monitor of one variant.
struct Listener<'a> {
    marks: &'a Marks,
    severity: Severity,
    watches: Vec<RuleWatch>,
    told: Vec<Told>,
    /// Its place among the procedures that are tried, and what was seen of the faults by it.
    tried: Option<(usize, Witness<'a>)>,
    tables: Option<JointTables>,
    asked: RuleSet,
    tracks: Vec<Track>,
    /// So many findings a rule fill it.
    room: usize,
    is_full: bool,
}

impl Listener<'_> {
    fn tell_false(&mut self, alarm: &Raised) {
        if let Some((of, _)) = self.tried {
            let (rule, channel, time_us) = (alarm.rule, alarm.channel, alarm.time_us);
            self.tell(Told { of, rule, channel, time_us, missed: None });
        }
    }
    fn tell(&mut self, told: Told) {
        let kind = |told: &Told| (told.rule, told.is_false_alarm());
        let of_kind = |other: &&Told| kind(other) == kind(&told);
        if self.told.iter().filter(of_kind).count() < TOLD {
            self.told.push(told);
        }
    }
}

impl Sink for Listener<'_> {
    fn event(&mut self, event: &Event) {
        if let Some(tables) = &mut self.tables {
            tables.event(event);
        }
        let Event::Alarm(alarm) = event else { return };
        let settled = self.watches[alarm.rule as usize].take(alarm, self.marks, self.severity);
        if let Some((_, witness)) = &mut self.tried {
            witness.alarm(alarm);
        }
        if let Some((AlarmClass::False, alarm)) = settled {
            self.tell_false(&alarm);
        }
    }
    fn band(&mut self, record: &BandRecord) {
        if let Some(tables) = &mut self.tables {
            tables.band(record);
        }
    }
    fn joint(&mut self, record: &JointRecord) {
        if let Some(tables) = &mut self.tables {
            tables.joint(record);
        }
    }
    fn found(&mut self, rule: Rule, found: &Judgement, moment: &Moment) {
        if let Some((_, witness)) = &mut self.tried {
            witness.found(rule, found, moment);
        }
        if self.asked.contains(rule) {
            let track = &mut self.tracks[rule as usize];
            track.push(found, moment);
            self.is_full |= track.len() >= self.room;
        }
    }
}

/// A plan at work in one trace.
pub struct Pass<'a> {
    plan: &'a Plan,
    marks: &'a Marks,
    severity: Severity,
    variants: Vec<(Monitor, Listener<'a>)>,
    lanes: Vec<Lane>,
    block: Vec<Sample>,
    samples: u64,
    first_us: u64,
    last_us: u64,
}

impl<'a> Pass<'a> {
    /// Starts on a trace with this header and these faults; `severity` is the least that counts as an alarm.
    pub fn new(plan: &'a Plan, header: &TraceHeader, marks: &'a Marks, severity: Severity) -> Self {
        let acquisition = header.acquisition;
        let variants = plan.variants.iter().enumerate().map(|(variant, procedure)| {
            let asked = plan.asked(variant).fold(RuleSet::EMPTY, |asked, rule| match rule {
                // Its floor can hold it back.
                Rule::VoltageLow => asked.with(rule).with(Rule::TransferLowVoltage),
                _ => asked.with(rule),
            });
            let listener = Listener {
                marks,
                severity,
                watches: vec![RuleWatch::default(); Rule::COUNT],
                told: Vec::new(),
                tried: (variant < plan.tried).then(|| (variant, Witness::new(marks, procedure, severity))),
                tables: None,
                asked,
                tracks: vec![Track::default(); Rule::COUNT],
                room: (FINDINGS / plan.variants.len()).max(FEWEST_FINDINGS),
                is_full: false,
            };
            (Monitor::new(&sound(procedure), acquisition), listener)
        });
        Self {
            plan,
            marks,
            severity,
            variants: variants.collect(),
            lanes: plan.lanes.iter().map(|(_, setting)| Lane::new(*setting)).collect(),
            block: Vec::with_capacity(BLOCK),
            samples: 0,
            first_us: 0,
            last_us: 0,
        }
    }
    /// With bands and alarms of the first variant written to these tables.
    #[must_use]
    pub fn writing(mut self, tables: JointTables) -> Self {
        if let Some((_, listener)) = self.variants.first_mut() {
            listener.tables = Some(tables);
        }
        self
    }
    /// Takes one row.
    pub fn step(&mut self, row: &Row) {
        if self.samples == 0 {
            self.first_us = row.time_us;
        }
        self.samples += 1;
        self.last_us = self.last_us.max(row.time_us);
        self.block.push(row.to_sample());
        if self.block.len() == BLOCK {
            self.run_block();
        }
    }
    /// Ends the trace and tells what it came to.
    pub fn finish(mut self) -> TraceScore {
        self.run_block();
        for (monitor, listener) in &mut self.variants {
            monitor.finish(listener);
        }
        self.run_lanes();
        let (marks, last_us) = (self.marks, self.last_us);
        let longest_us = self.lanes.iter().map(Lane::longest_us).collect();
        let lanes = self.lanes.into_iter().map(|lane| lane.finish(marks, last_us)).collect();
        let mut score = TraceScore {
            faults: Fault::all(marks, &self.plan.variants[0]),
            lanes,
            sound_us: marks.sound_us(self.first_us, last_us),
            duration_us: last_us.saturating_sub(self.first_us),
            last_us,
            samples: self.samples,
            longest_us,
            ..TraceScore::default()
        };
        let mut listeners = Vec::new();
        for (variant, (monitor, mut listener)) in self.variants.into_iter().enumerate() {
            let watches = std::mem::take(&mut listener.watches);
            let tallies = Rule::ALL.into_iter().zip(watches).map(|(rule, watch)| {
                let (mut tally, left) = watch.finish(marks, last_us);
                for alarm in &left {
                    listener.tell_false(alarm);
                }
                if !can_be_judged(monitor.not_judged(rule)) {
                    tally.unjudged = named_by(&score.faults, rule);
                }
                tally
            });
            score.own.push(tallies.collect());
            if variant < self.plan.tried {
                ask_for_stops(&mut score, variant);
            }
            score.tables = score.tables.or(listener.tables.take());
            listeners.push(listener);
        }
        for (variant, mut listener) in listeners.into_iter().enumerate() {
            if let Some((of, witness)) = listener.tried.take() {
                tell_misses(&mut listener, &score, (of, variant), witness.finish(last_us));
                score.told.append(&mut listener.told);
            }
        }
        for (tally, (variant, setting)) in score.lanes.iter_mut().zip(&self.plan.lanes) {
            tally.unjudged.clone_from(&score.own[*variant][setting.rule() as usize].unjudged);
        }
        score
    }

    fn run_block(&mut self) {
        let block = &self.block;
        let run = |(monitor, listener): &mut (Monitor, Listener<'_>)| {
            for sample in block {
                monitor.step(sample, listener);
            }
        };
        match &mut self.variants[..] {
            // As most are: nothing to share out.
            [only] => run(only),
            all => all.par_iter_mut().for_each(run),
        }
        self.block.clear();
        if self.variants.iter().any(|(_, listener)| listener.is_full) {
            self.run_lanes();
        }
    }
    fn run_lanes(&mut self) {
        let (marks, severity) = (self.marks, self.severity);
        let found: Vec<&[Track]> = self.variants.iter().map(|(_, listener)| &listener.tracks[..]).collect();
        self.lanes.par_iter_mut().zip(&self.plan.lanes).with_min_len(SHARE).for_each(
            |(lane, (variant, _))| {
                let tracks = found[*variant];
                let floor = &tracks[Rule::TransferLowVoltage as usize];
                lane.run(&tracks[lane.rule() as usize], floor, marks, severity);
            },
        );
        for (_, listener) in &mut self.variants {
            listener.tracks.iter_mut().for_each(Track::clear);
            listener.is_full = false;
        }
    }
}

/// The faults that one of the procedures stops for must be stopped: those with a value below its floor, and
/// what else it has for a stop.
fn ask_for_stops(score: &mut TraceScore, variant: usize) {
    let tallies = &score.own[variant];
    for (place, fault) in (0_u32..).zip(&mut score.faults) {
        let stops = |rule: &Rule| {
            tallies[*rule as usize].candidate(place).is_some_and(|candidate| candidate.stop_us.is_some())
        };
        if fault.answering.iter().any(stops) {
            (fault.is_stop, fault.needs_a_stop) = (true, true);
        }
    }
}

/// The places of the faults that name a rule.
fn named_by(faults: &[Fault], rule: Rule) -> Vec<u32> {
    (0_u32..).zip(faults).filter(|(_, fault)| fault.named.contains(rule)).map(|(place, _)| place).collect()
}

/// Adds the faults that one of the procedures missed.
fn tell_misses(
    listener: &mut Listener<'_>,
    score: &TraceScore,
    (of, variant): (usize, usize),
    seen: Vec<Seen>,
) {
    for (place, seen) in seen.into_iter().enumerate() {
        let mark = &listener.marks.faults[place];
        let (is_judged, is_told) = match score.fate(variant, place) {
            Fate::Found { .. } => continue,
            Fate::Missed(miss) => (true, miss.only_warned),
            Fate::NotJudged(_) => (false, false),
        };
        let Some(rule) = mark.lead() else { continue };
        let (channel, time_us, rules) = (mark.channel, mark.start_us, mark.rules.clone());
        let missed = Missed { rules, is_stop: score.faults[place].is_stop, is_told, is_judged, seen };
        listener.tell(Told { of, rule, channel, time_us, missed: Some(missed) });
    }
}

/// Could the rule be judged from the start of the trace on?
const fn can_be_judged(reason: Option<NotJudged>) -> bool {
    !matches!(
        reason,
        Some(
            NotJudged::NoRange
                | NotJudged::NoChannel(_)
                | NotJudged::RateTooLow { .. }
                | NotJudged::StartUnseen
        )
    )
}
