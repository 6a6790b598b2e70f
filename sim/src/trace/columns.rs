//! Which column is what.
//!
//! Decides: what a header row says about a trace.
//! Assumes: column names are compared after trimming blanks.
//! Never: guesses; a column that nobody named is ignored.

use super::fault::{Faults, shown};
use crate::input::joint_field::JointField;
use crate::input::layout::{ChannelColumn, Layout};
use bandward::Channel;
use bandward::sample::ChannelSet;
use std::cell::Cell;

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
    conversion: Option<ChannelColumn>,
    /// Of a count that begins again somewhere in the turn: the last one, and where it would be without.
    unwrapped: Cell<Option<(f64, f64)>>,
}

impl ReadingColumn {
    /// The reading in the unit of the channel for the number in a cell.
    #[inline]
    pub fn value(&self, cell: f64) -> f64 {
        self.conversion.as_ref().map_or(cell, |column| {
            column.value(column.encoder.wraps_at.map_or(cell, |wrap| self.run_on(cell, wrap)))
        })
    }
    /// A count that runs on where the cell begins again at 0; it goes the short way from row to row.
    fn run_on(&self, cell: f64, wrap: f64) -> f64 {
        let (last, total) = self.unwrapped.get().unwrap_or((cell, cell));
        let ahead = (cell - last).rem_euclid(wrap);
        let total = total + if ahead > wrap / 2.0 { ahead - wrap } else { ahead };
        self.unwrapped.set(Some((cell, total)));
        total
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
        let time_names = layout.map_or(vec![TIME_COLUMN], |layout| layout.time.columns());
        for name in &time_names {
            columns.time.extend(columns.needed(name, layout.is_some(), faults));
        }
        for channel in Channel::ALL {
            let conversion = layout.and_then(|layout| layout.channel(channel)).cloned();
            let name = match (layout, &conversion) {
                (None, _) => column_name(channel),
                (Some(_), Some(column)) => column.column.as_str(),
                (Some(_), None) => continue,
            };
            let index = if layout.is_some() {
                columns.needed(name, true, faults)
            } else {
                columns.only(name, faults)
            };
            columns.readings.extend(index.map(|index| ReadingColumn {
                index,
                channel,
                conversion,
                unwrapped: Cell::new(None),
            }));
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

    /// The index of a column that must be there.
    fn needed(&self, name: &str, by_layout: bool, faults: &mut Faults) -> Option<usize> {
        if !self.names.iter().any(|found| found == name) {
            let found: Vec<_> = self.names.iter().map(|name| format!("`{name}`")).collect();
            let problem = format!("no column `{name}` among {}", shown(found.join(", ").as_bytes()));
            let allowed = if by_layout {
                "the names that the layout file gives"
            } else {
                "the project's own names, or a layout file that says which column is what"
            };
            faults.add_in_file(problem, allowed);
            return None;
        }
        self.only(name, faults)
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
