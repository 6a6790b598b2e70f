//! Drift over the bands of many joints.
//!
//! Decides: which bands make the baseline, which are watched, and where a drift began.
//! Assumes: records in order of time.
//! Never: calls a quantity steady that was not watched.

pub mod baseline;
pub mod cause;
pub mod chart;
pub mod measure;
pub mod parquet;
pub mod record;

use crate::input::bounds::Bounds;
use crate::input::procedure_file::ProcedureFile;
use bandward::rule::Side;
use baseline::{Baseline, Capability};
use cause::Likely;
use chart::{Cusum, Design, Ewma};
use measure::Measure;
use record::{Order, Record};

/// What is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Options {
    /// How the charts are set.
    pub design: Design,
    /// Bands of the baseline; worked out from how many there are, where absent.
    pub baseline: Option<usize>,
}

/// The charts at one band after the baseline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charted {
    /// The moving average, in the unit of the quantity.
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

/// One reading of a quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// The joint, counted from 0 in order of time.
    pub joint: usize,
    /// The band within it, from 1.
    pub band: u64,
    /// The reading, in the house unit of its dimension.
    pub value: f64,
    /// The charts; absent within the baseline, or where there is none.
    pub charted: Option<Charted>,
}

/// A drift that a chart signals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Which way it goes.
    pub side: Side,
    /// The point at which it began, as the CUSUM tells: the one after its sum was last nothing.
    pub since: usize,
    /// The point of the first signal.
    pub signal: usize,
    /// Did the EWMA signal first, or at the same band?
    pub by_ewma: bool,
    /// Did the CUSUM signal first, or at the same band?
    pub by_cusum: bool,
    /// Does a chart signal at the last point too?
    pub is_standing: bool,
    /// Mean from where it began to the last point.
    pub mean: f64,
}

/// One quantity over all bands.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// The quantity.
    pub measure: Measure,
    /// Its readings in order of time.
    pub points: Vec<Point>,
    /// Its baseline; absent where there are too few readings.
    pub baseline: Option<Baseline>,
    /// A chart with the baseline's own mean and spread signals within the baseline.
    pub is_baseline_unsteady: bool,
    /// The allowed range of the procedure.
    pub allowed: Option<Bounds>,
    /// Readings outside it.
    pub outside: usize,
    /// How it fits the allowed range.
    pub capability: Option<Capability>,
    /// Limits of the EWMA, low and high, in the unit of the quantity.
    pub ewma_limits: Option<[f64; 2]>,
    /// The drift, if a chart signals.
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
    /// Likely causes of the drifts, the likeliest first.
    pub causes: Vec<Likely>,
}

impl Trend {
    /// Looks for drift.
    pub fn of(mut records: Vec<Record>, procedure: Option<&ProcedureFile>, options: Options) -> Self {
        let order = record::sort(&mut records);
        let series: Vec<_> = Measure::ALL
            .iter()
            .enumerate()
            .map(|(index, &measure)| Series::of(measure, points(&records, index), procedure, &options))
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
    /// The quantities that drift.
    pub fn drifting(&self) -> impl Iterator<Item = (&Series, &Drift)> {
        self.series.iter().filter_map(|series| Some((series, series.drift.as_ref()?)))
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
    /// Signals that steady quantities would give by chance, about: two charts a quantity, each with a
    /// false signal once in 500 or 465 bands at the usual settings; `None` at any other.
    pub fn false_signals(&self) -> Option<f64> {
        let watched: usize = self.series.iter().map(Series::watched).sum();
        (self.options.design == Design::default()).then(|| watched as f64 * (1.0 / 499.7 + 1.0 / 465.4))
    }
}

fn points(records: &[Record], index: usize) -> Vec<Point> {
    let mut points = Vec::new();
    for (joint, record) in records.iter().enumerate() {
        for band in record.bands.iter().filter(|band| band.is_whole) {
            if let Some(value) = band.values.get(index).copied().flatten() {
                points.push(Point { joint, band: band.band, value, charted: None });
            }
        }
    }
    points
}

impl Series {
    fn of(
        measure: Measure,
        points: Vec<Point>,
        procedure: Option<&ProcedureFile>,
        options: &Options,
    ) -> Self {
        let description = measure.description();
        let allowed = description
            .subject
            .and_then(|subject| procedure?.setting(subject)?.allowed)
            .filter(|allowed| allowed.ends().next().is_some());
        let values: Vec<f64> = points.iter().map(|point| point.value).collect();
        let mut series = Self {
            measure,
            baseline: Baseline::length(options.baseline, values.len())
                .map(|length| Baseline::of(&values[..length], description.least_deviation)),
            is_baseline_unsteady: false,
            outside: values
                .iter()
                .filter(|&&value| allowed.is_some_and(|range| !range.contains(value)))
                .count(),
            capability: allowed.and_then(|range| Capability::of(&values, range)),
            allowed,
            points,
            ewma_limits: None,
            drift: None,
        };
        if let Some(baseline) = series.baseline {
            series.is_baseline_unsteady = is_unsteady(&values[..baseline.count], &baseline, &options.design);
            series.watch(&baseline, &options.design);
        }
        series
    }
    /// Readings after the baseline.
    pub fn watched(&self) -> usize {
        self.baseline.map_or(0, |baseline| self.points.len() - baseline.count)
    }
    fn watch(&mut self, baseline: &Baseline, design: &Design) {
        let (mut ewma, mut cusum) = (Ewma::new(design), Cusum::new(design));
        let limit = |side: f64| baseline.mean + side * ewma.reach() * baseline.deviation;
        self.ewma_limits = Some([-1.0, 1.0].map(limit));
        // Where each sum, above and below, last rose from nothing.
        let mut risen = [baseline.count; 2];
        for (index, point) in self.points.iter_mut().enumerate().skip(baseline.count) {
            let reading = (point.value - baseline.mean) / baseline.deviation;
            let (ewma_signal, cusum_signal) = (ewma.push(reading), cusum.push(reading));
            let (cusum_high, cusum_low) = cusum.sums();
            for (since, sum) in risen.iter_mut().zip([cusum_high, cusum_low]) {
                if sum <= 0.0 {
                    *since = index + 1;
                }
            }
            point.charted = Some(Charted {
                ewma: baseline.mean + baseline.deviation * ewma.value(),
                cusum_high,
                cusum_low,
                ewma_signal,
                cusum_signal,
            });
            if let (None, Some(side)) = (self.drift, cusum_signal.or(ewma_signal)) {
                let since = risen[usize::from(side == Side::Low)].min(index);
                let (by_ewma, by_cusum) = (ewma_signal.is_some(), cusum_signal.is_some());
                self.drift = Some(Drift {
                    side,
                    since,
                    signal: index,
                    by_ewma,
                    by_cusum,
                    is_standing: false,
                    mean: 0.0,
                });
            }
        }
        if let Some(drift) = &mut self.drift {
            let last = self.points.last().and_then(|point| point.charted);
            drift.is_standing =
                last.is_some_and(|last| last.ewma_signal.is_some() || last.cusum_signal.is_some());
            let since: Vec<f64> = self.points[drift.since..].iter().map(|point| point.value).collect();
            drift.mean = baseline::mean(&since);
        }
    }
}

fn is_unsteady(readings: &[f64], baseline: &Baseline, design: &Design) -> bool {
    let (mut ewma, mut cusum) = (Ewma::new(design), Cusum::new(design));
    readings.iter().any(|reading| {
        let reading = (reading - baseline.mean) / baseline.deviation;
        let signals = [ewma.push(reading), cusum.push(reading)];
        signals.iter().any(Option::is_some)
    })
}
