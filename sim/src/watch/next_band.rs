//! How long until the next band may begin, from the temperature of the joint as it cools.
//!
//! Decides: before the first band the time until the joint is at its preheat; then until its temperature is down to the
//! highest allowed between bands; after the last band, to where the joint no longer has to cool slowly. A limit is met
//! where it was met for some seconds, as the rule holds it against what was read just before the strike.
//! Assumes: the excess over air of 20 °C falls by the same share in the same time, as over the last minute, and rises
//! by as much: close enough for a minute or two, and worked out anew every second.
//! Never: says that a band may begin: without a reading of now it says that the temperature is not known.

use crate::input::bounds::Bounds;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, format};
use crate::input::setting::Subject;
use bandward::Quantity;
use std::collections::VecDeque;

/// Means over a second each are kept for so many seconds.
const KEPT: usize = 60;
/// The last means that must all be within a limit.
const AT_STRIKE: usize = 3;
/// Means that a fall is told from.
const LEAST: usize = 10;
const SECOND_US: u64 = 1_000_000;
/// A reading older than this is none, µs.
const OLD_US: u64 = 5 * SECOND_US;
const AIR_C: f64 = 20.0;
/// A reading that stands still for so long tells no fall: it may be that nobody reads it any more, s.
const STILL_S: f64 = 30.0;
/// Nobody waits longer than this, s.
const LONGEST_WAIT_S: f64 = 4.0 * 3600.0;

/// The temperature of the joint since its last arc.
#[derive(Clone, Debug, Default)]
pub struct NextBand {
    /// Time, s, and mean over a second, °C.
    means: VecDeque<(f64, f64)>,
    /// The second under way: its first time, the sum of its readings and their number.
    second: Option<(u64, f64, u32)>,
    last_us: u64,
    /// When the last band had ended.
    since_us: Option<u64>,
}

impl NextBand {
    /// Takes a reading; under the arc there is nothing to wait for.
    pub fn take(&mut self, time_us: u64, work_c: Option<f64>, is_in_band: bool) {
        // A board that has started anew counts from zero.
        if is_in_band || time_us < self.last_us {
            *self = Self::default();
            return;
        }
        self.since_us.get_or_insert(time_us);
        let Some(work_c) = work_c else { return };
        self.last_us = time_us;
        let (since_us, sum, count) = self.second.unwrap_or((time_us, 0.0, 0));
        let (sum, count) = (sum + work_c, count + 1);
        self.second = Some((since_us, sum, count));
        if time_us.saturating_sub(since_us) >= SECOND_US {
            self.means.push_back((crate::raw::seconds(time_us), sum / f64::from(count)));
            self.second = None;
            if self.means.len() > KEPT {
                self.means.pop_front();
            }
        }
    }
    /// The temperature now, °C; `None` where there is no reading of now.
    fn now_c(&self, now_us: u64) -> Option<f64> {
        let is_old = now_us.saturating_sub(self.last_us) > OLD_US;
        self.means.back().filter(|_| !is_old).map(|&(_, mean_c)| mean_c)
    }
    /// The lowest and the highest of the last means, °C; `None` where there is no reading of now.
    fn span_c(&self, now_us: u64) -> Option<(f64, f64)> {
        let now_c = self.now_c(now_us)?;
        let last = self.means.iter().rev().take(AT_STRIKE);
        Some(last.fold((now_c, now_c), |(low, high), &(_, mean)| (low.min(mean), high.max(mean))))
    }
    /// Time until it is warmed up to `least_c`, s; `None` where it does not rise.
    fn seconds_up_to(&self, least_c: f64, now_us: u64) -> Option<f64> {
        let now_c = self.now_c(now_us)?;
        let &(newest_s, _) = self.means.back()?;
        let lately: Vec<_> = self.means.iter().filter(|mean| newest_s - mean.0 <= STILL_S).collect();
        if lately.len() < LEAST {
            return None;
        }
        let rise_per_s = clear_slope(lately.into_iter().copied())?;
        let wait_s = (least_c - now_c).max(0.0) / rise_per_s;
        (rise_per_s > 0.0 && wait_s <= LONGEST_WAIT_S).then_some(wait_s)
    }
    /// Has no reading come for some seconds after the band?
    fn is_unknown(&self, now_us: u64) -> bool {
        let since_us = self.since_us.map(|since_us| since_us.max(self.last_us));
        since_us.is_some_and(|since_us| now_us.saturating_sub(since_us) > OLD_US)
    }
    /// That nothing is read, and how old the last reading is, in words.
    fn unknown(&self, now_us: u64) -> String {
        let allowed_s = OLD_US / SECOND_US;
        let age = if self.means.is_empty() && self.second.is_none() {
            String::new()
        } else {
            let age_s = now_us.saturating_sub(self.last_us) / SECOND_US;
            format!(" (last read {age_s} s ago, at most {allowed_s} s)")
        };
        format!("temperature of the joint not known{age}, measure it by hand")
    }
    /// Time until the temperature is down to `most_c`, s; `None` where it does not fall, or nothing is known.
    pub fn seconds_until(&self, most_c: f64, now_us: u64) -> Option<f64> {
        let now_c = self.now_c(now_us)?;
        if now_c <= most_c {
            return Some(0.0);
        }
        let &(newest_s, newest_c) = self.means.back()?;
        let moved = self.means.iter().rev().find(|mean| mean.1.to_bits() != newest_c.to_bits());
        let moved_s = moved.or(self.means.front()).map_or(newest_s, |mean| mean.0);
        let is_still = newest_s - moved_s > STILL_S;
        if self.means.len() < LEAST || most_c <= AIR_C || is_still {
            return None;
        }
        let fall_per_s = -self.slope()?;
        let wait_s = libm::log((now_c - AIR_C) / (most_c - AIR_C)) / fall_per_s;
        (fall_per_s > 0.0 && wait_s <= LONGEST_WAIT_S).then_some(wait_s)
    }
    /// Slope of the logarithm of the excess over the air, 1/s.
    fn slope(&self) -> Option<f64> {
        let excess = |mean_c: f64| libm::log((mean_c - AIR_C).max(1.0));
        clear_slope(self.means.iter().map(|&(time_s, mean_c)| (time_s, excess(mean_c))))
    }
    /// For how long still the joint must cool slowly after its last band, in words, where the procedure asks for that.
    fn slowly(&self, procedure: &ProcedureFile, now_us: u64, system: UnitSystem) -> Option<String> {
        let until_c = procedure.setting(Subject::Judged(Quantity::Cooling))?.until_c?;
        let Some(now_c) = self.now_c(now_us) else {
            return self.is_unknown(now_us).then(|| format!("slow cooling: {}", self.unknown(now_us)));
        };
        if now_c <= until_c {
            return None;
        }
        let show = |value_c: f64| format(value_c.round(), Dimension::Temperature, system);
        let joint = format!("slow cooling down to {}: joint {}", show(until_c), show(now_c));
        Some(match self.seconds_until(until_c, now_us) {
            Some(seconds) => {
                let minutes = (seconds / 60.0).ceil() as u64;
                format!("{joint}, in about {}:{:02} h", minutes / 60, minutes % 60)
            }
            None => joint,
        })
    }
    /// That the temperature after `band`, 0 before the first, is neither too high nor too low for the next, in words;
    /// `None` where it is, where it is not known, or where it is not limited.
    pub fn in_range(
        &self,
        procedure: &ProcedureFile,
        band: u16,
        now_us: u64,
        system: UnitSystem,
    ) -> Option<String> {
        let range = range(procedure, band).filter(|_| is_next(procedure, band))?;
        let (low_c, high_c) = self.span_c(now_us)?;
        let is_in = range.low.is_none_or(|least_c| low_c >= least_c)
            && range.high.is_none_or(|most_c| high_c <= most_c);
        let shown = format(high_c.round(), Dimension::Temperature, system);
        let which = if band == 0 { "first" } else { "next" };
        is_in.then(|| format!("temperature in range for the {which} band: joint {shown}"))
    }
    /// What to do after `band`, 0 before the first, in words; `None` where there is no next one, where the temperature
    /// is right, or where it is not limited.
    pub fn advice(
        &self,
        procedure: &ProcedureFile,
        band: u16,
        now_us: u64,
        system: UnitSystem,
    ) -> Option<String> {
        if !is_next(procedure, band) {
            return self.slowly(procedure, now_us, system);
        }
        let range = range(procedure, band)?;
        let (what, which) = if band == 0 { ("preheat: ", "first") } else { ("", "next") };
        let Some((low_c, high_c)) = self.span_c(now_us) else {
            let unknown = self.unknown(now_us);
            return self.is_unknown(now_us).then(|| format!("before the {which} band: {unknown}"));
        };
        let show = |value_c: f64| format(value_c.round(), Dimension::Temperature, system);
        let clock = |seconds: f64| {
            let whole = seconds.ceil() as u64;
            format!("{}:{:02}", whole / 60, whole % 60)
        };
        if let Some(least_c) = range.low.filter(|least_c| low_c < *least_c) {
            let joint = format!("joint {}, at least {}", show(low_c), show(least_c));
            let until = self.seconds_up_to(least_c, now_us).map(clock);
            let about = until.map_or(String::new(), |until| format!(", about {until}"));
            return Some(format!("{what}warm up{about}: {joint}"));
        }
        let most_c = range.high.filter(|most_c| high_c > *most_c)?;
        let joint = format!("joint {}, at most {}", show(high_c), show(most_c));
        Some(match self.seconds_until(most_c, now_us) {
            Some(seconds) => format!("{what}{which} band in {}: {joint}", clock(seconds)),
            None => format!("{what}wait before the {which} band: {joint}"),
        })
    }
}

/// Is there a band after `band`, by the procedure?
fn is_next(procedure: &ProcedureFile, band: u16) -> bool {
    procedure.joint.bands.is_none_or(|bands| u32::from(band) < bands)
}

/// The limits of the temperature before the band after `band`, where there are any.
fn range(procedure: &ProcedureFile, band: u16) -> Option<Bounds> {
    let quantity = if band == 0 { Quantity::Preheat } else { Quantity::Interpass };
    let setting = procedure.setting(Subject::Judged(quantity))?;
    setting.allowed.or(setting.recommended)
}

/// Slope by least squares where it stands out of the noise: three times its standard error, as of a line with
/// independent deviations.
fn clear_slope(points: impl Iterator<Item = (f64, f64)> + Clone) -> Option<f64> {
    let count = points.clone().count() as f64;
    let (sum_x, sum_y) = points.clone().fold((0.0, 0.0), |sums, (x, y)| (sums.0 + x, sums.1 + y));
    let (middle_x, middle_y) = (sum_x / count, sum_y / count);
    let (mut both, mut squares, mut squares_y) = (0.0, 0.0, 0.0);
    for (x, y) in points {
        let (x, y) = (x - middle_x, y - middle_y);
        (both, squares, squares_y) = (both + x * y, squares + x * x, squares_y + y * y);
    }
    let slope = both / squares;
    let error_squared = (squares_y - slope * both).max(0.0) / (count - 2.0) / squares;
    (squares > 0.0 && slope * slope >= 9.0 * error_squared && slope != 0.0).then_some(slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_alone_is_no_slope_and_a_fall_within_it_is() {
        // Deviations of a third of a kelvin without any order: digits of pi, from memory.
        let digits = "141592653589793238462643383279502884197169399375105820974944";
        let noise: Vec<f64> = digits.bytes().map(|digit| (f64::from(digit - b'0') - 4.5) / 9.0).collect();
        let line = |per_s: f64| {
            let points =
                noise.iter().enumerate().map(move |(at, noise)| (at as f64, per_s * at as f64 + noise));
            clear_slope(points)
        };
        assert_eq!(line(0.0), None);
        let slope = line(-0.05).unwrap();
        assert!((slope + 0.05).abs() < 0.01, "{slope}");
        assert_eq!(clear_slope([(0.0, 7.0), (1.0, 7.0), (2.0, 7.0)].into_iter()), None);
    }
}
