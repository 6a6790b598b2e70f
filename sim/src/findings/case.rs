//! A case: the alarm or the flutter that calls for a cause, and what surrounds it.
//!
//! Decides: which piece of a band is looked at, and what it is compared with.
//! Assumes: a finished replay.
//! Never: decides what was the cause.

use super::band_history::BandHistory;
use super::flutter::Flutter;
use super::series::{Measurand, Point, Window, quantile, series, usual};
use crate::alarm::Alarm;
use crate::raw::value;
use bandward::{BandRecord, Procedure, Quantity, Rule};
use std::collections::HashMap;

/// What a replay left to look at.
pub struct Scene<'r> {
    /// What a good band is.
    pub procedure: &'r Procedure,
    /// Records of the bands.
    pub records: &'r [BandRecord],
    /// The first alarm of each rule on each band.
    pub first_alarms: HashMap<(u16, Rule), &'r Alarm>,
    /// Histories of the bands.
    pub courses: &'r [BandHistory],
}

/// One call for a cause.
pub struct Case<'r> {
    /// Everything else.
    pub scene: &'r Scene<'r>,
    /// The band, from 1; 0 before the first.
    pub band: u16,
    /// The piece of time it is about.
    pub window: Window,
    /// The alarm that called.
    pub alarm: Option<&'r Alarm>,
    /// The course of the band.
    pub course: Option<&'r BandHistory>,
    /// The flutters of the band; absent where the rows are too far apart to tell.
    pub flutters: Option<&'r [Flutter]>,
}

impl<'r> Case<'r> {
    /// The points of a quantity along the band.
    pub fn series(&self, subject: Measurand) -> Vec<Point> {
        self.course.map_or_else(Vec::new, |course| series(course, subject))
    }
    /// What is usual for the band: its median elsewhere, else that of the other bands.
    pub fn usual(&self, subject: Measurand, points: &[Point]) -> Option<f64> {
        usual(points, self.window).or_else(|| {
            let others = self.scene.courses.iter().filter(|course| course.band != self.band);
            let all = others.flat_map(|course| series(course, subject));
            quantile(all.map(|point| point.value).collect(), 0.5)
        })
    }
    /// The first alarm of a rule on the band.
    pub fn first_alarm(&self, rule: Rule) -> Option<&'r Alarm> {
        self.scene.first_alarms.get(&(self.band, rule)).copied()
    }
    /// The flutter that the window lies in, or that lies in the window.
    pub fn flutter(&self) -> Option<&'r Flutter> {
        let Window { from_us, to_us } = self.window;
        self.flutters?.iter().find(|found| found.window.to_us >= from_us && found.window.from_us <= to_us)
    }
    /// Angle the band ran past its own start, degrees.
    pub fn overlap_deg(&self, band: u16) -> Option<f64> {
        self.scene.record(band)?.overlap.map(value)
    }
    /// What the other bands ran past their starts, else what the procedure asks for, degrees.
    pub fn expected_overlap_deg(&self) -> Option<f64> {
        let whole =
            |band: &&BandRecord| band.band != self.band && !band.violated.contains(Rule::OverlapShort);
        let others = self.scene.records.iter().filter(whole).filter_map(|band| band.overlap.map(value));
        quantile(others.collect(), 0.5).or_else(|| {
            let limits = self.scene.procedure.limits(Quantity::Overlap)?;
            let range = limits.recommended.or(limits.allowed)?;
            Some(f64::from(range.low) / f64::from(1_u32 << Quantity::Overlap.fraction_bits()))
        })
    }
}

impl Scene<'_> {
    /// The record of a band.
    pub fn record(&self, band: u16) -> Option<&BandRecord> {
        self.records.iter().find(|record| record.band == band)
    }
    /// The course of a band.
    pub fn course(&self, band: u16) -> Option<&BandHistory> {
        self.courses.iter().find(|course| course.band == band)
    }
}
