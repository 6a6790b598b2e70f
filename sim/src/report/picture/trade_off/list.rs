//! The settings of several tunables that no other beats, as a list beside the plot.
//!
//! Decides: how many are listed, and in which columns.
//! Assumes: settings in the order of their misses and false alarms.
//! Never: leaves out that there are more.

use super::axes::text;
use super::{BESIDE, Dot, FAINT, INK, mark};
use crate::trial::sweep::Sweep;

const LISTED: usize = 17;
/// Room for the name of a rule, and for a figure.
const COLUMN: f64 = 165.0;
const FIGURE: f64 = 95.0;
const LINE: f64 = 24.0;

/// Draws the list; returns how wide the sheet must be.
pub(super) fn draw(body: &mut String, sweeps: &[Sweep], front: &[Dot]) -> f64 {
    let names = sweeps.iter().map(|sweep| (sweep.tunable.rule.name(), sweep.tunable.key.name()));
    let figures = [("missed", "% of faults"), ("false", "1/h"), ("delay", "mean, s")];
    let mut edge = BESIDE;
    let edges: Vec<_> = sweeps
        .iter()
        .map(|_| COLUMN)
        .chain(figures.map(|_| FIGURE))
        .map(|width| {
            edge += width;
            edge
        })
        .collect();
    text(body, (BESIDE, 120.0), "start", INK, "settings that no other beats");
    for (right, (first, second)) in edges.iter().zip(names.chain(figures)) {
        text(body, (*right, 150.0), "end", FAINT, first);
        text(body, (*right, 150.0 + 18.0), "end", FAINT, second);
    }
    for (row, dot) in front.iter().take(LISTED).enumerate() {
        let y = 168.0 + LINE * (row + 1) as f64;
        mark::draw(body, dot.missed, BESIDE + 6.0, y - 5.0);
        let late = dot.late_s.map_or_else(|| "-".to_owned(), |late_s| format!("{late_s:.2}"));
        let figures = [format!("{:.0}", 100.0 * dot.missed), format!("{:.2}", dot.false_per_hour), late];
        for (right, cell) in edges.iter().zip(dot.shown.iter().chain(&figures)) {
            text(body, (*right, y), "end", INK, cell);
        }
    }
    if front.len() > LISTED {
        let words = format!("and {} more: --json lists all", front.len() - LISTED);
        text(body, (BESIDE, 168.0 + LINE * (LISTED + 1) as f64), "start", FAINT, &words);
    }
    edge + 30.0
}
