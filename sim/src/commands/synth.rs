//! `bandward synth`: makes the trace of a joint that never was.
//!
//! Decides: the names of the files it writes, and what it says about them.
//! Assumes: nothing.
//! Never: keeps the rows in memory.

use super::Outcome;
use crate::input::text_file;
use crate::output::terminal::{say, say_json};
use crate::output::{Draft, cannot_write, refuse_overlap};
use crate::output::{STANDARD_STREAM, named};
use crate::process::truth::HabitTruth;
use crate::process::truth::truth_path;
use crate::process::{HabitKind, Kind, Scenario, Truth};
use crate::threads;
use crate::trace::writer::TraceWriter;
use anyhow::bail;
use bandward::Rule;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Makes the trace of an invented joint, good or with faults, and writes down what was put in
///
/// Beside the trace (say joint.csv) the truth is written (joint.truth.json): every fault with its rule,
/// kind, start, end and size, and every band with its height at every angle. The same scenario and seed
/// give the same bytes on every machine.
#[derive(Args, Debug)]
#[command(after_help = "Examples:
  bandward synth sim/demo/scenario.toml -o joint.csv
  bandward synth sim/demo/scenario.toml -o slip.parquet --seed 7 --fault spindle-slip
  bandward synth --list")]
pub struct SynthArguments {
    /// The scenario file (TOML)
    #[arg(required_unless_present = "list")]
    scenario: Option<PathBuf>,
    /// The trace to write: .csv, .csv.gz, .csv.zst or .parquet
    #[arg(short, long, value_name = "TRACE", required_unless_present = "list")]
    output: Option<PathBuf>,
    /// Stands in for the seed of the scenario
    #[arg(long)]
    seed: Option<u64>,
    /// Adds a fault that should raise this rule, or a fault of this kind; may be given again
    #[arg(long, value_name = "RULE", value_parser = fault_kind)]
    fault: Vec<Kind>,
    /// Prints the truth as JSON instead of a summary
    #[arg(long)]
    json: bool,
    /// Lists the kinds of fault, the rule each should raise and what its size means
    #[arg(long, exclusive = true)]
    list: bool,
}

fn fault_kind(name: &str) -> Result<Kind, String> {
    let named = Rule::from_name(name);
    named.and_then(Kind::of_rule).or_else(|| Kind::from_name(name)).ok_or_else(|| {
        let wrong = match named {
            Some(_) => "no fault is made for this rule",
            None => "no rule and no kind of fault",
        };
        format!("{wrong}; the rules are {}", Kind::rules().join(", "))
    })
}

/// Runs the command.
///
/// # Errors
/// The scenario has faults of writing, or a file cannot be read or written.
pub fn run(arguments: &SynthArguments) -> anyhow::Result<Outcome> {
    let (Some(path), Some(output)) = (&arguments.scenario, &arguments.output) else {
        say(&kinds())?;
        return Ok(Outcome::Done);
    };
    if output.as_os_str() == STANDARD_STREAM {
        bail!("cannot write to standard output: the truth is written beside the trace, so name a file");
    }
    let truth_path = truth_path(output);
    let procedure = procedure_of(path);
    let inputs: Vec<_> = [("the scenario", path)]
        .into_iter()
        .chain(procedure.iter().map(|procedure| ("the procedure", procedure)))
        .map(|(what, path)| (what, path.as_path()))
        .collect();
    refuse_overlap(&inputs, &[("the trace", output), ("its truth", &truth_path)])?;
    let mut scenario = Scenario::read(path, arguments.seed)?;
    for (index, &kind) in arguments.fault.iter().enumerate() {
        let fault = scenario.default_fault(kind, scenario.seed.wrapping_add(1000 + index as u64));
        scenario.faults.push(fault);
    }
    let (rows, truth, trace) = write_trace(&scenario, output)?;
    let json = serde_json::to_string_pretty(&truth)?;
    put_both((trace, output), &json, &truth_path)?;
    if arguments.json {
        say_json(&serde_json::to_value(&truth)?)?;
    } else {
        say(&summary(&truth, rows, output, &truth_path))?;
    }
    Ok(Outcome::Done)
}

/// The procedure that a scenario names; what cannot be read is told by whoever reads the scenario.
pub(super) fn procedure_of(scenario: &Path) -> Option<PathBuf> {
    // A pipe can be read once only.
    let text = scenario.is_file().then(|| text_file::read(scenario).ok())??;
    let table: toml::Table = text.parse().ok()?;
    let name = table.get("scenario")?.get("procedure")?.as_str()?;
    Some(scenario.parent()?.join(name))
}

/// A line a kind of fault: its name, its rule, its size.
fn kinds() -> String {
    let line = |kind: &Kind| {
        let about = kind.description();
        let rule = about.rule.map_or("-", Rule::name);
        let unit = about.size.map(|size| format!(", {}", size.units()[0].symbol)).unwrap_or_default();
        format!("{:24} {:24} {}{unit}", about.name, rule, about.size_means)
    };
    let head = format!("{:24} {:24} size", "kind", "rule");
    let lines = [head].into_iter().chain(Kind::ALL.iter().map(line));
    lines.map(|line| line.trim_end().to_owned() + "\n").collect()
}

/// Both are whole before either takes the place of an old one: a trace never stands beside the truth of
/// another.
fn put_both((trace, path): (Draft, &Path), json: &str, truth_path: &Path) -> anyhow::Result<()> {
    let truth = Draft::create(truth_path).and_then(|mut truth| {
        writeln!(truth, "{json}")?;
        Ok(truth)
    });
    let truth = truth.map_err(|error| cannot_write(truth_path, &error))?;
    trace.put().map_err(|error| cannot_write(path, &error))?;
    truth.put().map_err(|error| cannot_write(truth_path, &error))
}

/// Returns the number of rows, what was put in, and the trace, not yet in its place.
fn write_trace(scenario: &Scenario, path: &Path) -> anyhow::Result<(u64, Truth, Draft)> {
    let mut writer = TraceWriter::create(path, scenario.channels)?;
    let progress = ProgressBar::new_spinner();
    progress.set_style(ProgressStyle::with_template("{spinner} {msg}")?);
    // The clock of the bar is a thread of its own.
    if threads::may_start() {
        progress.enable_steady_tick(Duration::from_millis(120));
    }
    let mut rows = scenario.rows();
    let mut count = 0_u64;
    for row in rows.by_ref() {
        writer.write(&row)?;
        count += 1;
        if count.is_multiple_of(10_000) {
            progress.set_message(format!("{:.0} s of trace made", row.time_us as f64 / 1e6));
        }
    }
    let trace = writer.complete()?;
    progress.finish_and_clear();
    Ok((count, rows.truth(), trace))
}

fn summary(truth: &Truth, rows: u64, trace: &Path, truth_path: &Path) -> String {
    let mut text = String::new();
    let mut line = |words: String| {
        // Writing into a text cannot fail.
        let _ = writeln!(text, "{words}");
    };
    line(format!("{} ({}), seed {}", truth.scenario, truth.note, truth.seed));
    line(format!("{}: {rows} rows at {} Hz", named(trace), truth.sample_rate_hz));
    for band in &truth.bands {
        line(format!(
            "{}band {}: {:.1} s to {:.1} s, {:.2} turns, {:.0} A, {:.1} V, {:.2} mm high",
            band.joint.map(|joint| format!("joint {joint}, ")).unwrap_or_default(),
            band.band,
            band.start_s,
            band.end_s,
            band.turns,
            band.current_a,
            band.voltage_v,
            band.mean_height_mm
        ));
    }
    for joint in &truth.joints {
        line(format!(
            "joint {}: {:.1} s to {:.1} s, {} of {} bands",
            joint.joint, joint.start_s, joint.end_s, joint.bands, joint.bands_due
        ));
    }
    for fault in &truth.faults {
        let size = fault.size.zip(fault.unit.as_deref());
        line(format!(
            "fault {} for {}: {}band {}, {:.1} s to {:.1} s{}{}",
            fault.kind,
            fault.rule.as_deref().unwrap_or("no rule"),
            fault.joint.map(|joint| format!("joint {joint}, ")).unwrap_or_default(),
            fault.band,
            fault.start_s,
            fault.end_s,
            fault.channel.as_ref().map(|channel| format!(", {channel}")).unwrap_or_default(),
            size.map(|(size, unit)| format!(", {} {size:.2} {unit}", fault.size_means)).unwrap_or_default(),
        ));
    }
    habits(truth).into_iter().for_each(&mut line);
    line(format!("{}: what was put in", named(truth_path)));
    text
}

/// A line a kind of habit, and a channel for those of instruments: how often, how large.
fn habits(truth: &Truth) -> Vec<String> {
    let line = |kind: &HabitKind, of: Option<&str>| {
        let same = |habit: &&HabitTruth| {
            habit.habit == kind.description().name && (habit.band.is_some() || habit.of.as_deref() == of)
        };
        let sizes = || truth.habits.iter().filter(same).map(|habit| habit.size);
        let some = truth.habits.iter().find(same)?;
        let (low, high) = (sizes().fold(f64::INFINITY, f64::min), sizes().fold(f64::NEG_INFINITY, f64::max));
        let size = if low < high { format!("{low:.2} to {high:.2}") } else { format!("{high:.2}") };
        let of = of.map(|of| format!(" of {of}")).unwrap_or_default();
        Some(format!(
            "habit {}{of}: {} times, {} {size} {}",
            some.habit,
            sizes().count(),
            some.size_means,
            some.unit
        ))
    };
    let of_instruments = || truth.habits.iter().filter(|habit| habit.band.is_none());
    let kinds = HabitKind::ALL.iter().flat_map(|kind| {
        let name = kind.description().name;
        let mut of: Vec<_> =
            of_instruments().filter(|habit| habit.habit == name).map(|habit| habit.of.as_deref()).collect();
        if of.is_empty() {
            of.push(None);
        }
        of.into_iter().filter_map(move |of| line(kind, of)).collect::<Vec<_>>()
    });
    kinds.collect()
}
