//! Everything a monitor says, kept.

use bandward::sample::ChannelSet;
use bandward::{
    Acquisition, AlarmEvent, AlarmKind, BandRecord, Channel, Event, JointRecord, Monitor, Phase, Procedure,
    Rule, Sample, Sink,
};
use bandward_sim::replay::sound;

/// A sink that keeps all it is told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Heard {
    /// Events in the order they came.
    pub events: Vec<Event>,
    /// Records in the order they came.
    pub bands: Vec<BandRecord>,
    /// Joints in the order they were done.
    pub joints: Vec<JointRecord>,
}

impl Sink for Heard {
    fn event(&mut self, event: &Event) {
        self.events.push(*event);
    }
    fn band(&mut self, record: &BandRecord) {
        self.bands.push(*record);
    }
    fn joint(&mut self, record: &JointRecord) {
        self.joints.push(*record);
    }
}

impl Heard {
    /// What happened to the alarms of a rule.
    pub fn alarms(&self, rule: Rule) -> Vec<AlarmEvent> {
        let alarms = self.events.iter().filter_map(|event| match event {
            Event::Alarm(alarm) if alarm.rule == rule => Some(*alarm),
            _ => None,
        });
        alarms.collect()
    }
    /// When an alarm of a rule was first raised, s.
    pub fn raised_s(&self, rule: Rule) -> Option<f64> {
        let raised = self.alarms(rule).into_iter().find(|alarm| alarm.kind == AlarmKind::Raised)?;
        Some(raised.time_us as f64 / 1e6)
    }
    /// The phases in the order they came, with their times, s.
    pub fn phases(&self) -> Vec<(f64, Phase)> {
        let phases = self.events.iter().filter_map(|event| match event {
            Event::Phase { time_us, phase, .. } => Some((*time_us as f64 / 1e6, *phase)),
            Event::Tack { .. } | Event::Alarm(_) => None,
        });
        phases.collect()
    }
}

/// Samples that come every `period_us`, all `channels` wired; a gap is three periods, half a second at
/// least.
pub fn acquisition(period_us: u32, channels: &[Channel]) -> Acquisition {
    let channels = channels.iter().fold(ChannelSet::EMPTY, |set, &channel| set.with(channel));
    Acquisition { gap_tolerance_us: (3 * period_us).max(500_000), ..Acquisition::every(period_us, channels) }
}

/// Watches all samples to the end.
#[allow(clippy::needless_pass_by_value)] // it is done with: the monitor keeps its own
pub fn watch(
    procedure: Procedure,
    acquisition: Acquisition,
    samples: impl IntoIterator<Item = Sample>,
) -> (Heard, Monitor) {
    let (mut heard, mut monitor) = (Heard::default(), Monitor::new(&sound(&procedure), acquisition));
    for sample in samples {
        monitor.step(&sample, &mut heard);
    }
    monitor.finish(&mut heard);
    (heard, monitor)
}

/// An arc of about `volts` and `amps` whose readings move in their last digits, as real ones do.
pub fn arc(sample: Sample, amps: f64, volts: f64) -> Sample {
    // A fixed wobble of the time: two thousandths either way.
    let wobble = 1.0 + ((sample.time_us / 20 * 7919 % 401) as f64 - 200.0) * 1e-5;
    with(with(sample, Channel::Current, amps * wobble), Channel::Voltage, volts * (2.0 - wobble))
}

/// With a reading in the unit of its channel.
pub fn with(sample: Sample, channel: Channel, value: f64) -> Sample {
    sample.with_raw(channel, bandward_sim::trace::row::raw_from_value(channel, value))
}

/// A value as the raw bits of a quantity with so many fraction bits.
pub fn raw(value: f64, fraction_bits: u32) -> i32 {
    (value * f64::from(1_u32 << fraction_bits)).round() as i32
}
