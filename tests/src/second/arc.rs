//! A constant-voltage arc that regulates itself.
//!
//! Decides: current, voltage and stick-out from source, wire feed and torch height.
//! Assumes: the source is a straight slope; the wire melts by anode heat and by the heat of its own
//! resistance (Lesnewich's form, rate = a I + b L I^2). The figures are invented, of common size.

use super::noise::lagged;
use super::shop;

/// Slope of source and cables, ohm.
const SOURCE_OHM: f64 = 0.024;
/// Contact of a sound tip, ohm.
const TIP_OHM: f64 = 0.003;
/// Resistance of the hot wire, ohm/mm.
const WIRE_OHM_PER_MM: f64 = 0.000_45;
/// Falls at anode and cathode, V.
const FALLS_V: f64 = 18.5;
/// Column of the arc, V/mm and ohm.
const COLUMN_V_PER_MM: f64 = 1.1;
const COLUMN_OHM: f64 = 0.009;
/// Melting by the anode, mm/(A s), and by resistance, 1/(A^2 s).
const ANODE_RATE: f64 = 0.165;
const RESISTIVE_RATE: f64 = 3.0e-5;

/// What is asked of the arc at one instant.
#[derive(Clone, Copy, Debug)]
pub struct Drive {
    /// Open-circuit voltage of the slope, V.
    pub source_v: f64,
    /// Wire through the tip, mm/s.
    pub feed_mm_s: f64,
    /// Contact point to work, mm.
    pub tip_to_work_mm: f64,
    /// Resistance on top of a sound tip's, ohm.
    pub more_ohm: f64,
    /// Voltage on top of the arc's falls, V: a gas that is blown away.
    pub more_falls_v: f64,
}

/// The burning arc.
#[derive(Clone, Copy, Debug)]
pub struct Arc {
    stick_out_mm: f64,
    /// Current, A.
    pub current_a: f64,
    /// Voltage at the feeder, V.
    pub voltage_v: f64,
}

impl Arc {
    /// Just struck: the wire has burned back to a short stick-out.
    pub fn struck(drive: &Drive) -> Self {
        let mut arc = Self { stick_out_mm: drive.tip_to_work_mm - 3.5, current_a: 0.0, voltage_v: 0.0 };
        arc.settle(drive);
        arc
    }
    /// Carries on by `dt_s`.
    pub fn step(&mut self, dt_s: f64, drive: &Drive) {
        let current = self.current_a;
        let melted = ANODE_RATE * current + RESISTIVE_RATE * self.stick_out_mm * current * current;
        let longest = drive.tip_to_work_mm - 0.3;
        self.stick_out_mm = (self.stick_out_mm + (drive.feed_mm_s - melted) * dt_s).clamp(2.0, longest);
        self.settle(drive);
    }
    fn settle(&mut self, drive: &Drive) {
        let column_mm = (drive.tip_to_work_mm - self.stick_out_mm).max(0.3);
        let falls = FALLS_V + drive.more_falls_v + COLUMN_V_PER_MM * column_mm;
        let load = TIP_OHM + drive.more_ohm + WIRE_OHM_PER_MM * self.stick_out_mm + COLUMN_OHM;
        self.current_a = ((drive.source_v - falls) / (SOURCE_OHM + load)).max(5.0);
        self.voltage_v = drive.source_v - SOURCE_OHM * self.current_a;
    }
}

/// The open-circuit voltage that gives this voltage at the usual current.
pub fn source_for(voltage_v: f64) -> f64 {
    voltage_v + SOURCE_OHM * shop::CURRENT_A
}

/// A wire drive with inertia.
#[derive(Clone, Copy, Debug, Default)]
pub struct Feeder {
    /// Speed of the drive rolls, mm/s.
    pub rolls_mm_s: f64,
}

impl Feeder {
    /// Carries on by `dt_s` towards the speed asked for.
    pub fn step(&mut self, dt_s: f64, asked_mm_s: f64) {
        self.rolls_mm_s = lagged(self.rolls_mm_s, asked_mm_s, dt_s, 0.12);
        if self.rolls_mm_s < 0.05 {
            self.rolls_mm_s = 0.0;
        }
    }
}
