//! The table by file.

use crate::kept::Explained;
use crate::names::Point;
use crate::runs::Fate;
use std::collections::BTreeMap;
use std::fmt::Write;

#[derive(Clone, Copy, Default)]
struct Row {
    changes: usize,
    killed: usize,
    explained: usize,
    left: usize,
    refused: usize,
}

impl Row {
    fn add(&mut self, other: Self) {
        self.changes += other.changes;
        self.killed += other.killed;
        self.explained += other.explained;
        self.left += other.left;
        self.refused += other.refused;
    }
    fn line(self, name: &str) -> String {
        let share = (self.killed * 1000).checked_div(self.changes - self.explained).unwrap_or(1000);
        let (whole, tenth) = (share / 10, share % 10);
        format!(
            "| {name} | {} | {} | {} | {} | {whole}.{tenth} % | {} |\n",
            self.changes, self.killed, self.explained, self.left, self.refused
        )
    }
}

/// Mutants, killed, explained and left of each file, in Markdown.
pub fn table(
    points: &[Point],
    fates: &BTreeMap<u32, Fate>,
    explained: &[Explained],
    refused: &BTreeMap<String, usize>,
) -> String {
    let mut rows: BTreeMap<&str, Row> = BTreeMap::new();
    for point in points {
        let row = rows.entry(&point.file).or_default();
        row.changes += 1;
        match fates.get(&point.number) {
            Some(Fate::Killed(_)) => row.killed += 1,
            _ if explained.iter().any(|each| each.is(point)) => row.explained += 1,
            _ => row.left += 1,
        }
    }
    let mut text = String::from(
        "| file of `core/src` | mutants | killed | explained | left | killed of those not explained | refused by the compiler |\n\
         |---|--:|--:|--:|--:|--:|--:|\n",
    );
    let mut all = Row::default();
    for (file, mut row) in rows {
        row.refused = refused.get(file).copied().unwrap_or_default();
        all.add(row);
        let _ = write!(text, "{}", row.line(&format!("`{file}`")));
    }
    let _ = write!(text, "{}", all.line("together"));
    text
}
