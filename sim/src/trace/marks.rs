//! What the log itself says about its joints: columns with words in them, such as the serial.
//!
//! Decides: where such a column changes.
//! Assumes: an empty cell says nothing: what was said before still holds.
//! Never: keeps more than [`MOST`] changes; the rest are counted.

use super::number;
use crate::input::joint_field::{JointField, Stated};

/// Changes that are kept: a log of a thousand joints has as many of each column.
pub const MOST: usize = 4096;
/// Cells that cannot be read are told, so many of them.
const TOLD: usize = 3;

/// From here on a column says this.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Time at which the row was read, µs; see [`super::set_back::SetBacks::read_at_us`].
    pub time_us: u64,
    /// Its line in the file.
    pub line: u64,
    /// About what.
    pub field: JointField,
    /// What is said.
    pub stated: Stated,
}

struct Column {
    field: JointField,
    index: usize,
    name: String,
    /// The bytes of the cell that was read last.
    last: Vec<u8>,
}

/// Follows such columns.
#[derive(Default)]
pub struct Marks {
    columns: Vec<Column>,
    changes: Vec<Mark>,
    left_out: u64,
    refused: Vec<String>,
    refused_more: u64,
}

impl Marks {
    /// Of these columns: field, index in the file and name.
    pub fn new(columns: impl Iterator<Item = (JointField, usize, String)>) -> Self {
        let columns = columns.map(|(field, index, name)| Column { field, index, name, last: Vec::new() });
        Self { columns: columns.collect(), ..Self::default() }
    }
    /// Takes a row; `cell` gives what is written in a column.
    #[inline]
    pub fn take<'a>(&mut self, time_us: u64, line: u64, cell: impl Fn(usize) -> Option<&'a [u8]>) {
        for at in 0..self.columns.len() {
            let column = &mut self.columns[at];
            let Some(written) = cell(column.index).map(number::trim) else { continue };
            if written.is_empty() || written == column.last {
                continue;
            }
            column.last.clear();
            column.last.extend_from_slice(written);
            let (field, text) = (column.field, String::from_utf8_lossy(written).into_owned());
            match field.parse(&text) {
                Ok(None) => {}
                Ok(Some(_)) if self.changes.len() == MOST => self.left_out += 1,
                Ok(Some(stated)) => self.changes.push(Mark { time_us, line, field, stated }),
                Err(_) if self.refused.len() == TOLD => self.refused_more += 1,
                Err(refused) => self.refused.push(format!(
                    "line {line}: column `{}`: {}; allowed: {}",
                    self.columns[at].name, refused.problem, refused.allowed
                )),
            }
        }
    }
    /// The changes, in order.
    pub fn changes(&self) -> &[Mark] {
        &self.changes
    }
    /// What a person should know of them.
    pub fn warnings(&self) -> Vec<String> {
        let mut told = self.refused.clone();
        if self.refused_more > 0 {
            told.push(format!("and {} more cells about the joint that cannot be read", self.refused_more));
        }
        if self.left_out > 0 {
            told.push(format!("{} more changes of the joint's columns are not kept", self.left_out));
        }
        told
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_kept_once_and_an_empty_cell_says_nothing() {
        let mut marks = Marks::new([(JointField::Serial, 0, "Joint".to_owned())].into_iter());
        for (line, cell) in ["A", "A ", "", "B", "B", "A"].into_iter().enumerate() {
            marks.take(line as u64, line as u64, |_| Some(cell.as_bytes()));
        }
        let told: Vec<_> = marks.changes().iter().map(|mark| (mark.line, mark.stated.clone())).collect();
        let text = |text: &str| Stated::Text(text.to_owned());
        assert_eq!(told, [(0, text("A")), (3, text("B")), (5, text("A"))]);
    }

    #[test]
    fn a_column_that_never_rests_does_not_fill_the_memory() {
        let columns = [(JointField::Serial, 0, "t".to_owned()), (JointField::End, 1, "e".to_owned())];
        let mut marks = Marks::new(columns.into_iter());
        for line in 0..10_000_u64 {
            let text = line.to_string();
            marks.take(line, line, |_| Some(text.as_bytes()));
        }
        assert_eq!(marks.changes().len(), MOST);
        let told = marks.warnings();
        assert_eq!(told.len(), TOLD + 2);
        assert!(told[0].contains("column `e`") && told[0].contains("\"pin\" or \"box\""), "{told:?}");
        assert!(told[TOLD].contains("9997") && told[TOLD + 1].starts_with("5904 "), "{told:?}");
    }
}
