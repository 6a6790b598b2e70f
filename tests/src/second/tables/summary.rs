//! What it all comes to, short enough for the README.
//!
//! Decides: which sums are told.
//! Assumes: the tables beside it have every row.

use super::causes::within;
use super::faults::{Outcome, is_asked, must_not_be_green};
use super::good::Good;
use super::{causes, of};
use crate::second::fault::Shape;
use std::fmt::Write;

/// The heading of the summary, and of what follows it.
pub const HEADING: &str = "\n## Summary\n";
/// As [`HEADING`].
pub const NEXT_HEADING: &str = "## Habits\n";

/// Between these lines the README shows it.
pub const BEGINS: &str = "<!-- from tests/data/second.md, by second-report --update -->\n";
/// As [`BEGINS`].
pub const ENDS: &str = "<!-- to here -->\n";

/// The summary within a page of tables.
pub fn of_page(page: &str) -> Option<&str> {
    page.split_once(HEADING)?.1.split_once(NEXT_HEADING).map(|(summary, _)| summary.trim_start())
}

const SHAPES: [Shape; 8] = [
    Shape::Step,
    Shape::Ramp,
    Shape::Intermittent,
    Shape::OnceATurn,
    Shape::Band,
    Shape::Onwards,
    Shape::Joint,
    Shape::Act,
];

/// The sums, as Markdown.
pub fn markdown(good: &Good, outcomes: &[Outcome]) -> String {
    let mut text = good.rules_markdown();
    text.push('\n');
    text.push_str(&found(outcomes));
    let must_not: Vec<_> = outcomes.iter().filter(|outcome| must_not_be_green(outcome)).collect();
    let green = must_not.iter().filter(|outcome| !outcome.score.not_green).count();
    let _ = writeln!(text, "\nSigned as proven all the same: {}.", of(green, must_not.len()));
    let asked: Vec<_> = outcomes.iter().filter(|outcome| causes::is_asked(outcome)).collect();
    let (first, three) = (within(&asked, 1), within(&asked, 3));
    let _ = writeln!(text, "The cause put in: first {first}, among the first three {three}.");
    let _ = writeln!(text, "The highest score of any cause on a good joint: {:.2}.", good.highest_score());
    text
}

/// Faults found by shape and size.
fn found(outcomes: &[Outcome]) -> String {
    let mut text = "| faults found | just past the limit | clear | gross |\n|---|--:|--:|--:|\n".to_owned();
    let mut line = |name: &str, rows: &[&Outcome]| {
        let cell = |rank: usize| {
            let of_rank: Vec<_> = rows.iter().filter(|row| row.fault.rank == rank).collect();
            of(of_rank.iter().filter(|row| row.score.delay_s.is_some()).count(), of_rank.len())
        };
        let _ = writeln!(text, "| {name} | {} | {} | {} |", cell(0), cell(1), cell(2));
    };
    let asked: Vec<&Outcome> = outcomes.iter().filter(|outcome| is_asked(outcome)).collect();
    for shape in SHAPES {
        let rows: Vec<&Outcome> = asked.iter().copied().filter(|row| row.fault.shape == shape).collect();
        if !rows.is_empty() {
            line(shape.name(), &rows);
        }
    }
    line("all", &asked);
    text
}
