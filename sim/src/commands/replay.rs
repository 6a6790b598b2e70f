//! `bandward replay`: a logged joint in, a band table with alarms out.

use super::Outcome;
use crate::demo;
use crate::input::layout::Layout;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::preferences;
use crate::replay::{Replay, Replayer};
use crate::report;
use crate::trace::{self, TraceReader};
use bandward::Procedure;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use std::path::PathBuf;

/// Replays logged joints through the code that runs on the board.
///
/// Without a trace it replays the demo joint that comes with the program.
#[derive(Args)]
#[command(after_help = "Example:\n  bandward replay --procedure joint.procedure.toml joint.csv\n\n\
Exit code 0: nothing outside the procedure; 1: something outside it; 2: could not do it.")]
pub struct ReplayArguments {
    /// Traces: CSV (also .gz, .zst) or Parquet; `-` is standard input
    traces: Vec<PathBuf>,
    /// The procedure to judge by
    #[arg(long, short, value_name = "FILE")]
    procedure: Option<PathBuf>,
    /// How the columns of another logger are to be read
    #[arg(long, short, value_name = "FILE")]
    layout: Option<PathBuf>,
    /// One JSON object instead of text; an array of them for several traces
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults; each is told with its place.
pub fn run(arguments: &ReplayArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    let layout = arguments.layout.as_deref().map(Layout::read).transpose()?;
    let is_demo = arguments.traces.is_empty();
    let procedure = match &arguments.procedure {
        Some(path) => Some(ProcedureFile::read(path)?),
        None if is_demo => Some(demo::procedure()?),
        None => None,
    };
    let judge_by = procedure.as_ref().map_or_else(Procedure::new, |file| file.procedure.clone());
    let mut replays = Vec::new();
    if is_demo {
        replays.push(replay(demo::trace()?, &judge_by)?);
    }
    for path in &arguments.traces {
        replays.push(replay(trace::open(path, layout.as_ref())?, &judge_by)?);
    }
    show(&replays, procedure.as_ref(), arguments.json, units)?;
    let within = replays.iter().all(Replay::is_within_procedure);
    Ok(if within { Outcome::WithinProcedure } else { Outcome::OutsideProcedure })
}

fn replay(reader: TraceReader, procedure: &Procedure) -> anyhow::Result<Replay> {
    let mut reader = reader;
    let progress = ProgressBar::new_spinner();
    progress.set_style(ProgressStyle::with_template("{spinner} {msg} {human_pos} samples")?);
    progress.set_message(reader.header().path.clone());
    let mut replayer = Replayer::new(procedure, reader.header());
    for (count, row) in reader.by_ref().enumerate() {
        replayer.step(&row?);
        if count % 50_000 == 49_999 {
            progress.set_position(count as u64);
        }
    }
    progress.finish_and_clear();
    for warning in reader.warnings() {
        anstream::eprintln!("note: {warning}");
    }
    Ok(replayer.finish())
}

fn show(
    replays: &[Replay],
    procedure: Option<&ProcedureFile>,
    json: bool,
    units: Option<UnitSystem>,
) -> anyhow::Result<()> {
    if json {
        let mut objects: Vec<_> = replays.iter().map(report::json::replay).collect();
        let shown = if objects.len() == 1 { objects.remove(0) } else { objects.into() };
        anstream::println!("{}", serde_json::to_string_pretty(&shown)?);
        return Ok(());
    }
    let name = procedure.map(ProcedureFile::title);
    let system = preferences::units(units, procedure)?;
    for (index, replay) in replays.iter().enumerate() {
        if index > 0 {
            anstream::println!();
        }
        anstream::print!("{}", report::text::replay(replay, name.as_deref(), system));
    }
    Ok(())
}
