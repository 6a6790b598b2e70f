//! Which column is what.
//!
//! Decides: what a header row says about a trace.
//! Assumes: column names are compared after trimming blanks.
//! Never: guesses; a column that nobody named is ignored.

use super::Row;
use super::conversion::{Conversion, Written};
use super::fault::{Faults, shown};
use crate::input::joint_field::JointField;
use crate::input::layout::{ColumnName, Layout, Motion};
use bandward::Channel;
use bandward::sample::ChannelSet;

/// The time column of the project's own traces.
pub const TIME_COLUMN: &str = "time_s";

/// The column of a channel in the project's own traces.
pub const fn column_name(channel: Channel) -> &'static str {
    match channel {
        Channel::Current => "current_a",
        Channel::Voltage => "voltage_v",
        Channel::Gas => "gas_lpm",
        Channel::Torch => "torch_mm",
        Channel::Spindle => "spindle_deg",
        Channel::Wire => "wire_mm_per_min",
        Channel::Coolant => "coolant_lpm",
        Channel::Work => "work_c",
        Channel::Carriage => "carriage_mm",
    }
}

/// A column that holds the readings of a channel.
#[derive(Clone, Debug)]
pub struct ReadingColumn {
    /// Its index in the file.
    pub index: usize,
    /// The channel.
    pub channel: Channel,
    /// The way from a cell to the unit of the channel; `None` where it is the same.
    pub conversion: Option<Conversion>,
}

impl ReadingColumn {
    /// The reading in the unit of the channel for what is written in a cell.
    #[inline]
    pub fn reading(&self, written: Written, time_us: u64) -> Option<f64> {
        match (&self.conversion, written) {
            (Some(conversion), _) => conversion.reading(written, time_us),
            (None, Written::Number(number, _)) => Some(number),
            (None, Written::Nothing | Written::Missing) => None,
        }
    }
}

/// What a header row says.
#[derive(Clone, Debug)]
pub struct Columns {
    /// Every name, trimmed.
    pub names: Vec<String>,
    /// The columns the time is read from, in the order the time source names them.
    pub time: Vec<usize>,
    /// The columns with readings.
    pub readings: Vec<ReadingColumn>,
    /// The columns with words about the joint.
    pub joint: Vec<(JointField, usize)>,
    /// Names of those ignored, each once.
    pub unknown: Vec<String>,
}

impl Columns {
    /// Finds the columns of the project's own traces, or those a layout names.
    ///
    /// # Errors
    /// A column that is needed is not there or there twice, or there is none with a reading.
    pub fn find(names: Vec<String>, layout: Option<&Layout>, faults: &mut Faults) -> Self {
        let mut columns =
            Self { names, time: Vec::new(), readings: Vec::new(), joint: Vec::new(), unknown: Vec::new() };
        let own_time = ColumnName::from(TIME_COLUMN);
        for name in layout.map_or(vec![&own_time], |layout| layout.time.columns()) {
            columns.time.extend(columns.needed(name, layout.is_some(), faults));
        }
        for channel in Channel::ALL {
            let column = layout.and_then(|layout| layout.channel(channel));
            let index = match (layout, column) {
                (None, _) => columns.only(column_name(channel), faults),
                (Some(_), Some(column)) => columns.needed(&column.column, true, faults),
                (Some(_), None) => continue,
            };
            let conversion = column.cloned().map(Conversion::new);
            columns.readings.extend(index.map(|index| ReadingColumn { index, channel, conversion }));
        }
        for (field, name) in layout.map_or(&[][..], |layout| &layout.joint) {
            let index = columns.needed(name, true, faults);
            columns.joint.extend(index.map(|index| (*field, index)));
        }
        if columns.readings.is_empty() && faults.is_empty() {
            let names: Vec<_> = Channel::ALL.iter().map(|&channel| column_name(channel)).collect();
            let allowed = format!("one or more of {}", names.join(", "));
            faults.add_in_file("no column with a reading", allowed);
        }
        columns.set_aside();
        columns
    }
    /// The channels that have a column.
    pub fn channels(&self) -> ChannelSet {
        self.readings.iter().fold(ChannelSet::EMPTY, |set, column| set.with(column.channel))
    }

    /// By how much a spindle speed may be wrong because of its few digits, degrees a second; where there is one.
    pub fn speed_error(&self) -> Option<f64> {
        let spindle = self.readings.iter().find(|column| column.channel == Channel::Spindle)?;
        spindle.conversion.as_ref()?.half_digit()
    }

    /// Takes out of a row an angle whose counts were lost under the arc that still burns in it.
    #[inline]
    pub fn take_out_lost(&self, row: &mut Row) {
        let spindle = self.readings.iter().find(|column| column.channel == Channel::Spindle);
        let Some(conversion) = spindle.and_then(|column| column.conversion.as_ref()) else { return };
        if conversion.losses().is_some() && conversion.is_lost(row.may_burn()) {
            row.values[Channel::Spindle as usize] = None;
        }
    }

    /// What a person should know of the cells, once they have been read.
    pub fn warnings(&self) -> Vec<String> {
        let mut warnings = Vec::new();
        for reading in &self.readings {
            let Some(conversion) = &reading.conversion else { continue };
            let (name, column) = (&self.names[reading.index], conversion.column());
            if let (cells @ 1.., Some((low, high))) = (conversion.out_of_order(), column.valid) {
                let cells = if cells == 1 { "1 cell".to_owned() } else { format!("{cells} cells") };
                warnings.push(format!(
                    "column `{name}`: {cells} outside {low} to {high}, the sign of a sensor fault, taken as missing"
                ));
            }
            if let Some((first_us, times)) = conversion.losses() {
                let times = if times == 1 { String::new() } else { format!(", and {} more", times - 1) };
                warnings.push(format!(
                    "column `{name}`: counts may be lost in a hole in the data before {:.1} s{times}; no angle is taken \
                     from there until the arc is out",
                    first_us as f64 / 1e6
                ));
            }
            if column.motion == Motion::Speed {
                warnings.push(format!(
                    "column `{name}`: the angle is added up from a speed; 1 % of error in it is 3.6 degrees a turn, \
                     and as much in the overlap"
                ));
            }
        }
        warnings
    }

    /// The index of a column that must be there.
    fn needed(&self, name: &ColumnName, by_layout: bool, faults: &mut Faults) -> Option<usize> {
        let is_there = match name {
            ColumnName::Named(name) => self.names.contains(name),
            ColumnName::Numbered(number) => *number <= self.names.len(),
        };
        if !is_there {
            let found: Vec<_> = self.names.iter().map(|name| format!("`{name}`")).collect();
            let problem = match name {
                ColumnName::Named(name) => {
                    format!("no column `{name}` among {}", shown(found.join(", ").as_bytes()))
                }
                ColumnName::Numbered(number) => {
                    format!("no column {number}: the first row has {}", self.names.len())
                }
            };
            let allowed = if by_layout {
                "the names that the layout file gives"
            } else {
                "the project's own names, or a layout file that says which column is what"
            };
            faults.add_in_file(problem, allowed);
            return None;
        }
        match name {
            ColumnName::Named(name) => self.only(name, faults),
            ColumnName::Numbered(number) => number.checked_sub(1),
        }
    }
    /// The index of a column that may be there, but once.
    fn only(&self, name: &str, faults: &mut Faults) -> Option<usize> {
        let mut found = self.names.iter().enumerate().filter(|(_, found)| *found == name);
        let first = found.next()?.0;
        if let Some((second, _)) = found.next() {
            let problem = format!("two columns are named `{name}`: {} and {}", first + 1, second + 1);
            faults.add_in_file(problem, "one column of that name");
        }
        Some(first)
    }
    fn set_aside(&mut self) {
        for (index, name) in self.names.iter().enumerate() {
            let is_used = self.time.contains(&index)
                || self.readings.iter().any(|column| column.index == index)
                || self.joint.iter().any(|(_, column)| *column == index);
            if !is_used && !name.is_empty() && !self.unknown.contains(name) {
                self.unknown.push(name.clone());
            }
        }
    }
}
