//! Drift over many joints.
//!
//! Decides: which joints make the baseline, and which quantities have a chart.
//! Assumes: records in order of time.
//! Never: calls a quantity steady that was not watched.

pub mod baseline;
pub mod capability;
pub mod cause;
pub mod chart;
pub mod measure;
pub mod parquet;
pub mod place;
pub mod record;
pub mod reference;
pub mod watch;

use crate::input::bounds::Bounds;
use crate::input::procedure_file::ProcedureFile;
use bandward::rule::Side;
use baseline::Baseline;
use capability::Capability;
use cause::Likely;
use chart::{Cusum, Design, Ewma};
use measure::Measure;
use place::{Reading, joint_means};
use record::{Order, Record};
use watch::{Drift, watch};

/// What is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Options {
    /// How the charts are set.
    pub design: Design,
    /// Joints of the baseline; worked out from how many there are, where absent.
    pub baseline: Option<usize>,
}

/// The charts at one joint after the baseline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charted {
    /// The moving average, as far from the mean of the baseline as the limits are drawn for.
    pub ewma: f64,
    /// The sum above, in standard deviations.
    pub cusum_high: f64,
    /// The sum below, in standard deviations.
    pub cusum_low: f64,
    /// The side on which the EWMA signals.
    pub ewma_signal: Option<Side>,
    /// The side on which the CUSUM signals.
    pub cusum_signal: Option<Side>,
}

/// One joint in the chart of a quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// The joint, counted from 0 in order of time.
    pub joint: usize,
    /// Bands of it that were read.
    pub bands: usize,
    /// The mean of the bands, each less what its place makes, in the house unit of its dimension.
    pub value: f64,
    /// The charts; absent within the baseline, or where there is none.
    pub charted: Option<Charted>,
}

/// One quantity over all joints.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// The quantity.
    pub measure: Measure,
    /// Its readings, a band each, in order of time.
    pub readings: Vec<Reading>,
    /// Its chart, a joint each, in order of time.
    pub points: Vec<Point>,
    /// Its baseline; absent where there are too few joints.
    pub baseline: Option<Baseline>,
    /// Charts with the baseline's own mean and spread signal within the baseline.
    pub is_baseline_unsteady: bool,
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
}

/// All that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// The joints, in order of time.
    pub records: Vec<Record>,
    /// How they came into their order.
    pub order: Order,
    /// How the charts are set.
    pub options: Options,
    /// The quantities with at least one reading.
    pub series: Vec<Series>,
    /// Likely causes of the drifts, most likely first.
    pub causes: Vec<Likely>,
}

impl Trend {
    /// Looks for drift.
    pub fn of(mut records: Vec<Record>, procedure: Option<&ProcedureFile>, options: Options) -> Self {
        let order = record::sort(&mut records);
        let series: Vec<_> = Measure::ALL
            .iter()
            .enumerate()
            .map(|(index, &measure)| Series::of(measure, readings(&records, index), procedure, &options))
            .filter(|series| !series.points.is_empty())
            .collect();
        let causes = cause::likely(&series);
        Self { records, order, options, series, causes }
    }
    /// Bands of all joints.
    pub fn bands(&self) -> usize {
        self.records.iter().map(|record| record.bands.len()).sum()
    }
    /// Bands that were not seen from beginning to end, and have no place in a chart.
    pub fn parts(&self) -> usize {
        self.records.iter().flat_map(|record| &record.bands).filter(|band| !band.is_whole).count()
    }
    /// Bands that were outside the procedure they were replayed with.
    pub fn outside(&self) -> usize {
        self.records.iter().flat_map(|record| &record.bands).filter(|band| !band.is_within_procedure).count()
    }
    /// The quantities that drift at the last joint.
    pub fn drifting(&self) -> impl Iterator<Item = (&Series, &Drift)> {
        self.series.iter().filter_map(|series| Some((series, series.drifting()?)))
    }
    /// The quantities that drifted and came back.
    pub fn returned(&self) -> impl Iterator<Item = (&Series, &Drift)> {
        self.series.iter().filter_map(|series| Some((series, series.returned()?)))
    }
    /// Is there any chart at all?
    pub fn is_watched(&self) -> bool {
        self.series.iter().any(|series| series.baseline.is_some())
    }
    /// Is no quantity drifting, and nothing outside a procedure?
    pub fn is_quiet(&self) -> bool {
        self.drifting().next().is_none() && !self.is_outside()
    }
    /// Is anything outside the procedure: as each joint was replayed, or a mean outside the allowed
    /// range of the procedure given now?
    pub fn is_outside(&self) -> bool {
        self.records.iter().any(|record| !record.is_within_procedure)
            || self.series.iter().any(|series| series.outside > 0)
    }
    /// Drifts that steady quantities would show by chance, at most about: at the usual settings a
    /// quantity's EWMA signals falsely once in 500 joints and its CUSUM once in 465, and both together
    /// more seldom; `None` at any other settings.
    pub fn false_drifts(&self) -> Option<f64> {
        let watched: usize = self.series.iter().map(Series::watched).sum();
        (self.options.design == Design::default()).then(|| watched as f64 / 499.7)
    }
}

fn readings(records: &[Record], index: usize) -> Vec<Reading> {
    let mut readings = Vec::new();
    for (joint, record) in records.iter().enumerate() {
        for band in record.bands.iter().filter(|band| band.is_whole) {
            if let Some(value) = band.values.get(index).copied().flatten() {
                readings.push(Reading { joint, band: band.band, value });
            }
        }
    }
    readings
}

impl Series {
    fn of(
        measure: Measure,
        readings: Vec<Reading>,
        procedure: Option<&ProcedureFile>,
        options: &Options,
    ) -> Self {
        let description = measure.description();
        let least = description.least_deviation;
        let allowed = description
            .subject
            .and_then(|subject| procedure?.setting(subject)?.allowed)
            .filter(|allowed| allowed.ends().next().is_some());
        let is_outside = |reading: &&Reading| allowed.is_some_and(|range| !range.contains(reading.value));
        let points: Vec<Point> = joint_means(&readings)
            .into_iter()
            .map(|mean| Point { joint: mean.joint, bands: mean.bands, value: mean.value, charted: None })
            .collect();
        let values: Vec<f64> = points.iter().map(|point| point.value).collect();
        let mut series = Self {
            measure,
            baseline: Baseline::length(options.baseline, values.len())
                .map(|length| Baseline::of(&values[..length], least)),
            is_baseline_unsteady: false,
            outside: readings.iter().filter(is_outside).count(),
            capability: allowed.and_then(|range| Capability::of(&readings, range, least)),
            allowed,
            readings,
            points,
            ewma_limits: None,
            drift: None,
        };
        if let Some(baseline) = &series.baseline {
            let reach = Ewma::new(&options.design).reach() * baseline.deviation;
            series.ewma_limits = Some([baseline.mean - reach, baseline.mean + reach]);
            series.is_baseline_unsteady = is_unsteady(&values[..baseline.count], baseline, &options.design);
            series.drift = watch(&mut series.points, baseline, least, &options.design);
        }
        series
    }
    /// Joints after the baseline.
    pub fn watched(&self) -> usize {
        self.baseline.map_or(0, |baseline| self.points.len() - baseline.count)
    }
    /// The drift, if it stands at the last joint.
    pub fn drifting(&self) -> Option<&Drift> {
        self.drift.as_ref().filter(|drift| drift.is_standing)
    }
    /// The latest drift, if the quantity came back from it.
    pub fn returned(&self) -> Option<&Drift> {
        self.drift.as_ref().filter(|drift| !drift.is_standing)
    }
}

fn is_unsteady(readings: &[f64], baseline: &Baseline, design: &Design) -> bool {
    let (mut ewma, mut cusum) = (Ewma::new(design), Cusum::new(design));
    readings.iter().any(|reading| {
        let reading = (reading - baseline.mean) / baseline.deviation;
        let (ewma_signal, cusum_signal) = (ewma.push(reading), cusum.push(reading));
        ewma_signal.is_some() && ewma_signal == cusum_signal
    })
}
