//! What a change is called.

use std::collections::BTreeMap;

/// A place and what is changed there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Point {
    /// The number that chooses it, from 1.
    pub number: u32,
    /// The file, from `core/src`.
    pub file: String,
    /// The line in that file.
    pub line: usize,
    /// The function, with the type it belongs to.
    pub function: String,
    /// What stood there and what stands there now, as a reader sees it.
    pub change: String,
}

impl Point {
    /// File, function and change: what a list that outlives moved lines goes by.
    pub fn key(&self) -> (String, String, String) {
        (self.file.clone(), self.function.clone(), self.change.clone())
    }
    /// The same as one text.
    pub fn name(&self) -> String {
        format!("{} {}: {}", self.file, self.function, self.change)
    }
}

/// Gives each of several changes that read alike within one function its own name.
pub fn tell_apart(points: &mut [Point]) {
    let mut seen: BTreeMap<(String, String, String), u32> = BTreeMap::new();
    for point in points {
        let times = seen.entry(point.key()).or_default();
        *times += 1;
        if *times > 1 {
            point.change = format!("{} (place {times})", point.change);
        }
    }
}

/// Source text on one line, cut where it is long.
pub fn on_one_line(source: &str) -> String {
    let line = source.split_whitespace().collect::<Vec<_>>().join(" ");
    if line.chars().count() > 110 {
        let start: String = line.chars().take(107).collect();
        format!("{start}...")
    } else {
        line
    }
}
