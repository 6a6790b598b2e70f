//! Bands of made joints against sums of the test's own over samples that are all kept.
//!
//! Decides: what a band record owes by its fields' descriptions, where no spindle tells of turning: an arc is one band as
//! long as it is never out for the join time; what burns for less than five seconds is a tack; means, extremes and
//! times are those of the samples with the arc burning; a limit that no sample of a band passes is held, and one that
//! every sample of it passes is broken, where the arc burned on for long enough after its strikes; where it did not, it
//! is not proven because of that. That the same samples, later and with a reading on a channel that is not wired, come to
//! the same.
//! Assumes: samples at even times, every reading in its place, no leaps; what lies too near a threshold in time ends the
//! claims, and so does an arc that burns for longer than a tack and never for a strike's second without a break.
//! Never: looks at a window of the core, or at a tracker.

use crate::bytes::Bytes;
use bandward::procedure::{Limits, Range};
use bandward::record::proof::{Proof, Why};
use bandward::sample::ChannelSet;
use bandward::units::{Current, Length, Voltage};
use bandward::{
    Acquisition, AlarmEvent, AlarmKind, BandRecord, Channel, Event, JointRecord, Monitor, Procedure,
    Quantity, Rule, Sample, Sink,
};
use bandward_sim::replay::sound;

/// All that the monitor says.
#[derive(Clone, Debug, Default, PartialEq)]
struct Heard {
    events: Vec<Event>,
    bands: Vec<BandRecord>,
    joints: Vec<JointRecord>,
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
    /// The same, so much earlier; what has no time stays without.
    fn earlier(mut self, by_us: u64) -> Self {
        let earlier = |time_us: &mut u64| *time_us = time_us.saturating_sub(by_us);
        for event in &mut self.events {
            match event {
                Event::Phase { time_us, .. } | Event::Tack { time_us, .. } => earlier(time_us),
                Event::Alarm(AlarmEvent { time_us, onset_us, .. }) => {
                    earlier(time_us);
                    earlier(onset_us);
                }
            }
        }
        let bands = self.bands.iter_mut().map(|band| (&mut band.start_us, &mut band.end_us));
        let joints = self.joints.iter_mut().map(|joint| (&mut joint.start_us, &mut joint.end_us));
        for (start_us, end_us) in bands.chain(joints) {
            earlier(start_us);
            earlier(end_us);
        }
        self
    }
}

/// What one sample reads, raw.
#[derive(Clone, Copy)]
struct Reading {
    amps: i32,
    volts: i32,
    gas: i32,
}

const ONE: i32 = 1 << 12;
/// Up to 128 A and 4 V more: no change of these is far enough for a spike, which would be held back.
const LEAST_AMPS: i32 = 200 * ONE;
const LEAST_VOLTS: i32 = 26 * ONE;
/// So many samples at most: some bands, and little work.
const MOST: usize = 500;
/// What is still is told to the millisecond of a clock that ticks by powers of two: so are these.
/// At none of them nothing is run again.
const LATER_US: [u64; 6] = [0, 0, 0, (1 << 32) - (1 << 23), (1 << 40) - (1 << 24), (1 << 63) - (1 << 23)];
/// A strike has settled after this.
const STRIKE_US: u64 = 1_000_000;
/// After a strike nothing is judged for so long: while it settles, and until half of the means over a second is there.
const SETTLES_US: u64 = STRIKE_US + 500_000 + 200_000;
/// An arc that is struck more often owes no judgement.
const MOST_STRIKES: usize = 6;
/// Burns no longer than a tack, and longer than one.
const TACK_US: u64 = 5_000_000;
const AT_ONCE_US: u64 = 1_000_000;

fn readings(bytes: &mut Bytes<'_>, period_us: u64) -> Vec<Reading> {
    let mut draw = u64::from(bytes.word());
    let mut noise = |size: i32| {
        // Knuth's linear congruential generator (MMIX).
        draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (draw >> 33) as i32 % (2 * size + 1) - size
    };
    let mut readings = Vec::new();
    let mut stretch = |tenths: u64, lit: Option<(i32, i32)>, open: bool, gas: bool| {
        let samples = (tenths * 100_000 / period_us) as usize;
        for _ in 0..samples.min(MOST.saturating_sub(readings.len())) {
            let (amps, volts) = match lit {
                Some((amps, volts)) => (amps + noise(2 * ONE), volts + noise(ONE / 5)),
                None => (0, if open { 70 * ONE + noise(ONE / 5) } else { 0 }),
            };
            readings.push(Reading { amps, volts, gas: if gas { 15 * ONE + noise(ONE / 5) } else { 0 } });
        }
    };
    stretch(5, None, false, false);
    while !bytes.is_empty() {
        let kind = bytes.byte();
        let tenths = u64::from(bytes.byte()) + 1;
        let lit = (kind & 3 != 0).then(|| {
            (LEAST_AMPS + i32::from(bytes.byte()) * ONE / 2, LEAST_VOLTS + i32::from(bytes.byte()) * ONE / 64)
        });
        stretch(tenths, lit, kind & 4 != 0, kind & 8 == 0);
    }
    readings
}

fn procedure(bytes: &mut Bytes<'_>) -> (Procedure, [Range; 2]) {
    let mut range = |least: i32, unit: i32| {
        let low = least + i32::from(bytes.byte()) * unit;
        Range { low, high: low + (1 + i32::from(bytes.byte())) * unit }
    };
    let ranges = [range(LEAST_AMPS, ONE / 2), range(LEAST_VOLTS, ONE / 64)];
    let mut procedure = Procedure::new();
    for (quantity, range) in [Quantity::Current, Quantity::Voltage].into_iter().zip(ranges) {
        procedure = procedure.with_limits(quantity, Limits::allowed(range)).expect("low is below high");
    }
    (procedure, ranges)
}

/// A log: its period, and how often the gas is read.
#[derive(Clone, Copy)]
struct Log<'a> {
    period_us: u64,
    gas_every: usize,
    readings: &'a [Reading],
}

fn heard(procedure: &Procedure, log: Log<'_>, start_us: u64, is_odd: bool) -> Heard {
    let Log { period_us, gas_every, readings } = log;
    let channels = ChannelSet::ELECTRICAL.with(Channel::Gas);
    let acquisition = Acquisition::every(period_us as u32, channels);
    let (mut heard, mut monitor) = (Heard::default(), Monitor::new(&sound(procedure), acquisition));
    for (index, reading) in readings.iter().enumerate() {
        let sample = Sample::at(start_us + index as u64 * period_us)
            .with_raw(Channel::Current, reading.amps)
            .with_raw(Channel::Voltage, reading.volts);
        let is_slow = index % gas_every == 0;
        let sample = if is_slow { sample.with_raw(Channel::Gas, reading.gas) } else { sample };
        let sample = if is_odd { sample.carriage(Length::ZERO) } else { sample };
        monitor.step(&sample, &mut heard);
    }
    monitor.finish(&mut heard);
    heard
}

/// An arc, first and last sample of every time it burned without a break.
#[derive(Clone, Debug, Default)]
struct Arc {
    runs: Vec<(usize, usize)>,
}

/// The bands and the tacks that these samples owe; none where something lies too near a threshold.
fn arcs(readings: &[Reading], period_us: u64, join_us: u64) -> Option<Vec<(Arc, bool)>> {
    let mut arcs: Vec<(Arc, bool)> = Vec::new();
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for (index, _) in readings.iter().enumerate().filter(|(_, reading)| reading.amps > 0) {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == index => *last = index,
            _ => runs.push((index, index)),
        }
    }
    let near = |one_us: u64, other_us: u64| one_us.abs_diff(other_us) <= 100_000 + 3 * period_us;
    let burnt_us = |arc: &Arc| arc.runs.iter().map(|(first, last)| (last - first) as u64 * period_us).sum();
    for (first, last) in runs {
        if let Some((_, before)) = arcs.last().and_then(|(arc, _)| arc.runs.last()) {
            let out_us = (first - before) as u64 * period_us;
            if near(out_us, join_us) || near(out_us, AT_ONCE_US) {
                return None;
            }
        }
        let open = arcs.last_mut().filter(|(arc, is_band)| {
            let out_us = arc.runs.last().map_or(0, |(_, last)| (first - last) as u64 * period_us);
            out_us < if *is_band { join_us } else { AT_ONCE_US }
        });
        match open {
            Some((arc, _)) => arc.runs.push((first, last)),
            None => arcs.push((Arc { runs: vec![(first, last)] }, false)),
        }
        let (arc, is_band) = arcs.last_mut()?;
        let burnt_us: u64 = burnt_us(arc);
        let longest_us =
            arc.runs.iter().map(|(first, last)| (last - first) as u64 * period_us).max().unwrap_or(0);
        *is_band = burnt_us > TACK_US;
        let has_settled = longest_us > STRIKE_US && !near(longest_us, STRIKE_US);
        if near(burnt_us, TACK_US) || *is_band && !has_settled {
            return None;
        }
    }
    Some(arcs)
}

/// Are these the mean to the nearest, the least and the greatest of all values? Halfway both neighbours are.
fn check_spread([mean, least, greatest]: [i32; 3], values: impl Iterator<Item = i32> + Clone) {
    let (count, sum) =
        values.clone().fold((0, 0), |(count, sum), value| (count + 1, sum + i128::from(value)));
    assert!(2 * (i128::from(mean) * count - sum).abs() <= count, "mean {mean} of {count} with the sum {sum}");
    assert_eq!((Some(least), Some(greatest)), (values.clone().min(), values.max()));
}

fn check(record: &BandRecord, arc: &Arc, readings: &[Reading], period_us: u64) {
    let at = |index: usize| index as u64 * period_us;
    let (first, last) = (arc.runs[0].0, arc.runs[arc.runs.len() - 1].1);
    assert_eq!((record.start_us, record.end_us), (at(first), at(last)), "{record:?}");
    let burnt_us: u64 = arc.runs.iter().map(|(first, last)| at(last - first)).sum();
    assert_eq!(record.arc_time_us, burnt_us, "{:?}", arc.runs);
    assert!(!record.start_unseen);
    let lit = || arc.runs.iter().flat_map(|&(first, last)| &readings[first..=last]);
    assert_eq!(record.samples as usize, lit().count());
    let (current, voltage) = (record.current.expect("it was read"), record.voltage.expect("it was read"));
    let raw = [current.mean, current.minimum, current.maximum].map(Current::to_bits);
    check_spread(raw, lit().map(|reading| reading.amps));
    let raw = [voltage.mean, voltage.minimum, voltage.maximum].map(Voltage::to_bits);
    check_spread(raw, lit().map(|reading| reading.volts));
}

/// Was most of an arc, with some room, long enough after a strike?
fn is_mostly_settled(arc: &Arc, period_us: u64) -> bool {
    let settled = arc
        .runs
        .iter()
        .map(|(first, last)| ((last - first) as u64 * period_us).saturating_sub(SETTLES_US + 3 * period_us));
    let burnt_us: u64 = arc.runs.iter().map(|(first, last)| (last - first) as u64 * period_us).sum();
    arc.runs.len() <= MOST_STRIKES && 2 * settled.sum::<u64>() > burnt_us
}

/// Are the limits of a quantity held where no sample passes them, and broken where all do?
fn check_limits(record: &BandRecord, rules: [Rule; 2], (range, settled): (Range, bool), values: &[i32]) {
    let [low, high] = rules.map(|rule| (record.proof.get(rule), record.violated.contains(rule)));
    // What was never looked at for long under a settled arc was not seen to move either.
    let open =
        |proof| !settled && matches!(proof, Proof::NotProven { why: Why::Unsettled | Why::Motionless, .. });
    let held = |(proof, is_violated): (Proof, bool)| {
        (matches!(proof, Proof::Held { .. }) || open(proof)) && !is_violated
    };
    let broken = |(proof, is_violated): (Proof, bool)| {
        matches!(proof, Proof::Broken { .. }) && is_violated || open(proof) && !is_violated
    };
    if values.iter().all(|&value| value >= range.low) {
        assert!(held(low), "never below {}: {low:?}", range.low);
    }
    if values.iter().all(|&value| value <= range.high) {
        assert!(held(high), "never above {}: {high:?}", range.high);
    }
    if values.iter().all(|&value| value < range.low) {
        assert!(broken(low), "always below {}: {low:?}", range.low);
    }
    if values.iter().all(|&value| value > range.high) {
        assert!(broken(high), "always above {}: {high:?}", range.high);
    }
}

/// Periods, start, limits, and stretches of arc and of none.
pub fn target(bytes: &[u8]) {
    let bytes = &mut Bytes::new(bytes);
    let (period_us, gas_every) =
        (bytes.of(&[50_000_u64, 20_000, 25_000, 40_000, 100_000]), bytes.of(&[1, 5, 20]));
    let later_us = bytes.of(&LATER_US);
    let (procedure, ranges) = procedure(bytes);
    let readings = readings(bytes, period_us);
    let log = Log { period_us, gas_every, readings: &readings };
    let said = heard(&procedure, log, 0, false);
    if later_us > 0 {
        let again = heard(&procedure, log, later_us, true).earlier(later_us);
        assert_eq!(said, again, "so much later: {later_us} us");
    }

    let Some(arcs) = arcs(&readings, period_us, procedure.arc.outage_join_us.into()) else { return };
    let ends_lit = readings.last().is_some_and(|reading| reading.amps > 0);
    let tacks = said.events.iter().filter(|event| matches!(event, Event::Tack { .. })).count();
    if ends_lit {
        return;
    }
    let bands: Vec<_> = arcs.iter().filter(|(_, is_band)| *is_band).map(|(arc, _)| arc).collect();
    assert_eq!((said.bands.len(), tacks), (bands.len(), arcs.len() - bands.len()), "{arcs:?}");
    for (record, arc) in said.bands.iter().zip(bands) {
        check(record, arc, &readings, period_us);
        let lit = || arc.runs.iter().flat_map(|&(first, last)| &readings[first..=last]);
        let (amps, volts): (Vec<_>, Vec<_>) = lit().map(|reading| (reading.amps, reading.volts)).unzip();
        let settled = is_mostly_settled(arc, period_us);
        check_limits(record, [Rule::CurrentLow, Rule::CurrentHigh], (ranges[0], settled), &amps);
        check_limits(record, [Rule::VoltageLow, Rule::VoltageHigh], (ranges[1], settled), &volts);
    }
    // No alarm without a cause: none of a quantity that never left its range.
    for event in &said.events {
        let Event::Alarm(alarm) = event else { continue };
        let raised = matches!(alarm.kind, AlarmKind::Raised | AlarmKind::Escalated);
        let lit = || readings.iter().filter(|reading| reading.amps > 0);
        let may = match alarm.rule {
            Rule::CurrentLow => lit().any(|reading| reading.amps < ranges[0].low),
            Rule::CurrentHigh => lit().any(|reading| reading.amps > ranges[0].high),
            Rule::VoltageLow => lit().any(|reading| reading.volts < ranges[1].low),
            Rule::VoltageHigh => lit().any(|reading| reading.volts > ranges[1].high),
            _ => true,
        };
        assert!(may || !raised, "{alarm:?}");
    }
}
