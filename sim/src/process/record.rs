//! Writes down what happens while the machine works.
//!
//! Decides: which moments make up the truth about a fault and a band.
//! Assumes: it is told of everything in order of time.
//! Never: changes what happens.

use super::burner::Burnt;
use super::fault::{Course, Fault, Kind, Stage};
use super::habit::HabitKind;
use super::joint::Joint;
use super::scenario::Scenario;
use super::sensor::quantised;
use super::shift::Shift;
use super::targets::Targets;
use super::truth::{BandTruth, FaultTruth, HabitTruth, JointTruth, Truth};
use crate::input::unit::Dimension;
use bandward::Channel;
use bandward::rule::Side;

/// Collects the truth.
#[derive(Clone, Debug)]
pub struct Recorder {
    truth: Truth,
    faults: Vec<Fault>,
    /// Share of a creeping fault at which its value leaves the allowed range.
    crossing: Vec<f64>,
    seen: Vec<bool>,
    weld_s: f64,
    postflow_s: f64,
    overlap_deg: f64,
    turn_time_s: f64,
    shift: Shift,
    bands_due: u16,
    /// Joint and band under work, both from 1.
    place: (u16, u16),
    /// Seconds of arc, and the integrals of current, voltage and power over them.
    sums: [f64; 4],
}

impl Recorder {
    /// Nothing has happened yet.
    pub fn new(scenario: &Scenario) -> Self {
        let joint = &scenario.joint;
        Self {
            truth: Truth {
                scenario: scenario.name.clone(),
                note: scenario.note.clone(),
                seed: scenario.seed,
                sample_rate_hz: scenario.sample_rate_hz,
                faults: scenario.faults.iter().map(|fault| planned(fault, &scenario.shift)).collect(),
                bands: Vec::new(),
                joints: Vec::new(),
                habits: of_instruments(scenario),
            },
            crossing: scenario.faults.iter().map(|fault| crossing(fault, joint, &scenario.targets)).collect(),
            faults: scenario.faults.clone(),
            seen: vec![false; scenario.faults.len()],
            weld_s: joint.weld_s(),
            postflow_s: joint.gas_postflow_s,
            overlap_deg: joint.overlap_deg,
            turn_time_s: joint.turn_time_s,
            shift: scenario.shift.clone(),
            bands_due: joint.bands,
            place: (1, 1),
            sums: [0.0; 4],
        }
    }
    /// The truth up to `time_s`, with no more digits than it is worth.
    pub fn truth(&self, time_s: f64) -> Truth {
        let mut truth = self.truth.clone();
        truth.joints = joints(&truth.bands, self.bands_due);
        for habit in &mut truth.habits {
            // An instrument is as it is for the whole trace.
            if habit.band.is_none() {
                habit.end_s = time_s;
            }
            shorten([&mut habit.start_s, &mut habit.end_s, &mut habit.size]);
        }
        for joint in &mut truth.joints {
            shorten([&mut joint.start_s, &mut joint.end_s]);
        }
        for fault in &mut truth.faults {
            let times = [&mut fault.start_s, &mut fault.end_s, &mut fault.outside_from_s];
            let rest = [&mut fault.from_deg, &mut fault.to_deg, &mut fault.size];
            shorten(times.into_iter().chain(rest.into_iter().flatten()));
        }
        for band in &mut truth.bands {
            shorten([
                &mut band.start_s,
                &mut band.end_s,
                &mut band.turns,
                &mut band.current_a,
                &mut band.voltage_v,
                &mut band.arc_power_w,
                &mut band.work_at_start_c,
                &mut band.mean_height_mm,
            ]);
            shorten(&mut band.height_mm);
        }
        truth
    }
    /// A band of a joint is next, both from 1.
    pub fn begin_band(&mut self, joint: u16, band: u16) {
        self.place = (joint, band);
    }
    /// Something is done that is no fault; nothing at all where its size is 0.
    pub fn habit(&mut self, kind: HabitKind, start_s: f64, end_s: f64, size: f64) {
        if size.abs() > 1e-9 {
            let habit = HabitTruth { start_s, end_s, ..described(kind, size) };
            self.push(habit);
        }
    }
    /// A setting is corrected by hand, from now on.
    pub fn correction(&mut self, time_s: f64, of: &str, goal: f64) {
        let habit = described(HabitKind::HandCorrection, goal);
        self.push(HabitTruth { start_s: time_s, end_s: time_s, of: Some(of.to_owned()), ..habit });
    }
    fn push(&mut self, habit: HabitTruth) {
        let (joint, band) = self.place;
        self.truth.habits.push(HabitTruth { joint: self.shift.number(joint), band: Some(band), ..habit });
    }
    /// The gas is about to come on for `band`.
    pub fn ready(&mut self, band: u16, time_s: f64) {
        self.each(band, Stage::BeforeArc, |truth| truth.start_s = time_s);
        self.each(band, Stage::WholeBand, |truth| truth.start_s = time_s);
    }
    /// The arc of `band` was struck.
    pub fn arc_start(&mut self, band: u16, time_s: f64, work_c: f64) {
        self.each(band, Stage::BeforeArc, |truth| truth.end_s = time_s);
        self.sums = [0.0; 4];
        self.truth.bands.push(BandTruth {
            joint: self.shift.number(self.place.0),
            band,
            start_s: time_s,
            work_at_start_c: work_c,
            ..BandTruth::default()
        });
    }
    /// A fault of the weld acts.
    pub fn acts(&mut self, index: usize, time_s: f64, turned_deg: f64) {
        let truth = &mut self.truth.faults[index];
        if !self.seen[index] {
            self.seen[index] = true;
            let fault = &self.faults[index];
            let weld_start_s = self.truth.bands.last().map_or(time_s, |band| band.start_s);
            let whole_s = fault.duration_s.min(weld_start_s + self.weld_s - time_s);
            truth.start_s = time_s;
            truth.from_deg = Some(turned_deg);
            truth.outside_from_s = time_s + self.crossing[index] * whole_s;
        }
        truth.end_s = time_s;
        truth.to_deg = Some(turned_deg);
    }
    /// The arc burned, or did not.
    pub fn burns(&mut self, burnt: &Burnt) {
        let values = [1.0, burnt.current_a, burnt.voltage_v, burnt.power_w];
        for (sum, value) in self.sums.iter_mut().zip(values) {
            *sum += value * burnt.time_s;
        }
    }
    /// The arc was stopped.
    pub fn arc_end(&mut self, time_s: f64, turned_deg: f64, short_circuits: u32, height_mm: Vec<f64>) {
        let [arc_s, current, voltage, power] = self.sums;
        let Some(truth) = self.truth.bands.last_mut() else { return };
        truth.end_s = time_s;
        truth.turns = turned_deg / 360.0;
        truth.current_a = current / arc_s;
        truth.voltage_v = voltage / arc_s;
        truth.arc_power_w = power / arc_s;
        truth.short_circuits = short_circuits;
        truth.mean_height_mm = height_mm.iter().sum::<f64>() / height_mm.len() as f64;
        truth.height_mm = height_mm;
        let band = truth.band;
        let (postflow_s, missing_s) = (self.postflow_s, self.overlap_deg / 360.0 * self.turn_time_s);
        self.each(band, Stage::AfterArc, |truth| {
            let short_stop = truth.kind == Kind::StoppedEarly.description().name;
            truth.start_s = time_s + if short_stop { 0.0 } else { truth.size.unwrap_or(0.0) };
            truth.end_s = time_s + if short_stop { missing_s } else { postflow_s };
            truth.from_deg = short_stop.then_some(turned_deg);
            truth.to_deg = short_stop.then_some(turned_deg);
        });
    }
    /// The gas of the band is shut off.
    pub fn left(&mut self, time_s: f64) {
        let band = self.truth.bands.last().map_or(0, |truth| truth.band);
        self.each(band, Stage::WholeBand, |truth| truth.end_s = time_s);
    }
    /// The last band of the joint is done: it cools.
    pub fn joint_left(&mut self, time_s: f64) {
        self.each(self.place.1, Stage::AfterJoint, |truth| (truth.start_s, truth.end_s) = (time_s, time_s));
    }
    /// It is taken out of the machine, or the trace ends.
    pub fn joint_over(&mut self, time_s: f64) {
        self.each(self.place.1, Stage::AfterJoint, |truth| truth.end_s = time_s);
    }
    fn each(&mut self, band: u16, stage: Stage, mut change: impl FnMut(&mut FaultTruth)) {
        for (fault, truth) in self.faults.iter().zip(&mut self.truth.faults) {
            let here = fault.joint == self.place.0 && fault.band == band;
            if here && fault.kind.description().stage == stage {
                change(truth);
                truth.outside_from_s = truth.start_s;
            }
        }
    }
}

/// Six decimals: microseconds, and far finer than any instrument for the rest.
fn shorten<'v>(values: impl IntoIterator<Item = &'v mut f64>) {
    for value in values {
        *value = quantised(*value, 1e-6);
    }
}

/// A fault before anything has happened.
fn planned(fault: &Fault, shift: &Shift) -> FaultTruth {
    let description = fault.kind.description();
    FaultTruth {
        rule: description.rule.map(|rule| rule.name().to_owned()),
        kind: description.name.to_owned(),
        joint: shift.number(fault.joint),
        band: fault.band,
        start_s: 0.0,
        end_s: 0.0,
        outside_from_s: 0.0,
        from_deg: None,
        to_deg: None,
        size: description.size.map(|_| fault.size),
        unit: description.size.map(|size| symbol(size).to_owned()),
        size_means: description.size_means.to_owned(),
        channel: fault.channel.map(|channel| channel.name().to_owned()),
    }
}

fn symbol(size: Dimension) -> &'static str {
    match size {
        Dimension::Share => "of 1",
        other => other.units()[0].symbol,
    }
}

/// The joints that the bands of a shift lie on.
fn joints(bands: &[BandTruth], bands_due: u16) -> Vec<JointTruth> {
    let mut joints: Vec<JointTruth> = Vec::new();
    for band in bands {
        let Some(joint) = band.joint else { continue };
        match joints.last_mut().filter(|last| last.joint == joint) {
            Some(last) => (last.end_s, last.bands) = (band.end_s, last.bands + 1),
            None => joints.push(JointTruth {
                joint,
                start_s: band.start_s,
                end_s: band.end_s,
                bands: 1,
                bands_due,
            }),
        }
    }
    joints
}

/// A habit without time and place.
fn described(kind: HabitKind, size: f64) -> HabitTruth {
    let description = kind.description();
    HabitTruth {
        habit: description.name.to_owned(),
        size,
        unit: description.size.map_or("", symbol).to_owned(),
        size_means: description.size_means.to_owned(),
        ..HabitTruth::default()
    }
}

/// What the instruments of a scenario do all the time.
fn of_instruments(scenario: &Scenario) -> Vec<HabitTruth> {
    let of = |channel: Channel| {
        let sensor = scenario.sensors[channel as usize];
        let unit = Dimension::of_channel(channel).of_differences();
        let sizes = [
            (HabitKind::PinkNoise, sensor.pink),
            (HabitKind::SlowMeter, sensor.lag_s),
            (HabitKind::Ripple, sensor.ripple),
            (HabitKind::Eccentricity, sensor.eccentricity_deg),
        ];
        sizes.into_iter().filter(|(_, size)| *size > 0.0).map(move |(kind, size)| HabitTruth {
            unit: symbol(kind.description().size.unwrap_or(unit)).to_owned(),
            of: Some(channel.name().to_owned()),
            ..described(kind, size)
        })
    };
    scenario.channels.iter().flat_map(of).collect()
}

/// The share at which a creeping fault leaves the allowed range: 0 for a sudden one, 1 for one that
/// never does.
fn crossing(fault: &Fault, joint: &Joint, targets: &Targets) -> f64 {
    let description = fault.kind.description();
    let watched = description.rule.and_then(bandward::Rule::watches);
    let (Course::Creeping, Some((quantity, side))) = (description.course, watched) else { return 0.0 };
    let Some((low, high)) = targets.bounds(quantity).and_then(|bounds| bounds.allowed) else { return 1.0 };
    let usual = match fault.kind {
        Kind::TorchCreepingUp | Kind::WireSlipping => joint.current_a,
        Kind::BottleRunningOut => joint.gas_lpm,
        Kind::WeaveDriveSlipping => joint.weave_per_min,
        _ => joint.weave_width_mm,
    };
    let limit = if side == Side::Low { low } else { high };
    ((limit - usual) / (fault.size - usual)).clamp(0.0, 1.0)
}
