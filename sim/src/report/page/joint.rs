//! The joint unrolled: a strip a band, a block of strips a quantity.
//!
//! Decides: how angle, value and standing are laid out on the page.
//! Assumes: nothing.
//! Never: says by colour alone how a place stands: it is hatched, and told in words beside.

use super::html::{put, range_areas};
use crate::recording::joint_map::{BANDS, CELL_DEG};
use crate::report::Report;
use crate::report::draw::{Frame, outline};
use crate::report::model::strip::{
    Block, HOLE_DEG, PlaceState, Placed, Strip, blocks, first_few, placed, shown_of,
};
use crate::report::model::words::ranges;
use bandward::Severity;

/// The section.
pub fn section(page: &mut String, report: &Report<'_>) {
    put!(
        page,
        "<section id=\"joint\" aria-labelledby=\"joint-title\">\n<h2 id=\"joint-title\">The joint unrolled</h2>"
    );
    let blocks = blocks(report);
    if blocks.is_empty() {
        put!(page, "<p>Nothing to show: the trace has no spindle angle under a burning arc.</p>\n</section>");
        return;
    }
    put!(
        page,
        "<p>Each strip is one band, from the angle where its arc was struck (0°) in the direction of travel. \
         The line is the judged value, the grey field the recommended range, the thin lines the allowed one. \
         Values are means over about the last second. An excursion shorter than an alarm’s delay shows here \
         and raises no alarm.</p>"
    );
    legend(page);
    let reach_deg = report.recording.joint.reach_deg().max(360.0);
    put!(page, "<div class=\"strips\">");
    all_alarms(page, report, reach_deg);
    for block in &blocks {
        block_of_strips(page, report, block, reach_deg);
    }
    put!(page, "</div>");
    if report.recording.joint.has_left_bands_out() {
        put!(page, "<p>Only the first {BANDS} bands are drawn.</p>");
    }
    put!(page, "</section>");
}

fn legend(page: &mut String) {
    put!(page, "<ul class=\"legend\" aria-label=\"Legend\">");
    for standing in [
        PlaceState::Within,
        PlaceState::Lowish,
        PlaceState::Highish,
        PlaceState::Low,
        PlaceState::High,
        PlaceState::UnderFloor,
        PlaceState::Unknown,
    ] {
        let words = match standing {
            PlaceState::Within => "within",
            PlaceState::Unknown => "not judged",
            other => other.words().unwrap_or_default(),
        };
        put!(page, "<li><i class=\"run {}\"></i>{words}</li>", standing.name());
    }
    put!(page, "<li><i class=\"mark\"></i>an alarm stood: ● warn, ○ advise, ■ stop</li>");
    put!(page, "<li><i class=\"round\"></i>where the band meets its own start</li>");
    put!(page, "</ul>");
}

fn block_of_strips(page: &mut String, report: &Report<'_>, block: &Block<'_>, reach_deg: f64) {
    let limits = ranges(&block.ranges, block.dimension, report.system);
    put!(page, "<div class=\"block\">\n<h3>{} <small>{limits}</small></h3>", block.title);
    for strip in &block.strips {
        put!(page, "<div class=\"strip\"><span class=\"name\">band {}</span>", strip.band);
        lane(page, block, strip, reach_deg);
        told(page, &strip.words(), strip.is_bad());
    }
    axis(page, reach_deg);
    put!(page, "</div>");
}

fn told(page: &mut String, words: &str, is_bad: bool) {
    let class = if is_bad { " class=\"bad\"" } else { "" };
    put!(page, "<span class=\"told\"><span{class}>{words}</span></span></div>");
}

/// Every alarm with a place, whatever it is about.
fn all_alarms(page: &mut String, report: &Report<'_>, reach_deg: f64) {
    put!(page, "<div class=\"block\">\n<h3>All alarms <small>where each began and cleared</small></h3>");
    for band in report.replay.bands.iter().take(BANDS) {
        let placed = placed(report, band.band);
        put!(page, "<div class=\"strip\"><span class=\"name\">band {}</span>", band.band);
        put!(page, "<div class=\"lane\" aria-hidden=\"true\">");
        marks(page, &placed, reach_deg);
        overlap(page, reach_deg);
        put!(page, "</div>");
        let words: Vec<String> = placed.iter().map(Placed::words).collect();
        let words = if words.is_empty() { "none".to_owned() } else { first_few(&words) };
        told(page, &words, placed.iter().any(|placed| placed.severity >= Severity::Warn));
    }
    axis(page, reach_deg);
    put!(page, "</div>");
}

fn marks(page: &mut String, placed: &[Placed], reach_deg: f64) {
    for placed in shown_of(placed) {
        put!(
            page,
            "<i class=\"mark {}\" style=\"left:{:.2}%;width:{:.2}%\"></i>",
            placed.severity.name(),
            100.0 * placed.from_deg / reach_deg,
            100.0 * (placed.to_deg - placed.from_deg) / reach_deg
        );
    }
}

/// Where the band comes round to its own start.
fn overlap(page: &mut String, reach_deg: f64) {
    if reach_deg > 360.0 {
        put!(page, "<b style=\"left:{:.2}%\"></b>", 100.0 * 360.0 / reach_deg);
    }
}

fn axis(page: &mut String, reach_deg: f64) {
    put!(
        page,
        "<div class=\"strip axis\" aria-hidden=\"true\"><span class=\"name\"></span><div class=\"lane\">"
    );
    let quarters = (reach_deg / 90.0) as u32;
    for angle in (0..=quarters).map(|quarter| f64::from(quarter) * 90.0) {
        put!(page, "<span style=\"left:{:.2}%\">{angle:.0}°</span>", 100.0 * angle / reach_deg);
    }
    put!(page, "</div><span class=\"told\"></span></div>");
}

fn lane(page: &mut String, block: &Block<'_>, strip: &Strip<'_>, reach_deg: f64) {
    put!(page, "<div class=\"lane\" aria-hidden=\"true\">");
    for run in &strip.runs {
        let (left, width) = (run.from_deg / reach_deg, (run.to_deg - run.from_deg) / reach_deg);
        put!(
            page,
            "<i class=\"run {}\" style=\"left:{:.2}%;width:{:.2}%\"></i>",
            run.standing.name(),
            100.0 * left,
            100.0 * width
        );
    }
    let frame = Frame {
        from: 0.0,
        to: reach_deg,
        scale: block.scale,
        left: 0.0,
        top: 0.0,
        width: 1000.0,
        height: 100.0,
    };
    let path = outline(strip.cells, 0.0, CELL_DEG, &frame, HOLE_DEG, strip.cells.len());
    put!(page, "{}", range_areas(&block.ranges, block.scale));
    put!(
        page,
        "<svg viewBox=\"0 0 1000 100\" preserveAspectRatio=\"none\"><path class=\"judged\" d=\"{path}\"/></svg>"
    );
    marks(page, &strip.placed, reach_deg);
    overlap(page, reach_deg);
    put!(page, "</div>");
}
