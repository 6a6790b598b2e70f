//! Which column of a log is the reading of each channel.
//!
//! Decides: one column a channel, where exactly one is left: set values, limits, means and other things' readings are
//! none, what is called measured goes before what is not, and a name with a word that is not known is left out.
//! Never: chooses between two that could both be it; what stands beside a plain name under a word that is not known may be
//! the reading, and the plain one what was set.

use super::names::{self, Called};
use super::sheet::Sheet;
use super::{Guess, UnitGuess, unit_of};
use bandward::Channel;
use std::fmt::{self, Write as _};

/// A column that is called as a channel.
struct Candidate {
    column: usize,
    called: Called,
}

impl Candidate {
    fn guess(&self, sheet: &Sheet) -> Guess {
        let (channel, column) = (self.called.channel, self.column);
        Guess { channel, column, unit: unit_of(sheet, column, channel), range: sheet.range(column) }
    }
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
    let mut all: Vec<Candidate> = free.filter_map(called).collect();
    // Beside one that is called so, another in turns a minute is the fan's, or told by what it reads.
    let named: Vec<Channel> = all
        .iter()
        .filter(|Candidate { called, .. }| !called.is_by_unit && called.no_reading.is_none())
        .map(|candidate| candidate.called.channel)
        .collect();
    all.retain(|Candidate { called, .. }| !called.is_by_unit || !named.contains(&called.channel));
    Candidates(all)
}

impl Candidates {
    fn of_channel(&self, channel: Channel) -> impl Iterator<Item = &Candidate> {
        self.0.iter().filter(move |candidate| candidate.called.channel == channel)
    }
    /// Those that could be the reading, the ones with a word that is not known among them: more than one where the names
    /// do not tell.
    fn rivals(&self, sheet: &Sheet, channel: Channel) -> Vec<&Candidate> {
        let mut left: Vec<_> =
            self.of_channel(channel).filter(|rival| rival.called.no_reading.is_none()).collect();
        let mut keep = |is_better: &dyn Fn(&Candidate) -> bool| {
            if left.len() > 1 && left.iter().any(|candidate| is_better(candidate)) {
                left.retain(|candidate| is_better(candidate));
            }
        };
        // Texts, and a column in a unit of something else, are no reading of it while another is.
        keep(&|candidate| sheet.range(candidate.column).is_some());
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
            [one] if one.called.is_reading() => Some(one.guess(sheet)),
            _ => None,
        }
    }
    /// Those that could be the reading of a channel for which none was chosen, each with what keeps it from being chosen.
    pub fn open(&self, sheet: &Sheet) -> Vec<(String, Guess)> {
        let of_channel = |&channel: &Channel| {
            let is_chosen = self.chosen(sheet, channel).is_some();
            let rivals = if is_chosen { Vec::new() } else { self.rivals(sheet, channel) };
            rivals.into_iter().map(|rival| {
                let unknown = rival.called.unknown.as_deref();
                let reason = unknown.map_or("one of several".to_owned(), |word| NotKnown(word).to_string());
                (reason, rival.guess(sheet))
            })
        };
        Channel::ALL.iter().flat_map(of_channel).collect()
    }
    /// The channels for which no column was chosen though some are called so, each with the reason.
    fn left_out(&self, sheet: &Sheet) -> Vec<(Channel, String)> {
        let reason = |channel: Channel| match self.rivals(sheet, channel)[..] {
            [Candidate { column, called }] => {
                let word = called.unknown.as_deref()?;
                Some(format!("of {} {}", shown(sheet, *column), NotKnown(word)))
            }
            [] => {
                let Candidate { column, called } = self.of_channel(channel).next()?;
                let word = called.no_reading.as_deref()?;
                Some(format!(
                    "{} is not a reading of it, by the word `{word}`, and no other column is called so",
                    shown(sheet, *column)
                ))
            }
            [one, other, ..] => Some(format!(
                "{} and {} could both be it{}: choose one",
                shown(sheet, one.column),
                shown(sheet, other.column),
                [one, other]
                    .iter()
                    .find_map(|rival| rival.called.unknown.as_ref())
                    .map_or(String::new(), |word| { format!(" (the word `{word}` is not known)") })
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

/// A word of a name that is not known.
pub struct NotKnown<'a>(pub &'a str);

impl fmt::Display for NotKnown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the word `{}` is not known: a set value or a reading? take its line in if it is a reading",
            self.0
        )
    }
}

/// A column for people.
pub fn shown(sheet: &Sheet, column: usize) -> String {
    format!("column {} ({})", column + 1, sheet.shown_name(column))
}
