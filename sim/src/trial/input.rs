//! What is tried on: recorded traces, and joints made as they are needed.
//!
//! Decides: what stands for the faults and for the procedure of each.
//! Assumes: a file whose name ends in `.toml` is a scenario.
//! Never: keeps the rows of a joint.

use super::marks::Marks;
use super::pass::{Pass, TraceScore};
use crate::input::layout::Layout;
use crate::output::named;
use crate::process::truth::truth_path;
use crate::process::{Scenario, Truth};
use crate::trace::timing::{LOOKED_AT, Spacing};
use crate::trace::{self, Row, TraceHeader};
use anyhow::{anyhow, bail};
use bandward::{Acquisition, Procedure};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// One trace.
pub enum Input {
    /// A file, with its faults beside it.
    Recorded(PathBuf),
    /// A joint that is made.
    Made {
        /// What it is called.
        name: String,
        /// The joint.
        scenario: Box<Scenario>,
    },
}

impl Input {
    /// Those a path stands for: a scenario once for each seed, with its own where none is given.
    ///
    /// # Errors
    /// A scenario cannot be read, or has faults of writing.
    pub fn of(path: &Path, seeds: Option<&RangeInclusive<u64>>) -> anyhow::Result<Vec<Self>> {
        if path.extension().is_none_or(|ending| ending != "toml") {
            return Ok(vec![Self::Recorded(path.to_owned())]);
        }
        let made = |seed| {
            let scenario = Box::new(Scenario::read(path, seed)?);
            Ok(Self::Made { name: format!("{}-{}", named(path.with_extension("")), scenario.seed), scenario })
        };
        match seeds {
            None => Ok(vec![made(None)?]),
            Some(seeds) => seeds.clone().map(|seed| made(Some(seed))).collect(),
        }
    }
    /// What it is called.
    pub fn name(&self) -> String {
        match self {
            Self::Recorded(path) => named(path),
            Self::Made { name, .. } => name.clone(),
        }
    }
    /// The procedure it goes by, where it has one itself.
    pub fn procedure(&self) -> Option<&Procedure> {
        match self {
            Self::Recorded(_) => None,
            Self::Made { scenario, .. } => Some(&scenario.targets.procedure),
        }
    }
    /// What is wrong in it.
    ///
    /// # Errors
    /// The file that says so cannot be read, or makes no sense.
    pub fn marks(&self, grace_s: f64, consequences_s: f64) -> anyhow::Result<Marks> {
        match self {
            Self::Recorded(path) => Marks::read(&truth_path(path), grace_s, consequences_s),
            Self::Made { name, scenario } => {
                // The truth is known when the joint is done; without a fault there is none to wait for.
                let truth = if scenario.faults.is_empty() { Truth::default() } else { scenario.truth() };
                Ok(Marks::parse(name, &serde_json::to_string(&truth)?, grace_s, consequences_s)?)
            }
        }
    }
    /// Runs a pass over it; `start` is told its header and makes the pass.
    ///
    /// # Errors
    /// It cannot be read, or has faults, or `start` fails.
    pub fn run<'a>(
        &self,
        layout: Option<&Layout>,
        start: impl FnOnce(&TraceHeader) -> anyhow::Result<Pass<'a>>,
    ) -> anyhow::Result<TraceScore> {
        match self {
            Self::Recorded(path) => {
                let mut reader = trace::open(path, layout)?;
                let mut pass = start(reader.header())?;
                for row in reader.by_ref() {
                    pass.step(&row?);
                }
                if let Some(change) = reader.change() {
                    bail!("{}: the file changed while it was read: {change}", self.name());
                }
                Ok(pass.finish())
            }
            Self::Made { name, scenario } => {
                let mut rows = scenario.rows();
                let first: Vec<Row> = rows.by_ref().take(LOOKED_AT).collect();
                let spacing = Spacing::of(first.iter().map(|row| row.time_us))
                    .map_err(|error| anyhow!("{name}: its rows have no spacing: {error:?}"))?;
                let header = TraceHeader {
                    path: name.clone(),
                    acquisition: Acquisition {
                        gap_tolerance_us: spacing.gap_tolerance_us,
                        ..Acquisition::every(spacing.period_us, scenario.channels)
                    },
                    evenly_spaced: spacing.evenly_spaced,
                    unknown_columns: Vec::new(),
                    start: None,
                };
                let mut pass = start(&header)?;
                for row in first.into_iter().chain(rows) {
                    pass.step(&row);
                }
                Ok(pass.finish())
            }
        }
    }
}
