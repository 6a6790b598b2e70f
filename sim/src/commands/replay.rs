//! `bandward replay`: a logged joint in, a band table with alarms out.

use super::Outcome;
use super::context::ContextArguments;
use super::pictures::PictureArguments;
use crate::demo;
use crate::fleet::FleetArguments;
use crate::input::hash::sha256_hex;
use crate::input::layout::Layout;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::laid;
use crate::output::refuse_overlap;
use crate::output::terminal::{remark, say, say_json};
use crate::preferences;
use crate::recording::Recorder;
use crate::replay::{Replay, Replayer};
use crate::report::{self, Report};
use crate::setup::JudgedSetup;
use crate::trace::{self, Provenance, TraceReader};
use anyhow::{Context as _, bail};
use bandward::{Procedure, Sink as _};
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::Value;
use std::path::{Path, PathBuf};

/// Replays logged joints through the code that runs on the board.
///
/// Without a trace it replays the demo joint that comes with the program.
#[derive(Args)]
#[command(after_help = "Example:\n  bandward replay --procedure joint.procedure.toml joint.csv\n\n\
Exit code 0: every limit of the procedure was judged and held (or no procedure was given); 1: something is \
broken; 2: could not do it; 3: nothing is broken, but not everything is proven.")]
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
    /// The setup of the joint, saved by `bandward setup`: judged by the same procedure, shown below
    #[arg(long, value_name = "FILE")]
    setup: Option<PathBuf>,
    #[command(flatten)]
    pictures: PictureArguments,
    #[command(flatten)]
    fleet: FleetArguments,
    #[command(flatten)]
    context: ContextArguments,
}

impl ReplayArguments {
    /// What is read, each with what it is.
    fn inputs(&self) -> Vec<(&str, &Path)> {
        let named = [("--procedure", &self.procedure), ("--layout", &self.layout), ("--setup", &self.setup)];
        let named = named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?)));
        named.chain(self.traces.iter().map(|path| ("the trace", path.as_path()))).collect()
    }
}

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults; each is told with its place.
pub fn run(arguments: &ReplayArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    arguments.pictures.check(arguments.traces.len())?;
    refuse_overlap(&arguments.inputs(), &arguments.pictures.outputs())?;
    let layout = arguments.layout.as_deref().map(Layout::read).transpose()?;
    arguments.fleet.check(&arguments.traces, layout.as_ref())?;
    let is_demo = arguments.traces.is_empty();
    let procedure = match &arguments.procedure {
        Some(path) => Some(ProcedureFile::read(path)?),
        None if is_demo => Some(demo::procedure()?),
        None => None,
    };
    let judge_by = procedure.as_ref().map_or_else(Procedure::new, |file| file.procedure.clone());
    let setup = setup(arguments, procedure.as_ref())?;
    let mut replays = Vec::new();
    let (mut recorder, mut provenance) = (None, None);
    let readers: Box<dyn Iterator<Item = _>> = if is_demo {
        Box::new(std::iter::once_with(demo::trace))
    } else {
        // Only a page tells what it was made from.
        let open = if arguments.pictures.is_any() { trace::open_witnessed } else { trace::open };
        Box::new(arguments.traces.iter().map(move |path| open(path, layout.as_ref())))
    };
    for reader in readers {
        let mut reader = reader?;
        recorder = arguments.pictures.is_any().then(|| Recorder::new(reader.header()));
        let replay = replay(&mut reader, &judge_by, recorder.as_mut())?;
        provenance = own_provenance(&mut reader, is_demo)?;
        if let Some(mut tables) = arguments.fleet.tables(&replay.trace.path, replay.trace.start.as_deref())? {
            replay.bands.iter().for_each(|band| tables.band(band));
            replay.alarms.iter().for_each(|alarm| tables.alarm(*alarm));
            tables.finish()?;
        }
        replays.push(replay);
    }
    let context = arguments.context.context(arguments.fleet.machine(), procedure.as_ref()).json();
    let shown = Shown { replays: &replays, procedure: procedure.as_ref(), setup: setup.as_ref(), context };
    if arguments.json {
        say_json(&shown.json())?;
    } else {
        say(&shown.text(preferences::units(units, procedure.as_ref())?))?;
    }
    if let (Some(recording), Some(replay)) = (recorder.and_then(Recorder::finish), replays.first()) {
        arguments.pictures.write(&Report {
            replay,
            recording: &recording,
            procedure: procedure.as_ref(),
            setup: setup.as_ref(),
            provenance: provenance.as_ref(),
            system: preferences::units(units, procedure.as_ref())?,
        })?;
    }
    let is_set_up = setup.is_none_or(|setup| setup.checked.is_within_procedure());
    let before = if is_set_up { Outcome::Done } else { Outcome::Broken };
    let of = |replay: &Replay| Outcome::of(replay.outcome(), replay.has_faults());
    Ok(replays.iter().map(of).fold(before, Outcome::worse))
}

/// What the page says it was made from, and a word on it where the file did not stand still.
fn own_provenance(reader: &mut TraceReader, is_demo: bool) -> anyhow::Result<Option<Provenance>> {
    if is_demo {
        return Ok(Some(Provenance { sha256: sha256_hex(demo::TRACE), changed: None }));
    }
    let path = reader.header().path.clone();
    let provenance = reader.provenance().with_context(|| format!("cannot read {path} to its end"))?;
    if let Some(changed) = provenance.as_ref().and_then(|provenance| provenance.changed.as_ref()) {
        remark(&format!("note: {path}: {changed}"));
    }
    Ok(provenance)
}

/// Replays one trace to its end, with a sign of life at a terminal.
pub(super) fn replay(
    reader: &mut TraceReader,
    procedure: &Procedure,
    mut recorder: Option<&mut Recorder>,
) -> anyhow::Result<Replay> {
    let progress = ProgressBar::new_spinner();
    progress.set_style(ProgressStyle::with_template("{spinner} {msg} {human_pos} samples")?);
    progress.set_message(reader.header().path.clone());
    let mut replayer = Replayer::new(procedure, reader.header());
    for (count, row) in reader.by_ref().enumerate() {
        let row = row?;
        replayer.step(&row);
        if let Some(recorder) = &mut recorder {
            recorder.take(&row, replayer.monitor());
        }
        if count % 50_000 == 49_999 {
            progress.set_position(count as u64);
        }
    }
    progress.finish_and_clear();
    for warning in reader.warnings() {
        remark(&format!("note: {warning}"));
    }
    Ok(replayer.finish())
}

/// The setup asked for; one setup is of one joint.
fn setup(
    arguments: &ReplayArguments,
    procedure: Option<&ProcedureFile>,
) -> anyhow::Result<Option<JudgedSetup>> {
    let Some(path) = &arguments.setup else { return Ok(None) };
    if arguments.traces.len() > 1 {
        bail!("--setup is of one joint, and there are {} traces; replay one", arguments.traces.len());
    }
    let Some(procedure) = procedure else {
        bail!("--setup has nothing to be compared with; add --procedure FILE");
    };
    JudgedSetup::read(path, procedure).map(Some)
}

/// All that is shown.
struct Shown<'a> {
    replays: &'a [Replay],
    procedure: Option<&'a ProcedureFile>,
    setup: Option<&'a JudgedSetup>,
    context: Option<Value>,
}

impl Shown<'_> {
    fn json(&self) -> Value {
        let mut objects: Vec<_> = self.replays.iter().map(report::json::replay).collect();
        if let (Some(setup), Some(procedure), [object]) = (self.setup, self.procedure, &mut objects[..]) {
            object["setup"] = report::setup::json(&setup.sheet, &setup.checked, procedure);
        }
        for object in &mut objects {
            object["context"] = self.context.clone().into();
            object["warnings"] = self.procedure.map(laid::warnings).unwrap_or_default().into();
        }
        if objects.len() == 1 { objects.remove(0) } else { objects.into() }
    }
    fn text(&self, system: UnitSystem) -> String {
        let name = self.procedure.map(ProcedureFile::title);
        let texts = self.replays.iter().map(|replay| report::text::replay(replay, name.as_deref(), system));
        let warnings = self.procedure.map(report::text::warnings).unwrap_or_default();
        let mut text = warnings + &texts.collect::<Vec<_>>().join("\n");
        if let (Some(setup), Some(procedure)) = (self.setup, self.procedure) {
            text.push('\n');
            text.push_str(&report::setup::summary(setup, procedure, system));
        }
        text
    }
}
