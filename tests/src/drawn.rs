//! A trace that is drawn line by line, with its marks: which settings are right for it follows from the drawing.
//!
//! Decides: nothing; 100 s at 20 Hz of 320 A, 31.5 V and 17.5 L/min, but where something else is drawn.
//! Never: uses the process model.

use serde_json::{Value, json};
use std::fmt::Write as _;

/// What a reading is like for a while: from, to, s, and the value.
pub type Stretch = (f64, f64, f64);

/// A trace and its marks.
#[derive(Clone, Default)]
pub struct Drawn {
    /// Gas flow, L/min.
    pub gas: Vec<Stretch>,
    /// Voltage, V.
    pub voltage: Vec<Stretch>,
    /// Current, A.
    pub current: Vec<Stretch>,
    /// Its marks.
    pub faults: Vec<Value>,
}

impl Drawn {
    /// With a mark as it stands in a file.
    #[must_use]
    pub fn fault(mut self, fault: Value) -> Self {
        self.faults.push(fault);
        self
    }
    /// With a mark of one rule.
    #[must_use]
    pub fn mark(self, rule: &str, start_s: f64, end_s: f64) -> Self {
        self.fault(json!({ "rule": rule, "start_s": start_s, "end_s": end_s }))
    }
    /// A flow of 10 L/min, and its mark.
    #[must_use]
    pub fn leak(mut self, start_s: f64, end_s: f64) -> Self {
        self.gas.push((start_s, end_s, 10.0));
        self.mark("gas-low", start_s, end_s)
    }
    /// No flow for `length_s`, again and again, and no mark.
    #[must_use]
    pub fn breaks(mut self, starts_s: &[f64], length_s: f64) -> Self {
        self.gas.extend(starts_s.iter().map(|start_s| (*start_s, start_s + length_s, 0.0)));
        self
    }
    /// Another voltage, and no mark.
    #[must_use]
    pub fn dip(mut self, start_s: f64, end_s: f64, volts: f64) -> Self {
        self.voltage.push((start_s, end_s, volts));
        self
    }
    /// The trace as a table.
    pub fn csv(&self) -> String {
        let mut text = "time_s,current_a,voltage_v,gas_lpm\n".to_owned();
        let at = |stretches: &[Stretch], time_s: f64, otherwise: f64| {
            let own = stretches.iter().find(|(start_s, end_s, _)| (*start_s..*end_s).contains(&time_s));
            own.map_or(otherwise, |(.., value)| *value)
        };
        for index in 0..2000 {
            let time_s = f64::from(index) / 20.0;
            // A reading that never moved would be a fault of its own.
            let moves = f64::from(index % 2) * 0.02;
            let (amps, volts) = (at(&self.current, time_s, 320.0), at(&self.voltage, time_s, 31.5));
            let flow = at(&self.gas, time_s, 17.5);
            // Writing to a string cannot fail.
            let _ = writeln!(text, "{time_s},{},{},{}", amps + 50.0 * moves, volts + moves, flow + moves);
        }
        text
    }
}
