//! The traces, on the sheet.
//!
//! Decides: which are drawn: those with a range or an alarm.
//! Assumes: the patterns of the sheet.
//! Never: leaves a spike out.

use super::{HATCHED, LEFT, RIGHT, areas, border, put, title};
use crate::raw::seconds;
use crate::report::Report;
use crate::report::draw::{Frame, course, ticks};
use crate::report::model::chart::{EvidenceSpan, Panel, Scale, panels};
use crate::report::model::words::{ranges as ranges_in_words, reading as units};

const PANEL: f64 = 120.0;
/// Points of an outline: one a dot.
const POINTS: usize = (RIGHT - LEFT) as usize;

/// Draws them below `top`; returns where they end.
pub fn draw(sheet: &mut String, report: &Report<'_>, top: f64) -> f64 {
    let mut y = band_bar(sheet, report, top);
    for panel in panels(report).iter().filter(|panel| !panel.ranges.is_empty() || !panel.marks.is_empty()) {
        y = trace(sheet, report, panel, y);
    }
    y
}

/// Which band burned when.
fn band_bar(sheet: &mut String, report: &Report<'_>, top: f64) -> f64 {
    const HEIGHT: f64 = 22.0;
    let frame =
        Frame::over(report.recording, Scale { low: 0.0, high: 1.0 }, [LEFT, top, RIGHT - LEFT, HEIGHT]);
    for band in &report.replay.bands {
        let (x, end) = (frame.x(seconds(band.start_us)), frame.x(seconds(band.end_us)));
        let baseline = top + HEIGHT - 6.0;
        put!(
            sheet,
            "<rect x=\"{x:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{HEIGHT}\" fill=\"#e6e8ec\" stroke=\"#6b7484\"/>\
             <text x=\"{:.1}\" y=\"{baseline:.1}\" font-size=\"13\" text-anchor=\"middle\">{}</text>",
            end - x,
            0.5 * (x + end),
            band.band
        );
    }
    put!(
        sheet,
        "<text x=\"{:.0}\" y=\"{:.1}\" text-anchor=\"end\">bands</text>",
        LEFT - 8.0,
        top + HEIGHT - 6.0
    );
    top + HEIGHT + 6.0
}

fn trace(sheet: &mut String, report: &Report<'_>, panel: &Panel<'_>, top: f64) -> f64 {
    let recording = report.recording;
    title(sheet, panel.title, &ranges_in_words(&panel.ranges, panel.dimension, report.system), top);
    let frame = Frame::over(recording, panel.close, [LEFT, top + 28.0, RIGHT - LEFT, PANEL]);
    areas(sheet, &panel.ranges, &frame);
    for (envelope, colour, width) in [(panel.reading, "#9fb0c9", 1.0), (panel.judged, "#1c2330", 1.5)] {
        let Some(envelope) = envelope else { continue };
        let path = course(envelope, &frame, recording.gap_tolerance_s, POINTS);
        put!(sheet, "<path d=\"{path}\" fill=\"{colour}\" stroke=\"{colour}\" stroke-width=\"{width}\"/>");
    }
    let mut told = Vec::new();
    for mark in &panel.marks {
        super::mark(sheet, &frame, mark.from_s, mark.to_s, HATCHED);
        told.push(format!(
            "{} {} {:.1}–{:.1} s",
            mark.severity.name(),
            mark.rule.name(),
            mark.from_s,
            mark.to_s
        ));
    }
    for evidence_span in &panel.evidence_spans {
        sighted(sheet, &frame, evidence_span);
    }
    border(sheet, &frame);
    beside(sheet, &told, &frame);
    for end in panel.ranges.allowed.ends() {
        let label = units(end, panel.dimension, report.system);
        put!(
            sheet,
            "<text x=\"{:.0}\" y=\"{:.1}\" font-size=\"13\" fill=\"#5b6474\" text-anchor=\"end\">{label}</text>",
            LEFT - 8.0,
            frame.y(end) + 5.0
        );
    }
    time_axis(sheet, &frame);
    frame.top + PANEL + 26.0
}

/// The alarms of a panel, in words at its side.
fn beside(sheet: &mut String, told: &[String], frame: &Frame) {
    const LINES: usize = 6;
    for (index, words) in told.iter().take(LINES).enumerate() {
        let y = frame.top + 14.0 + 19.0 * index as f64;
        put!(
            sheet,
            "<text x=\"{:.0}\" y=\"{y:.1}\" font-size=\"13\" font-weight=\"bold\">{words}</text>",
            RIGHT + 12.0
        );
    }
    if told.len() > LINES {
        let y = frame.top + 14.0 + 19.0 * LINES as f64;
        put!(
            sheet,
            "<text x=\"{:.0}\" y=\"{y:.1}\" font-size=\"13\">and {} more</text>",
            RIGHT + 12.0,
            told.len() - LINES
        );
    }
}

/// A bar with the letter of a likely cause where its evidence is.
fn sighted(sheet: &mut String, frame: &Frame, evidence_span: &EvidenceSpan) {
    let (x, end) = (frame.x(evidence_span.from_s), frame.x(evidence_span.to_s));
    let bottom = frame.top + PANEL - 16.0 * evidence_span.row as f64;
    put!(
        sheet,
        "<rect x=\"{x:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"4\" fill=\"#1c2330\"/>\
         <rect x=\"{x:.1}\" y=\"{:.1}\" width=\"16\" height=\"16\" fill=\"#1c2330\"/>\
         <text x=\"{:.1}\" y=\"{:.1}\" font-size=\"13\" font-weight=\"bold\" fill=\"#ffffff\" text-anchor=\"middle\">{}</text>",
        bottom - 4.0,
        (end - x).max(4.0),
        bottom - 16.0,
        x + 8.0,
        bottom - 3.0,
        evidence_span.letter
    );
}

fn time_axis(sheet: &mut String, frame: &Frame) {
    for tick in ticks(frame.from, frame.to, 8) {
        put!(
            sheet,
            "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"12\" fill=\"#5b6474\" text-anchor=\"middle\">{} s</text>",
            frame.x(tick),
            frame.top + frame.height + 15.0,
            (tick * 1e6).round() / 1e6
        );
    }
}
