//! Traces with their faults, run through the settings of a plan, on all cores.
//!
//! Decides: which procedure each trace is judged by, and what is added up.
//! Assumes: each trace has its faults beside it; see [`super::marks`].
//! Never: keeps a trace in memory.

use super::Sums;
use super::folds::folds;
use super::input::Input;
use super::marks::{Mark, Marks};
use super::pass::{Pass, Told, TraceScore};
use super::plan::Plan;
use super::tally::Fate;
use crate::fleet::FleetArguments;
use crate::input::hash::Hash;
use crate::input::layout::Layout;
use crate::raw::seconds;
use crate::threads;
use anyhow::{Context as _, bail};
use bandward::{Procedure, Rule, Severity};
use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;
use std::collections::HashMap;
use std::fs::File;
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
    /// How long after its end a fault may bring other alarms, s.
    pub consequences_s: f64,
    /// Parts of the traces that are kept out of the fitting in turn.
    pub folds: usize,
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
    /// The part of each trace.
    fold_of: Vec<usize>,
    /// The procedures of scenarios that are judged by their own.
    own: Option<Vec<Plan>>,
}

/// What the traces came to.
pub struct Tried {
    /// A part of the traces each.
    pub folds: Vec<Sums>,
    /// Misses and false alarms, with the place of their trace.
    told: Vec<(usize, Told)>,
    /// Faults that fare otherwise with the other procedure, with the place of their trace.
    differences: Vec<(usize, Difference)>,
}

impl Tried {
    /// All traces together.
    pub fn all(&self, plan: &Plan) -> Sums {
        self.folds.iter().fold(Sums::of(plan), Sums::plus)
    }
    fn plus(mut self, mut other: Self) -> Self {
        self.folds = self.folds.into_iter().zip(&other.folds).map(|(one, other)| one.plus(other)).collect();
        self.told.append(&mut other.told);
        self.differences.append(&mut other.differences);
        self
    }
}

/// A fault that fares otherwise with the other procedure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Difference {
    /// The rule it is counted under.
    pub rule: Rule,
    /// It must stop the weld.
    pub is_stop: bool,
    /// From, µs.
    pub start_us: u64,
    /// To, µs.
    pub end_us: u64,
    /// With the procedure that is tried.
    pub this: Fate,
    /// With the other one.
    pub other: Fate,
}

impl<'a> Bench<'a> {
    /// Reads the faults of all traces.
    ///
    /// # Errors
    /// A scenario or the faults of a trace cannot be read.
    pub fn new(traces: &[PathBuf], setting: Setting<'a>) -> anyhow::Result<Self> {
        threads::make_pool();
        let mut inputs = Vec::new();
        for path in traces {
            inputs.extend(Input::of(path, setting.seeds.as_ref())?);
        }
        refuse_twice(&inputs)?;
        let progress = progress(inputs.len(), "faults of")?;
        let marks: anyhow::Result<Vec<_>> = inputs
            .par_iter()
            .map(|input| {
                let marks = input.marks(setting.grace_s, setting.consequences_s);
                progress.inc(1);
                marks
            })
            .collect();
        progress.finish_and_clear();
        let marks = marks?;
        for (input, marks) in inputs.iter().zip(&marks) {
            refuse_unheard(input, marks, setting.severity)?;
        }
        let fold_of = folds(&marks, setting.folds);
        Ok(Self { setting, inputs, marks, fold_of, own: None })
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
    /// Spans in which something was wrong that no rule is about, with the name of their trace.
    pub fn without_rule(&self) -> Vec<(String, Mark)> {
        let traces = self.inputs.iter().zip(&self.marks);
        let of_trace = |(input, marks): (&Input, &Marks)| {
            let own = marks.faults.iter().filter(|mark| mark.rules.is_empty()).cloned();
            let name = input.name();
            own.map(|mark| (name.clone(), mark)).collect::<Vec<_>>()
        };
        traces.flat_map(of_trace).collect()
    }
    /// Faults that fare otherwise with the other procedure, with the name of their trace.
    pub fn differences(&self, tried: &Tried) -> Vec<(String, Difference)> {
        let mut differences = tried.differences.clone();
        differences.sort_by_key(|(trace, difference)| (*trace, difference.start_us));
        differences.into_iter().map(|(trace, difference)| (self.inputs[trace].name(), difference)).collect()
    }
    /// Runs all traces; writes their tables, where these are asked for.
    ///
    /// # Errors
    /// A trace cannot be read, or a table cannot be written.
    pub fn run(&self, plan: &Plan) -> anyhow::Result<Tried> {
        self.run_writing(plan, self.setting.fleet)
    }
    /// Runs all traces with another plan; writes no tables.
    ///
    /// # Errors
    /// As [`Bench::run`].
    pub fn try_again(&self, plan: &Plan) -> anyhow::Result<Vec<Sums>> {
        Ok(self.run_writing(plan, &FleetArguments::default())?.folds)
    }

    fn run_writing(&self, plan: &Plan, fleet: &FleetArguments) -> anyhow::Result<Tried> {
        let progress = progress(self.inputs.len(), "tried")?;
        let parts = self.fold_of.iter().max().map_or(1, |last| last + 1);
        let nothing =
            || Tried { folds: vec![Sums::of(plan); parts], told: Vec::new(), differences: Vec::new() };
        let tried = (0..self.inputs.len())
            .into_par_iter()
            .try_fold(nothing, |mut tried, index| {
                let score = self.one(plan, index, fleet)?;
                tried.folds[self.fold_of[index]].take(&score);
                if plan.tried > 1 {
                    let differences = self.differing(index, &score);
                    tried.differences.extend(differences.map(|difference| (index, difference)));
                }
                tried.told.extend(score.told.into_iter().map(|told| (index, told)));
                progress.inc(1);
                anyhow::Ok(tried)
            })
            .try_reduce(nothing, |one, other| Ok(one.plus(other)));
        progress.finish_and_clear();
        tried
    }

    /// The faults of a trace that fare otherwise with the second procedure of a plan.
    fn differing<'s>(&'s self, index: usize, score: &'s TraceScore) -> impl Iterator<Item = Difference> + 's {
        let marks = self.marks[index].faults.iter().enumerate();
        marks.filter_map(|(place, mark)| {
            let (this, other) = (score.fate(0, place), score.fate(1, place));
            (this != other).then_some(Difference {
                rule: mark.lead()?,
                is_stop: score.faults[place].is_stop,
                start_us: mark.start_us,
                end_us: mark.end_us,
                this,
                other,
            })
        })
    }
    fn one(&self, plan: &Plan, index: usize, fleet: &FleetArguments) -> anyhow::Result<TraceScore> {
        let plan = self.own.as_ref().map_or(plan, |own| &own[index]);
        let (marks, severity) = (&self.marks[index], self.setting.severity);
        let mut score = self.inputs[index].run(self.setting.layout.as_ref(), |header| {
            let pass = Pass::new(plan, header, marks, severity);
            let tables = fleet.tables(&header.path, None, header.start.as_deref())?;
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

/// A fault that asks for less than counts as an alarm could be found by none.
fn refuse_unheard(input: &Input, marks: &Marks, counts: Severity) -> anyhow::Result<()> {
    let unheard = |mark: &&Mark| mark.severity.is_some_and(|severity| severity < counts);
    let Some(mark) = marks.faults.iter().find(unheard) else { return Ok(()) };
    let severity = mark.severity.unwrap_or(counts).name();
    bail!(
        "{}: the fault at {} s is said to be found from `{severity}` on, and alarms count from `{}` on: add \
         --severity {severity}",
        input.name(),
        seconds(mark.start_us),
        counts.name()
    )
}

/// The same trace twice is no more evidence than once. What is no file is read once only, and not asked; nor is one alone.
fn refuse_twice(inputs: &[Input]) -> anyhow::Result<()> {
    if inputs.len() < 2 {
        return Ok(());
    }
    let hash = |input: &Input| -> anyhow::Result<Option<String>> {
        let Input::Recorded(path) = input else { return Ok(None) };
        // What cannot be opened is told by whoever reads the trace.
        let Ok(mut file) = File::open(path) else { return Ok(None) };
        if !file.metadata()?.is_file() {
            return Ok(None);
        }
        let mut hash = Hash::default();
        hash.read(&mut file)?;
        Ok(Some(hash.hexadecimal()))
    };
    let hashes: Vec<_> = inputs.par_iter().map(hash).collect::<anyhow::Result<_>>()?;
    let mut known: HashMap<&str, &Input> = HashMap::new();
    for (input, hash) in inputs.iter().zip(&hashes) {
        let before = hash.as_deref().and_then(|hash| known.insert(hash, input));
        if let Some(before) = before {
            bail!(
                "{} and {} are the same trace (equal SHA-256): give it once, or it would count twice",
                before.name(),
                input.name()
            );
        }
    }
    Ok(())
}

fn progress(length: usize, what: &'static str) -> anyhow::Result<ProgressBar> {
    let progress = ProgressBar::new(length as u64);
    progress
        .set_style(ProgressStyle::with_template("{spinner} {msg} {pos} of {len} traces {wide_bar} {eta}")?);
    progress.set_message(what);
    // The clock of the bar is a thread of its own.
    if threads::may_start() {
        progress.enable_steady_tick(Duration::from_millis(120));
    }
    Ok(progress)
}
