//! The joint unrolled: what each band came to at each place around the pipe, as it is welded.
//!
//! Decides: how wide a sector is, what stands in it where it was passed twice, and when the turn will be over.
//! Assumes: it is asked some times a second; what went by unseen is no sector of a known state.
//! Never: shows a sector that was not seen as good; nor keeps more than [`MOST_BANDS`] bands of one joint.

use serde_json::{Value, json};
use std::collections::{BTreeMap, VecDeque};

/// Sectors around the pipe.
pub const SECTORS: usize = 72;
const SECTOR_DEG: f64 = 360.0 / SECTORS as f64;
/// Bands of one joint that are kept.
pub const MOST_BANDS: usize = 24;
/// What turns further than this between two looks has not been seen.
const UNSEEN_DEG: f64 = 30.0;
/// The turn is timed over so long, and over no less than so much of it.
const TIMED_S: f64 = 8.0;
const LEAST_DEG: f64 = 3.0;

/// The letter of a sector that was in range.
pub const IN_RANGE: &str = "i";
/// The letter of one that was in range, of a band that is not proven: see [`super::snapshot`].
pub const NOT_PROVEN: &str = "p";

/// What a sector came to; the later is the worse.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Sector {
    NotWelded,
    InRange,
    NotJudged,
    Unseen,
    Advise,
    Warn,
    Stop,
}

impl Sector {
    const fn letter(self) -> char {
        match self {
            Self::NotWelded => '.',
            Self::InRange => 'i',
            Self::NotJudged => 'n',
            Self::Unseen => 'u',
            Self::Advise => 'a',
            Self::Warn => 'w',
            Self::Stop => 's',
        }
    }
}

/// The bands of the joint under way.
#[derive(Clone, Debug, Default)]
pub struct Unrolled {
    pub(super) joint: u16,
    pub(super) bands: BTreeMap<u16, [Sector; SECTORS]>,
    /// Band and angle of the last look.
    pub(super) last: Option<(u16, f64)>,
    /// Time, s, and angle, degrees, of the last seconds.
    pub(super) turned: VecDeque<(f64, f64)>,
}

impl Unrolled {
    /// All since the last look counts as it is now: what is seen now may have begun there.
    pub(super) fn mark(&mut self, band: u16, turned: f64, now: Sector) {
        let from = match self.last.replace((band, turned)) {
            Some((last, from)) if last == band && from <= turned => from,
            // The band began before it was seen.
            _ if !self.bands.contains_key(&band) => 0.0,
            _ => turned,
        };
        let now = if turned - from > UNSEEN_DEG { Sector::Unseen } else { now };
        if self.bands.len() >= MOST_BANDS && !self.bands.contains_key(&band) {
            self.bands.pop_first();
        }
        let sectors = self.bands.entry(band).or_insert([Sector::NotWelded; SECTORS]);
        let (first, last) = ((from / SECTOR_DEG) as usize, (turned / SECTOR_DEG) as usize);
        for place in first.max(last.saturating_sub(SECTORS))..=last {
            let sector = &mut sectors[place % SECTORS];
            *sector = (*sector).max(now);
        }
    }
    pub(super) fn time(&mut self, time_s: f64, turned: f64) {
        if self.turned.back().is_some_and(|&(last_s, last)| time_s < last_s || turned < last) {
            self.turned.clear();
        }
        if self.turned.back().is_none_or(|&(last_s, _)| time_s > last_s) {
            self.turned.push_back((time_s, turned));
        }
        while self.turned.front().is_some_and(|&(first_s, _)| time_s - first_s > TIMED_S) {
            self.turned.pop_front();
        }
    }
    /// Time to the end of this turn, at the speed of the last seconds, s.
    pub fn left_s(&self) -> Option<f64> {
        let (&(first_s, first), &(last_s, last)) = (self.turned.front()?, self.turned.back()?);
        let (seconds, degrees) = (last_s - first_s, last - first);
        let left_deg = 360.0 - last.rem_euclid(360.0);
        (seconds > 0.0 && degrees >= LEAST_DEG).then(|| left_deg * seconds / degrees)
    }
    /// Every band with a letter for each sector.
    pub fn json(&self) -> Vec<Value> {
        let letters =
            |sectors: &[Sector; SECTORS]| sectors.iter().map(|one| one.letter()).collect::<String>();
        self.bands
            .iter()
            .map(|(band, sectors)| json!({ "band": band, "sectors": letters(sectors) }))
            .collect()
    }
    /// The joint these bands are of.
    pub const fn joint(&self) -> u16 {
        self.joint
    }
}

#[cfg(test)]
mod tests {
    use super::super::view::View;
    use super::*;
    use crate::input::quantity::UnitSystem;
    use bandward::{ActiveAlarm, Phase, Rule, Severity};

    fn view(time_s: f64, band: u16, turned_deg: Option<f64>) -> View {
        let mut view = View::new(String::new(), UnitSystem::Metric, "");
        (view.time_s, view.band, view.turned_deg, view.phase) = (time_s, band, turned_deg, Phase::Arc);
        view
    }

    fn letters(unrolled: &Unrolled, band: usize) -> String {
        unrolled.json()[band]["sectors"].as_str().expect("letters").to_owned()
    }

    #[test]
    fn a_turn_fills_its_sectors_and_a_fault_stays_where_it_was() {
        let mut unrolled = Unrolled::default();
        for step in 0..=370_u32 {
            let mut view = view(f64::from(step) * 0.1, 1, Some(f64::from(step)));
            if (100..110).contains(&step) {
                let (rule, severity) = (Rule::GasLow, Severity::Warn);
                let shelved = step >= 105;
                view.alarms.push(ActiveAlarm { rule, channel: None, severity, acknowledged: false, shelved });
            }
            unrolled.take(&view);
        }
        // Sectors of 5 degrees; without a procedure nothing is judged. What was seen at 100 may have begun at 99; from
        // 105 on it was shelved, which makes the band no better.
        let expected: String =
            (0..72).map(|place| if [19, 20, 21].contains(&place) { 'w' } else { 'n' }).collect();
        assert_eq!(letters(&unrolled, 0), expected);
        // 10 degrees a second, and 350 to go.
        assert!((unrolled.left_s().expect("it turns") - 35.0).abs() < 0.01);
    }

    #[test]
    fn what_was_not_seen_is_not_good() {
        let mut unrolled = Unrolled::default();
        unrolled.take(&view(0.0, 2, Some(90.0)));
        assert_eq!(letters(&unrolled, 0), format!("{}{}", "u".repeat(19), ".".repeat(53)));
        unrolled.take(&view(1.0, 2, Some(91.0)));
        unrolled.take(&view(9.0, 2, Some(200.0)));
        assert_eq!(letters(&unrolled, 0), format!("{}{}", "u".repeat(41), ".".repeat(31)));
        assert_eq!(unrolled.joint(), 0);
    }

    #[test]
    fn a_spindle_without_a_reading_has_no_time_left_and_memory_is_bounded() {
        let mut unrolled = Unrolled::default();
        unrolled.take(&view(0.0, 1, None));
        assert_eq!((unrolled.left_s(), unrolled.json().len()), (None, 0));
        for band in 1..200 {
            unrolled.take(&view(f64::from(band), band, Some(f64::from(band) * 1e6)));
        }
        assert_eq!(unrolled.json().len(), MOST_BANDS);
    }
}
