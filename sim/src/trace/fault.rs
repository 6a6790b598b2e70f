//! What is wrong with a trace file, told so that a person can mend it.
//!
//! Decides: how a fault reads, and how many are listed.
//! Assumes: the finder of a fault knows what would be allowed.
//! Never: keeps more than [`LISTED`] faults in memory.

use std::fmt;

/// So many faults of one file are listed; the rest are counted.
pub const LISTED: usize = 20;
/// A value longer than this is cut in messages, characters.
const LONGEST_VALUE: usize = 40;

/// One fault in a trace.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The line of a text file, or the row of a Parquet file, counted from 1.
    pub place: Option<Place>,
    /// Name of the column.
    pub field: Option<String>,
    /// What stands there.
    pub value: Option<String>,
    /// What is wrong.
    pub problem: String,
    /// What is allowed, or what to do.
    pub allowed: String,
}

/// Where in a trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// A line and, where known, a column of a text file, both counted from 1; columns in cells.
    Line(u64, Option<usize>),
    /// A row of a Parquet file, counted from 1.
    Row(u64),
}

impl Fault {
    /// A fault of the file as a whole.
    pub fn new(problem: impl Into<String>, allowed: impl Into<String>) -> Self {
        Self { place: None, field: None, value: None, problem: problem.into(), allowed: allowed.into() }
    }
    /// At a place.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }
    /// In a field, with what stands there.
    #[must_use]
    pub fn in_field(mut self, field: &str, value: &[u8]) -> Self {
        self.field = Some(field.to_owned());
        self.value = Some(shown(value));
        self
    }
}

/// A value as it may be shown in a terminal: no control characters, not too long.
pub fn shown(value: &[u8]) -> String {
    let text = String::from_utf8_lossy(value);
    let mut characters = text.trim().chars();
    let clean = |character: char| if character.is_control() { '\u{fffd}' } else { character };
    let mut shown: String = characters.by_ref().take(LONGEST_VALUE).map(clean).collect();
    if characters.next().is_some() {
        shown.push('…');
    }
    shown
}

/// Why a trace cannot be read (on): the faults found, in the order of the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TraceErrors {
    /// The file, as it was named.
    pub path: String,
    /// The first [`LISTED`] faults.
    pub faults: Vec<Fault>,
    /// How many more there are.
    pub more: u64,
}

impl TraceErrors {
    /// No fault yet.
    pub fn new(path: &str) -> Self {
        Self { path: path.to_owned(), faults: Vec::new(), more: 0 }
    }
    /// Takes a fault in, or counts it where enough are listed. The fault is only put together where
    /// it is kept.
    pub fn add(&mut self, fault: impl FnOnce() -> Fault) {
        if self.faults.len() < LISTED {
            self.faults.push(fault());
        } else {
            self.more += 1;
        }
    }
    /// With one fault.
    #[must_use]
    pub fn with(mut self, fault: Fault) -> Self {
        self.add(|| fault);
        self
    }
    /// Is there none?
    pub fn is_empty(&self) -> bool {
        self.faults.is_empty()
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.place {
            Some(Place::Line(line, Some(column))) => write!(f, ":{line}, column {column}")?,
            Some(Place::Line(line, None)) => write!(f, ":{line}")?,
            Some(Place::Row(row)) => write!(f, ", row {row}")?,
            None => {}
        }
        write!(f, ": ")?;
        if let Some(field) = &self.field {
            write!(f, "`{field}`")?;
            if let Some(value) = &self.value {
                write!(f, " is `{value}`")?;
            }
            write!(f, ": ")?;
        }
        write!(f, "{}; {}", self.problem, self.allowed)
    }
}

impl fmt::Display for TraceErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.faults.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            write!(f, "{}{fault}", self.path)?;
        }
        if self.more > 0 {
            write!(f, "\n{}: and {} more of such faults", self.path, self.more)?;
        }
        Ok(())
    }
}

impl std::error::Error for TraceErrors {}
