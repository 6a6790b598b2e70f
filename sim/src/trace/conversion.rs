//! The way from a cell of a layout's column to a reading.
//!
//! Decides: when an empty cell still holds what was written before it, when a number is the sign of a broken
//! sensor, how counts and pulses run on, and when counts may be lost in a hole of the data.
//! Assumes: cells are given in the order of their times.
//! Never: fills in a reading that is marked as missing, or for longer than the layout says.

use super::count_pace::CountPace;
use crate::input::layout::{ChannelColumn, Motion};
use crate::input::unit::Unit;
use std::cell::Cell;

/// What is written in a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Written {
    /// A number, with the unit behind it where each cell has one.
    Number(f64, Option<Unit>),
    /// Nothing.
    Nothing,
    /// That there is no reading.
    Missing,
}

/// Follows one column.
#[derive(Clone, Debug)]
pub struct Conversion {
    column: ChannelColumn,
    /// Of a count that begins again somewhere in the turn: the last one, and where it would be without.
    unwrapped: Cell<Option<(f64, f64)>>,
    /// What was written last, and when, µs.
    held: Cell<Option<(f64, u64)>>,
    /// Pulses so far.
    pulses: Cell<f64>,
    is_closed: Cell<bool>,
    pace: Cell<CountPace>,
    /// Since when counts are lost, and not made up for by the end of an arc, µs.
    lost_since: Cell<Option<u64>>,
    /// The first time of that, µs, and how often.
    losses: Cell<Option<(u64, u64)>>,
    /// Cells beyond what the sensor shows in order.
    out_of_order: Cell<u64>,
    /// Of a speed: half of its last digit, where that was finest, in the unit of the channel.
    half_digit: Cell<Option<f64>>,
}

/// A count that runs so far, of its way round, may have gone the other way.
const NEARLY_HALF: f64 = 0.45;

impl Conversion {
    /// By what a layout says.
    pub fn new(column: ChannelColumn) -> Self {
        Self {
            column,
            unwrapped: Cell::new(None),
            held: Cell::new(None),
            pulses: Cell::new(0.0),
            // A switch that is closed at the beginning has not just been closed.
            is_closed: Cell::new(true),
            pace: Cell::default(),
            lost_since: Cell::new(None),
            losses: Cell::new(None),
            out_of_order: Cell::new(0),
            half_digit: Cell::new(None),
        }
    }
    /// What the layout says.
    pub const fn column(&self) -> &ChannelColumn {
        &self.column
    }
    /// With the unit that the log itself tells.
    pub fn set_unit(&mut self, unit: Unit) {
        self.column.unit = unit;
    }
    /// Cells with a number outside `valid`, taken as missing.
    pub fn out_of_order(&self) -> u64 {
        self.out_of_order.get()
    }
    /// By how much a speed may be wrong because of its few digits, in the unit of the channel.
    pub fn half_digit(&self) -> Option<f64> {
        self.half_digit.get()
    }
    /// Takes note of how many digits a speed has behind its decimal mark.
    #[inline]
    pub fn note_digits(&self, decimals: impl FnOnce() -> Option<u32>, unit: Option<Unit>) {
        if self.column.motion != Motion::Speed {
            return;
        }
        let Some(decimals) = decimals() else { return };
        let half = 0.5 * 10_f64.powi(-(decimals as i32));
        let house = |cell: f64| match unit {
            Some(unit) => unit.to_house(cell * self.column.scale),
            None => self.column.value(cell),
        };
        let half = (house(half) - house(0.0)).abs();
        self.half_digit.set(Some(self.half_digit.get().map_or(half, |finest| finest.min(half))));
    }
    /// The first time counts may have been lost in a hole of the data, µs, and how often.
    pub fn losses(&self) -> Option<(u64, u64)> {
        self.losses.get()
    }
    /// Is the way of the angle lost? Not any more once no arc `burns`: the next band begins with an angle of its own.
    pub fn is_lost(&self, burns: bool) -> bool {
        if !burns {
            self.lost_since.set(None);
        }
        self.lost_since.get().is_some()
    }
    /// The reading in the unit of the channel; of a speed, the speed.
    #[inline]
    pub fn reading(&self, written: Written, time_us: u64) -> Option<f64> {
        let value = match written {
            Written::Number(number, _) if self.is_out_of_order(number) => {
                self.out_of_order.set(self.out_of_order.get() + 1);
                None
            }
            Written::Number(number, unit) => Some(self.value(number, unit, time_us)),
            Written::Missing => None,
            Written::Nothing => return self.still_held(time_us),
        };
        if self.column.hold_us.is_some() {
            self.held.set(value.map(|value| (value, time_us)));
        }
        value
    }

    fn is_out_of_order(&self, number: f64) -> bool {
        self.column.valid.is_some_and(|(low, high)| number < low || number > high)
    }
    fn still_held(&self, time_us: u64) -> Option<f64> {
        let (value, since_us) = self.held.get()?;
        let longest_us = self.column.hold_us?;
        (time_us.saturating_sub(since_us) <= longest_us).then_some(value)
    }
    fn value(&self, number: f64, unit: Option<Unit>, time_us: u64) -> f64 {
        let number = match self.column.motion {
            Motion::Position => {
                self.column.encoder.wraps_at.map_or(number, |wrap| self.run_on(number, wrap, time_us))
            }
            Motion::Speed => number,
            Motion::Pulses => self.add(number, time_us),
            Motion::Switch => self.add(f64::from(u8::from(self.closes(number))), time_us),
        };
        match unit {
            Some(unit) => unit.to_house(number * self.column.scale),
            None => self.column.value(number),
        }
    }
    /// A count that runs on where the cell begins again at 0; it goes the short way from row to row.
    fn run_on(&self, cell: f64, wrap: f64, time_us: u64) -> f64 {
        let (last, total) = self.unwrapped.get().unwrap_or((cell, cell));
        let ahead = (cell - last).rem_euclid(wrap);
        let moved = if ahead > wrap / 2.0 { ahead - wrap } else { ahead };
        self.follow(time_us, moved, NEARLY_HALF * wrap);
        self.unwrapped.set(Some((cell, total + moved)));
        total + moved
    }
    /// Counts are lost in a hole of the data in which more than `most` will have come.
    fn follow(&self, time_us: u64, moved: f64, most: f64) {
        let mut pace = self.pace.get();
        if pace.in_hole(time_us).is_some_and(|counts| counts > most) {
            self.lost_since.set(Some(time_us));
            let (first_us, times) = self.losses.get().unwrap_or((time_us, 0));
            self.losses.set(Some((first_us, times + 1)));
        }
        pace.note(time_us, moved);
        self.pace.set(pace);
    }
    fn add(&self, pulses: f64, time_us: u64) -> f64 {
        // A pulse in a hole is in no row.
        self.follow(time_us, pulses, 0.0);
        self.pulses.set(self.pulses.get() + pulses);
        self.pulses.get()
    }
    /// Has the switch closed since the row before?
    fn closes(&self, number: f64) -> bool {
        let is_closed = number >= 0.5;
        let was_closed = self.is_closed.replace(is_closed);
        is_closed && !was_closed
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::layout::Layout;
    use bandward::Channel;

    fn conversion(channel: Channel, keys: &str) -> Conversion {
        let text = format!(
            "[time]\nseconds = \"t\"\n[channels]\n{} = {{ column = \"x\", {keys} }}\n",
            channel.name()
        );
        let layout = Layout::parse("x", &text).unwrap_or_else(|errors| panic!("{errors}"));
        Conversion::new(layout.channel(channel).expect("named").clone())
    }

    const fn number(number: f64) -> Written {
        Written::Number(number, None)
    }

    #[test]
    fn an_empty_cell_holds_so_long_and_a_missing_mark_ends_it() {
        let held = conversion(Channel::Current, "unit = \"A\", hold = \"2 s\"");
        assert_eq!(held.reading(Written::Nothing, 0), None);
        assert_eq!(held.reading(number(300.0), 1_000_000), Some(300.0));
        assert_eq!(held.reading(Written::Nothing, 3_000_000), Some(300.0));
        assert_eq!(held.reading(Written::Nothing, 3_000_001), None);
        assert_eq!(held.reading(number(310.0), 4_000_000), Some(310.0));
        assert_eq!(held.reading(Written::Missing, 4_100_000), None);
        assert_eq!(held.reading(Written::Nothing, 4_200_000), None);
    }

    /// 4 to 20 mA: 12 mA is the middle. NAMUR NE 43 (from memory): 3.6 mA and 21 mA are the ends.
    #[test]
    fn a_current_loop_tells_that_it_is_broken() {
        let current = conversion(Channel::Current, "from = [4, 20], to = [\"0 A\", \"600 A\"]");
        let told = [3.59, 3.6, 4.0, 12.0, 20.0, 21.0, 21.01].map(|cell| current.reading(number(cell), 0));
        let near = |got: Option<f64>, wanted: f64| got.is_some_and(|got| (got - wanted).abs() < 1e-9);
        assert_eq!((told[0], told[6]), (None, None));
        for (got, wanted) in told[1..6].iter().zip([-15.0, 0.0, 300.0, 600.0, 637.5]) {
            assert!(near(*got, wanted), "{got:?} {wanted}");
        }
        assert_eq!(current.out_of_order(), 2);
    }

    #[test]
    fn pulses_and_closings_are_added_up() {
        let pulses = conversion(Channel::Spindle, "unit = \"pulses\", counts_per_turn = 8");
        let told = [0.0, 1.0, 2.0, 0.0].map(|cell| pulses.reading(number(cell), 0));
        assert_eq!(told, [0.0, 45.0, 135.0, 135.0].map(Some));
        let switch = conversion(Channel::Spindle, "unit = \"switch\", counts_per_turn = 4");
        let told = [1.0, 0.0, 1.0, 1.0, 0.0, 0.0, 1.0].map(|cell| switch.reading(number(cell), 0));
        assert_eq!(told, [0.0, 0.0, 90.0, 90.0, 90.0, 90.0, 180.0].map(Some));
    }
}
