//! Records of joints, as `replay --json` writes them.
//!
//! Decides: what is taken of a record, how long that may be, and the order of the joints.
//! Assumes: nothing; whatever is wrong in a file is told with its place.
//! Never: judges a band anew; the record says how it stood. Holds what is not taken of a record.

mod file;
mod reader;
mod text;

pub use file::{of_replay, parse, read};
pub use reader::Read;

use super::measure::Measure;
use crate::identity::Context;
use bandward::Outcome;
use jiff::Timestamp;
use jiff::civil::DateTime;
use std::fmt;

/// What is followed of one band.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// Its number within the joint, from 1.
    pub band: u64,
    /// Was nothing outside the procedure?
    pub is_within_procedure: bool,
    /// Was it seen from its beginning to its end?
    pub is_whole: bool,
    /// Its figures, in the order of [`Measure::ALL`].
    pub values: [Option<f64>; Measure::COUNT],
}

/// One joint.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The trace it was made from.
    pub name: String,
    /// When it began, where that is known.
    pub start: Option<String>,
    /// Was nothing outside the procedure, within bands and between them?
    pub is_within_procedure: bool,
    /// How it stood to the procedure it was replayed with.
    pub outcome: Outcome,
    /// What else is known about it.
    pub context: Context,
    /// Its bands.
    pub bands: Vec<Band>,
    /// Readings of it that cannot be true, and were left out.
    pub impossible: Vec<String>,
}

impl Record {
    /// May it be part of a baseline: is it neither broken nor not proven?
    pub const fn is_sound(&self) -> bool {
        matches!(self.outcome, Outcome::Proven | Outcome::NotAsked)
    }
    /// The temperature of the work before its first band, degC.
    pub fn work_at_start_c(&self) -> Option<f64> {
        let preheat = Measure::ALL.iter().position(|measure| *measure == Measure::Preheat)?;
        self.bands.iter().find(|band| band.band == 1)?.values.get(preheat).copied().flatten()
    }
    /// When it was welded: as it was told, else when its log began.
    pub fn begun(&self) -> Option<&str> {
        self.context.welded_at.as_deref().or(self.start.as_deref())
    }
    /// When it began, written as `like` is.
    pub fn moment_like(&self, like: &Moment) -> Option<Moment> {
        let start = self.begun()?;
        match like {
            Moment::Instant(_) => start.parse().ok().map(Moment::Instant),
            Moment::Civil(_) if start.parse::<Timestamp>().is_ok() => None,
            Moment::Civil(_) => start.parse().ok().map(Moment::Civil),
        }
    }
}

/// A time, as people and loggers write it.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub enum Moment {
    /// An instant: a time with its offset.
    Instant(Timestamp),
    /// What a clock on the wall shows.
    Civil(DateTime),
}

impl Moment {
    /// Reads a time such as `2026-03-04T07:15:00`, with an offset or without, or a date.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        text.parse().ok().map(Self::Instant).or_else(|| text.parse().ok().map(Self::Civil))
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Instant(instant) => instant.fmt(out),
            Self::Civil(civil) => civil.fmt(out),
        }
    }
}

/// How the joints came into their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// By the time each began.
    ByStart,
    /// By the time each was welded, which some of them tell beside their logs.
    ByWelded,
    /// As they were given, because not all tell when they began, or not all in the same way.
    AsGiven,
}

impl Order {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::ByStart => "by the time each joint began",
            Self::ByWelded => {
                "by the time each joint was welded, as it was told, else by the time its log began"
            }
            Self::AsGiven => {
                "as the records were given; not all tell when they began, or not in the same way"
            }
        }
    }
}

/// Puts records into the order of time, where they all tell it: in instants, or all in civil time.
pub fn sort(records: &mut [Record]) -> Order {
    let instant = |record: &Record| record.begun()?.parse::<Timestamp>().ok();
    let civil = |record: &Record| record.begun()?.parse::<DateTime>().ok();
    if records.iter().all(|record| instant(record).is_some()) {
        records.sort_by_key(instant);
    } else if records.iter().all(|record| instant(record).is_none() && civil(record).is_some()) {
        records.sort_by_key(civil);
    } else {
        return Order::AsGiven;
    }
    if records.iter().any(|record| record.context.welded_at.is_some()) {
        Order::ByWelded
    } else {
        Order::ByStart
    }
}
