//! One quantity of joints that share charts.
//!
//! Decides: what of a reading is known, and what is charted.
//! Assumes: readings in order of time.
//! Never: draws another average than the one that signals.

use super::Options;
use super::baseline::{Baseline, Start, mean};
use super::capability::Capability;
use super::change::Change;
use super::chart::Ewma;
use super::charted::Charted;
use super::course::{Course, Watched};
use super::crater;
use super::doubt::Doubt;
use super::drift::Drift;
use super::event::{Applied, Kind};
use super::expect::{self, Own};
use super::known::{Known, restarts};
use super::measure::Measure;
use super::place::{JointMean, Reading};
use super::record::Record;
use super::scatter::Scatter;
use super::watch::{RECENT, SUSPECT};
use crate::input::bounds::Bounds;
use crate::input::procedure_file::ProcedureFile;
use bandward::Outcome;
use std::ops::RangeInclusive;

/// A drift has not cleared while the joints since are off by more than this share of it.
const MOST_LEFT: f64 = 0.5;

/// One joint in the chart of a quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// The joint, counted from 0 in order of time.
    pub joint: usize,
    /// Bands of it that were read.
    pub bands: usize,
    /// The mean of the bands, each less what its place makes, in the house unit of its dimension.
    pub value: f64,
    /// The same less what is known of operator, warmth and events, on the mean of the baseline.
    pub adjusted: f64,
    /// Its own record calls it broken or not proven, so it is no part of a baseline.
    pub is_flagged: bool,
    /// It stands alone in the baseline, far off, and does not count.
    pub is_set_aside: bool,
    /// It has a crater fill or the like, by several quantities, and does not count.
    pub is_crater: bool,
    /// The event from which on the level is learnt anew.
    pub restart: Option<Kind>,
    /// The charts; absent within the baseline, or where there is none.
    pub charted: Option<Charted>,
}

impl Point {
    /// Does it stand alone, far off, and not count, in the baseline or after it?
    pub fn is_alone(&self) -> bool {
        self.is_set_aside || self.charted.is_some_and(|charted| charted.is_set_aside)
    }
}

/// One quantity over all joints that share charts.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// The quantity.
    pub measure: Measure,
    /// The group of joints, counted from 0.
    pub group: usize,
    /// Its readings, a band each, in order of time.
    pub readings: Vec<Reading>,
    /// Its chart, a joint each, in order of time.
    pub points: Vec<Point>,
    /// What is modelled, in words.
    pub modelled: Vec<&'static str>,
    /// Its baseline; absent where there are too few joints.
    pub baseline: Option<Baseline>,
    /// The baseline itself changes.
    pub start_change: Option<Change>,
    /// The allowed range of the procedure.
    pub allowed: Option<Bounds>,
    /// Readings outside it.
    pub outside: usize,
    /// How it fits the allowed range.
    pub capability: Option<Capability>,
    /// Limits of the EWMA, low and high, in the unit of the quantity.
    pub ewma_limits: Option<[f64; 2]>,
    /// The latest drift, if there was any.
    pub drift: Option<Drift>,
    /// Why it is not called steady, though it does not drift.
    pub doubt: Option<Doubt>,
}

impl Series {
    /// The mean of joints, less what is known of each, without those that do not count.
    fn mean_of(&self, points: RangeInclusive<usize>) -> Option<f64> {
        let counted = self.points.get(points)?.iter().filter(|point| !point.is_alone());
        let counted: Vec<f64> = counted.map(|point| point.adjusted).collect();
        (!counted.is_empty()).then(|| mean(&counted))
    }
    /// Joints after the baseline.
    pub fn watched(&self) -> usize {
        self.baseline.map_or(0, |baseline| self.points.len() - baseline.end)
    }
    /// The drift, if it stands at the last joint.
    pub fn drifting(&self) -> Option<&Drift> {
        self.drift.as_ref().filter(|drift| drift.is_standing)
    }
    /// The latest drift, if the quantity came back from it.
    pub fn returned(&self) -> Option<&Drift> {
        self.drift.as_ref().filter(|drift| !drift.is_standing)
    }
    /// Does the baseline itself change?
    pub const fn is_start_unsteady(&self) -> bool {
        self.start_change.is_some()
    }
    /// Joints that stand alone, far off, and do not count, counted from 0.
    pub fn set_aside(&self) -> impl Iterator<Item = usize> {
        self.points.iter().filter(|point| point.is_alone()).map(|point| point.joint)
    }
    /// Those of them that no other quantity names.
    pub fn set_aside_here(&self) -> impl Iterator<Item = usize> {
        self.points.iter().filter(|point| point.is_alone() && !point.is_crater).map(|point| point.joint)
    }
}

/// What is the same for all quantities of joints that share charts.
#[derive(Clone, Copy)]
pub(super) struct Shop<'s> {
    pub records: &'s [Record],
    pub events: &'s [Applied],
    /// Joints with a crater fill or the like.
    pub craters: &'s [usize],
    pub procedure: Option<&'s ProcedureFile>,
    pub options: &'s Options,
}

/// A quantity before its charts are run.
pub(super) struct Draft {
    series: Series,
    known: Known,
    values: Vec<f64>,
    broken: Vec<bool>,
    sound: Vec<usize>,
    start: Option<Start>,
}

impl Draft {
    pub(super) fn of(
        measure: Measure,
        group: usize,
        readings: Vec<Reading>,
        means: &[JointMean],
        shop: &Shop<'_>,
    ) -> Self {
        let &Shop { records, events, craters, procedure, options } = shop;
        let own: Vec<&Record> = means.iter().filter_map(|mean| records.get(mean.joint)).collect();
        let joints: Vec<usize> = means.iter().map(|mean| mean.joint).collect();
        let values: Vec<f64> = means.iter().map(|mean| mean.value).collect();
        let mut known = Known::of(&own, measure, options.model, restarts(&joints, measure, group, events));
        let is_crater = |joint: &usize| crater::moves(measure) && craters.contains(joint);
        known.craters = joints.iter().map(is_crater).collect();
        let is_flagged = |record: &Record| !options.has_flagged_baseline && !record.is_sound();
        let points = means.iter().zip(&own).zip(&known.restarts).map(|((mean, record), &restart)| Point {
            joint: mean.joint,
            bands: mean.bands,
            value: mean.value,
            adjusted: mean.value,
            is_flagged: is_flagged(record),
            is_set_aside: false,
            is_crater: is_crater(&mean.joint),
            restart,
            charted: None,
        });
        let points: Vec<Point> = points.collect();
        let sound: Vec<usize> = (0..points.len()).filter(|&at| !points[at].is_flagged).collect();
        let least = measure.description().least_deviation;
        let start = Start::of(&known, &values, &sound, options.baseline, least);
        let broken = own.iter().map(|record| record.outcome == Outcome::Broken).collect();
        let mut series = Series::of(measure, group, readings, points, procedure);
        series.modelled.clone_from(&known.names);
        series.baseline = start.as_ref().map(|start| start.baseline);
        Self { series, known, values, broken, sound, start }
    }
    /// Has it a baseline, and thus a chart?
    pub(super) const fn is_charted(&self) -> bool {
        self.start.is_some()
    }
    fn own(&mut self) -> Option<Own<'_>> {
        let least_deviation = self.least_deviation();
        let kept = &self.start.as_ref()?.kept;
        Some(Own { known: &mut self.known, kept, values: &self.values, least_deviation })
    }
    fn least_deviation(&self) -> f64 {
        self.series.measure.description().least_deviation
    }
    fn start_again(&mut self) {
        let least = self.least_deviation();
        self.start =
            self.start.take().map(|start| start.again(&self.known, &self.values, &self.sound, least));
        self.series.baseline = self.start.as_ref().map(|start| start.baseline);
    }
    fn watch(mut self, scatter: Scatter, clear: f64, options: &Options) -> Series {
        let Some(start) = &self.start else { return self.series };
        let least_deviation = self.least_deviation();
        let course = Course {
            known: &self.known,
            values: &self.values,
            broken: &self.broken,
            least_deviation,
            scatter,
            clear,
            design: &options.design,
        };
        let watched = course.watch(start);
        let baseline = start.baseline;
        let reach = Ewma::new(&options.design).reach() * baseline.deviation;
        self.series.ewma_limits = Some([baseline.mean - reach, baseline.mean + reach]);
        self.series.start_change = start.change(&self.known, &self.values, least_deviation, scatter);
        let adjusted = adjusted(&self.known, &self.values, start, &watched);
        for (point, adjusted) in self.series.points.iter_mut().zip(adjusted) {
            point.adjusted = adjusted;
        }
        for &at in &start.set_aside {
            self.series.points[at].is_set_aside = true;
        }
        for (point, charted) in self.series.points.iter_mut().skip(baseline.end).zip(watched.charted) {
            point.charted = Some(charted);
        }
        self.series.drift = watched.drift.map(|mut drift| {
            let end = drift.end().max(drift.since);
            drift.mean = self.series.mean_of(drift.since..=end).unwrap_or(baseline.mean);
            let off = |mean: f64| mean - baseline.mean;
            let newest = (drift.until + 1).saturating_sub(RECENT - 1).max(drift.since);
            let left = self.series.mean_of(newest..=self.series.points.len() - 1).map_or(0.0, off);
            let count = (self.series.points.len() - newest) as f64;
            let shares = count.recip() + (baseline.count as f64).recip();
            let error = baseline.deviation * (scatter.inflation_of(count) * shares).sqrt();
            // An event lets the level go: what is left of a drift after it was held against what was before.
            let is_off =
                drift.after.is_none() && left / off(drift.mean) > MOST_LEFT && left.abs() > SUSPECT * error;
            drift.stays_off = is_off && !drift.is_standing;
            drift.is_standing |= is_off;
            drift
        });
        self.series
    }
}

impl Series {
    fn of(
        measure: Measure,
        group: usize,
        readings: Vec<Reading>,
        points: Vec<Point>,
        procedure: Option<&ProcedureFile>,
    ) -> Self {
        let description = measure.description();
        let allowed = description
            .subject
            .and_then(|subject| procedure?.setting(subject)?.allowed)
            .filter(|allowed| allowed.ends().next().is_some());
        let is_outside = |reading: &&Reading| allowed.is_some_and(|range| !range.contains(reading.value));
        Self {
            measure,
            group,
            outside: readings.iter().filter(is_outside).count(),
            capability: allowed
                .and_then(|range| Capability::of(&readings, range, description.least_deviation)),
            allowed,
            readings,
            points,
            modelled: Vec::new(),
            baseline: None,
            start_change: None,
            ewma_limits: None,
            drift: None,
            doubt: None,
        }
    }
}

/// Each reading less what is known of it, on the mean of the baseline.
fn adjusted(known: &Known, values: &[f64], start: &Start, watched: &Watched) -> Vec<f64> {
    let effect = |at: usize| -> f64 {
        known.rows[at].iter().zip(&watched.coefficients).skip(1).map(|(entry, makes)| entry * makes).sum()
    };
    let mut stretch = 0;
    let stretches: Vec<usize> = known
        .restarts
        .iter()
        .map(|restart| {
            stretch += usize::from(restart.is_some());
            stretch
        })
        .collect();
    let rest = |own: usize, among: &[usize]| {
        let among = among.iter().filter(|&&at| stretches[at] == own);
        among.map(|&at| values[at] - effect(at)).collect::<Vec<f64>>()
    };
    let mut levels: Vec<f64> = Vec::new();
    for own in 0..=stretch {
        let (baseline, learnt) = (rest(own, &start.kept), rest(own, &watched.learnt));
        let told = if baseline.is_empty() { learnt } else { baseline };
        // A stretch of which nothing was learnt stands as it is to the one before.
        let before = levels.last().copied().unwrap_or(start.baseline.mean);
        levels.push(if told.is_empty() { before } else { mean(&told) });
    }
    let points = values.iter().enumerate();
    points.map(|(at, value)| value - effect(at) - levels[stretches[at]] + start.baseline.mean).collect()
}

/// Runs the charts of quantities that share how scatter follows on itself.
pub(super) fn watched(mut drafts: Vec<Draft>, clear: f64, options: &Options) -> Vec<Series> {
    let mut baselines: Vec<Own<'_>> = drafts.iter_mut().filter_map(Draft::own).collect();
    expect::set(&mut baselines);
    drafts.iter_mut().for_each(Draft::start_again);
    // Readings that hardly spread are steps of a sensor: how those follow on each other tells nothing.
    let spreading =
        drafts.iter().filter_map(|draft| draft.start.as_ref()).filter(|start| !start.baseline.is_least);
    let scatter = Scatter::of(spreading.map(|start| &start.deviates[..]));
    drafts.into_iter().map(|draft| draft.watch(scatter, clear, options)).collect()
}
