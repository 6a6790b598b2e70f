//! Days and weather.
//!
//! Decides: how a day is written, and how warm the hall is.

use crate::second::random::Chance;
use std::f64::consts::TAU;

const MONTHS: [u32; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// A day, counted from the first of January 2026 with 0, as records write it.
pub fn written(day: f64) -> String {
    let minutes = (day.fract() * 1440.0) as u32;
    let mut left = day as u32;
    let mut year = 2026;
    while left >= 365 {
        left -= 365;
        year += 1;
    }
    let mut month = 0;
    while left >= MONTHS[month] {
        left -= MONTHS[month];
        month += 1;
    }
    format!("{year}-{:02}-{:02}T{:02}:{:02}:00", month + 1, left + 1, minutes / 60, minutes % 60)
}

/// Temperature in the hall, degrees Celsius: a year's course, warmest in late July, and each day's own.
pub fn ambient_c(day: f64, chance: &mut Chance) -> f64 {
    16.0 + 9.0 * ((day - 205.0) / 365.0 * TAU).cos() + 2.0 * chance.normal()
}
