//! Traces with their faults, run through the settings of a plan, on all cores.
//!
//! Decides: which traces settings are fitted on, which procedure each is judged by, and what is added up.
//! Assumes: each trace has its faults beside it; see [`super::marks`].
//! Never: keeps a trace in memory.

use super::input::Input;
use super::marks::Marks;
use super::pass::{Pass, Told, TraceScore};
use super::plan::Plan;
use super::tunable::{Tunable, with_values};
use super::{Sums, held_out};
use crate::fleet::FleetArguments;
use crate::input::layout::Layout;
use crate::raw::seconds;
use anyhow::{Context as _, bail};
use bandward::{Procedure, Severity};
use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::time::Duration;

/// How traces are read and alarms are counted.
pub struct Setting<'a> {
    /// How the columns of another logger are read.
    pub layout: Option<Layout>,
    /// Seeds to make each scenario with.
    pub seeds: Option<RangeInclusive<u64>>,
    /// How long after its end a fault may be found, s.
    pub grace_s: f64,
    /// Alarms count from here.
    pub severity: Severity,
    /// Where the tables of joints go.
    pub fleet: &'a FleetArguments,
}

/// The traces and how they are read.
pub struct Bench<'a> {
    setting: Setting<'a>,
    inputs: Vec<Input>,
    marks: Vec<Marks>,
    held: Vec<bool>,
    /// The procedures of scenarios that are judged by their own.
    own: Option<Vec<Plan>>,
}

/// What the traces came to, those to fit on and the others.
pub struct Tried {
    /// The traces to fit on.
    pub fit: Sums,
    /// The others.
    pub held: Sums,
    /// Misses and false alarms, with the place of their trace.
    told: Vec<(usize, Told)>,
}

/// Other settings, and how they do.
pub struct Proposal {
    /// The present settings and, if any differ, the proposed ones as its point.
    pub plan: Plan,
    /// The traces they were fitted on.
    pub fit: Sums,
    /// The others.
    pub held: Sums,
}

impl<'a> Bench<'a> {
    /// Reads the faults of all traces.
    ///
    /// # Errors
    /// A scenario or the faults of a trace cannot be read.
    pub fn new(traces: &[PathBuf], setting: Setting<'a>) -> anyhow::Result<Self> {
        let mut inputs = Vec::new();
        for path in traces {
            inputs.extend(Input::of(path, setting.seeds.as_ref())?);
        }
        let progress = progress(inputs.len(), "faults of")?;
        let marks: anyhow::Result<Vec<_>> = inputs
            .par_iter()
            .map(|input| {
                let marks = input.marks(setting.grace_s);
                progress.inc(1);
                marks
            })
            .collect();
        progress.finish_and_clear();
        let marks = marks?;
        let held = held_out(&marks);
        Ok(Self { setting, inputs, marks, held, own: None })
    }
    /// The procedure of the first input, where all have one.
    ///
    /// # Errors
    /// One has none.
    pub fn own_procedure(&self) -> anyhow::Result<&Procedure> {
        if let Some(input) = self.inputs.iter().find(|input| input.procedure().is_none()) {
            bail!("{} names no procedure: add --procedure FILE.toml", input.name());
        }
        self.inputs.first().and_then(Input::procedure).context("there is nothing to be tried on")
    }
    /// From now on each trace is judged by its own procedure.
    pub fn each_its_own(&mut self) {
        self.own = Some(self.inputs.iter().filter_map(Input::procedure).map(Plan::of).collect());
    }
    /// Misses and false alarms in the order of traces and time, with the name of their trace.
    pub fn named(&self, tried: &Tried) -> Vec<(String, Told)> {
        let mut told = tried.told.clone();
        told.sort_by_key(|(trace, told)| (*trace, told.time_us));
        told.into_iter().map(|(trace, told)| (self.inputs[trace].name(), told)).collect()
    }
    /// Runs all traces; writes their tables, where these are asked for.
    ///
    /// # Errors
    /// A trace cannot be read, or a table cannot be written.
    pub fn run(&self, plan: &Plan) -> anyhow::Result<Tried> {
        self.run_writing(plan, self.setting.fleet)
    }
    /// The values proposed, run through all traces beside the present ones.
    ///
    /// # Errors
    /// As [`Bench::run`]; or the values do not fit the procedure.
    pub fn proposal(&self, procedure: &Procedure, values: &[(Tunable, f64)]) -> anyhow::Result<Proposal> {
        with_values(procedure, values)?;
        let mut plan = Plan::of(procedure);
        if !values.is_empty() {
            plan.add(values)?;
        }
        let tried = self.run_writing(&plan, &FleetArguments::default())?;
        Ok(Proposal { plan, fit: tried.fit, held: tried.held })
    }

    fn run_writing(&self, plan: &Plan, fleet: &FleetArguments) -> anyhow::Result<Tried> {
        let progress = progress(self.inputs.len(), "tried")?;
        let nothing = || Tried { fit: Sums::of(plan), held: Sums::of(plan), told: Vec::new() };
        let tried = (0..self.inputs.len())
            .into_par_iter()
            .try_fold(nothing, |mut tried, index| {
                let score = self.one(plan, index, fleet)?;
                let sums = if self.held[index] { &mut tried.held } else { &mut tried.fit };
                sums.take(&score);
                tried.told.extend(score.told.into_iter().map(|told| (index, told)));
                progress.inc(1);
                anyhow::Ok(tried)
            })
            .try_reduce(nothing, |one, other| {
                Ok(Tried {
                    fit: one.fit.plus(&other.fit),
                    held: one.held.plus(&other.held),
                    told: [one.told, other.told].concat(),
                })
            });
        progress.finish_and_clear();
        tried
    }

    fn one(&self, plan: &Plan, index: usize, fleet: &FleetArguments) -> anyhow::Result<TraceScore> {
        let plan = self.own.as_ref().map_or(plan, |own| &own[index]);
        let (marks, severity) = (&self.marks[index], self.setting.severity);
        let mut score = self.inputs[index].run(self.setting.layout.as_ref(), |header| {
            let pass = Pass::new(plan, header, marks, severity);
            let tables = fleet.tables(&header.path, header.start.as_deref())?;
            Ok(match tables {
                Some(tables) => pass.writing(tables),
                None => pass,
            })
        })?;
        if let Some(late) = marks.faults.iter().find(|mark| mark.start_us > score.last_us) {
            bail!(
                "{}: a fault is said to begin at {} s, and the trace ends at {} s; times are those that `replay` shows",
                self.inputs[index].name(),
                seconds(late.start_us),
                seconds(score.last_us)
            );
        }
        if let Some(tables) = score.tables.take() {
            tables.finish()?;
        }
        Ok(score)
    }
}

fn progress(length: usize, what: &'static str) -> anyhow::Result<ProgressBar> {
    let progress = ProgressBar::new(length as u64);
    progress
        .set_style(ProgressStyle::with_template("{spinner} {msg} {pos} of {len} traces {wide_bar} {eta}")?);
    progress.set_message(what);
    progress.enable_steady_tick(Duration::from_millis(120));
    Ok(progress)
}
