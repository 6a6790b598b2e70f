//! The faults of a joint as they come and go.
//!
//! Decides: when each fault is on, and when it first takes its quantity out of the allowed range.

use super::fault::{Fault, Shape};
use super::shop::Gauge;
use super::truth::FaultTruth;
use super::upset::Upset;

/// Where the joint stands, for faults that wait for their place.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// Time, s.
    pub time_s: f64,
    /// Band under the arc; 0 outside one.
    pub band: usize,
    /// Angle welded in it, degrees.
    pub welded_deg: f64,
    /// Angle of the pipe, degrees.
    pub pipe_deg: f64,
}

/// All the faults of a joint.
#[derive(Clone, Debug)]
pub struct Troubles {
    truths: Vec<FaultTruth>,
    standing: Upset,
    /// What each quantity was last, in the order of [`Gauge::ALL`].
    outside: [bool; Gauge::ALL.len()],
}

impl Troubles {
    /// Not yet begun; what stands all along the joint is there from the start.
    pub fn new(faults: &[Fault], standing: Upset) -> Self {
        let truth = |&fault: &Fault| FaultTruth { fault, start_s: None, end_s: None, outside_s: None };
        Self { truths: faults.iter().map(truth).collect(), standing, outside: [false; Gauge::ALL.len()] }
    }
    /// The faults of this instant.
    pub fn upset(&mut self, moment: &Moment) -> Upset {
        let mut upset = self.standing;
        for truth in &mut self.truths {
            let strength = strength(truth, moment);
            if strength != 0.0 {
                upset.add(&truth.fault, strength);
            }
        }
        upset
    }
    /// Is this fault on now?
    pub fn is_on(truth: &FaultTruth) -> bool {
        truth.start_s.is_some() && truth.end_s.is_none()
    }
    /// Takes the true value of each quantity, in the order of [`Gauge::ALL`]; absent where there is none.
    pub fn observe(&mut self, time_s: f64, values: &[Option<f64>]) {
        for ((was, value), gauge) in self.outside.iter_mut().zip(values).zip(Gauge::ALL) {
            *was = value.is_some_and(|value| gauge.is_outside(value));
        }
        for truth in self.truths.iter_mut().filter(|truth| Self::is_on(truth) && truth.outside_s.is_none()) {
            let Some(gauge) = truth.fault.facts().gauge else { continue };
            if self.outside[gauge as usize] {
                truth.outside_s = Some(time_s);
            }
        }
    }
    /// The faults, on or not.
    pub fn all(&self) -> &[FaultTruth] {
        &self.truths
    }
    /// What has come of them, at the end of the trace.
    pub fn into_truth(self) -> Vec<FaultTruth> {
        self.truths
    }
}

/// How strong a fault is now; notes its start and its end.
fn strength(truth: &mut FaultTruth, moment: &Moment) -> f64 {
    let fault = &truth.fault;
    let all_along = matches!(fault.shape, Shape::Joint | Shape::OnceATurn);
    let stays = fault.shape == Shape::Onwards && truth.start_s.is_some();
    let is_here = moment.band == fault.band || all_along || stays;
    // An act is done around the arc; a band's fault begins with it; the others wait for their angle.
    let from_deg = if matches!(fault.shape, Shape::Band | Shape::Onwards | Shape::Act) || all_along {
        0.0
    } else {
        fault.from_deg
    };
    match truth.start_s {
        None if is_here && moment.welded_deg >= from_deg => truth.start_s = Some(moment.time_s),
        Some(_) if truth.end_s.is_none() && !is_here => truth.end_s = Some(moment.time_s),
        _ => {}
    }
    let (Some(start_s), None) = (truth.start_s, truth.end_s) else { return 0.0 };
    let strength = fault.strength(moment.time_s - start_s, moment.pipe_deg);
    if moment.time_s - start_s > fault.lasts_s && strength == 0.0 && fault.shape != Shape::OnceATurn {
        truth.end_s = Some(moment.time_s);
    }
    strength
}
