//! Once through a trace, for every setting at once.
//!
//! Decides: how much is held before the settings are run over it.
//! Assumes: rows in the order of the trace.
//! Never: holds more than a block of samples and of findings a rule, whatever the length of the trace.

use super::lane::{Lane, Track};
use super::marks::{AlarmClass, Marks};
use super::noise::Noise;
use super::plan::Plan;
use super::score::{RuleScore, RuleWatch};
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

/// Something a person will want to check.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// The rule.
    pub rule: Rule,
    /// The channel, where it is about one.
    pub channel: Option<Channel>,
    /// When, µs.
    pub time_us: u64,
    /// A false alarm; otherwise a miss.
    pub is_false_alarm: bool,
}

/// What a trace came to.
#[derive(Default)]
pub struct TraceScore {
    /// For each variant of the plan, a score a rule.
    pub own: Vec<Vec<RuleScore>>,
    /// A score for each lane of the plan.
    pub lanes: Vec<RuleScore>,
    /// Time in which nothing was wrong, µs.
    pub sound_us: u64,
    /// From the first row to the last, µs.
    pub duration_us: u64,
    /// Time of the last row, µs.
    pub last_us: u64,
    /// Rows.
    pub samples: u64,
    /// False alarms and misses of the first variant, the first of them.
    pub told: Vec<Told>,
    /// For each lane of the plan, the longest time for which its cause lasted on good welding, µs.
    pub longest_us: Vec<Option<u64>>,
    /// For each rule that has a lane, how far its value wanders on good welding.
    pub noise: Vec<Noise>,
    /// The tables of the first variant's bands and alarms, where they are written.
    pub tables: Option<JointTables>,
}

/// Listens to the monitor of one variant.
struct Listener<'a> {
    marks: &'a Marks,
    severity: Severity,
    watches: Vec<RuleWatch>,
    told: Vec<Told>,
    tables: Option<JointTables>,
    asked: RuleSet,
    tracks: Vec<Track>,
    noise: Vec<Noise>,
    /// So many findings a rule fill it.
    room: usize,
    is_full: bool,
}

impl Listener<'_> {
    fn tell(&mut self, told: Told) {
        let of_kind = |other: &&Told| (other.rule, other.is_false_alarm) == (told.rule, told.is_false_alarm);
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
        let verdict = self.watches[alarm.rule as usize].take(alarm, self.marks, self.severity);
        if verdict == Some(AlarmClass::False) {
            let (rule, channel, time_us) = (alarm.rule, alarm.channel, alarm.time_us);
            self.tell(Told { rule, channel, time_us, is_false_alarm: true });
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
        if self.asked.contains(rule) {
            let track = &mut self.tracks[rule as usize];
            track.push(found, moment);
            self.is_full |= track.len() >= self.room;
            let value = match found {
                Judgement::Judged { value, .. } => Some(*value),
                Judgement::NotApplicable | Judgement::Unknown => None,
            };
            let now_us = moment.now_us;
            self.noise[rule as usize].take(value, now_us, || self.marks.is_sound(now_us));
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
        let faults = marks.faults.len();
        let variants = plan.variants.iter().enumerate().map(|(variant, procedure)| {
            let asked = plan.asked(variant).fold(RuleSet::EMPTY, |asked, rule| match rule {
                // Its floor can hold it back.
                Rule::VoltageLow => asked.with(rule).with(Rule::TransferLowVoltage),
                _ => asked.with(rule),
            });
            let listener = Listener {
                marks,
                severity,
                watches: vec![RuleWatch::new(faults); Rule::COUNT],
                told: Vec::new(),
                tables: None,
                asked,
                tracks: vec![Track::default(); Rule::COUNT],
                noise: vec![Noise::default(); Rule::COUNT],
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
            lanes: plan.lanes.iter().map(|(_, setting)| Lane::new(*setting, faults)).collect(),
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
        let judged = |variant: usize, rule| can_be_judged(self.variants[variant].0.not_judged(rule));
        let own = self.variants.iter().enumerate().map(|(variant, (_, listener))| {
            let scores = Rule::ALL.into_iter().zip(&listener.watches);
            scores.map(|(rule, watch)| watch.score(rule, self.marks, judged(variant, rule))).collect()
        });
        let lanes = self.lanes.iter().zip(&self.plan.lanes).map(|(lane, (variant, _))| {
            lane.watch().score(lane.rule(), self.marks, judged(*variant, lane.rule()))
        });
        let (own, lanes) = (own.collect(), lanes.collect());
        let (_, first) = &mut self.variants[0];
        for (index, mark) in self.marks.faults.iter().enumerate() {
            let Some(rule) = mark.rule else { continue };
            if first.watches[rule as usize].found_us(index).is_none() {
                let (channel, time_us) = (mark.channel, mark.start_us);
                first.tell(Told { rule, channel, time_us, is_false_alarm: false });
            }
        }
        let told = std::mem::take(&mut first.told);
        let (tables, noise) = (first.tables.take(), std::mem::take(&mut first.noise));
        TraceScore {
            own,
            lanes,
            sound_us: self.marks.sound_us(self.first_us, self.last_us),
            duration_us: self.last_us.saturating_sub(self.first_us),
            last_us: self.last_us,
            samples: self.samples,
            longest_us: self.lanes.iter().map(Lane::longest_us).collect(),
            noise,
            told,
            tables,
        }
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
