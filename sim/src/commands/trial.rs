//! `bandward trial`: thresholds on the bench.
//!
//! Decides: which traces are run through which settings, and in which order they are told.
//! Assumes: each trace has its faults beside it; see [`crate::trial::marks`].
//! Never: keeps a trace in memory.

use super::Outcome;
use crate::fleet::FleetArguments;
use crate::input::layout::Layout;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::preferences;
use crate::report::picture;
use crate::report::trial::{self as report, Proposal, Results};
use crate::trial::input::Input;
use crate::trial::knob::{Knob, Sweep, with_values};
use crate::trial::marks::Marks;
use crate::trial::pass::{Pass, Told, TraceScore};
use crate::trial::plan::Plan;
use crate::trial::suggest::{self, BUDGET_PER_HOUR, Candidate};
use crate::trial::{Sums, held_out};
use anyhow::{Context as _, bail};
use bandward::{Procedure, Severity};
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// No grid has more settings than this.
const MOST_SETTINGS: usize = 100_000;

/// Tries a procedure, and other settings of it, on traces whose faults are known
///
/// A scenario file of `synth` stands for the joint it makes, which is made as it is needed, and is judged
/// by its own procedure where no other is given. Any other file is a trace. Beside each trace (say joint.csv) stands what was wrong in it (joint.truth.json): `synth` writes that
/// file for a made trace; for a recorded one write it by hand, such as
///
/// `{"faults": [{"rule": "gas-low", "start_s": 12.0, "end_s": 19.5}]}`
///
/// An alarm finds a fault when it is of the fault's rule and becomes active from the fault's start to
/// --grace after its end. Alarms during a fault of another rule stand beside it; all others are false.
#[derive(Args, Debug)]
#[command(after_help = "Examples:
  bandward trial --procedure joint.procedure.toml traces/*.csv
  bandward trial -p joint.procedure.toml --sweep voltage-low.on_delay=0:2:0.1 --png curve.png traces/*.csv
  bandward trial -p joint.procedure.toml --suggest traces/*.csv
  bandward trial sim/scenarios/*.toml --seeds 1:5

Exit code 0: every fault was found and false alarms are within the budget; 1: not so; 2: could not do it.")]
pub struct TrialArguments {
    /// Traces: CSV (also .gz, .zst) or Parquet; or scenarios of `synth`: .toml
    #[arg(required = true)]
    traces: Vec<PathBuf>,
    /// The procedure to try
    #[arg(long, short, value_name = "FILE")]
    procedure: Option<PathBuf>,
    /// Makes each scenario once for every seed from the first to the last
    #[arg(long, value_name = "FIRST:LAST", value_parser = seeds)]
    seeds: Option<RangeInclusive<u64>>,
    /// How the columns of another logger are to be read
    #[arg(long, short, value_name = "FILE")]
    layout: Option<PathBuf>,
    /// Tries other values of a rule's `allowed`, `recommended`, `floor`, `deadband`, `on_delay` or
    /// `off_delay`, in its own unit or with another written; may be given again, for all combinations
    #[arg(long, value_name = "RULE.KEY=FROM:TO:STEP", value_parser = Sweep::parse, requires = "procedure")]
    sweep: Vec<Sweep>,
    /// Proposes settings: of the sweep, or on-delays and deadbands of all rules; half of the traces are
    /// kept out of the fitting to see how they do there
    #[arg(long, requires = "procedure")]
    suggest: bool,
    /// False alarms an hour that can be lived with
    #[arg(long, value_name = "PER_HOUR", default_value_t = BUDGET_PER_HOUR)]
    budget: f64,
    /// How long after the end of a fault an alarm may still belong to it
    #[arg(long, value_name = "SECONDS", default_value_t = 5.0)]
    grace: f64,
    /// The least severity that counts as an alarm
    #[arg(long, value_name = "SEVERITY", default_value = "warn", value_parser = severity)]
    severity: Severity,
    /// One JSON object instead of text
    #[arg(long, conflicts_with = "markdown")]
    json: bool,
    /// The table as Markdown instead of text
    #[arg(long)]
    markdown: bool,
    /// Draws what a sweep came to
    #[arg(long, value_name = "FILE", requires = "sweep")]
    png: Option<PathBuf>,
    /// As --png, as SVG
    #[arg(long, value_name = "FILE", requires = "sweep")]
    svg: Option<PathBuf>,
    #[command(flatten)]
    fleet: FleetArguments,
}

fn severity(name: &str) -> Result<Severity, String> {
    let all = [Severity::Advise, Severity::Warn, Severity::Stop];
    let found = all.into_iter().find(|severity| severity.name() == name);
    found.ok_or_else(|| format!("`{name}` is none of {}", all.map(Severity::name).join(", ")))
}

fn seeds(text: &str) -> Result<RangeInclusive<u64>, String> {
    let ends = text.split_once(':').and_then(|(first, last)| Some(first.parse().ok()?..=last.parse().ok()?));
    ends.filter(|seeds| !seeds.is_empty()).ok_or_else(|| format!("`{text}` is not FIRST:LAST, such as 1:20"))
}

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults, or the settings do not fit the procedure.
pub fn run(arguments: &TrialArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    for (name, value) in [("--budget", arguments.budget), ("--grace", arguments.grace)] {
        if !(0.0..=1e6).contains(&value) {
            bail!("{name}: {value} is not allowed; a number from 0 to 1000000 is");
        }
    }
    let file = arguments.procedure.as_deref().map(ProcedureFile::read).transpose()?;
    let mut bench = Bench::new(arguments)?;
    let mut plan = match &file {
        Some(file) => sweep_plan(&file.procedure, &arguments.sweep)?,
        None => Plan::of(bench.own_procedure()?),
    };
    let candidates = if arguments.suggest && arguments.sweep.is_empty() {
        suggest::usual_candidates(&mut plan)?
    } else {
        Vec::new()
    };
    if file.is_none() {
        bench.each_its_own();
    }
    let tried = bench.run(&plan)?;
    let all = tried.fit.clone().plus(&tried.held);
    let proposal = match &file {
        Some(file) if arguments.suggest => {
            let values = proposed(arguments, &plan, &tried.fit, &candidates);
            Some(bench.proposal(&file.procedure, values)?)
        }
        _ => None,
    };
    let results = Results {
        title: file.as_ref().map_or_else(|| "each by its own procedure".to_owned(), ProcedureFile::title),
        procedure: &plan.variants[0],
        system: preferences::units(units, file.as_ref())?,
        severity: arguments.severity,
        grace_s: arguments.grace,
        budget_per_hour: arguments.budget,
        sums: &all,
        plan: &plan,
        sweeps: &arguments.sweep,
        told: bench.named(tried.told),
        proposal: proposal.as_ref(),
    };
    show(arguments, &results)?;
    Ok(if results.is_good() { Outcome::WithinProcedure } else { Outcome::OutsideProcedure })
}

fn proposed(
    arguments: &TrialArguments,
    plan: &Plan,
    fitted_on: &Sums,
    candidates: &[Candidate],
) -> Vec<(Knob, f64)> {
    if arguments.sweep.is_empty() {
        return suggest::choose(plan, fitted_on, candidates, arguments.budget);
    }
    let best = suggest::best_point(plan, fitted_on, arguments.budget);
    let knobs = arguments.sweep.iter().map(|sweep| sweep.knob);
    knobs.zip(best.into_iter().flat_map(|point| point.values.iter().copied())).collect()
}

/// All combinations of the values of the sweeps.
fn sweep_plan(procedure: &Procedure, sweeps: &[Sweep]) -> anyhow::Result<Plan> {
    let mut plan = Plan::of(procedure);
    let settings = sweeps.iter().try_fold(1_usize, |count, sweep| count.checked_mul(sweep.values.len()));
    if settings.is_none_or(|settings| settings > MOST_SETTINGS) {
        bail!("--sweep: more than {MOST_SETTINGS} settings; take larger steps or fewer knobs");
    }
    let mut points: Vec<Vec<(Knob, f64)>> = vec![Vec::new()];
    for sweep in sweeps {
        let extended = points.iter().flat_map(|point| {
            let with = |value: &f64| [point.as_slice(), &[(sweep.knob, *value)]].concat();
            sweep.values.iter().map(with)
        });
        points = extended.collect();
    }
    for point in points.iter().filter(|point| !point.is_empty()) {
        plan.add(point)?;
    }
    Ok(plan)
}

/// The traces and how they are read.
struct Bench<'a> {
    arguments: &'a TrialArguments,
    layout: Option<Layout>,
    inputs: Vec<Input>,
    marks: Vec<Marks>,
    held: Vec<bool>,
    /// The procedures of scenarios that are judged by their own.
    own: Option<Vec<Plan>>,
}

/// What the traces came to, those to fit on and the others.
struct Tried {
    fit: Sums,
    held: Sums,
    told: Vec<(usize, Told)>,
}

impl<'a> Bench<'a> {
    fn new(arguments: &'a TrialArguments) -> anyhow::Result<Self> {
        let layout = arguments.layout.as_deref().map(Layout::read).transpose()?;
        let mut inputs = Vec::new();
        for path in &arguments.traces {
            inputs.extend(Input::of(path, arguments.seeds.as_ref())?);
        }
        let progress = progress(inputs.len(), "faults of")?;
        let marks: anyhow::Result<Vec<_>> = inputs
            .par_iter()
            .map(|input| {
                let marks = input.marks(arguments.grace);
                progress.inc(1);
                marks
            })
            .collect();
        progress.finish_and_clear();
        let marks = marks?;
        let held = held_out(&marks);
        Ok(Self { arguments, layout, inputs, marks, held, own: None })
    }
    /// The procedure of the first input, where all have one.
    fn own_procedure(&self) -> anyhow::Result<&Procedure> {
        if let Some(input) = self.inputs.iter().find(|input| input.procedure().is_none()) {
            bail!("{} names no procedure: add --procedure FILE.toml", input.name());
        }
        self.inputs.first().and_then(Input::procedure).context("there is nothing to be tried on")
    }
    fn each_its_own(&mut self) {
        self.own = Some(self.inputs.iter().filter_map(Input::procedure).map(Plan::of).collect());
    }
    fn named(&self, mut told: Vec<(usize, Told)>) -> Vec<(String, Told)> {
        told.sort_by_key(|(trace, told)| (*trace, told.time_us));
        told.into_iter().map(|(trace, told)| (self.inputs[trace].name(), told)).collect()
    }

    fn run(&self, plan: &Plan) -> anyhow::Result<Tried> {
        let progress = progress(self.inputs.len(), "tried")?;
        let nothing = || Tried { fit: Sums::of(plan), held: Sums::of(plan), told: Vec::new() };
        let tried = (0..self.inputs.len())
            .into_par_iter()
            .try_fold(nothing, |mut tried, index| {
                let score = self.one(plan, index)?;
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

    fn one(&self, plan: &Plan, index: usize) -> anyhow::Result<TraceScore> {
        let plan = self.own.as_ref().map_or(plan, |own| &own[index]);
        let (marks, severity) = (&self.marks[index], self.arguments.severity);
        let (header, mut score) = self.inputs[index].run(self.layout.as_ref(), |header| {
            let pass = Pass::new(plan, header, marks, severity);
            if self.arguments.fleet.is_any() { pass.keeping() } else { pass }
        })?;
        if let Some(kept) = score.kept.take() {
            self.arguments.fleet.write(&header.path, header.start.as_deref(), &kept.bands, &kept.alarms)?;
        }
        Ok(score)
    }

    /// The values proposed, run through all traces beside the present ones.
    fn proposal(&self, procedure: &Procedure, values: Vec<(Knob, f64)>) -> anyhow::Result<Proposal> {
        with_values(procedure, &values)?;
        let mut plan = Plan::of(procedure);
        if !values.is_empty() {
            plan.add(&values)?;
        }
        let tried = self.run(&plan)?;
        Ok(Proposal { values, plan, fit: tried.fit, held: tried.held })
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

fn show(arguments: &TrialArguments, results: &Results<'_>) -> anyhow::Result<()> {
    if arguments.json {
        anstream::println!("{}", serde_json::to_string_pretty(&report::json(results))?);
    } else if arguments.markdown {
        anstream::print!("{}", report::markdown(results));
    } else {
        anstream::print!("{}", report::text(results));
    }
    let write = |path: &Path, bytes: &[u8]| {
        std::fs::write(path, bytes).with_context(|| format!("cannot write {}", path.display()))
    };
    if let Some(path) = &arguments.svg {
        write(path, picture::trade_off_svg(results).as_bytes())?;
    }
    if let Some(path) = &arguments.png {
        write(path, &picture::trade_off_png(results)?)?;
    }
    Ok(())
}
