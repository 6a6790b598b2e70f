//! The first rows of a log as a table.
//!
//! Decides: what separates the cells, where the table begins, whether it has a header and a row of units, and
//! whether decimals stand behind a comma.
//! Assumes: rows of data are more than lines above them.
//! Never: holds more than the first lines of a log.

use super::unit_names;
use crate::input::unit::Dimension;
use crate::trace::records::Records;
use crate::trace::{bare_unit, number};
use bandward::Channel;

/// More rows than these are not looked at.
const MOST_ROWS: usize = 400;
/// Marks of a missing reading that loggers and spreadsheets write (common practice, no source).
const MARKS: [&str; 9] = ["#N/A", "#N/V", "N/A", "n/a", "NA", "---", "--", "null", "#VALUE!"];
/// What may separate cells, the likeliest first where several could.
const DELIMITERS: [u8; 4] = [b'\t', b';', b'|', b','];

/// A table.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Between two cells.
    pub delimiter: u8,
    /// Lines above the table.
    pub skip_rows: u64,
    /// Are decimals written behind a comma?
    pub decimal_comma: bool,
    names: Option<Vec<String>>,
    units: Option<Vec<String>>,
    /// The rows of data.
    pub rows: Vec<Vec<String>>,
    width: usize,
}

impl Sheet {
    /// Takes the first lines of a log apart.
    pub fn of(head: &str) -> Result<Self, String> {
        let tables = DELIMITERS.map(|delimiter| (delimiter, cells(head, delimiter)));
        let widths = tables.iter().map(|(_, records)| usual_width(records));
        let best = tables.iter().zip(widths).find(|(_, width)| *width > 1);
        let Some(((delimiter, records), width)) = best else {
            return Err(
                "the lines are not a table: no tab, semicolon, bar or comma separates as many cells in \
                        most of them"
                    .to_owned(),
            );
        };
        let begins = (0..records.len()).find(|&at| {
            // A separator at the end makes a cell that the header may not have.
            let is_wide = |cells: &[String]| cells.len() == width || (width > 2 && cells.len() + 1 == width);
            let is_row = |at: usize| records.get(at).is_none_or(|(_, cells)| is_wide(cells));
            is_row(at) && is_row(at + 1) && is_row(at + 2)
        });
        let mut records = records[begins.unwrap_or(0)..].iter().peekable();
        let skip_rows = records.peek().map_or(0, |(line, _)| line - 1);
        let mut top = |is_it: fn(&[String]) -> bool| {
            records.next_if(|(_, cells)| is_it(cells)).map(|(_, cells)| cells.clone())
        };
        let names = top(is_header);
        let units = if names.is_some() { top(is_units) } else { None };
        let rows: Vec<_> = records.map(|(_, cells)| cells.clone()).take(MOST_ROWS).collect();
        if rows.len() < 2 {
            return Err("there are not two rows of readings in it".to_owned());
        }
        let is_comma = |cell: &String| has_mark(cell, ',') && !has_mark(cell, '.');
        let decimal_comma = *delimiter != b',' && rows.iter().flatten().any(is_comma);
        Ok(Self { delimiter: *delimiter, skip_rows, decimal_comma, names, units, rows, width })
    }
    /// Columns.
    pub const fn width(&self) -> usize {
        self.width
    }
    /// Is there a header row?
    pub const fn has_header(&self) -> bool {
        self.names.is_some()
    }
    /// Is there a row of units?
    pub const fn has_units(&self) -> bool {
        self.units.is_some()
    }
    /// The name of a column, empty where there is none.
    pub fn name(&self, column: usize) -> String {
        self.names
            .as_ref()
            .and_then(|names| names.get(column))
            .map(|name| name.trim().to_owned())
            .unwrap_or_default()
    }
    /// The name of a column for people.
    pub fn shown_name(&self, column: usize) -> String {
        let name = self.name(column);
        if name.is_empty() { "no name".to_owned() } else { format!("`{name}`") }
    }
    /// Can the layout tell the column by its name?
    pub fn is_named(&self, column: usize) -> bool {
        let name = self.name(column);
        let is_once = self.names.iter().flatten().filter(|other| other.trim() == name).count() == 1;
        !name.is_empty() && is_once
    }
    /// The unit that the units row or the name gives, as written; else empty.
    pub fn unit_text(&self, column: usize) -> String {
        self.unit_in_row(column).unwrap_or_else(|| unit_names::unit_in(&self.name(column)))
    }
    /// The unit that the units row gives, as written.
    pub fn unit_in_row(&self, column: usize) -> Option<String> {
        let row = self.units.as_ref()?.get(column).map(|unit| bare_unit(unit).to_owned());
        row.filter(|unit| !unit.is_empty())
    }
    /// Does the units row have this unit of the column, as a layout writes it?
    pub fn has_unit_in_row(&self, column: usize, unit: &str) -> bool {
        let written = self.units.as_ref().and_then(|units| units.get(column));
        // A speed of the spindle, and what is no unit of a channel, is not read from there.
        let is_speed = ["rpm", "deg/s", "cell"].contains(&unit);
        !is_speed && written.is_some_and(|written| bare_unit(written) == unit)
    }
    /// Does a units row, or a bracket behind the name, tell a unit?
    pub fn tells_unit(&self, column: usize) -> bool {
        self.unit_in_row(column).is_some()
            || unit_names::units_in_brackets(&self.name(column)).next().is_some()
    }
    /// The cells of a column, trimmed.
    pub fn cells(&self, column: usize) -> impl Iterator<Item = &str> {
        self.rows.iter().filter_map(move |row| row.get(column)).map(|cell| cell.trim())
    }
    /// The number in a cell.
    pub fn number(&self, cell: &str) -> Option<f64> {
        let decimal = if self.decimal_comma { b',' } else { b'.' };
        let (digits, _) = number::split_unit(cell.as_bytes());
        number::reading(cell.as_bytes(), decimal)
            .or_else(|_| number::reading(digits, decimal))
            .ok()
            .flatten()
            .filter(|number| number.is_finite())
    }
    /// Least and greatest number of a column.
    pub fn range(&self, column: usize) -> Option<(f64, f64)> {
        let numbers = self.cells(column).filter_map(|cell| self.number(cell));
        numbers.fold(None, |range, number| {
            let (least, greatest) = range.unwrap_or((number, number));
            Some((f64::min(least, number), f64::max(greatest, number)))
        })
    }
    /// The units of a dimension that stand in its cells, each once.
    pub fn units_in_cells(&self, column: usize, dimension: Dimension) -> Vec<String> {
        let unit = |cell: &str| {
            let (_, unit) = number::split_unit(cell.as_bytes());
            dimension
                .unit(bare_unit(std::str::from_utf8(unit).unwrap_or("")))
                .map(|unit| unit.symbol.to_owned())
        };
        let mut units: Vec<_> = self.cells(column).filter_map(unit).collect();
        units.sort();
        units.dedup();
        units
    }
    /// Has every cell that is not empty a unit behind its number?
    pub fn cells_have_units(&self, column: usize, dimension: Dimension) -> bool {
        let has_unit = |cell: &str| {
            let (digits, unit) = number::split_unit(cell.as_bytes());
            let unit = std::str::from_utf8(unit).unwrap_or("");
            !digits.is_empty() && dimension.unit(bare_unit(unit)).is_some()
        };
        let mut filled =
            self.cells(column).filter(|cell| !cell.is_empty() && !MARKS.contains(cell)).peekable();
        filled.peek().is_some() && filled.all(has_unit)
    }
    /// The marks of missing readings that stand in it, in the columns that are not of the time.
    pub fn missing_marks(&self, time: &[usize]) -> Vec<&'static str> {
        let stands = |mark: &&str| {
            let columns = (0..self.width).filter(|column| !time.contains(column));
            columns.into_iter().any(|column| self.cells(column).any(|cell| cell == *mark))
        };
        MARKS.into_iter().filter(stands).collect()
    }
}

fn cells(head: &str, delimiter: u8) -> Vec<(u64, Vec<String>)> {
    let mut records = Records::new(head.as_bytes(), delimiter);
    let mut all = Vec::new();
    while all.len() < MOST_ROWS && matches!(records.advance(), Ok(true)) {
        let cells = (0..records.cell_count()).filter_map(|index| records.cell(index));
        all.push((records.line(), cells.map(|cell| String::from_utf8_lossy(cell).into_owned()).collect()));
    }
    all
}

/// So many cells as most records have; 0 where no number of cells is that of half of them.
fn usual_width(records: &[(u64, Vec<String>)]) -> usize {
    let widths = records.iter().map(|(_, cells)| cells.len());
    let count = |width: usize| records.iter().filter(|(_, cells)| cells.len() == width).count();
    widths
        .max_by_key(|&width| (count(width), width))
        .filter(|&width| 2 * count(width) > records.len())
        .unwrap_or(0)
}

/// No cell of a header begins with a digit, and most have a letter.
fn is_header(cells: &[String]) -> bool {
    let filled: Vec<_> = cells.iter().map(|cell| cell.trim()).filter(|cell| !cell.is_empty()).collect();
    !filled.is_empty() && filled.iter().all(|cell| !is_data(cell))
}

/// Units have no digit at the beginning, and one at least is known.
fn is_units(cells: &[String]) -> bool {
    let is_known = |cell: &String| {
        let unit = bare_unit(cell);
        let of_channel =
            Channel::ALL.iter().any(|&channel| Dimension::of_channel(channel).unit(unit).is_some());
        of_channel || Dimension::Duration.unit(unit).is_some() || unit == "rpm"
    };
    cells.iter().all(|cell| !is_data(cell.trim())) && cells.iter().any(is_known)
}

/// Is it a number, a time, or the mark of a missing reading?
fn is_data(cell: &str) -> bool {
    let digits = cell.trim_start_matches(['-', '+', '.', ',']);
    digits.starts_with(|character: char| character.is_ascii_digit()) || MARKS.contains(&cell)
}

/// Is there one such mark between digits, such as a decimal comma?
fn has_mark(cell: &str, mark: char) -> bool {
    let is_digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let (digits, _) = number::split_unit(cell.as_bytes());
    let digits = std::str::from_utf8(digits).unwrap_or("").trim_start_matches(['-', '+']);
    digits.split_once(mark).is_some_and(|(whole, fraction)| is_digits(whole) && is_digits(fraction))
}
