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
use crate::output::terminal::{say, say_json};
use crate::output::{self, refuse_overlap};
use crate::preferences;
use crate::process::truth::truth_path;
use crate::report::picture;
use crate::report::trial::{self as report, Results};
use crate::trial::bench::{Bench, Setting};
use crate::trial::plan::Plan;
use crate::trial::suggest::{self, BUDGET_PER_HOUR, DELAY_ALLOWANCE_S, Wish};
use crate::trial::sweep::Sweep;
use bandward::Severity;
use clap::Args;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// Tries a procedure, and other settings of it, on traces whose faults are known
///
/// Beside each trace (say joint.csv) stands what was wrong in it (joint.truth.json): `synth` writes that
/// file for a made trace; for a recorded one write it by hand, with times as `replay` shows them, such as
///
/// `{"faults": [{"rule": "gas-low", "start_s": 12.0, "end_s": 19.5}]}`
///
/// and `{"faults": []}` where nothing was wrong. A scenario file of `synth` (.toml) stands for the joint it
/// makes, which is made as it is needed, and is judged by its own procedure where no other is given.
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
    ///
    /// Most values cost next to nothing: the samples are looked at once for all of them. Slower are those
    /// that change what is made of the samples, each of which looks at them anew: `allowed`, `recommended`
    /// and `floor` of gas-low, gas-preflow, gas-postflow and weave-rate-high, and all of signal-stuck,
    /// signal-railed and signal-missing. What comes out is the same either way.
    #[arg(long, value_name = "RULE.KEY=FROM:TO:STEP", value_parser = Sweep::parse, requires = "procedure")]
    sweep: Vec<Sweep>,
    /// Proposes settings, and says why: of the sweep, or on-delays and deadbands of all rules; half of the
    /// traces are kept out of the fitting to see how they do there
    #[arg(long, requires = "procedure")]
    suggest: bool,
    /// False alarms an hour that can be lived with
    #[arg(long, value_name = "PER_HOUR", default_value_t = BUDGET_PER_HOUR, value_parser = not_negative)]
    budget: f64,
    /// How much later alarms may come for a wider margin to false alarms, for --suggest
    #[arg(long, value_name = "SECONDS", default_value_t = DELAY_ALLOWANCE_S, value_parser = not_negative,
        requires = "suggest")]
    delay_allowance: f64,
    /// How long after the end of a fault an alarm may still belong to it
    #[arg(long, value_name = "SECONDS", default_value_t = 8.0, value_parser = not_negative)]
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

fn not_negative(text: &str) -> Result<f64, String> {
    let allowed = |value: &f64| (0.0..=1e6).contains(value);
    text.parse().ok().filter(allowed).ok_or_else(|| format!("`{text}` is no number from 0 to 1000000"))
}

fn seeds(text: &str) -> Result<RangeInclusive<u64>, String> {
    let ends = text.split_once(':').and_then(|(first, last)| Some(first.parse().ok()?..=last.parse().ok()?));
    ends.filter(|seeds| !seeds.is_empty()).ok_or_else(|| format!("`{text}` is not FIRST:LAST, such as 1:20"))
}

impl TrialArguments {
    fn refuse_overlap(&self) -> anyhow::Result<()> {
        let truths: Vec<PathBuf> = self.traces.iter().map(|path| truth_path(path)).collect();
        let mut inputs: Vec<(&str, &Path)> = Vec::new();
        inputs.extend(self.traces.iter().map(|path| ("the trace", path.as_path())));
        inputs.extend(truths.iter().map(|path| ("the truth", path.as_path())));
        inputs.extend(self.procedure.iter().map(|path| ("--procedure", path.as_path())));
        inputs.extend(self.layout.iter().map(|path| ("--layout", path.as_path())));
        let outputs = [("--png", &self.png), ("--svg", &self.svg)];
        let outputs = outputs.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?)));
        refuse_overlap(&inputs, &outputs.collect::<Vec<_>>())
    }
}

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults, or the settings do not fit the procedure.
pub fn run(arguments: &TrialArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    arguments.refuse_overlap()?;
    let file = arguments.procedure.as_deref().map(ProcedureFile::read).transpose()?;
    let setting = Setting {
        layout: arguments.layout.as_deref().map(Layout::read).transpose()?,
        seeds: arguments.seeds.clone(),
        grace_s: arguments.grace,
        severity: arguments.severity,
        fleet: &arguments.fleet,
    };
    arguments.fleet.check(&arguments.traces, setting.layout.as_ref())?;
    let mut bench = Bench::new(&arguments.traces, setting)?;
    let mut plan = match &file {
        Some(file) => Plan::of_sweeps(&file.procedure, &arguments.sweep)?,
        None => Plan::of(bench.own_procedure()?),
    };
    if arguments.suggest && arguments.sweep.is_empty() {
        suggest::add_usual_settings(&mut plan)?;
    }
    if file.is_none() {
        bench.each_its_own();
    }
    let tried = bench.run(&plan)?;
    let all = tried.fit.clone().plus(&tried.held);
    let wish = Wish { budget_per_hour: arguments.budget, delay_allowance_s: arguments.delay_allowance };
    let proposed = match &file {
        Some(file) if arguments.suggest => {
            let suggestion = suggest::suggest(&plan, &tried.fit, wish);
            let proposal = bench.proposal(&file.procedure, &suggestion.values())?;
            Some((suggestion, proposal))
        }
        _ => None,
    };
    let results = Results {
        title: file.as_ref().map_or_else(|| "each by its own procedure".to_owned(), ProcedureFile::title),
        procedure: &plan.variants[0],
        system: preferences::units(units, file.as_ref())?,
        severity: arguments.severity,
        grace_s: arguments.grace,
        wish,
        sums: &all,
        plan: &plan,
        sweeps: &arguments.sweep,
        about: all.changed_by(&plan, plan.points.iter()),
        told: bench.named(&tried),
        proposed,
    };
    show(arguments, &results)?;
    Ok(if results.is_good() { Outcome::Done } else { Outcome::Broken })
}

fn show(arguments: &TrialArguments, results: &Results<'_>) -> anyhow::Result<()> {
    if arguments.json {
        say_json(&report::json(results))?;
    } else if arguments.markdown {
        say(&report::markdown(results))?;
    } else {
        say(&report::text(results))?;
    }
    if let Some(path) = &arguments.svg {
        output::write(path, picture::trade_off_svg(results).as_bytes())?;
    }
    if let Some(path) = &arguments.png {
        output::write(path, &picture::trade_off_png(results)?)?;
    }
    Ok(())
}
