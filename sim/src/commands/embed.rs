//! `bandward embed`: a procedure for a board without a link.

use super::Outcome;
use crate::embedded;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::output::terminal::{remark, say};
use crate::output::{self, named};
use anyhow::bail;
use clap::Args;
use std::path::PathBuf;

/// Writes a procedure as Rust source, or as bytes, for a board that has no link to get one by.
///
/// The source is one static, checked while the board's program is compiled; the bytes are those that the link carries, for
/// a board that reads them out of its flash or is built with them. A board has no file to fall back on: give the program
/// that is built with them the name and the revision of the procedure.
#[derive(Args)]
#[command(
    after_help = "Examples:\n  bandward embed joint.procedure.toml -o procedure.rs\n  bandward embed joint.procedure.toml -o procedure.postcard"
)]
pub struct EmbedArguments {
    /// The procedure (TOML)
    #[arg(value_name = "PROCEDURE.toml")]
    procedure: PathBuf,
    /// Write it to a new file: `.rs` as source, `.postcard` as bytes; without it the source is printed
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
}

/// Runs the command.
///
/// # Errors
/// The procedure is not sound, or the file is there already, ends otherwise or cannot be written.
pub fn run(arguments: &EmbedArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    let file = ProcedureFile::read(&arguments.procedure)?;
    let system = units.or(file.units).unwrap_or_default();
    let Some(path) = &arguments.output else {
        say(embedded::source(&file, system).trim_end())?;
        return Ok(Outcome::Done);
    };
    let ending = path.extension().and_then(std::ffi::OsStr::to_str);
    let bytes = match ending {
        Some("rs") => embedded::source(&file, system).into_bytes(),
        Some("postcard") => embedded::bytes(&file)?,
        _ => bail!("--output {}: the name ends in .rs (source) or .postcard (bytes)", named(path)),
    };
    output::write_new(path, &bytes)?;
    remark(&format!("written: {}", named(path)));
    Ok(Outcome::Done)
}
