//! What every part of the picture is drawn with.
//!
//! Decides: the fillings, the edges, and how a text is made safe.
//! Never: says by colour alone what a shape does not say.

use crate::report::draw::Frame;
use crate::report::model::chart::{Ranges, Scale};

/// Writing to a string cannot fail.
macro_rules! put {
    ($sheet:expr, $($arguments:tt)*) => {{ use std::fmt::Write as _; let _ = writeln!($sheet, $($arguments)*); }};
}

pub(super) use put;

pub(super) const LEFT: f64 = 130.0;
pub(super) const RIGHT: f64 = 1130.0;

/// The fillings, by name.
pub(super) const PATTERNS: &str = "<defs>\
<pattern id=\"low\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\"><rect width=\"8\" height=\"8\" fill=\"#a9d3ee\"/>\
<path d=\"M-2 2L2 -2M0 8L8 0M6 10L10 6\" stroke=\"#0072b2\" stroke-width=\"3\"/></pattern>\
<pattern id=\"high\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\"><rect width=\"8\" height=\"8\" fill=\"#f6c99f\"/>\
<path d=\"M-2 6L2 10M0 0L8 8M6 -2L10 2\" stroke=\"#c04e00\" stroke-width=\"3\"/></pattern>\
<pattern id=\"floor\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><rect width=\"6\" height=\"6\" fill=\"#a9d3ee\"/>\
<rect width=\"6\" height=\"4\" fill=\"#0072b2\"/></pattern>\
<pattern id=\"mark\" width=\"6\" height=\"8\" patternUnits=\"userSpaceOnUse\">\
<path d=\"M2.5 0V8\" stroke=\"#84356a\" stroke-width=\"1\"/></pattern></defs>\n";

pub(super) fn escape(text: &str) -> String {
    // Control characters are not allowed in XML at all.
    let clean: String = text.chars().filter(|character| !character.is_control()).collect();
    crate::report::page::escape(&clean)
}

pub(super) fn title(sheet: &mut String, words: &str, told: &str, top: f64) {
    put!(
        sheet,
        "<text x=\"{LEFT}\" y=\"{:.1}\"><tspan font-weight=\"bold\">{words}</tspan> \
         <tspan font-size=\"13\" fill=\"#5b6474\" dx=\"6\">{told}</tspan></text>",
        top + 20.0
    );
}

pub(super) fn border(sheet: &mut String, frame: &Frame) {
    put!(
        sheet,
        "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"none\" stroke=\"#b5b2a8\"/>",
        frame.left,
        frame.top,
        frame.width,
        frame.height
    );
}

/// The ranges behind a course.
pub(super) fn areas(sheet: &mut String, ranges: &Ranges, frame: &Frame) {
    let Scale { low, high } = frame.scale;
    let (left, width) = (frame.left, frame.width);
    if ranges.recommended.ends().next().is_some() {
        let top = frame.y(ranges.recommended.high.unwrap_or(high));
        let bottom = frame.y(ranges.recommended.low.unwrap_or(low));
        put!(
            sheet,
            "<rect x=\"{left:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"{:.1}\" fill=\"#8a93a3\" fill-opacity=\"0.18\"/>",
            bottom - top
        );
    }
    for end in ranges.allowed.ends() {
        put!(sheet, "<path d=\"M{left:.1} {:.1}h{width:.1}\" stroke=\"#6b7484\"/>", frame.y(end));
    }
    if let Some(floor) = ranges.floor {
        put!(
            sheet,
            "<path d=\"M{left:.1} {:.1}h{width:.1}\" stroke=\"#0072b2\" stroke-width=\"2\" stroke-dasharray=\"8 5\"/>",
            frame.y(floor)
        );
    }
}

/// What an alarm is filled with; what is hatched already is only framed.
pub(super) const HATCHED: &str = "url(#mark)";
pub(super) const FRAMED: &str = "none";

/// An alarm, across a picture.
pub(super) fn mark(sheet: &mut String, frame: &Frame, from: f64, to: f64, fill: &str) {
    let (x, end) = (frame.x(from), frame.x(to));
    put!(
        sheet,
        "<rect x=\"{x:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{fill}\" stroke=\"#84356a\" stroke-width=\"1.5\"/>",
        frame.top,
        (end - x).max(2.0),
        frame.height
    );
}
