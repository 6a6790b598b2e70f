//! Axes and courses of the plots.
//!
//! Decides: where numbers and titles stand beside a frame.
//! Assumes: a frame whose scale begins at zero.
//! Never: rounds a number that it writes.

use super::super::{escape, put};
use super::{FAINT, LIMIT};
use crate::report::draw::{Frame, ticks};
use crate::report::model::chart::Scale;

/// From zero to a little over the largest value.
pub(super) fn up_to(values: impl Iterator<Item = f64>, least: f64) -> Scale {
    Scale { low: 0.0, high: 1.08 * values.fold(least, f64::max) }
}

/// The frame with numbers on the left, and below where `below` names what they are.
pub(super) fn axes(body: &mut String, frame: &Frame, below: Option<&str>, above: &str) {
    let Frame { left, top, width, height, .. } = *frame;
    let bottom = top + height;
    // A number a finger's breadth apart.
    for value in ticks(frame.scale.low, frame.scale.high, (height / 40.0) as usize) {
        let y = frame.y(value);
        put!(body, "<path d=\"M{left:.1} {y:.1}h{width:.1}\" stroke=\"#e3e1da\"/>");
        text(body, (left - 8.0, y + 5.0), "end", FAINT, &number(value));
    }
    for place in ticks(frame.from, frame.to, 6) {
        let x = frame.x(place);
        put!(body, "<path d=\"M{x:.1} {bottom:.1}v6\" stroke=\"{FAINT}\"/>");
        if below.is_some() {
            text(body, (x, bottom + 22.0), "middle", FAINT, &number(place));
        }
    }
    put!(
        body,
        "<rect x=\"{left:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"{height:.1}\" fill=\"none\" stroke=\"#b5b2a8\"/>"
    );
    if let Some(below) = below {
        text(body, (left + width / 2.0, bottom + 44.0), "middle", super::INK, below);
    }
    text(body, (left, top - 10.0), "start", super::INK, above);
}

/// Words at a place.
pub(super) fn text(body: &mut String, (x, y): (f64, f64), anchor: &str, colour: &str, words: &str) {
    put!(
        body,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" fill=\"{colour}\">{}</text>",
        escape(words)
    );
}

/// With no more digits than it has.
pub(super) fn number(value: f64) -> String {
    format!("{}", (value * 1e6).round() / 1e6)
}

/// The line of the false alarms that can be lived with; its name stands over what was drawn before.
pub(super) fn budget(body: &mut String, frame: &Frame, per_hour: f64) {
    if per_hour > frame.scale.high {
        return;
    }
    let (y, left, width) = (frame.y(per_hour), frame.left, frame.width);
    put!(body, "<path d=\"M{left:.1} {y:.1}h{width:.1}\" stroke=\"{LIMIT}\" stroke-dasharray=\"8 5\"/>");
    put!(
        body,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\" fill=\"{LIMIT}\" stroke=\"#ffffff\" stroke-width=\"5\" \
         paint-order=\"stroke\">budget</text>",
        left + width - 6.0,
        y - 6.0
    );
}

/// A course through points on the paper.
pub(super) fn path(body: &mut String, points: &[(f64, f64)], colour: &str, dashes: &str) {
    if points.len() < 2 {
        return;
    }
    let steps: Vec<_> = points.iter().map(|(x, y)| format!("{x:.1} {y:.1}")).collect();
    put!(
        body,
        "<path d=\"M{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\" stroke-dasharray=\"{dashes}\"/>",
        steps.join("L")
    );
}
