//! What a report draws of a trace, kept while the trace streams by.
//!
//! Decides: what is kept: the extremes of every reading and of every judged value, over time and over
//! the circumference.
//! Assumes: it is shown every row, after the monitor has seen it.
//! Never: holds more than a fixed number of points a value, whatever the length of the trace.

mod drawn;
pub mod envelope;
pub mod joint_map;

use crate::raw::{from_raw, value};
use crate::trace::{Row, TraceHeader};
use bandward::monitor::TICK_US;
use bandward::{Channel, Monitor, Quantity};
pub use drawn::DRAWN;
use drawn::drawn_index;
use envelope::Envelope;
use joint_map::JointMap;

/// Points kept of a reading.
const READING_POINTS: usize = 8192;
/// Points kept of a judged value, which moves more slowly.
const JUDGED_POINTS: usize = 4096;

/// What a report draws of one trace.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// When the first row was taken, s.
    pub start_s: f64,
    /// When the last row was taken, s.
    pub end_s: f64,
    /// A longer stretch without a reading is a hole, s.
    pub gap_tolerance_s: f64,
    /// The readings of each channel with a column, in its unit.
    pub readings: Vec<(Channel, Envelope)>,
    /// What was held against the ranges, in the unit of each quantity.
    pub judged: Vec<(Quantity, Envelope)>,
    /// Angle from the start of the band, degrees.
    pub turned: Envelope,
    /// The joint, unrolled.
    pub joint: JointMap,
}

impl Recording {
    /// The course of a channel.
    pub fn reading(&self, channel: Channel) -> Option<&Envelope> {
        self.readings.iter().find(|(own, _)| *own == channel).map(|(_, envelope)| envelope)
    }
    /// The course of a judged value.
    pub fn judged(&self, quantity: Quantity) -> Option<&Envelope> {
        self.judged.iter().find(|(own, _)| *own == quantity).map(|(_, envelope)| envelope)
    }
}

/// Keeps a recording while a trace streams by.
#[derive(Debug)]
pub struct Recorder {
    header: TraceHeader,
    recording: Option<Recording>,
    judged_us: Option<u64>,
}

impl Recorder {
    /// For a trace with this header.
    pub fn new(header: &TraceHeader) -> Self {
        Self { header: header.clone(), recording: None, judged_us: None }
    }
    /// Takes a row that `monitor` has just seen.
    #[inline]
    pub fn take(&mut self, row: &Row, monitor: &Monitor) {
        let header = &self.header;
        let recording = self.recording.get_or_insert_with(|| begin(header, row.time_us));
        recording.end_s = recording.end_s.max(row.time_us as f64 / 1e6);
        for (channel, envelope) in &mut recording.readings {
            if let Some(reading) = row.get(*channel) {
                envelope.push(row.time_us, reading);
            }
        }
        // The monitor judges no more often than this.
        if self.judged_us.is_none_or(|last_us| row.time_us.abs_diff(last_us) >= TICK_US) {
            self.judged_us = Some(row.time_us);
            take_judged(recording, row.time_us, monitor);
        }
    }
    /// What was kept; `None` of a trace without rows.
    pub fn finish(self) -> Option<Recording> {
        self.recording
    }
}

fn begin(header: &TraceHeader, start_us: u64) -> Recording {
    let period_us = u64::from(header.acquisition.period_us);
    let judged = || Envelope::new(start_us, period_us.max(TICK_US), JUDGED_POINTS);
    Recording {
        start_s: start_us as f64 / 1e6,
        end_s: start_us as f64 / 1e6,
        gap_tolerance_s: f64::from(header.acquisition.gap_tolerance_us) / 1e6,
        readings: header
            .acquisition
            .channels
            .iter()
            .map(|channel| (channel, Envelope::new(start_us, period_us, READING_POINTS)))
            .collect(),
        judged: DRAWN.map(|quantity| (quantity, judged())).to_vec(),
        turned: judged(),
        joint: JointMap::default(),
    }
}

fn take_judged(recording: &mut Recording, time_us: u64, monitor: &Monitor) {
    let position = monitor.position();
    let turned_deg = position.turned.map(value);
    if let Some(turned_deg) = turned_deg {
        recording.turned.push(time_us, turned_deg);
    }
    for (quantity, envelope) in &mut recording.judged {
        let Some(raw) = monitor.reading(*quantity) else { continue };
        let judged = from_raw(raw, quantity.fraction_bits());
        envelope.push(time_us, judged);
        if let Some(turned_deg) = turned_deg {
            recording.joint.push(position.band, turned_deg, *quantity, judged);
        }
    }
}
