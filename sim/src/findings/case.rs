//! A case: what calls for a cause, and what surrounds it.
//!
//! Decides: which piece of a band is looked at, and what it is compared with.
//! Assumes: a finished replay.
//! Never: decides what was the cause.

use super::band_history::{BandHistory, Live};
use super::flutter::Flutter;
use super::gathered::{Gathered, Kind};
use super::series::{Measurand, Point, Window, quantile, series, usual};
use crate::alarm::Alarm;
use crate::raw::value;
use bandward::record::band::Ending;
use bandward::record::proof::Why;
use bandward::{BandRecord, Channel, Procedure, Quantity, Rule};
use std::collections::{HashMap, HashSet};

/// What a replay left to look at.
pub struct Scene<'r> {
    /// What a good band is.
    pub procedure: &'r Procedure,
    /// Records of the bands.
    pub records: &'r [BandRecord],
    /// The first alarm of each rule on each band.
    pub first_alarms: HashMap<(u16, Rule), &'r Alarm>,
    /// The channels of which an alarm says, of which band, that they cannot be believed.
    pub disbelieved: HashSet<(u16, Channel)>,
    /// Histories of the bands.
    pub courses: &'r [BandHistory],
    /// What was read of each channel while it moved.
    pub live: &'r [Live; Channel::COUNT],
    /// What was gathered of all of them.
    pub gathered: Gathered,
}

/// What calls for a cause.
#[derive(Clone, Copy, Debug)]
pub enum Caller<'r> {
    /// An alarm.
    Alarm(&'r Alarm),
    /// Flutter of current and voltage.
    Flutter,
    /// A limit of a rule that was not proven, and why.
    Unproven(Rule, Why),
}

/// One call for a cause.
pub struct Case<'r> {
    /// Everything else.
    pub scene: &'r Scene<'r>,
    /// The band, from 1; 0 before the first.
    pub band: u16,
    /// The piece of time it is about.
    pub window: Window,
    /// What called.
    pub caller: Caller<'r>,
    /// The course of the band.
    pub course: Option<&'r BandHistory>,
    /// The flutters of the band; absent where the rows are too far apart to tell.
    pub flutters: Option<&'r [Flutter]>,
}

impl<'r> Case<'r> {
    /// The alarm that called.
    pub const fn alarm(&self) -> Option<&'r Alarm> {
        match self.caller {
            Caller::Alarm(alarm) => Some(alarm),
            Caller::Flutter | Caller::Unproven(..) => None,
        }
    }
    /// The reading that it is about: the one the alarm names, else the first its rule needs.
    pub fn channel(&self) -> Option<Channel> {
        let rule = match self.caller {
            Caller::Alarm(alarm) if alarm.channel.is_some() => return alarm.channel,
            Caller::Alarm(alarm) => alarm.rule,
            Caller::Unproven(rule, _) => rule,
            Caller::Flutter => return None,
        };
        rule.needs().iter().next()
    }
    /// The points of a quantity along the band.
    pub fn series(&self, subject: Measurand) -> Vec<Point> {
        self.course.map_or_else(Vec::new, |course| series(course, subject))
    }
    /// What is usual for the band: its median elsewhere, else that of the other bands; where that is out of range
    /// itself, what is wrong is wrong there too, and the procedure says what is usual.
    pub fn usual(&self, subject: Measurand, points: &[Point]) -> Option<Usual> {
        let elsewhere = usual(points, self.window).map(|value| Usual { value, of: "the rest of the band" });
        // Between bands of one setting there is no contrast: advice is enough.
        let range = self.scene.range(subject, elsewhere.is_none());
        let seen = elsewhere.or_else(|| {
            let gather = || {
                let believed = |course: &BandHistory| self.scene.believes(course.band, subject.channel());
                let points = |course: &BandHistory| {
                    if believed(course) { series(course, subject) } else { Vec::new() }
                };
                self.scene.of_each(|course| points(course).into_iter().map(|point| point.value))
            };
            let (_, value) = self.scene.gathered.of_others(Kind::Level, subject as u8, self.band, gather);
            let value = value?;
            Some(Usual { value, of: "the other bands" })
        });
        match (seen, range) {
            (Some(seen), Some((low, high))) if !(low..=high).contains(&seen.value) => {
                let inner = if seen.value < low { low } else { high };
                let middle = f64::midpoint(low, high);
                let value = if middle.is_finite() { middle } else { inner };
                Some(Usual { value, of: "what the procedure allows" })
            }
            _ => seen,
        }
    }
    /// The course of the band before, of one that is not the first of a joint.
    pub fn band_before(&self, band: u16) -> Option<&'r BandHistory> {
        self.scene.course(band.checked_sub(1)?)
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

/// What a quantity reads where nothing is wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Usual {
    /// The value.
    pub value: f64,
    /// What it was taken from.
    pub of: &'static str,
}

/// The smallest step-over that is right, mm.
fn least_step_mm(procedure: &Procedure) -> Option<f64> {
    let limits = procedure.limits(Quantity::StepOver)?;
    let least = limits.allowed.or(limits.recommended)?.low;
    Some(f64::from(least) / f64::from(1_u32 << Quantity::StepOver.fraction_bits()))
}

/// Who strikes anew after an arc went out does so within this, µs. Common practice, no source.
const STRUCK_ANEW_US: u64 = 120_000_000;

impl Scene<'_> {
    /// The ends of a quantity's recommended or else its allowed range, or the other way round; infinite where it has
    /// none.
    fn range(&self, subject: Measurand, recommended_first: bool) -> Option<(f64, f64)> {
        let quantity = subject.quantity()?;
        let limits = self.procedure.limits(quantity)?;
        let (first, second) = (limits.recommended, limits.allowed);
        let range = if recommended_first { first.or(second) } else { second.or(first) }?;
        let unit = f64::from(1_u32 << quantity.fraction_bits());
        let low = if range.low == i32::MIN { f64::NEG_INFINITY } else { f64::from(range.low) / unit };
        let high = if range.high == i32::MAX { f64::INFINITY } else { f64::from(range.high) / unit };
        Some((low, high))
    }
    /// The record of a band.
    pub fn record(&self, band: u16) -> Option<&BandRecord> {
        self.records.iter().find(|record| record.band == band)
    }
    /// Can the reading be believed in the band?
    pub fn believes(&self, band: u16, channel: Channel) -> bool {
        !self.disbelieved.contains(&(band, channel))
    }
    /// Does a band go on where the arc of the one before was broken off, without a step?
    pub fn goes_on(&self, band: u16) -> Option<(&BandRecord, &BandRecord)> {
        let (before, record) = (self.record(band.checked_sub(1)?)?, self.record(band)?);
        let least_mm = least_step_mm(self.procedure)?;
        let stays = record.step_over.is_some_and(|step| value(step).abs() < least_mm / 4.0);
        let is_soon = record.start_us.saturating_sub(before.end_us) < STRUCK_ANEW_US;
        (before.ending == Ending::BrokenOff && stays && is_soon).then_some((before, record))
    }
    /// Values of each band, with its number.
    pub fn of_each<V: Iterator<Item = f64>>(&self, values: impl Fn(&BandHistory) -> V) -> Vec<(f64, u16)> {
        let of = |course| values(course).map(|value| (value, course.band));
        self.courses.iter().flat_map(of).collect()
    }
    /// The course of a band.
    pub fn course(&self, band: u16) -> Option<&BandHistory> {
        self.courses.iter().find(|course| course.band == band)
    }
}
