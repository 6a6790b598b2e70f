//! One log: shown as it is, without a summary.
//!
//! Decides: the order: tables, then what is shown, then page and picture, then the register.
//! Never: decides what it comes to: that is one question for one log and for many.

#[cfg(feature = "register")]
use super::register::RecordKeeper;
use super::{Case, Log, Outcome, ReplayArguments, Replayed, files};
use crate::output::terminal::{remark, say, say_json};
use crate::report;

/// Replays it and shows what was found.
///
/// # Errors
/// It cannot be read or has faults, or something cannot be written.
pub fn run(arguments: &ReplayArguments, case: &Case, log: &Log) -> anyhow::Result<Outcome> {
    #[cfg(feature = "register")]
    let register = RecordKeeper::of(arguments)?;
    let replayed = log.replayed(case)?;
    replayed.notes.iter().for_each(|note| remark(&format!("note: {note}")));
    files::write_tables(arguments, case, &replayed)?;
    // Whoever reads it may end after the first line: the files asked for are written nevertheless.
    let told = if arguments.json { say_json(&replayed.told(case)) } else { say(&text(case, &replayed)) };
    files::draw(arguments, case, &replayed)?;
    #[cfg_attr(not(feature = "register"), expect(unused_mut))]
    let mut outcome = replayed.outcome();
    #[cfg(feature = "register")]
    if let Some(mut register) = register {
        register.take(&replayed, case);
        outcome = outcome.worse(register.finish()?);
    }
    told?;
    Ok(outcome)
}

fn text(case: &Case, replayed: &Replayed) -> String {
    let warnings = case.procedure.as_ref().map(report::text::warnings).unwrap_or_default();
    let mut text = warnings + &replayed.text(case);
    if let (Some(setup), Some(procedure)) = (&case.setup, &case.procedure) {
        text.push('\n');
        text.push_str(&report::setup::summary(setup, procedure, case.system));
    }
    text
}
