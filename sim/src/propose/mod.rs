//! A layout proposed from the first rows of a log.
//!
//! Decides: what each column seems to be, by its name, its unit and its cells.
//! Assumes: the first rows are like the rest.
//! Never: makes up a unit, a span or a count of an encoder: what the log does not tell is left out, as a comment
//! that says what is missing.

pub mod beside;
mod candidates;
mod guess;
mod names;
pub mod plausible;
mod proposal;
mod sheet;
mod sparse;
pub mod still;
mod time;
mod unit_names;
mod units;
mod words;
mod write;

use bandward::Channel;
use guess::Guess;
pub use proposal::Proposal;
use sheet::Sheet;
use time::TimeGuess;
use units::{UnitGuess, unit_of};

/// Proposes a layout for the first lines of a log; `name` is what it is called in the file.
///
/// # Errors
/// Says why the lines are no table.
pub fn propose(name: &str, head: &str) -> Result<Proposal, String> {
    let sheet = Sheet::of(head)?;
    let mut warnings = Vec::new();
    let time = time::guess(&sheet, &mut warnings);
    let taken = time.as_ref().map_or(Vec::new(), TimeGuess::columns);
    let columns = candidates::of(&sheet, &taken);
    let guesses: Vec<_> =
        Channel::ALL.iter().filter_map(|&channel| columns.chosen(&sheet, channel)).collect();
    warnings.extend(columns.warnings(&sheet));
    if guesses.is_empty() {
        warnings.push("no column has a name of a channel: fill in [channels] by hand".to_owned());
    }
    let marks = sheet.missing_marks(&taken);
    let holds = sparse::holds(&sheet, time.as_ref(), &guesses, &mut warnings);
    let mut text = write::text(name, &sheet, time.as_ref(), &guesses, &marks, &holds, &mut warnings);
    text.push_str(&columns.comments(&sheet));
    text.push_str(&write::open(&sheet, &columns.open(&sheet)));
    let beside = beside::of(&sheet, &taken, &guesses);
    let mut proposal = Proposal { text, warnings, beside };
    for guess in &guesses {
        if names::is_general(&sheet.name(guess.column)) {
            let (name, channel) = (sheet.shown_name(guess.column), guess.channel.name());
            proposal.doubt(
                guess.channel,
                format!("{name} does not say of what: is it `{channel}` of this weld?"),
            );
        }
        if let Some(number) = names::number_behind(&sheet.name(guess.column)) {
            let name = sheet.shown_name(guess.column);
            proposal.doubt(
                guess.channel,
                format!("{name} has the number {number} behind its name: is it of this weld, or of a second arc, or a set value?"),
            );
        }
    }
    Ok(proposal)
}
