//! `bandward inspect`: what was found on finished bands, against the procedure.

use super::Outcome;
use super::inspect_dialogue::{Questions, ask};
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::input::text_file;
use crate::inspection::{Inspection, JudgedInspection};
use crate::output::terminal::{remark, say, say_json};
use crate::output::{self, named};
use crate::{demo, preferences, report};
use anyhow::{Context as _, bail};
use clap::Args;
use std::io::{IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};

/// Takes down what was found on finished bands and compares it with the procedure: asked for one by one, or from a
/// file.
///
/// Saved as NAME.inspection.toml beside the trace NAME.csv, `bandward replay` sets the heights beside those that were
/// to be expected and proposes a deposition efficiency. Angles count round from the tie-in, in the direction of travel.
#[derive(Args)]
#[command(
    after_help = "Examples:\n  bandward inspect --procedure joint.procedure.toml --save joint-7.inspection.toml\n  \
bandward inspect --procedure joint.procedure.toml --from joint-7.inspection.toml\n\n\
Without --procedure the demo that comes with the program is used.\n\
Exit code 0: all the procedure limits was inspected and is within it; 1: something outside it; 2: could not \
do it; 3: nothing outside it, but not everything inspected."
)]
pub struct InspectArguments {
    /// The procedure to compare with
    #[arg(long, short, value_name = "FILE")]
    procedure: Option<PathBuf>,
    /// What was found, from a file, instead of being asked
    #[arg(long, value_name = "FILE", conflicts_with = "save")]
    from: Option<PathBuf>,
    /// Write what was found to a new file
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// How many bands there are; as many as the procedure gives where not said
    #[arg(long, value_name = "BANDS", value_parser = clap::value_parser!(u16).range(1..=100))]
    bands: Option<u16>,
    /// Adds the inspection to this register, made where there is none; it stands for the joint of its serial. The same
    /// inspection is added once
    #[cfg(feature = "register")]
    #[arg(long, value_name = "FILE")]
    register: Option<PathBuf>,
    /// One JSON object instead of text
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// A file cannot be read or written or has faults, or there is no terminal to ask in.
pub fn run(arguments: &InspectArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    let procedure = match &arguments.procedure {
        Some(path) => ProcedureFile::read(path)?,
        None => demo::procedure()?,
    };
    let system = preferences::units(units, Some(&procedure))?;
    #[cfg(feature = "register")]
    arguments.register.as_deref().map_or(Ok(()), super::register::document::check)?;
    let wanted = procedure.joint.bands.and_then(|bands| u16::try_from(bands).ok());
    let count = arguments.bands.or(wanted).unwrap_or(1);
    if let Some(path) = arguments.save.as_ref().filter(|path| path.exists()) {
        bail!("{} is already there; choose another name, or move it away", named(path));
    }
    #[cfg_attr(not(feature = "register"), expect(unused_variables))]
    let (inspection, text) = match &arguments.from {
        Some(path) => read(path)?,
        None => asked(arguments, &bands(&procedure, count), system)?,
    };
    let most = inspection.bands.iter().map(|band| band.band).max().unwrap_or(0).max(count);
    let judged = JudgedInspection::of(&inspection, Some(&procedure), 0, &bands(&procedure, most), &[]);
    let told = if arguments.json {
        say_json(&report::inspection_json(&judged))
    } else {
        say(&report::inspection::text(&judged, true, system))
    };
    // Whoever reads it may end after the first line: it is recorded nevertheless.
    #[cfg(feature = "register")]
    if let Some(path) = &arguments.register {
        super::register::document::inspection(path, (&inspection, &text), &judged, &procedure)?;
    }
    told?;
    Ok(Outcome::of(judged.outcome(), false))
}

/// An inspection from its file, and the text of that.
fn read(path: &Path) -> anyhow::Result<(Inspection, String)> {
    let name = named(path);
    let text = text_file::read(path).with_context(|| format!("cannot read inspection {name}"))?;
    Ok((Inspection::parse(&name, &text)?, text))
}

/// The bands of a joint, and which of them open a group.
fn bands(procedure: &ProcedureFile, count: u16) -> Vec<(u16, bool)> {
    let mut opening = vec![1];
    for size in procedure.joint.groups.iter().take_while(|size| **size > 0) {
        opening.push(opening.last().copied().unwrap_or(1) + u16::from(*size));
    }
    (1..=count).map(|band| (band, opening.contains(&band))).collect()
}

fn asked(
    arguments: &InspectArguments,
    bands: &[(u16, bool)],
    system: UnitSystem,
) -> anyhow::Result<(Inspection, String)> {
    let input = std::io::stdin();
    if !input.is_terminal() {
        bail!("there is no terminal to ask in; give what was found with --from FILE");
    }
    let mut output = anstream::stderr();
    let text = ask(&Questions::of(bands), system, &mut input.lock(), &mut output)?;
    writeln!(output)?;
    let name = arguments.save.as_ref().map_or_else(|| "inspection".to_owned(), named);
    let inspection = Inspection::parse(&name, &text)?;
    if let Some(path) = &arguments.save {
        output::write_new(path, text.as_bytes())?;
        remark(&format!("saved to {}", named(path)));
    }
    Ok((inspection, text))
}
