//! A recorded trace through the monitoring core.
//!
//! Decides: what of the core's messages is kept, and as which alarm.
//! Assumes: rows as the reader gives them.
//! Never: judges; every verdict is the core's.

use crate::alarm::Alarm;
use crate::findings::{self, Finding, band_history::BandHistories};
use crate::trace::{Row, TraceHeader};
use bandward::sample::ChannelSet;
use bandward::{
    Acquisition, AlarmEvent, AlarmKind, BandRecord, Event, Monitor, NotJudged, Phase, Procedure, Rule,
    Severity, Sink,
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
    /// The bands, in order.
    pub bands: Vec<BandRecord>,
    /// The alarms, in the order they were raised.
    pub alarms: Vec<Alarm>,
    /// Changes of the arc phase: time in µs, new phase, band.
    pub phases: Vec<(u64, Phase, u16)>,
    /// Likely causes of what is wrong, most likely first.
    pub findings: Vec<Finding>,
}

impl Replay {
    /// Was nothing outside the procedure?
    pub fn is_within_procedure(&self) -> bool {
        self.alarms.iter().all(|alarm| alarm.severity < Severity::Warn)
    }
}

/// Keeps what the core says.
#[derive(Debug, Default)]
pub struct Keeper {
    /// The bands, in order.
    pub bands: Vec<BandRecord>,
    /// The alarms, in the order they were raised.
    pub alarms: Vec<Alarm>,
    /// Changes of the arc phase: time in µs, new phase, band.
    pub phases: Vec<(u64, Phase, u16)>,
}

impl Sink for Keeper {
    fn event(&mut self, event: &Event) {
        match event {
            Event::Phase { time_us, phase, band } => self.phases.push((*time_us, *phase, *band)),
            Event::Alarm(alarm) => self.alarm(alarm),
        }
    }
    fn band(&mut self, record: &BandRecord) {
        self.bands.push(*record);
    }
}

impl Keeper {
    fn alarm(&mut self, event: &AlarmEvent) {
        if event.kind == AlarmKind::Raised {
            self.alarms.push(Alarm::raised(event));
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
    procedure: Procedure,
    header: TraceHeader,
    samples: u64,
    first_us: u64,
    last_us: u64,
}

impl Replayer {
    /// Starts on a trace with this header.
    pub fn new(procedure: &Procedure, header: &TraceHeader) -> Self {
        let acquisition = Acquisition {
            period_us: header.period_us,
            gap_tolerance_us: header.gap_tolerance_us,
            channels: header.channels,
        };
        Self {
            monitor: Monitor::new(procedure.clone(), acquisition),
            keeper: Keeper::default(),
            courses: BandHistories::default(),
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
        if self.samples == 0 {
            self.first_us = row.time_us;
        }
        self.samples += 1;
        self.last_us = self.last_us.max(row.time_us);
        self.monitor.step(&row.to_sample(), &mut self.keeper);
        if let Some(&(_, phase, band)) = self.keeper.phases.last() {
            self.courses.observe(row, phase, band);
        }
    }
    /// The core at its work, to read what it holds against the ranges.
    pub fn monitor(&self) -> &Monitor {
        &self.monitor
    }
    /// Ends the watch and tells what was found.
    pub fn finish(mut self) -> Replay {
        self.monitor.finish(&mut self.keeper);
        let not_judged =
            Rule::ALL.into_iter().filter_map(|rule| Some((rule, self.monitor.not_judged(rule)?))).collect();
        let Keeper { bands, alarms, phases } = self.keeper;
        let findings = findings::find(&self.procedure, &bands, &alarms, &self.courses.into_bands());
        Replay {
            trace: TraceSummary {
                path: self.header.path,
                samples: self.samples,
                period_us: self.header.period_us,
                duration_us: self.last_us.saturating_sub(self.first_us),
                gaps: self.monitor.gaps(),
                out_of_order: self.monitor.out_of_order(),
                start: self.header.start,
                channels: self.header.channels,
            },
            not_judged,
            bands,
            alarms,
            phases,
            findings,
        }
    }
}
