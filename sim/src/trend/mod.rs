//! Drift over many joints.
//!
//! Decides: which joints share charts, and what all the charts come to.
//! Assumes: records in order of time.
//! Never: calls a quantity steady that was not watched.

pub mod baseline;
pub mod capability;
pub mod cause;
pub mod change;
pub mod chart;
mod charted;
pub mod course;
pub mod crater;
pub mod doubt;
mod doubtful;
pub mod drift;
pub mod event;
pub mod event_file;
pub mod expect;
pub mod gap;
pub mod group;
pub mod known;
pub mod measure;
pub mod operators;
mod options;
pub mod parquet;
pub mod place;
pub mod record;
pub mod reference;
pub mod scatter;
pub mod series;
pub mod shape;
pub mod watch;

pub use charted::Charted;
pub use options::Options;
pub use series::{Point, Series};

use crate::input::procedure_file::ProcedureFile;
use cause::Likely;
use chart::Design;
use doubt::Doubt;
use drift::Drift;
use event::{Applied, Event};
use gap::Gap;
use group::Group;
use measure::Measure;
use operators::Few;
use place::Reading;
use record::{Order, Record};
use series::{Draft, Shop};

/// All that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// The joints, in order of time.
    pub records: Vec<Record>,
    /// How they came into their order.
    pub order: Order,
    /// The joints that share charts.
    pub groups: Vec<Group>,
    /// The events, as they count.
    pub events: Vec<Applied>,
    /// How the charts are set.
    pub options: Options,
    /// The quantities with at least one reading, a group after the other.
    pub series: Vec<Series>,
    /// How many standard errors a drift is off at least.
    pub clear: f64,
    /// Likely causes of the drifts, most likely first.
    pub causes: Vec<Likely>,
    /// Events that no joint comes after.
    pub unused: Vec<Event>,
    /// Operators with few sound joints in a baseline.
    pub few: Vec<Few>,
    /// Joints with a crater fill or the like, set aside for all quantities of the arc, counted from 0.
    pub craters: Vec<usize>,
}

impl Trend {
    /// Looks for drift.
    ///
    /// # Errors
    /// An event has no joint; told with its place.
    pub fn of(
        mut records: Vec<Record>,
        procedure: Option<&ProcedureFile>,
        options: Options,
    ) -> Result<Self, String> {
        let order = record::sort(&mut records);
        event::name_operators(&mut records, &options.events)?;
        let groups = group::groups(&records);
        let events = event::applied(&records, &groups, &options.events)?;
        let mut drafts: Vec<Vec<Draft>> = Vec::new();
        let mut craters: Vec<usize> = Vec::new();
        for (index, group) in groups.iter().enumerate() {
            let read = Measure::ALL
                .iter()
                .enumerate()
                .map(|(place, &measure)| (measure, readings(&records, group, place)))
                .filter(|(_, readings)| !readings.is_empty());
            let read: Vec<_> = read.map(|(measure, own)| (measure, place::joint_means(&own), own)).collect();
            let means: Vec<_> = read.iter().map(|(measure, means, _)| (*measure, &means[..])).collect();
            let named = crater::named(&means);
            let shop =
                Shop { records: &records, events: &events, craters: &named, procedure, options: &options };
            let own =
                read.into_iter().map(|(measure, means, own)| Draft::of(measure, index, own, &means, &shop));
            drafts.push(own.collect());
            craters.extend(named);
        }
        let charts = drafts.iter().flatten().filter(|draft| draft.is_charted()).count();
        let clear = chart::clear(charts);
        let mut series: Vec<Series> =
            drafts.into_iter().flat_map(|own| series::watched(own, clear, &options)).collect();
        shape::tell(&mut series);
        for one in &mut series {
            one.doubt = groups.get(one.group).and_then(|group| Doubt::of(one, &group.joints));
        }
        let causes = cause::likely(&series, &records, groups.len());
        craters.sort_unstable();
        let unused = event::unused(&records, &options.events);
        let few = operators::few(&records, &groups, &series, &options);
        Ok(Self { records, order, groups, events, options, series, clear, causes, unused, few, craters })
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
    /// The quantities whose baseline is itself drifting.
    pub fn unsteady_starts(&self) -> impl Iterator<Item = &Series> {
        self.series.iter().filter(|series| series.is_start_unsteady())
    }
    /// The quantities that do not drift, and are not called steady all the same.
    pub fn doubted(&self) -> impl Iterator<Item = (&Series, Doubt)> {
        self.series.iter().filter_map(|series| Some((series, series.doubt?)))
    }
    /// The groups of joints that have no chart at all, counted from 0.
    pub fn unwatched(&self) -> impl Iterator<Item = usize> {
        let has_chart = |group: usize| {
            self.series.iter().any(|series| series.group == group && series.baseline.is_some())
        };
        (0..self.groups.len()).filter(move |&group| !has_chart(group))
    }
    /// What is missing in the records.
    pub fn gaps(&self) -> impl Iterator<Item = Gap> {
        gap::of(&self.records)
    }
    /// Is everything steady? `None` where nothing drifts, and yet not everything could be judged: joints without
    /// any chart, a baseline that is itself drifting, a quantity in doubt, a record that lacks something.
    pub fn is_steady(&self) -> Option<bool> {
        if self.drifting().next().is_some() {
            return Some(false);
        }
        let is_whole = self.is_watched()
            && self.unwatched().next().is_none()
            && self.unsteady_starts().next().is_none()
            && self.gaps().next().is_none()
            && self.doubted().next().is_none();
        is_whole.then_some(true)
    }
    /// Joints that are no baseline because of their own records, counted from 0.
    pub fn flagged(&self) -> impl Iterator<Item = usize> {
        let is_flagged = |record: &Record| !self.options.has_flagged_baseline && !record.is_sound();
        (0..self.records.len()).filter(move |&joint| self.records.get(joint).is_some_and(is_flagged))
    }
    /// Drifts that steady quantities would show by chance, at most about: at the usual settings a
    /// quantity's EWMA signals falsely once in 500 joints and its CUSUM once in 465, and both together
    /// more seldom; `None` at any other settings.
    pub fn false_drifts(&self) -> Option<f64> {
        let watched: usize = self.series.iter().map(Series::watched).sum();
        (self.options.design == Design::default()).then(|| watched as f64 / 499.7)
    }
}

fn readings(records: &[Record], group: &Group, index: usize) -> Vec<Reading> {
    let mut readings = Vec::new();
    for (joint, record) in group.joints.iter().filter_map(|&joint| Some((joint, records.get(joint)?))) {
        for band in record.bands.iter().filter(|band| band.is_whole) {
            if let Some(value) = band.values.get(index).copied().flatten() {
                readings.push(Reading { joint, band: band.band, value });
            }
        }
    }
    readings
}
