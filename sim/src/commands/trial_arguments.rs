//! The arguments of `bandward trial`.
//!
//! Decides: names, defaults and what is refused.
//! Never: runs anything.

use super::synth::procedure_of;
use crate::dossier::Beside;
use crate::fleet::FleetArguments;
use crate::input::layout::Layout;
use crate::output::{named, refuse_overlap};
use crate::process::truth::truth_path;
#[cfg(feature = "register")]
use crate::register;
use crate::trial::bench::Setting;
use crate::trial::cost::Costs;
use crate::trial::folds::FOLDS;
use crate::trial::sweep::Sweep;
use crate::trial::tunable::Tunable;
use crate::trial::wish::{BUDGET_PER_HOUR, DELAY_ALLOWANCE_S, Wish};
use anyhow::bail;
use bandward::Severity;
use clap::Args;
use std::borrow::Cow;
use std::ops::RangeInclusive;
use std::path::PathBuf;

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
/// In place of `rule` may stand `rules`, a list any of which should tell of the fault, or a `cause` by its
/// name in the table of causes, or `"rule": null` where no rule is about it; `severity` names the least alarm
/// that finds it. With several rules it is booked on the one that told of it.
///
/// An alarm finds a fault when it is of one of the fault's rules, or a stop about the same quantity, and
/// becomes active from the fault's start to --grace after its end. One that stands already when the fault
/// begins finds it with a delay of 0 ("stood already"); where its cause began more than 10 s before, it is a
/// false alarm as well. Alarms during a fault of another rule
/// stand beside it; so does, up to --consequences after it and at whichever band, what such a fault brings and
/// began after it; all others are false. A fault that one of the procedures stops for is missed without a stop.
#[derive(Args, Debug)]
#[command(after_help = "Examples:
  bandward trial --procedure joint.procedure.toml traces/*.csv
  bandward trial -p joint.procedure.toml --sweep voltage-low.on_delay=0:2:0.1 --png curve.png traces/*.csv
  bandward trial -p joint.procedure.toml --suggest -o tuned.toml traces/*.csv
  bandward trial -p joint.procedure.toml --against other.toml traces/*.csv
  bandward trial sim/scenarios/*.toml --seeds 1:5

Exit code 0: every fault was found and false alarms are within the budget; 1: not so; 2: could not do it.")]
pub struct TrialArguments {
    /// Traces: CSV (also .gz, .zst) or Parquet; or scenarios of `synth`: .toml
    #[cfg_attr(feature = "register", arg(required_unless_present = "register"))]
    #[cfg_attr(not(feature = "register"), arg(required = true))]
    traces: Vec<PathBuf>,
    /// Takes the logs of this register too that lie where they were read with their faults beside them
    #[cfg(feature = "register")]
    #[arg(long, value_name = "FILE")]
    register: Option<PathBuf>,
    /// The procedure to try
    #[arg(long, short, value_name = "FILE")]
    pub(super) procedure: Option<PathBuf>,
    /// Makes each scenario once for every seed from the first to the last
    #[arg(long, value_name = "FIRST:LAST", value_parser = seeds)]
    pub(super) seeds: Option<RangeInclusive<u64>>,
    /// How the columns of another logger are to be read
    #[arg(long, short, value_name = "FILE")]
    pub(super) layout: Option<PathBuf>,
    /// Tries other values of a rule's `allowed`, `recommended`, `floor`, `deadband`, `on_delay` or
    /// `off_delay`, in its own unit or with another written; may be given again, for all combinations
    ///
    /// Most values cost next to nothing: the samples are looked at once for all of them. Slower are those
    /// that change what is made of the samples, each of which looks at them anew: `allowed`, `recommended`
    /// and `floor` of gas-low, gas-preflow, gas-postflow and weave-rate-high, and all of signal-stuck,
    /// signal-railed and signal-missing. What comes out is the same either way.
    #[arg(long, value_name = "RULE.KEY=FROM:TO:STEP", value_parser = Sweep::parse, requires = "procedure")]
    pub(super) sweep: Vec<Sweep>,
    /// Proposes settings that cost less, and says why: of the sweep, or on-delays and deadbands of all rules
    ///
    /// Each part of the traces is kept out of the fitting in turn to see how settings do there; what does not
    /// cost less there is not proposed. Nothing is proposed about a rule with fewer than three faults, nothing
    /// that misses a fault which is found now, and nothing that has a stop come later, on less, or for less
    /// time.
    #[arg(long, requires = "procedure")]
    pub(super) suggest: bool,
    /// False alarms an hour that can be lived with
    #[arg(long, value_name = "PER_HOUR", default_value_t = BUDGET_PER_HOUR, value_parser = not_negative)]
    pub(super) budget: f64,
    #[command(flatten)]
    pub(super) proposal: ProposalArguments,
    /// Tries another procedure on the same traces, and lists what fares otherwise
    #[arg(long, value_name = "FILE", requires = "procedure", conflicts_with_all = ["sweep", "suggest"])]
    pub(super) against: Option<PathBuf>,
    /// How long after the end of a fault an alarm may still belong to it
    #[arg(long, value_name = "SECONDS", default_value_t = 8.0, value_parser = not_negative)]
    pub(super) grace: f64,
    /// How long after its end a fault may bring other alarms that are not false: the height of its band,
    /// the overlap, the heat at the next band
    #[arg(long, value_name = "SECONDS", default_value_t = 180.0, value_parser = not_negative)]
    pub(super) consequences: f64,
    /// The least severity that counts as an alarm
    #[arg(long, value_name = "SEVERITY", default_value = "warn", value_parser = severity)]
    pub(super) severity: Severity,
    /// One JSON object instead of text
    #[arg(long, conflicts_with = "markdown")]
    pub(super) json: bool,
    /// The table as Markdown instead of text
    #[arg(long)]
    pub(super) markdown: bool,
    /// Draws what a sweep came to
    #[arg(long, value_name = "FILE", requires = "sweep")]
    pub(super) png: Option<PathBuf>,
    /// As --png, as SVG
    #[arg(long, value_name = "FILE", requires = "sweep")]
    pub(super) svg: Option<PathBuf>,
    #[command(flatten)]
    pub(super) fleet: FleetArguments,
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

/// What is asked of a proposal.
#[derive(Args, Debug)]
pub struct ProposalArguments {
    /// How much later than now the faults of a rule that are found now may be found in the mean, for
    /// --suggest; a cap, whatever it saves
    #[arg(long, value_name = "SECONDS", default_value_t = DELAY_ALLOWANCE_S, value_parser = not_negative,
        requires = "suggest")]
    delay_allowance: f64,
    /// Parts of the traces that are kept out of the fitting in turn
    #[arg(long, value_name = "PARTS", default_value_t = FOLDS as u8, requires = "suggest",
        value_parser = clap::value_parser!(u8).range(2..=20))]
    folds: u8,
    /// What a fault costs that must stop the weld and is missed
    #[arg(long, value_name = "COST", default_value_t = Costs::USUAL.missed_stop, value_parser = not_negative)]
    cost_missed_stop: f64,
    /// What any other fault costs that is missed
    #[arg(long, value_name = "COST", default_value_t = Costs::USUAL.missed_warn, value_parser = not_negative)]
    cost_missed_warn: f64,
    /// What a false alarm costs
    #[arg(long, value_name = "COST", default_value_t = Costs::USUAL.false_alarm, value_parser = not_negative)]
    cost_false_alarm: f64,
    /// What a second costs that a fault is found later, or that its alarm stays active after it
    #[arg(long, value_name = "COST", default_value_t = Costs::USUAL.second, value_parser = not_negative)]
    cost_second: f64,
    /// Lets --suggest have a stop come later, on less or for less time by this key; may be given again
    #[arg(long, value_name = "RULE.KEY", value_parser = Tunable::parse, requires = "suggest")]
    loosen_stop: Vec<Tunable>,
    /// Writes the procedure with the proposed values into a new file, each changed key with a comment; none
    /// where the proposal is not confirmed on the traces kept out
    #[arg(long, short, value_name = "FILE", requires = "suggest")]
    pub(super) output: Option<PathBuf>,
}

impl TrialArguments {
    /// What is asked of settings.
    pub(super) fn wish(&self) -> Wish {
        let own = &self.proposal;
        Wish {
            budget_per_hour: self.budget,
            delay_allowance_s: own.delay_allowance,
            costs: Costs {
                missed_stop: own.cost_missed_stop,
                missed_warn: own.cost_missed_warn,
                false_alarm: own.cost_false_alarm,
                second: own.cost_second,
            },
            loosen: own.loosen_stop.clone(),
        }
    }
    /// The traces that are named, and those of the register.
    pub(super) fn traces(&self) -> anyhow::Result<Vec<PathBuf>> {
        let traces = self.traces.clone();
        #[cfg(feature = "register")]
        if let Some(path) = &self.register {
            return Ok([traces, super::register::sources::marked_logs(path)?].concat());
        }
        Ok(traces)
    }
    /// How traces are read and alarms are counted.
    pub(super) fn setting(&self) -> anyhow::Result<Setting<'_>> {
        Ok(Setting {
            layout: self.layout.as_deref().map(Layout::read).transpose()?,
            seeds: self.seeds.clone(),
            grace_s: self.grace,
            consequences_s: self.consequences,
            folds: usize::from(self.proposal.folds),
            severity: self.severity,
            fleet: &self.fleet,
        })
    }
    /// Refuses outputs that are inputs or one another, and a tuned procedure in the place of any file.
    pub(super) fn refuse_overlap(&self, traces: &[PathBuf]) -> anyhow::Result<()> {
        let truths: Vec<PathBuf> = traces.iter().map(|path| truth_path(path)).collect();
        let is_scenario = |path: &&PathBuf| path.extension().is_some_and(|ending| ending == "toml");
        let own: Vec<PathBuf> =
            traces.iter().filter(is_scenario).filter_map(|path| procedure_of(path)).collect();
        let files = traces.iter().map(|path| ("the trace", path));
        let files = files.chain(truths.iter().map(|path| ("the truth", path)));
        let files = files.chain(own.iter().map(|path| ("the procedure", path)));
        let files = files.chain(self.procedure.iter().map(|path| ("--procedure", path)));
        let files = files.chain(self.layout.iter().map(|path| ("--layout", path)));
        let files = files.chain(self.against.iter().map(|path| ("--against", path)));
        let inputs = files.map(|(what, path)| (what, Cow::Borrowed(path.as_path())));
        // Machine and day of the tables that --parquet writes are in the joint file.
        let beside = traces.iter().flat_map(|path| Beside::files(path));
        let inputs = inputs.chain(beside.map(|(what, path)| (what, Cow::Owned(path))));
        #[cfg(feature = "register")]
        let inputs = inputs.chain(self.register.iter().flat_map(|path| register::files("--register", path)));
        let inputs: Vec<_> = inputs.collect();
        let outputs = [("--png", &self.png), ("--svg", &self.svg), ("--output", &self.proposal.output)];
        let outputs = outputs.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?)));
        let outputs = outputs.chain(self.fleet.folder().map(|folder| ("--parquet", folder)));
        refuse_overlap(&inputs, &outputs.collect::<Vec<_>>())?;
        match &self.proposal.output {
            // Said before the traces are run, which may take long.
            Some(path) if path.symlink_metadata().is_ok() => {
                bail!("--output {} is there already: give it another name", named(path))
            }
            _ => Ok(()),
        }
    }
}
