//! Which column of a log is the reading of each channel.
//!
//! Decides: one column a channel, where exactly one is left: set values, limits, means and other things' readings are
//! none, and what is called measured goes before what is not.
//! Never: chooses between two that could both be it.

use super::names::{self, Called};
use super::sheet::Sheet;
use super::{Guess, UnitGuess, unit_of};
use bandward::Channel;
use std::fmt::Write as _;

/// A column that is called as a channel.
struct Candidate {
    column: usize,
    called: Called,
}

/// The columns of a log that are called as channels.
pub struct Candidates(Vec<Candidate>);

/// All of them, but the `taken` ones.
pub fn of(sheet: &Sheet, taken: &[usize]) -> Candidates {
    let free = (0..sheet.width()).filter(|column| !taken.contains(column));
    let called = |column| {
        let called = names::called(&sheet.name(column), &sheet.unit_text(column))?;
        Some(Candidate { column, called })
    };
    Candidates(free.filter_map(called).collect())
}

impl Candidates {
    fn of_channel(&self, channel: Channel) -> impl Iterator<Item = &Candidate> {
        self.0.iter().filter(move |candidate| candidate.called.channel == channel)
    }
    /// Those that could be the reading: more than one where the names do not tell.
    fn rivals(&self, sheet: &Sheet, channel: Channel) -> Vec<&Candidate> {
        let mut left: Vec<_> =
            self.of_channel(channel).filter(|candidate| candidate.called.no_reading.is_none()).collect();
        let mut keep = |is_better: &dyn Fn(&Candidate) -> bool| {
            if left.len() > 1 && left.iter().any(|candidate| is_better(candidate)) {
                left.retain(|candidate| is_better(candidate));
            }
        };
        // A column in a unit of something else is no reading of it while another is.
        keep(&|candidate| {
            !sheet.tells_unit(candidate.column)
                || unit_of(sheet, candidate.column, channel) != UnitGuess::Unknown
        });
        keep(&|candidate| candidate.called.is_measured);
        left
    }
    /// The reading of a channel, where the names tell it.
    pub fn chosen(&self, sheet: &Sheet, channel: Channel) -> Option<Guess> {
        match self.rivals(sheet, channel)[..] {
            [Candidate { column, .. }] => Some(Guess {
                channel,
                column: *column,
                unit: unit_of(sheet, *column, channel),
                range: sheet.range(*column),
            }),
            _ => None,
        }
    }
    /// The channels for which no column was chosen though some are called so, each with the reason.
    fn left_out(&self, sheet: &Sheet) -> Vec<(Channel, String)> {
        let reason = |channel: Channel| match self.rivals(sheet, channel)[..] {
            [_] => None,
            [] => {
                let Candidate { column, called } = self.of_channel(channel).next()?;
                let word = called.no_reading.as_deref()?;
                Some(format!(
                    "{} is not a reading of it, by the word `{word}`, and no other column is called so",
                    shown(sheet, *column)
                ))
            }
            [one, other, ..] => Some(format!(
                "{} and {} could both be it: choose one",
                shown(sheet, one.column),
                shown(sheet, other.column)
            )),
        };
        Channel::ALL.iter().filter_map(|&channel| Some((channel, reason(channel)?))).collect()
    }
    /// What a person has to choose.
    pub fn warnings(&self, sheet: &Sheet) -> Vec<String> {
        let left_out = self.left_out(sheet).into_iter();
        left_out.map(|(channel, reason)| format!("`{}` is left out: {reason}", channel.name())).collect()
    }
    /// The same for the file, and the columns that were passed over.
    pub fn comments(&self, sheet: &Sheet) -> String {
        let mut text = String::new();
        for (channel, reason) in self.left_out(sheet) {
            let _ = writeln!(text, "# `{}` is left out: {}.", channel.name(), super::write::comment(&reason));
        }
        for Candidate { column, called } in &self.0 {
            if let Some(word) = &called.no_reading {
                let shown = super::write::comment(&shown(sheet, *column));
                let _ = writeln!(
                    text,
                    "# Not taken for `{}`: {shown}, by the word `{word}`.",
                    called.channel.name()
                );
            }
        }
        text
    }
}

fn shown(sheet: &Sheet, column: usize) -> String {
    format!("column {} ({})", column + 1, sheet.shown_name(column))
}
