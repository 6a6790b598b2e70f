//! `bandward register show`: a joint, as it was told when it was recorded.
//!
//! Decides: that several joints of one serial are shown one after another, and one page is of one of them.
//! Never: judges anew, but for a page that is drawn from the log.

use super::{Outcome, page};
use crate::dossier::Beside;
use crate::input::quantity::UnitSystem;
use crate::output::refuse_overlap;
use crate::output::terminal::{remark, say, say_json_line};
use crate::output::{named, printable};
use crate::register::{self, Document, Filter, Register};
use crate::{preferences, report};
use anstream::adapter::strip_str;
use anyhow::{Context as _, bail};
use clap::Args;
use std::borrow::Cow;
use std::path::{Path, PathBuf};

/// Shows a joint whole, from the register alone; its page with the traces from its log, where that is still there
#[derive(Args)]
#[command(
    after_help = "Example:\n  bandward register show shop.register --serial TJ-1042 --report joint.html"
)]
#[command(group(clap::ArgGroup::new("which").required(true).args(["joint", "serial"])))]
pub(super) struct ShowArguments {
    /// The register
    pub(super) register: PathBuf,
    /// The joint's number, as `find` lists it
    #[arg(long, value_name = "NUMBER")]
    pub(super) joint: Option<i64>,
    /// The serial of the pipe or tool joint
    #[arg(long, value_name = "SERIAL")]
    pub(super) serial: Option<String>,
    /// Write its page (HTML)
    #[arg(long, value_name = "FILE")]
    pub(super) report: Option<PathBuf>,
    /// Where its log lies now, where it was moved
    #[arg(long, value_name = "FILE", requires = "report")]
    pub(super) log: Option<PathBuf>,
    /// The whole record of its log, one JSON object a line, instead of text
    #[arg(long)]
    pub(super) json: bool,
}

/// Runs the command.
///
/// # Errors
/// There is no such joint, or several for one page; or a file cannot be read or written.
pub fn run(arguments: &ShowArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    refuse(arguments, arguments.log.as_deref())?;
    let register = Register::read(&arguments.register)?;
    let numbers = the_one(&register, arguments.joint, arguments.serial.as_deref())?;
    if let (Some(_), [_, _, ..]) = (&arguments.report, &numbers[..]) {
        let listed: Vec<_> = numbers.iter().map(i64::to_string).collect();
        bail!(
            "one page is of one joint, and the serial has several: say --joint with one of {}",
            listed.join(", ")
        );
    }
    for (at, number) in numbers.iter().enumerate() {
        let stored = register
            .stored(*number)?
            .with_context(|| format!("there is no joint {number} in {}", named(&arguments.register)))?;
        refuse(arguments, page::place_of_log(&stored, arguments.log.as_deref()).as_deref())?;
        if arguments.json {
            let mut record = stored.record_now();
            let recorded = stored.standing().into_iter().flat_map(|standing| &standing.recorded);
            record["recorded_alone"] = recorded.filter(|one| !one.is_of_log).map(Document::json).collect();
            say_json_line(&record)?;
        } else {
            let gap = if at > 0 { "\n" } else { "" };
            let told = stored.text(preferences::units(units, None)?);
            let head = report::register::origin(&stored) + &report::register::standing(&stored);
            say(&format!("{gap}{head}{told}"))?;
        }
        if let Some(path) = &arguments.report {
            page::write(path, &stored, arguments.log.as_deref(), preferences::units(units, None)?)?;
        }
    }
    Ok(Outcome::Done)
}

/// Refuses a page in the place of the register, of a file that belongs to it, of the log or of what lies beside that.
fn refuse(arguments: &ShowArguments, log: Option<&Path>) -> anyhow::Result<()> {
    let log = log.map(|log| {
        let beside = Beside::files(log).map(|(what, path)| (what, Cow::Owned(path)));
        std::iter::once(("the log", Cow::Borrowed(log))).chain(beside)
    });
    let inputs = register::files("the register", &arguments.register).chain(log.into_iter().flatten());
    let output = arguments.report.iter().map(|path| ("--report", path));
    refuse_overlap(&inputs.collect::<Vec<_>>(), &output.collect::<Vec<_>>())
}

/// The one joint that is meant.
pub(super) fn the_one(
    register: &Register,
    number: Option<i64>,
    serial: Option<&str>,
) -> anyhow::Result<Vec<i64>> {
    if let Some(number) = number {
        return Ok(vec![number]);
    }
    let serial = serial.unwrap_or_default();
    let found = register.find(&Filter { serial: Some(serial.to_owned()), ..Filter::default() })?;
    if found.is_empty() {
        for document in register.documents_without_joint(Some(serial))? {
            let words = report::register::document(&document);
            remark(&format!("note: without a joint there is: {}", strip_str(&words)));
        }
        bail!("there is no joint with the serial {} in the register", printable(serial));
    }
    Ok(found.into_iter().map(|joint| joint.id).collect())
}
