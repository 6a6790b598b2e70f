//! Columns in the unit of a channel that are not called so: `Shunt [A]` beside `Current [A]`.
//!
//! Decides: which of them could be the reading in place of the one that is called so: those that read about as much while
//! the arc burns, and rest where that one rests; one that could be either of two channels is asked of both.
//! Assumes: the first rows with an arc are like the rest; without any, a unit of one channel alone is enough.
//! Never: asks for what stands still, for what reads quite another size, nor for what is said to be no reading by a word.

use super::plausible::{lit, measure, median, spread, turns};
use super::proposal::Beside;
use super::sheet::Sheet;
use super::units::{UnitGuess, unit_of};
use super::{Guess, Proposal, candidates, names, write};
use crate::input::layout::Layout;
use crate::trace::Row;
use bandward::Channel;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::ops::RangeInclusive;

/// Of a flow, a current, a voltage and a feed: so many times as much. Invented: a fault that is looked for lies within.
const ABOUT_AS_MUCH: RangeInclusive<f64> = 0.25..=4.0;
/// Of temperatures, ways and turnings. Invented.
const ALIKE: RangeInclusive<f64> = 0.5..=2.0;
/// What rests while the arc is out reads less than this share of what it reads under it. Invented.
const RESTS_BELOW: f64 = 0.5;
/// A thermometer of the joint moves by so much, K. Invented.
const WARMS_K: f64 = 3.0;
/// No cabinet, motor or coolant is so hot, degC. Common practice, no source.
const HOT_C: f64 = 100.0;
/// A torch that weaves turns round so often.
const WEAVES: usize = 6;
/// Two readings of one way go together so well. Invented.
const TOGETHER: f64 = 0.8;

/// All columns that are taken for nothing and are in the unit of a channel that has a column.
pub(super) fn of(sheet: &Sheet, time: &[usize], guesses: &[Guess]) -> Vec<Beside> {
    let is_taken =
        |column: &usize| time.contains(column) || guesses.iter().any(|guess| guess.column == *column);
    let is_called = |column: usize| {
        names::called(&sheet.name(column), &sheet.unit_text(column)).is_some_and(|called| {
            !called.is_by_unit && matches!(unit_of(sheet, column, called.channel), UnitGuess::Known(_))
        })
    };
    let free = (0..sheet.width()).filter(|column| !is_taken(column) && !is_called(*column));
    let beside = |column: usize| {
        guesses.iter().filter_map(move |guess| {
            let channel = guess.channel;
            let UnitGuess::Known(_) = &guess.unit else { return None };
            let unit = unit_of(sheet, column, channel);
            let name = sheet.name(column);
            let is_of_another = names::hinted(&name).is_some_and(|hinted| hinted != channel);
            if !matches!(unit, UnitGuess::Known(_))
                || is_of_another
                || names::is_said_to_be_none(&name, channel)
            {
                return None;
            }
            let line = write::line(sheet, &Guess { channel, column, unit, range: sheet.range(column) });
            let shown = |column: usize| candidates::shown(sheet, column);
            Some(Beside { channel, own: shown(guess.column), other: shown(column), column, line })
        })
    };
    free.flat_map(beside).collect()
}

/// Leaves the channels out for which another column could be the reading; `read` gives the rows of a log by the text of a
/// layout, and none where they cannot be read so. Tells which.
pub fn leave_out(
    proposal: &mut Proposal,
    rows: &[Row],
    read: impl Fn(&Layout) -> Option<Vec<Row>>,
) -> Vec<Channel> {
    let seen = Seen::of(rows);
    // A pass reads one of every channel.
    let mut rivals: Vec<&Beside> = Vec::new();
    let beside = proposal.beside.clone();
    let of_channel = |channel: Channel| beside.iter().filter(move |beside| beside.channel == channel);
    let passes = Channel::ALL.into_iter().map(|channel| of_channel(channel).count()).max().unwrap_or(0);
    for pass in 0..passes {
        let tried: Vec<&Beside> =
            Channel::ALL.into_iter().filter_map(|channel| of_channel(channel).nth(pass)).collect();
        let by = |tried: &[&Beside]| {
            let layout = Layout::parse("another column", &with_lines(&proposal.text, tried)).ok()?;
            read(&layout).filter(|others| others.len() == rows.len())
        };
        if let Some(others) = by(&tried) {
            rivals.extend(tried.iter().filter(|one| seen.could_be(one, &others, &beside)));
            continue;
        }
        // One of them has cells that are no numbers.
        rivals.extend(
            tried
                .into_iter()
                .filter(|one| by(&[one]).is_some_and(|others| seen.could_be(one, &others, &beside))),
        );
    }
    let mut left_out = Vec::new();
    for channel in Channel::ALL {
        let of_channel: Vec<&Beside> = rivals.iter().filter(|one| one.channel == channel).copied().collect();
        let Some(first) = of_channel.first() else { continue };
        let others: Vec<_> = of_channel.iter().map(|rival| rival.other.as_str()).collect();
        let is_rival =
            |other: &Beside, rival: &Beside| other.column == rival.column && other.channel != channel;
        let also: Vec<_> = Channel::ALL
            .into_iter()
            .filter(|also| {
                rivals.iter().any(|other| {
                    other.channel == *also && of_channel.iter().any(|rival| is_rival(other, rival))
                })
            })
            .map(|also| format!("`{}`", also.name()))
            .collect();
        let also = if also.is_empty() {
            String::new()
        } else {
            format!(" (it could be {} as well)", also.join(" or "))
        };
        proposal.leave_out(
            channel,
            format!(
                "`{}` is left out: {} could be it, and {} too{also}, by the unit and by what is read under the arc: \
                 choose one",
                channel.name(),
                first.own,
                others.join(", ")
            ),
        );
        for rival in of_channel {
            let _ = writeln!(proposal.text, "# one of several:\n# {}", rival.line);
        }
        left_out.push(channel);
    }
    left_out
}

/// The text of a layout with other lines in the place of its own for their channels.
fn with_lines(text: &str, tried: &[&Beside]) -> String {
    let other = |line: &str| {
        let one = tried.iter().find(|one| line.starts_with(&format!("{} = {{", one.channel.name())));
        one.map_or(line.to_owned(), |one| one.line.clone())
    };
    text.lines().map(other).collect::<Vec<_>>().join("\n")
}

/// The rows of a log by its own columns.
struct Seen<'a> {
    rows: &'a [Row],
    lit: BTreeSet<u64>,
}

impl<'a> Seen<'a> {
    fn of(rows: &'a [Row]) -> Self {
        Self { rows, lit: lit(rows).iter().map(|row| row.time_us).collect() }
    }
    /// Could a column be the reading of its channel?
    fn could_be(&self, one: &Beside, others: &[Row], all: &[Beside]) -> bool {
        self.is_like(one, others, all).unwrap_or(false)
    }
    /// The same; nothing where it has no reading.
    fn is_like(&self, one: &Beside, others: &[Row], all: &[Beside]) -> Option<bool> {
        let channel = one.channel;
        let values = || others.iter().filter_map(|row| row.get(channel));
        let first = values().next()?;
        if values().all(|value| value.to_bits() == first.to_bits()) {
            return None;
        }
        if self.lit.is_empty() {
            return Some(all.iter().filter(|other| other.column == one.column).count() == 1);
        }
        let lit = |rows: &[Row]| -> Vec<Row> {
            rows.iter().filter(|row| self.lit.contains(&row.time_us)).copied().collect()
        };
        let (own_lit, other_lit) = (lit(self.rows), lit(others));
        let (own, other) = (measure(channel, self.rows, &own_lit)?, measure(channel, others, &other_lit)?);
        let share = other / own;
        Some(match channel {
            Channel::Work => {
                (ALIKE.contains(&share) || other >= HOT_C) && spread(channel, others) > Some(WARMS_K)
            }
            Channel::Spindle => ALIKE.contains(&share),
            Channel::Carriage => {
                ALIKE.contains(&share) && together(channel, self.rows, others) > Some(TOGETHER)
            }
            Channel::Torch => {
                let weaves = |lit: &[Row]| turns(channel, lit) >= WEAVES;
                ABOUT_AS_MUCH.contains(&share) && weaves(&own_lit) == weaves(&other_lit)
            }
            _ => {
                let rests =
                    |rows: &[Row], lit: f64| self.at_rest(channel, rows).map(|rest| rest < RESTS_BELOW * lit);
                ABOUT_AS_MUCH.contains(&share) && rests(self.rows, own) == rests(others, other)
            }
        })
    }
    /// The usual size while the arc is out.
    fn at_rest(&self, channel: Channel, rows: &[Row]) -> Option<f64> {
        let out = rows.iter().filter(|row| !self.lit.contains(&row.time_us));
        median(out.filter_map(|row| row.get(channel)).map(f64::abs).collect())
    }
}

/// How well two readings go together: the coefficient of correlation (Pearson).
fn together(channel: Channel, rows: &[Row], others: &[Row]) -> Option<f64> {
    let pairs: Vec<(f64, f64)> = rows
        .iter()
        .zip(others)
        .filter_map(|(row, other)| Some((row.get(channel)?, other.get(channel)?)))
        .collect();
    let mean = |of: fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / pairs.len() as f64;
    let (own, other) = (mean(|pair| pair.0), mean(|pair| pair.1));
    let sum =
        |of: &dyn Fn(f64, f64) -> f64| pairs.iter().map(|pair| of(pair.0 - own, pair.1 - other)).sum::<f64>();
    let spread = sum(&|own, _| own * own) * sum(&|_, other| other * other);
    (spread > 0.0).then(|| sum(&|own, other| own * other) / spread.sqrt())
}
