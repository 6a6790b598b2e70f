//! `bandward trend`: records of many joints in, what drifts out.

use super::Outcome;
#[cfg(feature = "register")]
use super::register::sources;
use super::replay::replay;
use crate::dossier::{Beside, Sources};
#[cfg(feature = "register")]
use crate::fleet::exported_files;
use crate::input::diagnostic::{InputError, InputErrors};
use crate::input::layout::Layout;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::input::text_file::read_up_to;
use crate::output::terminal::{remark, say, say_json};
use crate::output::{self, Draft, cannot_write, refuse_overlap};
use crate::output::{STANDARD_STREAM, named, reason};
#[cfg(feature = "register")]
use crate::register;
use crate::trace;
use crate::trend::baseline::LEAST;
use crate::trend::chart::Design;
use crate::trend::event::Event;
use crate::trend::known::Model;
use crate::trend::record::{self, Record};
use crate::trend::{Options, Trend, event_file, parquet};
use crate::{preferences, report};
use anyhow::{Context as _, bail};
use bandward::Procedure;
use clap::Args;
use std::borrow::Cow;
use std::collections::HashMap;
use std::fs::File;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::io::{Cursor, Read, Seek as _};
use std::path::{Path, PathBuf};

/// Follows every quantity over many joints, and names what drifts before it is outside.
///
/// The first joints make the baseline. Two control charts (EWMA and CUSUM) compare the mean of each later
/// joint with the sound ones before it; a drift is what both signal. Machines, procedures and diameters have
/// their own charts; operators and temperatures that records tell are taken off first; a known event starts a
/// level anew.
#[derive(Args)]
#[command(
    after_help = "Example:\n  bandward replay --procedure joint.procedure.toml --json monday/*.csv > monday.json\n  \
bandward trend --procedure joint.procedure.toml monday.json tuesday.json --report trend.html\n\n\
Known events (FILE.toml; the same columns in FILE.csv):\n  [[event]]\n  kind = \"spool\"   # tip, spool, bottle, \
operator, procedure, repair\n  at = \"2026-03-04T07:15:00\"   # or joint = 34, or record = \"name\"\n  \
name = \"lot 17\"   # optional, as is machine\n\n\
Exit code 0: steady, nothing outside the procedure; 1: something drifts or is outside it; 2: could not do it; \
3: nothing drifts, but a baseline is not steady or there is no chart."
)]
pub struct TrendArguments {
    /// Records as `bandward replay --json` prints them (`-` is standard input), or traces, which are replayed, or
    /// a folder that `bandward register export` wrote
    #[cfg_attr(feature = "register", arg(required_unless_present = "register"))]
    #[cfg_attr(not(feature = "register"), arg(required = true))]
    records: Vec<PathBuf>,
    /// Takes the joints of this register too, each log as it was judged last
    #[cfg(feature = "register")]
    #[arg(long, value_name = "FILE")]
    register: Option<PathBuf>,
    /// Of the register, joints welded on this day or later
    #[cfg(feature = "register")]
    #[arg(long, value_name = "YYYY-MM-DD", requires = "register")]
    from: Option<jiff::civil::Date>,
    /// Of the register, joints welded on this day or earlier
    #[cfg(feature = "register")]
    #[arg(long, value_name = "YYYY-MM-DD", requires = "register")]
    to: Option<jiff::civil::Date>,
    /// The procedure: gives the allowed ranges, and judges traces
    #[arg(long, short, value_name = "FILE")]
    procedure: Option<PathBuf>,
    /// How the columns of traces of another logger are to be read
    #[arg(long, short, value_name = "FILE")]
    layout: Option<PathBuf>,
    /// How many first joints make the baseline; 20 where not said, or half of them if fewer than 40
    #[arg(long, value_name = "JOINTS", value_parser = baseline)]
    baseline: Option<usize>,
    /// Take joints into the baseline that their own records call broken or not proven
    #[arg(long)]
    baseline_flagged: bool,
    /// Known events, from which on a level is learnt anew: TOML, or CSV by the end of its name
    #[arg(long, value_name = "FILE")]
    events: Option<PathBuf>,
    /// One known event, such as spool@34 (a joint) or tip@2026-03-04T07:15:00; may be repeated
    #[arg(long, value_name = "KIND@WHEN", value_parser = Event::parse)]
    event: Vec<Event>,
    /// What is taken off before charting, of operator, ambient and work temperature; or none
    #[arg(long, value_name = "LIST", default_value = "operator,ambient,work", value_parser = Model::parse)]
    model: Model,
    /// EWMA: weight of the newest joint
    #[arg(long, value_name = "WEIGHT", default_value = "0.2", value_parser = weight)]
    ewma_weight: f64,
    /// EWMA: limits, in its own standard deviations
    #[arg(long, value_name = "NUMBER", default_value = "2.962", value_parser = above_zero)]
    ewma_limits: f64,
    /// CUSUM: slack, in standard deviations
    #[arg(long, value_name = "NUMBER", default_value = "0.5", value_parser = zero_or_above)]
    cusum_slack: f64,
    /// CUSUM: decision interval, in standard deviations
    #[arg(long, value_name = "NUMBER", default_value = "5", value_parser = above_zero)]
    cusum_interval: f64,
    /// One JSON object instead of text
    #[arg(long)]
    json: bool,
    /// Write one page (HTML) with all charts
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Write readings and charts as one table (Parquet)
    #[arg(long, value_name = "FILE")]
    table: Option<PathBuf>,
}

fn number(text: &str, is_allowed: fn(f64) -> bool, allowed: &str) -> Result<f64, String> {
    text.parse().ok().filter(|&value| is_allowed(value)).ok_or(format!("allowed: {allowed}"))
}

fn weight(text: &str) -> Result<f64, String> {
    number(text, |value| value > 0.0 && value <= 1.0, "a number above 0, up to 1")
}

fn above_zero(text: &str) -> Result<f64, String> {
    number(text, |value| value > 0.0 && value <= 100.0, "a number above 0, up to 100")
}

fn zero_or_above(text: &str) -> Result<f64, String> {
    number(text, |value| (0.0..=100.0).contains(&value), "a number from 0 to 100")
}

fn baseline(text: &str) -> Result<usize, String> {
    let allowed = || format!("allowed: a whole number from {LEAST} to 100000");
    text.parse().ok().filter(|count| (LEAST..=100_000).contains(count)).ok_or_else(allowed)
}

impl TrendArguments {
    /// What is read, each with what it is; of what lies beside a trace, what is there, and of a folder what is read of it.
    fn inputs(&self) -> Vec<(&str, Cow<'_, Path>)> {
        let named =
            [("--procedure", &self.procedure), ("--layout", &self.layout), ("--events", &self.events)];
        let named = named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?)));
        let named = named.chain(self.records.iter().map(|path| ("the record", path.as_path())));
        let named = named.map(|(what, path)| (what, Cow::Borrowed(path)));
        let beside = self.records.iter().flat_map(|path| Beside::files(path));
        let inputs = named.chain(beside.map(|(what, path)| (what, Cow::Owned(path))));
        #[cfg(feature = "register")]
        let inputs = inputs.chain(self.register.iter().flat_map(|path| register::files("--register", path)));
        #[cfg(feature = "register")]
        let inputs = inputs.chain(self.records.iter().filter(|path| path.is_dir()).flat_map(|folder| {
            // What cannot be looked at is told by whoever reads it.
            exported_files(folder).flatten().map(|path| ("the record", Cow::Owned(path)))
        }));
        inputs.collect()
    }
    /// What is written, each with its option.
    fn outputs(&self) -> Vec<(&str, &Path)> {
        let named = [("--report", &self.report), ("--table", &self.table)];
        named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?))).collect()
    }
}

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults; each is told with its place. Or a file cannot be written.
pub fn run(arguments: &TrendArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    refuse_overlap(&arguments.inputs(), &arguments.outputs())?;
    let layout = arguments.layout.as_deref().map(Layout::read).transpose()?;
    let procedure = arguments.procedure.as_deref().map(ProcedureFile::read).transpose()?;
    let judge_by = procedure.as_ref().map_or_else(Procedure::new, |file| file.procedure.clone());
    let (mut records, mut alike) = (Vec::<Record>::new(), HashMap::new());
    for path in &arguments.records {
        for record in read(path, layout.as_ref(), procedure.as_ref(), &judge_by)? {
            refuse_twice(path, &record, &records, &mut alike)?;
            records.push(record);
        }
    }
    #[cfg(feature = "register")]
    if let Some(path) = &arguments.register {
        for record in sources::records(path, arguments.from, arguments.to)? {
            refuse_twice(path, &record, &records, &mut alike)?;
            records.push(record);
        }
    }
    let design = Design {
        lambda: arguments.ewma_weight,
        ewma_limit: arguments.ewma_limits,
        slack: arguments.cusum_slack,
        interval: arguments.cusum_interval,
    };
    let mut events = arguments.events.as_deref().map(event_file::read).transpose()?.unwrap_or_default();
    events.extend(arguments.event.iter().cloned());
    let options = Options {
        design,
        baseline: arguments.baseline,
        has_flagged_baseline: arguments.baseline_flagged,
        model: arguments.model,
        events,
    };
    let trend = Trend::of(records, procedure.as_ref(), options)
        .map_err(|problem| anyhow::anyhow!("an event at {problem}"))?;
    if trend.bands() == 0 {
        bail!("no band in any record: there is nothing to follow; replay traces with an arc in them");
    }
    show(arguments, &trend, procedure.as_ref(), units)?;
    Ok(match (trend.is_quiet(), trend.is_steady()) {
        (false, _) => Outcome::Broken,
        (true, Some(true)) => Outcome::Done,
        (true, _) => Outcome::NotProven,
    })
}

fn show(
    arguments: &TrendArguments,
    trend: &Trend,
    procedure: Option<&ProcedureFile>,
    units: Option<UnitSystem>,
) -> anyhow::Result<()> {
    let system = preferences::units(units, procedure)?;
    if let Some(path) = &arguments.report {
        output::write(path, report::page::trend::page(trend, procedure, system).as_bytes())?;
        remark(&format!("written: {}", named(path)));
    }
    if let Some(path) = &arguments.table {
        let draft = Draft::create(path).map_err(|error| cannot_write(path, &error))?;
        let draft = parquet::write(draft, trend).with_context(|| format!("cannot write {}", named(path)))?;
        draft.put().map_err(|error| cannot_write(path, &error))?;
        remark(&format!("written: {}", named(path)));
    }
    // Whoever reads it may end after the first line: the files are whole by then.
    if arguments.json {
        say_json(&report::trend_json::json(trend, procedure))
    } else {
        say(&report::trend::text(trend, procedure, system))
    }
}

/// The same joint twice would count twice.
fn refuse_twice(
    path: &Path,
    record: &Record,
    before: &[Record],
    alike: &mut HashMap<u64, Vec<usize>>,
) -> Result<(), InputErrors> {
    if record.bands.is_empty() {
        return Ok(());
    }
    let places = alike.entry(fingerprint(record)).or_default();
    let is_same = |other: &&Record| other.start == record.start && other.bands == record.bands;
    let twice = places.iter().filter_map(|&place| before.get(place)).find(is_same);
    places.push(before.len());
    match twice {
        None => Ok(()),
        Some(other) => Err(InputError::in_file(&named(path), "")
            .problem(format!(
                "`{}` is the same joint as `{}`: same start, same figures",
                record.name, other.name
            ))
            .allowed("each joint once")
            .into()),
    }
}

/// Of two records that are the same it is the same.
fn fingerprint(record: &Record) -> u64 {
    let mut hasher = DefaultHasher::new();
    record.start.hash(&mut hasher);
    for value in record.bands.iter().flat_map(|band| band.values).flatten() {
        // Zero is zero, whatever its sign.
        (value + 0.0).to_bits().hash(&mut hasher);
    }
    hasher.finish()
}

/// The records of a file: text that begins as JSON does is taken for records, all else for a trace.
/// What lies beside a trace is read as `replay` does, so that machines are told apart.
fn read(
    path: &Path,
    layout: Option<&Layout>,
    procedure: Option<&ProcedureFile>,
    judge_by: &Procedure,
) -> anyhow::Result<Vec<Record>> {
    if path.as_os_str() == STANDARD_STREAM {
        return parse("standard input", std::io::stdin());
    }
    #[cfg(feature = "register")]
    if path.is_dir() {
        return sources::exported(path);
    }
    let shown = named(path);
    let mut reader = match opened(path) {
        Ok((file, head)) if begins_as_json(path, &head) => {
            return parse(&shown, Cursor::new(head).chain(file));
        }
        Ok((file, head)) if (&file).rewind().is_err() => {
            // A pipe, which can be read once only.
            trace::open_stream(Cursor::new(head).chain(file), &shown, layout)?
        }
        // What cannot be opened is no JSON: the trace reader says what is wrong with it.
        _ => trace::open(path, layout)?,
    };
    let beside = Beside::read(Some(path), None, None)?;
    let mut replay = replay(&mut reader, judge_by, None)?;
    let (marks, of_log) = (reader.marks(), &reader.doubts()[..]);
    replay.attach(&Sources { beside: Some(&beside), marks, procedure, of_log, ..Sources::default() });
    Ok(vec![record::of_replay(&shown, &report::json::replay(&replay))?])
}

/// Bytes that tell records from a trace.
const LOOKED_AT: u64 = 512;

/// A file and its first bytes.
fn opened(path: &Path) -> std::io::Result<(File, Vec<u8>)> {
    let mut head = Vec::new();
    let mut file = File::open(path)?;
    file.by_ref().take(LOOKED_AT).read_to_end(&mut head)?;
    Ok((file, head))
}

fn begins_as_json(path: &Path, head: &[u8]) -> bool {
    let text = String::from_utf8_lossy(head);
    let is_named_so = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("json"));
    is_named_so || text.trim_start_matches('\u{feff}').trim_start().starts_with(['{', '['])
}

/// Records of some ten thousand joints.
const LONGEST: u64 = 512 << 20;

fn parse(shown: &str, input: impl Read) -> anyhow::Result<Vec<Record>> {
    let read = read_up_to(LONGEST, input);
    let fault = |problem: String| InputError::in_file(shown, "").problem(problem);
    let bytes =
        read.map_err(|error| InputErrors::from(fault(format!("cannot be read: {}", reason(&error)))))?;
    let text = String::from_utf8(bytes).map_err(|_| {
        InputErrors::from(fault("this is no text in UTF-8".to_owned()).allowed("JSON in UTF-8"))
    })?;
    let read = record::read(shown, text.trim_start_matches('\u{feff}'))?;
    if read.failed > 0 {
        remark(&format!("note: {shown}: left out, could not be replayed: {} logs", read.failed));
    }
    Ok(read.records)
}
