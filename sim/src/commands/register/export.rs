//! `bandward register export`: the register as Parquet, for engines that read folders of it, and for `trend`.
//!
//! Decides: that of each log its newest judgement goes out.
//! Never: changes the register.

use super::{FilterArguments, Outcome};
use crate::fleet::Export;
use crate::output::named;
use crate::output::terminal::{remark, say_json_line};
use crate::register::Register;
use anyhow::bail;
use clap::Args;
use serde_json::json;
use std::path::PathBuf;

/// Writes the tables as Parquet, a folder a machine, day and joint; `bandward trend FOLDER` reads them
#[derive(Args)]
#[command(after_help = "Example:\n  bandward register export shop.register tables")]
pub(super) struct ExportArguments {
    /// The register
    register: PathBuf,
    /// The folder to write to: a new one, or empty
    folder: PathBuf,
    #[command(flatten)]
    filter: FilterArguments,
    /// Tells what was written as one JSON object
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// The register cannot be read or has no such joint, or the folder cannot be written or is not empty.
pub fn run(arguments: &ExportArguments) -> anyhow::Result<Outcome> {
    let register = Register::read(&arguments.register)?;
    let mut export = Export::new(arguments.folder.clone())?;
    register.each_kept(&arguments.filter.filter(), |kept| export.add(kept))??;
    let [logs, joints] = export.counts();
    if logs == 0 {
        bail!("register {}: there is no such joint in it", named(&arguments.register));
    }
    if arguments.json {
        say_json_line(&json!({ "logs": logs, "joints": joints }))?;
    } else {
        remark(&format!("written: {} (logs: {logs}, joints: {joints})", named(&arguments.folder)));
    }
    Ok(Outcome::Done)
}
