//! The traces: every course over time, with its ranges and the alarms that belong to it.
//!
//! Decides: what is drawn before any script runs, and what the script is given to zoom with.
//! Assumes: points were kept as extremes, so that no spike is lost at any zoom.
//! Never: gives the script text that somebody else wrote.

use super::html::{put, range_areas};
use crate::input::quantity::shown;
use crate::raw::seconds;
use crate::recording::envelope::Envelope;
use crate::report::Report;
use crate::report::draw::{Frame, course, ticks};
use crate::report::model::chart::{MOST_MARKS, Panel, Scale, panels};
use crate::report::model::words::{ranges, reading, typeset};
use bandward::Outcome;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};

/// Points of an outline.
const POINTS: usize = 700;

/// The section.
pub fn section(page: &mut String, report: &Report<'_>) {
    put!(
        page,
        "<section id=\"traces\" aria-labelledby=\"traces-title\">\n<h2 id=\"traces-title\">Traces</h2>"
    );
    put!(
        page,
        "<p>The dark line is what was held against the ranges, the pale one behind it the readings themselves, \
         smallest to largest, so that no spike is lost. The grey field is the recommended range, the thin \
         lines the allowed one, the dashed line the floor. Upright lines: an alarm stood, and its name says which. \
         A bar with a letter: evidence of the likely cause of that letter. \
         Readings that leave a picture are cut at its edge until <em>whole scale</em> is chosen.</p>"
    );
    tools(page, report);
    put!(
        page,
        "<div id=\"panels\" tabindex=\"0\" role=\"group\" aria-label=\"Traces; arrow keys move, plus and minus zoom, 0 shows all\">"
    );
    band_bar(page, report);
    for panel in panels(report) {
        figure(page, report, &panel);
    }
    time_axis(page, report);
    put!(page, "</div>\n</section>");
}

fn tools(page: &mut String, report: &Report<'_>) {
    put!(page, "<div class=\"tools\" role=\"group\" aria-label=\"Zoom\" hidden>");
    for (action, sign, label) in
        [("in", "+", "Zoom in"), ("out", "−", "Zoom out"), ("back", "◀", "Earlier"), ("on", "▶", "Later")]
    {
        put!(
            page,
            "<button type=\"button\" data-action=\"{action}\" aria-label=\"{label}\" title=\"{label}\">{sign}</button>"
        );
    }
    put!(page, "<button type=\"button\" data-action=\"all\">Whole trace</button>");
    for band in report.replay.bands.iter().take(24) {
        let (from_s, to_s) = (seconds(band.start_us) - 2.0, seconds(band.end_us) + 2.0);
        put!(
            page,
            "<button type=\"button\" data-from=\"{from_s:.2}\" data-to=\"{to_s:.2}\">Band {}</button>",
            band.band
        );
    }
    put!(page, "<label><input type=\"checkbox\" id=\"whole-scale\"> Whole scale</label>\n</div>");
    let (from_s, to_s) = (report.recording.start_s, report.recording.end_s);
    put!(
        page,
        "<p class=\"view\"><output id=\"view\" aria-live=\"polite\">{from_s:.2} s to {to_s:.2} s</output> <span id=\"cursor-at\"></span></p>"
    );
}

/// A link that shows a stretch of the traces, with as much again on either side, to see where it came
/// from; `label` is already safe.
pub fn link(report: &Report<'_>, from_s: f64, to_s: f64, label: &str) -> String {
    let margin = (to_s - from_s).max(1.0);
    let (first_s, last_s) = (report.recording.start_s, report.recording.end_s);
    let (from_s, to_s) = ((from_s - margin).max(first_s), (to_s + margin).min(last_s));
    format!("<a class=\"zoom\" href=\"#t={from_s:.2}-{to_s:.2}\" aria-label=\"{label}\">show</a>")
}

/// Left edge and width of a stretch of time, in percent, for a style.
fn across(report: &Report<'_>, from_s: f64, to_s: f64) -> String {
    let (start_s, length_s) = (report.recording.start_s, length_s(report));
    let left = ((from_s - start_s) / length_s).clamp(0.0, 1.0);
    let right = ((to_s - start_s) / length_s).clamp(left, 1.0);
    format!("left:{:.3}%;width:{:.3}%", 100.0 * left, 100.0 * (right - left))
}

fn length_s(report: &Report<'_>) -> f64 {
    (report.recording.end_s - report.recording.start_s).max(1e-6)
}

fn band_bar(page: &mut String, report: &Report<'_>) {
    put!(
        page,
        "<div class=\"row bar\" aria-hidden=\"true\"><div class=\"gutter\">bands</div><div class=\"plot\">"
    );
    for band in report.replay.bands.iter().take(MOST_MARKS) {
        let (from_s, to_s) = (seconds(band.start_us), seconds(band.end_us));
        let sign = match band.outcome {
            Outcome::Broken => "✕",
            Outcome::NotProven => "!",
            Outcome::Proven => "✓",
            Outcome::NotAsked => "",
        };
        let place = across(report, from_s, to_s);
        put!(
            page,
            "<span data-from=\"{from_s}\" data-to=\"{to_s}\" style=\"{place}\">{} {sign}</span>",
            band.band
        );
    }
    put!(page, "</div></div>");
}

fn figure(page: &mut String, report: &Report<'_>, panel: &Panel<'_>) {
    let told = ranges(&panel.ranges, panel.dimension, report.system);
    put!(
        page,
        "<figure class=\"panel\" data-key=\"{}\"><figcaption><strong>{}</strong> <small>{told}</small>",
        panel.key,
        panel.title
    );
    put!(
        page,
        "<span class=\"read\"></span></figcaption>\n<div class=\"row\"><div class=\"gutter\" aria-hidden=\"true\">"
    );
    for value in labelled(panel) {
        let (number, _) = shown(value, panel.dimension, report.system);
        let top = 100.0 * (1.0 - panel.close.share(value));
        put!(page, "<span data-value=\"{value}\" style=\"top:{top:.2}%\">{}</span>", short(number));
    }
    put!(page, "</div><div class=\"plot\" role=\"img\" aria-label=\"{}\">", alternative(report, panel));
    put!(page, "{}", range_areas(&panel.ranges, panel.close));
    let recording = report.recording;
    let frame = Frame::over(recording, panel.close, [0.0, 0.0, 1000.0, 100.0]);
    let path = |envelope: Option<&Envelope>| {
        envelope.map_or(String::new(), |envelope| course(envelope, &frame, recording.gap_tolerance_s, POINTS))
    };
    put!(page, "<svg viewBox=\"0 0 1000 100\" preserveAspectRatio=\"none\" aria-hidden=\"true\">");
    put!(page, "<path class=\"reading\" d=\"{}\"/>", path(panel.reading));
    put!(page, "<path class=\"judged\" d=\"{}\"/></svg>", path(panel.judged));
    for mark in &panel.marks {
        let place = across(report, mark.from_s, mark.to_s);
        // Near the right edge there is no room for a name but on the left of the mark's end.
        let is_late = mark.from_s - report.recording.start_s > 0.7 * length_s(report);
        put!(
            page,
            "<div class=\"mark {}{}\" data-from=\"{}\" data-to=\"{}\" style=\"{place}\"><span>{}</span></div>",
            mark.severity.name(),
            if is_late { " late" } else { "" },
            mark.from_s,
            mark.to_s,
            mark.rule.name()
        );
    }
    for span in &panel.evidence_spans {
        let place = across(report, span.from_s, span.to_s);
        put!(
            page,
            "<div class=\"sight\" data-from=\"{}\" data-to=\"{}\" style=\"{place};bottom:{}px\"><b>{}</b></div>",
            span.from_s,
            span.to_s,
            span.row * 17,
            span.letter
        );
    }
    put!(page, "<i class=\"cursor\" hidden></i></div></div></figure>");
}

/// The values written beside a picture: the ends of the allowed range, else of what it shows.
fn labelled(panel: &Panel<'_>) -> Vec<f64> {
    let ranges = &panel.ranges;
    let mut values: Vec<f64> = ranges.allowed.ends().collect();
    if values.is_empty() {
        values = ranges.recommended.ends().collect();
    }
    if values.is_empty() {
        values = ticks(panel.close.low, panel.close.high, 3);
    }
    values
}

fn short(number: f64) -> String {
    let decimals = if number.abs() >= 100.0 {
        0
    } else if number.abs() >= 10.0 {
        1
    } else {
        2
    };
    let text = format!("{number:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// The picture in words.
fn alternative(report: &Report<'_>, panel: &Panel<'_>) -> String {
    let extremes = |envelope: &Envelope| {
        let ends = envelope.extremes();
        let show = |value: f32| reading(f64::from(value), panel.dimension, report.system);
        format!("from {} to {}", show(ends.low), show(ends.high))
    };
    let judged = panel.judged.map(|envelope| format!("judged values {}", extremes(envelope)));
    let readings = panel.reading.map(|envelope| format!("readings {}", extremes(envelope)));
    let mut told: Vec<String> = [judged, readings].into_iter().flatten().collect();
    for mark in &panel.marks {
        told.push(format!(
            "{} {} from {:.1} s to {:.1} s",
            mark.severity.name(),
            mark.rule.name(),
            mark.from_s,
            mark.to_s
        ));
    }
    if panel.more_marks > 0 {
        told.push(format!("and {} more alarms", panel.more_marks));
    }
    for span in &panel.evidence_spans {
        told.push(format!(
            "evidence of cause {} from {:.1} s to {:.1} s",
            span.letter, span.from_s, span.to_s
        ));
    }
    format!("{} over time: {}", panel.title, told.join("; "))
}

fn time_axis(page: &mut String, report: &Report<'_>) {
    put!(
        page,
        "<div class=\"row axis\" aria-hidden=\"true\"><div class=\"gutter\">time, s</div><div class=\"plot\" id=\"time-axis\">"
    );
    let start_s = report.recording.start_s;
    for tick in ticks(start_s, report.recording.end_s, 6) {
        put!(
            page,
            "<span style=\"left:{:.3}%\">{}</span>",
            100.0 * (tick - start_s) / length_s(report),
            (tick * 1e6).round() / 1e6
        );
    }
    put!(page, "</div></div>");
}

/// The figures behind the traces, and the script that zooms into them.
pub fn script(page: &mut String, report: &Report<'_>) {
    let recording = report.recording;
    let drawn: Vec<Value> = panels(report)
        .iter()
        .map(|panel| {
            let unit = shown(0.0, panel.dimension, report.system).1;
            let factor =
                shown(1.0, panel.dimension, report.system).0 - shown(0.0, panel.dimension, report.system).0;
            let offset = shown(0.0, panel.dimension, report.system).0;
            json!({
                "key": panel.key, "unit": typeset(unit), "factor": factor, "offset": offset,
                "close": ends(panel.close), "whole": ends(panel.whole),
                "reading": panel.reading.map(packed), "judged": panel.judged.map(packed),
            })
        })
        .collect();
    let bands: Vec<Value> = report
        .replay
        .bands
        .iter()
        .take(MOST_MARKS)
        .map(|band| json!([band.band, seconds(band.start_us), seconds(band.end_us)]))
        .collect();
    let data = json!({
        "from": recording.start_s, "to": recording.start_s + length_s(report),
        "hole": recording.gap_tolerance_s, "points": POINTS,
        "bands": bands, "turned": packed(&recording.turned), "panels": drawn,
    });
    put!(page, "<script type=\"application/json\" id=\"data\">{data}</script>");
    put!(page, "<script>\n{}</script>", include_str!("script.js"));
}

fn ends(scale: Scale) -> [f64; 2] {
    [scale.low, scale.high]
}

/// What stands where there is no value.
const ABSENT: u16 = u16::MAX;
/// Steps between the smallest and the largest value of a course.
const STEPS: f64 = 65_534.0;

/// A course as pairs of 16-bit steps, smallest rounded down and largest rounded up, little end first.
fn packed(envelope: &Envelope) -> Value {
    let extremes = envelope.extremes();
    let (low, high) = (f64::from(extremes.low), f64::from(extremes.high));
    let step = if high > low { (high - low) / STEPS } else { 1.0 };
    let mut bytes = Vec::with_capacity(envelope.stretches().len() * 4);
    for stretch in envelope.stretches() {
        let (least, most) = if stretch.is_empty() {
            (ABSENT, ABSENT)
        } else {
            let steps = |value: f32| (f64::from(value) - low) / step;
            (steps(stretch.low).floor() as u16, steps(stretch.high).ceil().min(STEPS) as u16)
        };
        bytes.extend_from_slice(&least.to_le_bytes());
        bytes.extend_from_slice(&most.to_le_bytes());
    }
    let low = if low.is_finite() { low } else { 0.0 };
    json!({
        "start": envelope.start_s(), "width": envelope.width_s(), "low": low, "step": step,
        "data": STANDARD.encode(bytes),
    })
}
