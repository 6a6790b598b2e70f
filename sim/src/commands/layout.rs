//! `bandward layout`: a layout proposed for a log of another program.

use super::Outcome;
use crate::input::diagnostic::InputErrors;
use crate::input::layout::Layout;
use crate::input::quantity::{self, Dimension, UnitSystem};
use crate::output::terminal::{remark, say, say_json};
use crate::propose::{Proposal, beside, plausible, propose, still};
use crate::trace::{self, Row};
use crate::{output, preferences};
use anyhow::bail;
use bandward::{Acquisition, Channel};
use clap::Args;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// So many rows are shown as the layout reads them.
const SHOWN: usize = 5;
/// Rows that are read at most, and of these, so far apart, held against what sensors and welds can show.
const READ: usize = 1_000_000;
const APART_US: u64 = 20_000;
const LOOKED_AT: usize = 100_000;

/// Proposes a layout for a log that another program wrote, and shows its first rows as they are then read.
///
/// Column names, units, marks of missing readings and the way time is written are taken from the first rows. What
/// the log does not tell, such as the counts of an encoder in a turn, is left out and told.
#[derive(Args)]
#[command(after_help = "Example:\n  bandward layout shift-3.csv -o shift-3.layout.toml\n\n\
Exit code 0: every channel found is read; 3: something is left out, or should be checked; 2: could not do it.")]
pub struct LayoutArguments {
    /// The log: delimited text, plain, gzip or Zstandard, UTF-8 or UTF-16
    log: PathBuf,
    /// Write the layout to a new file
    #[arg(long, short, value_name = "FILE.toml")]
    output: Option<PathBuf>,
    /// One JSON object instead of text
    #[arg(long)]
    json: bool,
}

/// What the layout makes of the log.
#[derive(Default)]
struct Preview {
    channels: Vec<Channel>,
    rows: Vec<Row>,
    rate_hz: Option<f64>,
}

/// Runs the command.
///
/// # Errors
/// The log cannot be read or is no table, or the layout cannot be written.
pub fn run(arguments: &LayoutArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    let log = arguments.log.as_path();
    if log.as_os_str() == crate::output::STANDARD_STREAM {
        bail!("a log is read twice, once to propose and once to show: name a file");
    }
    let outputs: Vec<_> = arguments.output.iter().map(|path| ("--output", path.as_path())).collect();
    output::refuse_overlap(&[("the log", log)], &outputs)?;
    let head = trace::head(log)?;
    let name = log.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let mut proposal = match propose(&name, &head) {
        Ok(proposal) => proposal,
        Err(problem) => bail!("no layout can be proposed for {}: {problem}", output::named(log)),
    };
    let preview = preview(log, &mut proposal);
    if let Some(path) = &arguments.output {
        output::write_new(path, proposal.text.as_bytes())?;
    }
    let system = preferences::units(units, None)?;
    if arguments.json {
        say_json(&json(&proposal, &preview))?;
    } else {
        if arguments.output.is_none() {
            say(&proposal.text)?;
        }
        say(&shown(&preview, system))?;
        for warning in &proposal.warnings {
            remark(&format!("check: {warning}"));
        }
    }
    Ok(if proposal.warnings.is_empty() { Outcome::Done } else { Outcome::NotProven })
}

/// Reads the first rows by the proposed layout.
fn preview(log: &Path, proposal: &mut Proposal) -> Preview {
    let Ok(layout) = Layout::parse("the proposed layout", &proposal.text) else {
        proposal.warnings.push("nothing is shown: the layout is not complete yet".to_owned());
        return Preview::default();
    };
    match read(log, &layout) {
        Err(faults) => {
            proposal.warnings.push(format!("the log is not read by it yet: {}", faults.in_brief()));
            Preview::default()
        }
        Ok((acquisition, (first, rows), warnings)) => {
            proposal.warnings.extend(warnings);
            let mut channels: Vec<_> = acquisition.channels.iter().collect();
            for &channel in &channels {
                if let Some(doubt) = doubt(channel, &rows) {
                    proposal.doubt(channel, doubt);
                }
            }
            for (channel, doubt) in plausible::doubts(&rows, &layout) {
                proposal.doubt(channel, doubt);
            }
            for (channel, reason) in still::left_out(&rows, &layout) {
                proposal.leave_out(channel, reason);
                channels.retain(|other| *other != channel);
            }
            let others = |layout: &Layout| read(log, layout).ok().map(|(_, (_, rows), _)| rows);
            proposal.beside.retain(|beside| channels.contains(&beside.channel));
            for channel in beside::leave_out(proposal, &rows, others) {
                channels.retain(|other| *other != channel);
            }
            let rate_hz = Some(1e6 / f64::from(acquisition.period_us));
            Preview { channels, rows: first, rate_hz }
        }
    }
}

/// What a reader says of its log, the first rows and those that are looked at, and what it warns of.
type Read = (Acquisition, (Vec<Row>, Vec<Row>), Vec<String>);

fn read(log: &Path, layout: &Layout) -> Result<Read, InputErrors> {
    let mut reader = trace::open(log, Some(layout))?;
    let mut first = Vec::new();
    let mut rows: Vec<Row> = Vec::new();
    for row in reader.by_ref().take(READ) {
        let row = row?;
        if first.len() < SHOWN {
            first.push(row);
        }
        if rows.last().is_none_or(|last| row.time_us.saturating_sub(last.time_us) >= APART_US) {
            rows.push(row);
        }
        if rows.len() == LOOKED_AT {
            break;
        }
    }
    Ok((reader.header().acquisition, (first, rows), reader.warnings()))
}

/// Readings that no sensor of the kind shows, or of the wrong sign.
fn doubt(channel: Channel, rows: &[Row]) -> Option<String> {
    let values = || rows.iter().filter_map(|row| row.get(channel));
    let usual = Acquisition::every(20_000, bandward::sample::ChannelSet::ALL).sensor_range(channel);
    let raw = |value: f64| value * f64::from(1_u32 << channel.fraction_bits());
    let name = channel.name();
    if values().next().is_none() {
        return Some(format!("`{name}` has no reading in the first rows"));
    }
    if channel == Channel::Spindle {
        return None;
    }
    let show = |value| quantity::format(value, Dimension::of_channel(channel), UnitSystem::Metric);
    let beyond =
        values().find(|&value| raw(value) <= f64::from(usual.low) || raw(value) >= f64::from(usual.high));
    if let Some(value) = beyond {
        return Some(format!(
            "`{name}` reads {}, which no such sensor shows: is the unit right?",
            show(value)
        ));
    }
    let is_electrical = matches!(channel, Channel::Current | Channel::Voltage);
    let least = values().fold(0.0, f64::min);
    let greatest = values().fold(0.0, f64::max);
    (is_electrical && least < -greatest).then(|| {
        format!(
            "`{name}` is mostly negative ({}): with the sign the polarity is judged; scale = -1 where the sensor \
             sits the other way round",
            show(least)
        )
    })
}

fn shown(preview: &Preview, system: UnitSystem) -> String {
    let Some(rate_hz) = preview.rate_hz else { return String::new() };
    let mut text = format!(
        "\nThe first {} rows as the layout reads them ({rate_hz:.1} rows a second):\n",
        preview.rows.len()
    );
    let _ = write!(text, "{:>10}", "time s");
    for channel in &preview.channels {
        let _ = write!(text, "  {:>12}", channel.name());
    }
    for row in &preview.rows {
        let _ = write!(text, "\n{:>10.3}", row.time_us as f64 / 1e6);
        for &channel in &preview.channels {
            let value = row.get(channel);
            let value = value.map_or("-".to_owned(), |value| {
                quantity::format(value, Dimension::of_channel(channel), system)
            });
            let _ = write!(text, "  {value:>12}");
        }
    }
    text.push('\n');
    text
}

fn json(proposal: &Proposal, preview: &Preview) -> serde_json::Value {
    let row = |row: &Row| {
        let mut object = serde_json::json!({ "time_s": row.time_us as f64 / 1e6 });
        for &channel in &preview.channels {
            object[trace::columns::column_name(channel)] = row.get(channel).into();
        }
        object
    };
    serde_json::json!({
        "layout": proposal.text,
        "sample_rate_hz": preview.rate_hz,
        "rows": preview.rows.iter().map(row).collect::<Vec<_>>(),
        "warnings": proposal.warnings,
    })
}
