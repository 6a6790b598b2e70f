//! The faults of a trace while it is read.
//!
//! Decides: how many are listed, that cells at fault in the same way are one message, and how a value of any bytes
//! is shown.
//! Assumes: the finder of a fault knows what would be allowed.
//! Never: keeps more than [`LISTED`] faults in memory, nor more than [`TOLD`] cells of each.

pub use crate::input::diagnostic::LISTED;
use crate::input::diagnostic::{InputError, InputErrors};
use crate::output::printable;

/// Cells of one kind that are told; the rest are counted.
pub const TOLD: usize = 3;

/// What is the same in all cells of one message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kind {
    /// What is wrong.
    pub what: What,
    /// Index of the column.
    pub column: usize,
}

/// What is wrong with a cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// There is no time.
    NoTime,
    /// It is not the time it should be.
    NotATime,
    /// The time is before zero.
    BeforeZero,
    /// It is no number.
    NotANumber,
    /// There is a unit behind the number that the layout does not ask for.
    HasUnit,
    /// There is no unit behind the number, or an unknown one.
    NotAUnit,
    /// There are more cells than the header has.
    TooWide,
}

/// Where a cell is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// In a line of a text.
    Line(u64),
    /// In a row of a table.
    Row(u64),
}

impl At {
    const fn number(self) -> u64 {
        match self {
            Self::Line(number) | Self::Row(number) => number,
        }
    }
    const fn word(self) -> &'static str {
        match self {
            Self::Line(_) => "line",
            Self::Row(_) => "row",
        }
    }
}

/// A fault, and the others of its kind.
#[derive(Debug)]
struct Listed {
    kind: Option<Kind>,
    fault: InputError,
    /// Of the first cells: where, and what is in them.
    told: Vec<(At, String)>,
    count: u64,
    last: At,
}

impl Listed {
    /// The fault, and how many more there are like it.
    fn told(self) -> InputError {
        if self.count < 2 {
            return self.fault;
        }
        let word = self.last.word();
        let cells: Vec<_> =
            self.told.iter().map(|(at, value)| format!("{word} {} `{value}`", at.number())).collect();
        let cells = cells.join(", ");
        let rest = match self.count - self.told.len() as u64 {
            0 => String::new(),
            more => format!(" and {more} more, the last in {word} {}", self.last.number()),
        };
        let problem = format!("{}; {} such cells: {cells}{rest}", self.fault.problem, self.count);
        self.fault.problem(problem)
    }
}

/// The faults found so far.
#[derive(Debug)]
pub struct Faults {
    file: String,
    listed: Vec<Listed>,
    more: u64,
}

impl Faults {
    /// None yet, in the file so named.
    pub fn new(file: &str) -> Self {
        Self { file: file.to_owned(), listed: Vec::new(), more: 0 }
    }
    /// The name of the file.
    pub fn file(&self) -> &str {
        &self.file
    }
    /// Takes a fault in a cell, or counts it where enough are told; only one that is told is put together.
    pub fn add_cell(&mut self, kind: Kind, at: At, fault: impl FnOnce(&str) -> InputError) {
        if let Some(alike) = self.listed.iter_mut().find(|listed| listed.kind == Some(kind)) {
            alike.count += 1;
            alike.last = at;
            if alike.told.len() < TOLD {
                alike.told.push((at, shortened(fault(&self.file).value)));
            }
            return;
        }
        self.list(Some(kind), at, fault);
    }
    /// Takes a fault that has no like.
    pub fn add(&mut self, fault: impl FnOnce(&str) -> InputError) {
        self.list(None, At::Line(0), fault);
    }
    /// Takes a fault of the file as a whole.
    pub fn add_in_file(&mut self, problem: impl Into<String>, allowed: impl Into<String>) {
        self.add(|file| InputError::in_file(file, "").problem(problem).allowed(allowed));
    }
    /// Is there none?
    pub fn is_empty(&self) -> bool {
        self.listed.is_empty()
    }
    /// Takes them out, as an error.
    pub fn take(&mut self) -> InputErrors {
        let faults = std::mem::take(&mut self.listed).into_iter().map(Listed::told).collect();
        InputErrors::new(faults).and_more(std::mem::take(&mut self.more))
    }

    fn list(&mut self, kind: Option<Kind>, at: At, fault: impl FnOnce(&str) -> InputError) {
        if self.listed.len() == LISTED {
            self.more += 1;
            return;
        }
        let fault = fault(&self.file);
        let told = vec![(at, shortened(fault.value.clone()))];
        self.listed.push(Listed { kind, fault, told, count: 1, last: at });
    }
}

/// A value is shown up to here in a list of several.
const SHOWN: usize = 40;

fn shortened(value: String) -> String {
    match value.char_indices().nth(SHOWN) {
        Some((end, _)) => format!("{}...", &value[..end]),
        None => value,
    }
}

/// Any bytes as text for a terminal.
pub fn shown(bytes: &[u8]) -> String {
    printable(&String::from_utf8_lossy(bytes)).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_of_one_kind_are_one_message() {
        let mut faults = Faults::new("x.csv");
        for line in 2..22 {
            let kind = Kind { what: What::NotANumber, column: 1 };
            let cell = format!("a{line}");
            faults.add_cell(kind, At::Line(line), |file| {
                InputError::in_line(file, line as usize, &cell, 0..cell.len(), "gas").problem("bad")
            });
        }
        let kind = Kind { what: What::NotANumber, column: 2 };
        faults.add_cell(kind, At::Line(9), |file| {
            InputError::in_line(file, 9, "b", 0..1, "wire").problem("bad")
        });
        let told: Vec<_> = faults.take().faults().iter().map(|fault| fault.problem.clone()).collect();
        let all =
            "bad; 20 such cells: line 2 `a2`, line 3 `a3`, line 4 `a4` and 17 more, the last in line 21";
        assert_eq!(told, [all, "bad"]);
        assert!(faults.is_empty());
    }
}
