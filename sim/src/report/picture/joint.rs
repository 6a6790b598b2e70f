//! The joint unrolled, on the sheet.
//!
//! Decides: how strips are laid out.
//! Assumes: the patterns of the sheet.
//! Never: says by colour alone how a place stands.

use super::{FRAMED, HATCHED, LEFT, RIGHT, areas, border, escape, put, title};
use crate::recording::joint_map::CELL_DEG;
use crate::report::Report;
use crate::report::draw::{Frame, outline};
use crate::report::model::chart::Scale;
use crate::report::model::strip::{
    Block, HOLE_DEG, PlaceState, Placed, Strip, blocks, first_few, placed, shown_of,
};
use crate::report::model::words::ranges as ranges_in_words;
use bandward::Severity;

const STRIP: f64 = 30.0;
/// Bands drawn; a picture of more would be too tall to read.
const BANDS: usize = 8;

/// Draws it below `top`; returns where it ends.
pub fn draw(sheet: &mut String, report: &Report<'_>, top: f64) -> f64 {
    let blocks = blocks(report);
    if blocks.is_empty() {
        return top;
    }
    let reach_deg = report.recording.joint.reach_deg().max(360.0);
    let mut y = all_alarms(sheet, report, top, reach_deg);
    for block in &blocks {
        y = strips(sheet, report, block, y, reach_deg);
    }
    angle_axis(sheet, y, reach_deg)
}

pub(super) const fn fill(standing: PlaceState) -> &'static str {
    match standing {
        PlaceState::Unknown => "#ece9e0",
        PlaceState::Free | PlaceState::Within => "#ffffff",
        PlaceState::Lowish => "#a9d3ee",
        PlaceState::Highish => "#f6c99f",
        PlaceState::Low => "url(#low)",
        PlaceState::High => "url(#high)",
        PlaceState::UnderFloor => "url(#floor)",
    }
}

fn across(reach_deg: f64, scale: Scale, top: f64) -> Frame {
    Frame { from: 0.0, to: reach_deg, scale, left: LEFT, top, width: RIGHT - LEFT, height: STRIP }
}

/// Every alarm with a place, whatever it is about.
fn all_alarms(sheet: &mut String, report: &Report<'_>, top: f64, reach_deg: f64) -> f64 {
    title(sheet, "All alarms", "where each began and cleared", top);
    let mut y = top + 28.0;
    for band in report.replay.bands.iter().take(BANDS) {
        let frame = across(reach_deg, Scale { low: 0.0, high: 1.0 }, y);
        let placed = placed(report, band.band);
        name(sheet, band.band, &frame);
        marks(sheet, &placed, &frame, HATCHED);
        border(sheet, &frame);
        let words: Vec<String> = placed.iter().map(Placed::words).collect();
        let words = if words.is_empty() { "none".to_owned() } else { first_few(&words) };
        told(sheet, &words, placed.iter().any(|placed| placed.severity >= Severity::Warn), &frame);
        y += STRIP + 3.0;
    }
    y + 6.0
}

fn strips(sheet: &mut String, report: &Report<'_>, block: &Block<'_>, top: f64, reach_deg: f64) -> f64 {
    title(sheet, block.title, &ranges_in_words(&block.ranges, block.dimension, report.system), top);
    let mut y = top + 28.0;
    for strip in block.strips.iter().take(BANDS) {
        lane(sheet, block, strip, &across(reach_deg, block.scale, y));
        y += STRIP + 3.0;
    }
    if block.strips.len() > BANDS {
        let more = block.strips.len() - BANDS;
        put!(sheet, "<text x=\"{LEFT}\" y=\"{:.0}\" fill=\"#5b6474\">and {more} more bands</text>", y + 14.0);
        y += 18.0;
    }
    y + 6.0
}

fn name(sheet: &mut String, band: u16, frame: &Frame) {
    let middle = frame.top + 0.5 * STRIP + 5.0;
    put!(sheet, "<text x=\"{:.0}\" y=\"{middle:.1}\" text-anchor=\"end\">band {band}</text>", LEFT - 10.0);
}

/// Beside a strip; broken between the things told, and smaller where they are many.
fn told(sheet: &mut String, words: &str, is_bad: bool, frame: &Frame) {
    const CHARACTERS: usize = 54;
    let mut lines = vec![String::new()];
    for piece in words.split_inclusive("; ") {
        match lines.last_mut() {
            Some(line) if line.chars().count() + piece.trim_end().chars().count() <= CHARACTERS => {
                line.push_str(piece);
            }
            _ => lines.push(piece.to_owned()),
        }
    }
    lines.retain(|line| !line.is_empty());
    let (size, spacing) = if lines.len() > 2 { (10.0, 10.5) } else { (13.0, 15.0) };
    let weight = if is_bad { "bold" } else { "normal" };
    let (x, middle) = (RIGHT + 12.0, frame.top + 0.5 * STRIP + 0.37 * size);
    for (index, line) in lines.iter().enumerate() {
        let y = middle + spacing * (index as f64 - 0.5 * (lines.len() as f64 - 1.0));
        put!(
            sheet,
            "<text x=\"{x:.0}\" y=\"{y:.1}\" font-size=\"{size}\" font-weight=\"{weight}\">{}</text>",
            escape(line.trim_end())
        );
    }
}

fn marks(sheet: &mut String, placed: &[Placed], frame: &Frame, fill: &str) {
    for placed in shown_of(placed) {
        super::mark(sheet, frame, placed.from_deg, placed.to_deg, fill);
    }
}

fn lane(sheet: &mut String, block: &Block<'_>, strip: &Strip<'_>, frame: &Frame) {
    let top = frame.top;
    name(sheet, strip.band, frame);
    for run in &strip.runs {
        let (x, end) = (frame.x(run.from_deg), frame.x(run.to_deg));
        put!(
            sheet,
            "<rect x=\"{x:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{STRIP}\" fill=\"{}\"/>",
            end - x,
            fill(run.standing)
        );
    }
    areas(sheet, &block.ranges, frame);
    let path = outline(strip.cells, 0.0, CELL_DEG, frame, HOLE_DEG, strip.cells.len());
    put!(sheet, "<path d=\"{path}\" fill=\"#1c2330\" stroke=\"#1c2330\" stroke-width=\"1.5\"/>");
    border(sheet, frame);
    if frame.to > 360.0 {
        let x = frame.x(360.0);
        put!(
            sheet,
            "<path d=\"M{x:.1} {top:.1}v{STRIP}\" stroke=\"#6b7484\" stroke-width=\"2\" stroke-dasharray=\"3 3\"/>"
        );
    }
    marks(sheet, &strip.placed, frame, FRAMED);
    told(sheet, &strip.words(), strip.is_bad(), frame);
}

fn angle_axis(sheet: &mut String, top: f64, reach_deg: f64) -> f64 {
    for tick in [0.0, 90.0, 180.0, 270.0, 360.0] {
        let x = LEFT + tick / reach_deg * (RIGHT - LEFT);
        put!(
            sheet,
            "<text x=\"{x:.1}\" y=\"{:.1}\" font-size=\"13\" fill=\"#5b6474\" text-anchor=\"middle\">{tick:.0}°</text>",
            top + 8.0
        );
    }
    top + 40.0
}
