//! A recorded trace through the monitoring core.
//!
//! Decides: what of the core's messages is kept, and as which alarm.
//! Assumes: rows as the reader gives them.
//! Never: judges; every verdict is the core's.

use crate::alarm::Alarm;
use crate::dossier::{Dossier, Seen, Sources};
use crate::findings::{
    self, Finding,
    band_history::{BandHistories, BandHistory, Stretch},
};
use crate::input::setting::raw_value;
use crate::inspection::course::{HeightCourse, courses};
use crate::raw::from_raw;
use crate::trace::set_back::SetBack;
use crate::trace::{Row, TraceHeader};
use bandward::sample::ChannelSet;
use bandward::units::Degrees;
use bandward::{
    AlarmEvent, AlarmKind, BandRecord, Channel, Event, JointRecord, Monitor, NotJudged, Outcome, Phase,
    Procedure, Quantity, Rule, Sample, Severity, Sink, SoundProcedure,
};

/// What is known of the trace as a whole.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceSummary {
    /// The file, as it was named.
    pub path: String,
    /// Rows read.
    pub samples: u64,
    /// Nominal time between rows, µs.
    pub period_us: u32,
    /// From the first row to the last, µs.
    pub duration_us: u64,
    /// Waits longer than the tolerance.
    pub gaps: u32,
    /// Rows from the past, left out.
    pub out_of_order: u32,
    /// When the first row was written, where the trace tells.
    pub start: Option<String>,
    /// Where its clock was set back.
    pub set_backs: Vec<SetBack>,
    /// Channels with a column.
    pub channels: ChannelSet,
}

/// All that a replay found.
#[derive(Clone, Debug, PartialEq)]
pub struct Replay {
    /// The trace.
    pub trace: TraceSummary,
    /// Rules that were not judged, or not all the time, and why.
    pub not_judged: Vec<(Rule, NotJudged)>,
    /// The joints, in order.
    pub joints: Vec<JointRecord>,
    /// The bands, in order.
    pub bands: Vec<BandRecord>,
    /// The alarms, in the order they were raised.
    pub alarms: Vec<Alarm>,
    /// Those that stood on in a later band, as of that band.
    pub carried: Vec<Alarm>,
    /// Changes of the arc phase: time in µs, new phase, band.
    pub phases: Vec<(u64, Phase, u16)>,
    /// Arcs that became no band: when they were struck and how long they burned, µs.
    pub tacks: Vec<(u64, u64)>,
    /// Likely causes of what is wrong, most likely first.
    pub findings: Vec<Finding>,
    /// The heights that are to be expected along the bands.
    pub heights: Vec<HeightCourse>,
    /// Which joint it is, what was found on the finished bands, and what is to be repaired; empty until
    /// [`Replay::attach`].
    pub dossier: Dossier,
}

impl Replay {
    /// What it all comes to: as bad as its worst joint, and as what came with the trace.
    pub fn outcome(&self) -> Outcome {
        let joints = self.joints.iter().map(|joint| self.outcome_of_joint(joint)).max();
        joints.unwrap_or_default().max(self.dossier.outcome())
    }
    /// What a joint of it comes to: by the trace, and by all that came with it.
    pub fn outcome_of_joint(&self, joint: &JointRecord) -> Outcome {
        joint.outcome.max(self.dossier.outcome_of(joint.joint))
    }
    /// What the trace alone comes to: as bad as its worst joint.
    pub fn outcome_of_trace(&self) -> Outcome {
        self.joints.iter().map(|joint| joint.outcome).max().unwrap_or_default()
    }
    /// Takes what came with the trace.
    pub fn attach(&mut self, sources: &Sources<'_>) {
        self.dossier = Dossier::of(
            sources,
            &Seen {
                start: self.trace.start.as_deref(),
                joints: &self.joints,
                bands: &self.bands,
                alarms: &self.alarms,
                carried: &self.carried,
                findings: &self.findings,
                heights: &self.heights,
            },
        );
    }
    /// What belongs to one joint of it; what is known of the log as a whole stays.
    #[must_use]
    pub fn only(&self, joint: u16) -> Self {
        if self.joints.len() < 2 {
            return self.clone();
        }
        let own = self.joints.iter().find(|one| one.joint == joint);
        let is_within = |time_us: u64| own.is_some_and(|own| (own.start_us..=own.end_us).contains(&time_us));
        Self {
            joints: own.into_iter().copied().collect(),
            bands: self.bands.iter().filter(|band| band.joint == joint).copied().collect(),
            alarms: self.alarms.iter().filter(|alarm| alarm.joint == joint).copied().collect(),
            carried: self.carried.iter().filter(|alarm| alarm.joint == joint).copied().collect(),
            phases: self.phases.iter().filter(|(time_us, ..)| is_within(*time_us)).copied().collect(),
            tacks: self.tacks.iter().filter(|(time_us, _)| is_within(*time_us)).copied().collect(),
            findings: self.findings.iter().filter(|finding| finding.joint == joint).cloned().collect(),
            dossier: self.dossier.only(joint),
            ..self.clone()
        }
    }
    /// Was a procedure named that asks for nothing? Then nothing was judged, though somebody wanted it.
    pub fn limits_nothing(&self) -> bool {
        self.dossier.has_procedure && self.outcome() == Outcome::NotAsked
    }
    /// Was anything found that needs no procedure to be wrong: a fault of the weld or of the measuring?
    pub fn has_faults(&self) -> bool {
        self.alarms.iter().any(|alarm| alarm.severity >= Severity::Warn)
    }
}

/// Keeps what the core says.
#[derive(Debug, Default)]
pub struct Keeper {
    /// The joints, in order.
    pub joints: Vec<JointRecord>,
    /// The bands, in order.
    pub bands: Vec<BandRecord>,
    /// The alarms, in the order they were raised.
    pub alarms: Vec<Alarm>,
    /// Changes of the arc phase: time in µs, new phase, band.
    pub phases: Vec<(u64, Phase, u16)>,
    /// Arcs that became no band: when they were struck and how long they burned, µs.
    pub tacks: Vec<(u64, u64)>,
}

impl Sink for Keeper {
    fn event(&mut self, event: &Event) {
        match event {
            Event::Phase { time_us, phase, band } => self.phases.push((*time_us, *phase, *band)),
            Event::Tack { time_us, arc_time_us } => self.tacks.push((*time_us, *arc_time_us)),
            Event::Alarm(alarm) => self.alarm(alarm),
        }
    }
    fn band(&mut self, record: &BandRecord) {
        self.bands.push(*record);
    }
    fn joint(&mut self, record: &JointRecord) {
        self.joints.push(*record);
    }
}

impl Keeper {
    fn alarm(&mut self, event: &AlarmEvent) {
        if event.kind == AlarmKind::Raised {
            let joint = self.joints.len() as u16 + 1;
            self.alarms.push(Alarm::raised(event, joint));
        } else if let Some(open) = self.alarms.iter_mut().rev().find(|alarm| alarm.is_about(event)) {
            open.follow(event);
        }
    }
}

/// Watches rows as a board would watch samples.
pub struct Replayer {
    monitor: Monitor,
    keeper: Keeper,
    courses: BandHistories,
    /// Alarms that stood on in a later band.
    carried: Vec<Alarm>,
    /// Likely causes on the joints that are done.
    findings: Vec<Finding>,
    /// Heights to be expected on the joints that are done.
    heights: Vec<HeightCourse>,
    joints_searched: u16,
    procedure: Procedure,
    header: TraceHeader,
    samples: u64,
    first_us: u64,
    last_us: u64,
}

impl Replayer {
    /// Starts on a trace with this header.
    ///
    /// # Panics
    /// The procedure is not sound, which no procedure file is that was read.
    pub fn new(procedure: &Procedure, header: &TraceHeader) -> Self {
        Self {
            monitor: Monitor::new(&sound(procedure), header.acquisition),
            keeper: Keeper::default(),
            courses: BandHistories::default(),
            carried: Vec::new(),
            findings: Vec::new(),
            heights: Vec::new(),
            joints_searched: 0,
            procedure: procedure.clone(),
            header: header.clone(),
            samples: 0,
            first_us: 0,
            last_us: 0,
        }
    }
    /// Takes one row.
    #[inline]
    pub fn step(&mut self, row: &Row) {
        self.step_with(row, &row.to_sample());
    }
    /// Takes one row, which is this sample for the core.
    #[inline]
    pub fn step_with(&mut self, row: &Row, sample: &Sample) {
        if self.samples == 0 {
            self.first_us = row.time_us;
        }
        self.samples += 1;
        self.last_us = self.last_us.max(row.time_us);
        self.monitor.step(sample, &mut self.keeper);
        self.find_causes();
        if let Some(&(_, phase, band)) = self.keeper.phases.last() {
            self.courses.observe(row, phase, band);
        }
    }
    /// A new joint begins with the next row; where a band is open, as soon as it is over.
    pub fn mark_joint(&mut self, time_us: u64) {
        self.monitor.mark_joint(time_us, &mut self.keeper);
        self.find_causes();
    }
    /// The core at its work, to read what it holds against the ranges.
    pub fn monitor(&self) -> &Monitor {
        &self.monitor
    }
    /// Ends the watch and tells what was found.
    pub fn finish(mut self) -> Replay {
        self.monitor.finish(&mut self.keeper);
        self.find_causes();
        let not_judged =
            Rule::ALL.into_iter().filter_map(|rule| Some((rule, self.monitor.not_judged(rule)?))).collect();
        let Keeper { joints, bands, alarms, phases, tacks } = self.keeper;
        Replay {
            trace: TraceSummary {
                path: self.header.path,
                samples: self.samples,
                period_us: self.header.acquisition.period_us,
                duration_us: self.last_us.saturating_sub(self.first_us),
                gaps: self.monitor.gaps(),
                out_of_order: self.monitor.out_of_order(),
                start: self.header.start,
                set_backs: Vec::new(),
                channels: self.header.acquisition.channels,
            },
            not_judged,
            joints,
            bands,
            alarms,
            carried: self.carried,
            phases,
            tacks,
            findings: self.findings,
            heights: self.heights,
            dossier: Dossier::default(),
        }
    }
    /// Looks for causes on every joint that is done and was not looked at.
    fn find_causes(&mut self) {
        let Some(joint) = self.keeper.joints.last().filter(|joint| joint.joint > self.joints_searched) else {
            return;
        };
        self.joints_searched = joint.joint;
        let bands: Vec<_> =
            self.keeper.bands.iter().filter(|band| band.joint == joint.joint).copied().collect();
        let (histories, live) = std::mem::take(&mut self.courses).into_bands();
        let history_of = |band: u16| histories.iter().find(|history| history.band == band);
        let of_joint = |alarm: &&mut Alarm| alarm.joint == joint.joint;
        for alarm in self.keeper.alarms.iter_mut().filter(of_joint) {
            self.carried.extend(bands.iter().filter_map(|band| alarm.stood_in(band)));
            let Some(history) = history_of(alarm.band) else { continue };
            let start_us = bands.iter().find(|band| band.band == alarm.band).map(|band| band.start_us);
            alarm.put_back(|time_us| turned_at(history, start_us?, time_us).map(degrees));
            if alarm.rule == Rule::GasPreflow {
                alarm.gas_came_at = gas_came_at(history, &self.procedure).map(degrees);
            }
        }
        for alarm in self.keeper.alarms.iter_mut().chain(&mut self.carried).filter(of_joint) {
            let until = history_of(alarm.band)
                .and_then(|history| history.turned_at(alarm.cleared_us.unwrap_or(u64::MAX)));
            alarm.cleared_at = until.map(degrees);
        }
        let alarms: Vec<_> =
            self.keeper.alarms.iter().filter(|alarm| alarm.joint == joint.joint).copied().collect();
        self.heights.extend(courses(&self.procedure, &bands, &histories));
        let found = findings::find(&self.procedure, &bands, &alarms, &histories, &live);
        self.findings.extend(found.into_iter().map(|finding| Finding { joint: joint.joint, ..finding }));
    }
}

/// The angle turned since the strike, degrees; a history begins with the settled arc, and until then the pipe turns evenly.
fn turned_at(history: &BandHistory, start_us: u64, time_us: u64) -> Option<f64> {
    match history.stretches.first() {
        Some(first) if time_us < first.from_us => {
            let before_us = first.from_us.saturating_sub(start_us).max(1);
            Some(first.from_deg? * time_us.saturating_sub(start_us) as f64 / before_us as f64)
        }
        _ => history.turned_at(time_us),
    }
}

/// The angle at which gas flowed as it may for the first time, degrees.
fn gas_came_at(history: &BandHistory, procedure: &Procedure) -> Option<f64> {
    let limits = procedure.limits(Quantity::GasFlow)?;
    let least = from_raw(limits.allowed.or(limits.recommended)?.low, Quantity::GasFlow.fraction_bits());
    let flows = |stretch: &&Stretch| history.mean(stretch, Channel::Gas) >= Some(least);
    history.stretches.iter().find(flows).or(history.stretches.last())?.from_deg
}

/// An angle as the core holds it.
fn degrees(degrees: f64) -> Degrees {
    Degrees::from_bits(raw_value(degrees, Degrees::FRACTION_BITS))
}

/// A procedure the core can watch by.
///
/// # Panics
/// It is not sound; whoever reads one from a file, or changes one, has checked it.
pub fn sound(procedure: &Procedure) -> SoundProcedure {
    SoundProcedure::try_from(procedure.clone()).expect("a procedure is checked when it is read")
}
