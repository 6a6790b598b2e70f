//! The joint unrolled: how each judged value stood along each band, by angle.
//!
//! Decides: how a place stands against the ranges, and in which words a strip is told.
//! Assumes: angles count from the start of the band.
//! Never: raises an alarm: short excursions show here that no alarm's delay lets through.

use super::Report;
use super::alarms::first_and_worst;
use super::chart::MOST_MARKS;
use super::chart::{Ranges, Scale, quantity_of, stood};
use crate::input::setting::Subject;
use crate::input::unit::Dimension;
use crate::raw::{seconds, value};
use crate::recording::DRAWN;
use crate::recording::envelope::Extremes;
use crate::recording::joint_map::CELL_DEG;
use bandward::{Quantity, Rule, Severity};

/// Holes in a strip up to this are drawn over, degrees: at a low sample rate places lie apart.
pub const HOLE_DEG: f64 = 8.0;

/// How a place stands. The worse, the later.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PlaceState {
    /// Nothing could be judged there.
    Unknown,
    /// There is no range to stand against.
    Free,
    /// Within every range.
    Within,
    /// Below the recommended range.
    Lowish,
    /// Above the recommended range.
    Highish,
    /// Below the allowed range.
    Low,
    /// Above the allowed range.
    High,
    /// Below the floor.
    UnderFloor,
}

impl PlaceState {
    /// Of the values of a place.
    pub fn of(cell: Extremes, ranges: &Ranges) -> Self {
        let (low, high) = (f64::from(cell.low), f64::from(cell.high));
        let below = |end: Option<f64>| end.is_some_and(|end| low < end);
        let above = |end: Option<f64>| end.is_some_and(|end| high > end);
        match () {
            () if cell.is_empty() => Self::Unknown,
            () if ranges.is_empty() => Self::Free,
            () if below(ranges.floor) => Self::UnderFloor,
            () if above(ranges.allowed.high) => Self::High,
            () if below(ranges.allowed.low) => Self::Low,
            () if above(ranges.recommended.high) => Self::Highish,
            () if below(ranges.recommended.low) => Self::Lowish,
            () => Self::Within,
        }
    }
    /// Short name, for style sheets.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Unknown => "unknown",
            Self::Free => "free",
            Self::Within => "within",
            Self::Lowish => "lowish",
            Self::Highish => "highish",
            Self::Low => "low",
            Self::High => "high",
            Self::UnderFloor => "floor",
        }
    }
    /// In words, with a sign that needs no colour; `None` where there is nothing to tell.
    pub const fn words(self) -> Option<&'static str> {
        match self {
            Self::Unknown | Self::Free | Self::Within => None,
            Self::Lowish => Some("▽ below recommended"),
            Self::Highish => Some("△ above recommended"),
            Self::Low => Some("▼ below allowed"),
            Self::High => Some("▲ above allowed"),
            Self::UnderFloor => Some("▼▼ under the floor"),
        }
    }
}

/// Places side by side that stand alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// Where it begins, degrees.
    pub from_deg: f64,
    /// Where it ends, degrees.
    pub to_deg: f64,
    /// How it stands.
    pub standing: PlaceState,
}

/// An alarm on the circumference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// Where its cause began, degrees from the start of the band.
    pub from_deg: f64,
    /// Where it cleared.
    pub to_deg: f64,
    /// How bad.
    pub severity: Severity,
    /// Which.
    pub rule: Rule,
    /// The quantity in whose strip it shows.
    pub quantity: Option<Quantity>,
}

impl Placed {
    /// In words.
    pub fn words(&self) -> String {
        let sign = sign(self.severity);
        format!("{sign} {} {}", self.rule.name(), stretch(self.from_deg, self.to_deg))
    }
}

/// A sign for a severity, told apart by its form, and from those of too low and too high.
pub const fn sign(severity: Severity) -> &'static str {
    match severity {
        Severity::Advise => "○",
        Severity::Warn => "●",
        Severity::Stop => "■",
    }
}

fn stretch(from_deg: f64, to_deg: f64) -> String {
    if (to_deg - from_deg).round() < 1.0 {
        format!("{from_deg:.0}°")
    } else {
        format!("{from_deg:.0}–{to_deg:.0}°")
    }
}

/// The alarms of a band that have a place on it.
pub fn placed(report: &Report<'_>, band: u16) -> Vec<Placed> {
    let end_s =
        report.replay.bands.iter().find(|record| record.band == band).map(|record| seconds(record.end_us));
    let on_the_band = report.replay.alarms.iter().filter(|alarm| alarm.band == band);
    on_the_band
        .filter_map(|alarm| {
            let from_deg = value(alarm.turned?).max(0.0);
            let (_, to_s) = stood(report, alarm);
            let cleared = report.recording.turned.at(end_s.map_or(to_s, |end_s| to_s.min(end_s)));
            let to_deg = if cleared.is_empty() { from_deg } else { f64::from(cleared.high).max(from_deg) };
            let (severity, rule, quantity) = (alarm.severity, alarm.rule, quantity_of(alarm));
            Some(Placed { from_deg, to_deg, severity, rule, quantity })
        })
        .collect()
}

/// Those that are drawn: more lie upon each other.
pub fn shown_of(placed: &[Placed]) -> impl Iterator<Item = &Placed> {
    first_and_worst(placed, MOST_MARKS, |placed| placed.severity).into_iter().map(|place| &placed[place])
}

/// The first few of some words, and how many more there are.
pub fn first_few(words: &[String]) -> String {
    let told = words.iter().take(TOLD).cloned().collect::<Vec<_>>().join("; ");
    if words.len() > TOLD { format!("{told}; and {} more", words.len() - TOLD) } else { told }
}

/// One quantity along one band.
#[derive(Clone, Debug)]
pub struct Strip<'a> {
    /// The band, from 1.
    pub band: u16,
    /// The values, [`CELL_DEG`] degrees each.
    pub cells: &'a [Extremes],
    /// Places that stand alike.
    pub runs: Vec<Run>,
    /// The alarms that show in it.
    pub placed: Vec<Placed>,
}

impl Strip<'_> {
    /// Is there anything in it that is not allowed?
    pub fn is_bad(&self) -> bool {
        self.runs.iter().any(|run| run.standing >= PlaceState::Low)
            || self.placed.iter().any(|placed| placed.severity >= Severity::Warn)
    }
    /// What there is to tell of it.
    pub fn words(&self) -> String {
        let mut runs: Vec<&Run> = self.runs.iter().filter(|run| run.standing.words().is_some()).collect();
        runs.sort_by_key(|run| std::cmp::Reverse(run.standing));
        // Those that watch no range do not show in the standing of the places.
        let others = self.placed.iter().filter(|placed| placed.rule.watches().is_none());
        let mut told: Vec<String> = others.map(Placed::words).collect();
        told.extend(runs.iter().map(|run| {
            let words = run.standing.words().unwrap_or_default();
            format!("{words} {}", stretch(run.from_deg, run.to_deg))
        }));
        let inner = self.runs.iter().skip(1).take(self.runs.len().saturating_sub(2));
        let holes: Vec<String> = inner
            .filter(|run| run.standing == PlaceState::Unknown)
            .map(|run| format!("not judged {}", stretch(run.from_deg, run.to_deg)))
            .collect();
        let judged = self.runs.iter().any(|run| run.standing >= PlaceState::Within);
        let free = self.runs.iter().any(|run| run.standing == PlaceState::Free);
        if told.is_empty() {
            told.push(match (judged, free) {
                (true, _) => "within".to_owned(),
                (false, true) => "no range given".to_owned(),
                (false, false) => "not judged".to_owned(),
            });
        }
        told.extend(holes);
        first_few(&told)
    }
}

/// Stretches of a strip that are told in words.
const TOLD: usize = 3;

/// One quantity along all bands.
#[derive(Clone, Debug)]
pub struct Block<'a> {
    /// The quantity.
    pub quantity: Quantity,
    /// What it is called.
    pub title: &'static str,
    /// What its values are.
    pub dimension: Dimension,
    /// Its ranges.
    pub ranges: Ranges,
    /// The scale of its strips.
    pub scale: Scale,
    /// A strip a band.
    pub strips: Vec<Strip<'a>>,
}

/// Every quantity that was seen along the joint.
pub fn blocks<'a>(report: &Report<'a>) -> Vec<Block<'a>> {
    DRAWN.into_iter().filter_map(|quantity| block(report, quantity)).collect()
}

fn block<'a>(report: &Report<'a>, quantity: Quantity) -> Option<Block<'a>> {
    let ranges = report.procedure.map_or(Ranges::default(), |file| Ranges::of(&file.procedure, quantity));
    let strips: Vec<Strip<'a>> = report
        .recording
        .joint
        .strips(quantity)
        .map(|(band, cells)| {
            let placed = placed(report, band).into_iter().filter(|placed| placed.quantity == Some(quantity));
            Strip { band, cells, runs: runs(cells, &ranges), placed: placed.collect() }
        })
        .collect();
    let values = strips.iter().flat_map(|strip| strip.cells).filter(|cell| !cell.is_empty());
    let ends: Vec<f64> = values.flat_map(|cell| [f64::from(cell.low), f64::from(cell.high)]).collect();
    if ends.is_empty() {
        return None;
    }
    let scale = Scale::over(ends.into_iter().chain(ranges.ends()), 0.1)?;
    let dimension = Subject::Judged(quantity).dimension();
    Some(Block { quantity, title: title(quantity), dimension, ranges, scale, strips })
}

const fn title(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Voltage => "Voltage",
        Quantity::ShortCircuitRate => "Short circuits",
        Quantity::GasFlow => "Shielding gas",
        Quantity::WeaveRate => "Weave rate",
        Quantity::WeaveWidth => "Weave width",
        Quantity::WeaveCentreDrift => "Weave centre drift",
        Quantity::TurnTime => "Turn time",
        Quantity::CoolantFlow => "Torch coolant",
        _ => "Current",
    }
}

fn runs(cells: &[Extremes], ranges: &Ranges) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    for (index, cell) in cells.iter().enumerate() {
        let standing = PlaceState::of(*cell, ranges);
        let from_deg = index as f64 * CELL_DEG;
        let to_deg = from_deg + CELL_DEG;
        match runs.last_mut() {
            Some(last) if last.standing == standing => last.to_deg = to_deg,
            _ => runs.push(Run { from_deg, to_deg, standing }),
        }
    }
    // At a low sample rate a place may have no value between two that stand alike.
    bridge_single_cells(&mut runs);
    runs
}

fn bridge_single_cells(runs: &mut Vec<Run>) {
    let mut bridged: Vec<Run> = Vec::with_capacity(runs.len());
    for (index, run) in runs.iter().enumerate() {
        let short = run.standing == PlaceState::Unknown && run.to_deg - run.from_deg < 4.0 * CELL_DEG;
        let inside = index > 0 && index + 1 < runs.len();
        match bridged.last_mut() {
            Some(last) if last.standing == run.standing || (short && inside) => last.to_deg = run.to_deg,
            _ => bridged.push(*run),
        }
    }
    *runs = bridged;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::bounds::Bounds;

    const RANGES: Ranges = Ranges {
        recommended: Bounds::between(20.0, 30.0),
        allowed: Bounds::between(10.0, 40.0),
        floor: Some(5.0),
    };

    fn cell(low: f32, high: f32) -> Extremes {
        Extremes { low, high }
    }

    #[test]
    fn a_place_stands_as_its_worst_value() {
        for (low, high, expected) in [
            (20.0, 30.0, PlaceState::Within),
            (19.9, 30.0, PlaceState::Lowish),
            (20.0, 30.1, PlaceState::Highish),
            (9.9, 30.0, PlaceState::Low),
            (20.0, 40.1, PlaceState::High),
            (4.9, 50.0, PlaceState::UnderFloor),
        ] {
            assert_eq!(PlaceState::of(cell(low, high), &RANGES), expected, "{low} to {high}");
        }
        assert_eq!(PlaceState::of(Extremes::NONE, &RANGES), PlaceState::Unknown);
        assert_eq!(PlaceState::of(cell(1.0, 2.0), &Ranges::default()), PlaceState::Free);
    }

    #[test]
    fn a_strip_is_told_worst_first_with_its_angles() {
        let mut cells = vec![cell(25.0, 25.0); 180];
        cells[10] = cell(35.0, 35.0);
        cells[90..95].fill(cell(45.0, 45.0));
        let runs = runs(&cells, &RANGES);
        let strip = Strip { band: 1, cells: &cells, runs, placed: Vec::new() };
        assert_eq!(strip.words(), "▲ above allowed 180–190°; △ above recommended 20–22°");
    }

    #[test]
    fn a_place_without_a_value_at_a_low_rate_is_no_hole() {
        let mut cells = vec![cell(25.0, 25.0); 10];
        cells[4] = Extremes::NONE;
        assert_eq!(runs(&cells, &RANGES).len(), 1);
    }
}
