//! `bandward register`: what was recorded with `--register FILE`, found again.
//!
//! Decides: the options of looking up.
//! Never: adds anything: the options `--register` of `replay`, `setup`, `inspect` and `watch` do.

pub mod document;
mod export;
mod filter;
mod page;
mod show;
pub mod sources;

use super::Outcome;
use crate::input::quantity::UnitSystem;
use crate::output::terminal::{remark, say, say_json_line, say_line};
use crate::output::{named, printable};
use crate::register::{Filter, Register, RegisterError, Trouble, VERSION};
use crate::report;
use clap::{Args, Subcommand};
pub use filter::FilterArguments;
use serde_json::json;
use std::path::PathBuf;

/// Finds joints in a register, shows one whole, and writes all of them as Parquet.
///
/// A register is one file, to which `bandward replay --register FILE` adds. Its tables, and queries for other
/// programs, are described in `sim/src/register/README.md`.
#[derive(Args)]
#[command(
    after_help = "Examples:\n  bandward replay --procedure joint.procedure.toml --register shop.register shift/*.csv\n  \
bandward register find shop.register --machine bay-2 --outcome broken --from 2026-03-01\n  \
bandward register show shop.register --serial TJ-1042 --report joint.html\n  \
bandward register export shop.register tables\n\n\
Exit code 0: done, also where `find` finds none; 1: `check` found damage; 2: could not do it, or there is no joint \
to show."
)]
pub struct RegisterArguments {
    #[command(subcommand)]
    task: Task,
}

#[derive(Subcommand)]
enum Task {
    Find(FindArguments),
    Show(show::ShowArguments),
    Check(CheckArguments),
    Export(export::ExportArguments),
}

/// Lists joints, those welded last first
#[derive(Args)]
#[command(after_help = "Example:\n  bandward register find shop.register --machine bay-2 --from 2026-03-01")]
struct FindArguments {
    /// The register
    register: PathBuf,
    #[command(flatten)]
    filter: FilterArguments,
    /// Older judgements of the same log as well
    #[arg(long)]
    all: bool,
    /// So many at most
    #[arg(long, value_name = "JOINTS", default_value_t = 1000, value_parser = clap::value_parser!(u32).range(1..=100_000_000))]
    limit: u32,
    /// One JSON object a line instead of text
    #[arg(long)]
    json: bool,
}

/// Looks at every page and row: is anything damaged?
#[derive(Args)]
#[command(after_help = "Example:\n  bandward register check shop.register")]
struct CheckArguments {
    /// The register
    register: PathBuf,
    /// One JSON object instead of text
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// The register cannot be read, or what was asked for is not in it.
pub fn run(arguments: &RegisterArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    match &arguments.task {
        Task::Find(arguments) => find(arguments),
        Task::Show(arguments) => show::run(arguments, units),
        Task::Check(arguments) => check(arguments),
        Task::Export(arguments) => export::run(arguments),
    }
}

fn find(arguments: &FindArguments) -> anyhow::Result<Outcome> {
    let register = Register::read(&arguments.register)?;
    // One more, to know whether there are more.
    let most = Some(arguments.limit.saturating_add(1));
    let mut found = register.find(&Filter { has_older: arguments.all, most, ..arguments.filter.filter() })?;
    let has_more = found.len() > arguments.limit as usize;
    found.truncate(arguments.limit as usize);
    if arguments.json {
        for joint in &found {
            say_json_line(&joint.json())?;
        }
    } else if found.is_empty() {
        say_line("no such joint")?;
    } else {
        say(&report::register::joints(&found))?;
    }
    without_joint(&register, arguments)?;
    if has_more {
        remark(&format!("note: there are more than {}: raise --limit, or ask for less", arguments.limit));
    }
    Ok(Outcome::Done)
}

/// Setups and inspections whose joint is not there: with the wish for a serial alone, or without any.
fn without_joint(register: &Register, arguments: &FindArguments) -> anyhow::Result<()> {
    let filter = arguments.filter.filter();
    if (Filter { serial: None, ..filter.clone() }) != Filter::default() {
        return Ok(());
    }
    for document in register.documents_without_joint(filter.serial.as_deref())? {
        if arguments.json {
            say_json_line(&json!({ "without_joint": document.json() }))?;
        } else {
            say_line(&format!("no joint yet: {}", report::register::document(&document)))?;
        }
    }
    Ok(())
}

fn check(arguments: &CheckArguments) -> anyhow::Result<Outcome> {
    let looked_at =
        Register::read(&arguments.register).and_then(|register| Ok((register.faults()?, register.counts()?)));
    // Damage that leaves nothing to look at is what was asked for as well.
    let (faults, [logs, judgements, joints]) = match looked_at {
        Err(RegisterError { trouble: Trouble::Damaged(told), .. }) => (vec![told], [0; 3]),
        looked_at => looked_at?,
    };
    if !faults.is_empty() {
        let told: Vec<_> = faults.iter().map(|fault| printable(fault)).collect();
        if arguments.json {
            say_json_line(&json!({ "whole": false, "faults": told }))?;
        } else {
            say_line(&format!("DAMAGED: {}\n  {}", named(&arguments.register), told.join("\n  ")))?;
        }
        return Ok(Outcome::Broken);
    }
    if arguments.json {
        let counts = json!({
            "whole": true, "faults": [], "logs": logs, "judgements": judgements, "joints": joints, "schema": VERSION,
        });
        say_json_line(&counts)?;
    } else {
        say_line(&format!(
            "whole: {}: {logs} logs, {judgements} judgements, {joints} joints; schema version {VERSION}",
            named(&arguments.register)
        ))?;
    }
    Ok(Outcome::Done)
}
