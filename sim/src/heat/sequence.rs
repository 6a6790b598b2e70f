//! A joint from its first band to its last: how hot it gets, and how long to wait between bands.
//!
//! Decides: when the next band may begin: its place is the strip it will cover, whose hottest point must not
//! be above the highest temperature between bands and whose coldest not below the lowest. EN ISO 13916 measures
//! in the same place, beside the last pass (from memory).
//! Assumes: a strip that is too cold is warmed by a burner before its band; the heat of a band lies evenly round the joint, and evenly over its time; the joint is preheated over
//! [`PREHEATED_BEYOND_MM`] on both sides of the bands, and is as cold as the air further out.
//! Never: begins a band by the clock.

use super::cylinder::{Cylinder, Ring, graded_edges};
use super::passing::highest_rise_at_bore;
use super::surroundings::{LossTable, Surroundings};

/// Preheating reaches this far beyond the bands, mm. Invented.
pub const PREHEATED_BEYOND_MM: f64 = 150.0;
/// Pipe that is worked out beyond the bands, mm: heat does not come so far in the hours that matter.
const REACH_MM: f64 = 700.0;
/// Cells along the bands, mm, and through the wall.
const FINE_MM: f64 = 2.5;
const LAYERS: usize = 6;
/// Steps under the arc and between bands, s.
const ARC_STEP_S: f64 = 0.5;
const WAIT_STEP_S: f64 = 1.0;
/// What a burner brings into the steel, W, and how far beyond the strip it is led, mm. Invented: a third of what a
/// heating torch of some 30 kW burns.
pub const BURNER_W: f64 = 10_000.0;
const BURNER_BEYOND_MM: f64 = 50.0;
/// Nobody waits longer than this, s.
const LONGEST_WAIT_S: f64 = 4.0 * 3600.0;
/// A point of the picture every so many seconds.
const MOMENT_S: f64 = 5.0;

/// What is done to a joint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Job {
    /// Outside diameter, mm.
    pub outside_diameter_mm: f64,
    /// Bore, mm.
    pub bore_mm: f64,
    /// Number of bands.
    pub bands: u32,
    /// Width of one, mm.
    pub band_width_mm: f64,
    /// From one to the next, mm.
    pub step_over_mm: f64,
    /// Arc time of one, s.
    pub band_s: f64,
    /// Time of a turn, s.
    pub turn_s: f64,
    /// Heat that goes into the joint, W.
    pub heat_w: f64,
    /// Temperature of the joint before the first band, °C.
    pub preheat_c: f64,
    /// Least temperature before a later band, °C.
    pub least_between_c: Option<f64>,
    /// Highest temperature before a later band, °C.
    pub most_between_c: Option<f64>,
    /// What is around it.
    pub surroundings: Surroundings,
}

/// What is to be done before a band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Before {
    /// Begin at once.
    GoOn,
    /// Wait so long, s.
    Wait(f64),
    /// Part of the strip is below the least temperature: warm it up.
    WarmUp(WarmUp),
    /// It does not cool below the limit within four hours.
    TooHot,
}

/// What a strip that is too cold needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WarmUp {
    /// Its coldest point before, °C.
    pub from_c: f64,
    /// What its coldest point must reach, °C.
    pub to_c: f64,
    /// How long a burner takes that brings [`BURNER_W`] into the steel, s; `None` where four hours do not do.
    pub seconds: Option<f64>,
}

/// What heats the joint.
#[derive(Clone, Copy, Debug)]
enum Source {
    Nothing,
    Burner(Ring),
    Arc(Ring),
}

/// One band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandHeat {
    /// What comes before it.
    pub before: Before,
    /// Hottest and coldest point of its strip as it begins, °C.
    pub start_c: (f64, f64),
    /// Hottest ring of the outside as it ends, °C: the mean all the way round.
    pub outside_c: f64,
    /// Hottest ring of the bore until the next band, °C.
    pub bore_c: f64,
    /// Hottest point of the bore right under the torch, °C.
    pub bore_under_torch_c: f64,
}

/// A moment of the course.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Since the first arc, s.
    pub time_s: f64,
    /// Hottest point of the next band's strip (of the last band's once it is laid), °C.
    pub strip_c: f64,
    /// Hottest ring of the bore, °C.
    pub bore_c: f64,
    /// Does the arc burn?
    pub is_arc_on: bool,
}

/// The course of a joint.
#[derive(Clone, Debug)]
pub struct Sequence {
    /// Its bands.
    pub bands: Vec<BandHeat>,
    /// Its course.
    pub moments: Vec<Moment>,
    /// The joint as the last arc goes out.
    pub end: Cylinder,
    /// From first arc to last, s.
    pub duration_s: f64,
}

impl Sequence {
    /// This course and another one after it, of bands in another place.
    #[must_use]
    pub fn then(mut self, other: Self) -> Self {
        let since_s = self.duration_s;
        self.bands.extend(other.bands);
        let later = |moment: Moment| Moment { time_s: moment.time_s + since_s, ..moment };
        self.moments.extend(other.moments.into_iter().map(later));
        Self { end: other.end, duration_s: since_s + other.duration_s, ..self }
    }
}

impl Job {
    /// The strip of a band, from 0, mm.
    pub fn strip_mm(&self, band: u32) -> (f64, f64) {
        let middle = self.step_over_mm * f64::from(band);
        (middle - 0.5 * self.band_width_mm, middle + 0.5 * self.band_width_mm)
    }
    /// The wall, mm.
    pub fn wall_mm(&self) -> f64 {
        0.5 * (self.outside_diameter_mm - self.bore_mm)
    }
    /// Heat along the seam, J/mm.
    fn heat_j_per_mm(&self) -> f64 {
        self.heat_w * self.turn_s / (std::f64::consts::PI * self.outside_diameter_mm)
    }
    fn preheated(&self) -> Cylinder {
        let (from, _) = self.strip_mm(0);
        let (_, to) = self.strip_mm(self.bands.saturating_sub(1));
        let (warm_from, warm_to) = (from - PREHEATED_BEYOND_MM, to + PREHEATED_BEYOND_MM);
        let edges = graded_edges(from, to, FINE_MM, REACH_MM);
        let ambient_c = self.surroundings.ambient_c;
        let mut joint = Cylinder::new(self.outside_diameter_mm, self.bore_mm, edges, LAYERS, ambient_c);
        joint.hold(warm_from, warm_to, self.preheat_c);
        joint
    }
    /// The joint worked out.
    pub fn run(&self) -> Sequence {
        let loss = LossTable::new(&self.surroundings, self.outside_diameter_mm);
        let mut course =
            Course { job: self, loss, joint: self.preheated(), time_s: 0.0, moments: Vec::new() };
        let mut bands: Vec<BandHeat> = Vec::new();
        for band in 0..self.bands {
            let before = if band == 0 { Before::GoOn } else { course.wait(band) };
            // What the bore reached while waiting belongs to the band before.
            if let Some(last) = bands.last_mut() {
                last.bore_c = course.hottest_bore_since(last.bore_c);
                last.bore_under_torch_c = last.bore_under_torch_c.max(last.bore_c);
            }
            bands.push(course.weld(band, before));
        }
        let Course { joint, time_s, moments, .. } = course;
        Sequence { bands, moments, end: joint, duration_s: time_s }
    }
}

struct Course<'j> {
    job: &'j Job,
    loss: LossTable,
    joint: Cylinder,
    time_s: f64,
    moments: Vec<Moment>,
}

impl Course<'_> {
    fn advance(&mut self, step_s: f64, source: Source, watched: u32) {
        let ring = match source {
            Source::Nothing => None,
            Source::Burner(ring) | Source::Arc(ring) => Some(ring),
        };
        let loss = &self.loss;
        self.joint.advance(step_s, ring, loss.ambient_c(), |surface_c| loss.of(surface_c));
        self.time_s += step_s;
        let is_due = self.moments.last().is_none_or(|last| self.time_s - last.time_s >= MOMENT_S - 1e-9);
        if is_due {
            let (from, to) = self.job.strip_mm(watched.min(self.job.bands.saturating_sub(1)));
            self.moments.push(Moment {
                time_s: self.time_s,
                strip_c: self.joint.outside_between_c(from, to).0,
                bore_c: self.joint.hottest_bore_c(),
                is_arc_on: matches!(source, Source::Arc(_)),
            });
        }
    }
    /// Waits until the strip of a band is cool enough.
    fn wait(&mut self, band: u32) -> Before {
        let (from, to) = self.job.strip_mm(band);
        let most_c = self.job.most_between_c.unwrap_or(f64::INFINITY);
        let since_s = self.time_s;
        while self.joint.outside_between_c(from, to).0 > most_c {
            if self.time_s - since_s >= LONGEST_WAIT_S {
                return Before::TooHot;
            }
            self.advance(WAIT_STEP_S, Source::Nothing, band);
        }
        let coldest_c = self.joint.outside_between_c(from, to).1;
        if let Some(least_c) = self.job.least_between_c.filter(|least_c| coldest_c < *least_c) {
            Before::WarmUp(self.warm_up(band, (coldest_c, least_c)))
        } else if self.time_s > since_s {
            Before::Wait(self.time_s - since_s)
        } else {
            Before::GoOn
        }
    }
    /// Leads a burner over the strip of a band until its coldest point is warm enough.
    fn warm_up(&mut self, band: u32, (from_c, to_c): (f64, f64)) -> WarmUp {
        let (from_mm, to_mm) = self.job.strip_mm(band);
        let burner =
            Ring { from_mm: from_mm - BURNER_BEYOND_MM, to_mm: to_mm + BURNER_BEYOND_MM, power_w: BURNER_W };
        let since_s = self.time_s;
        while self.joint.outside_between_c(from_mm, to_mm).1 < to_c {
            if self.time_s - since_s >= LONGEST_WAIT_S {
                return WarmUp { from_c, to_c, seconds: None };
            }
            self.advance(WAIT_STEP_S, Source::Burner(burner), band);
        }
        WarmUp { from_c, to_c, seconds: Some(self.time_s - since_s) }
    }
    fn weld(&mut self, band: u32, before: Before) -> BandHeat {
        let job = self.job;
        let (from_mm, to_mm) = job.strip_mm(band);
        let start_c = self.joint.outside_between_c(from_mm, to_mm);
        let bore_before_c = self.joint.wall_c(f64::midpoint(from_mm, to_mm))[0];
        let ring = Ring { from_mm, to_mm, power_w: job.heat_w };
        let steps = (job.band_s / ARC_STEP_S).ceil().max(1.0);
        let mut bore_c = bore_before_c;
        for _ in 0..steps as u32 {
            self.advance(job.band_s / steps, Source::Arc(ring), band + 1);
            bore_c = bore_c.max(self.joint.hottest_bore_c());
        }
        let passing = highest_rise_at_bore(job.heat_j_per_mm(), job.band_width_mm, job.wall_mm(), job.turn_s);
        BandHeat {
            before,
            start_c,
            outside_c: self.joint.outside_between_c(from_mm, to_mm).0,
            bore_c,
            bore_under_torch_c: bore_c.max(bore_before_c + passing),
        }
    }
    fn hottest_bore_since(&self, so_far_c: f64) -> f64 {
        let waiting = self.moments.iter().rev().take_while(|moment| !moment.is_arc_on);
        waiting.map(|moment| moment.bore_c).fold(so_far_c, f64::max)
    }
}
