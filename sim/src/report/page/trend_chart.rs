//! The pair of charts of one quantity, as SVG.
//!
//! Decides: scale and shape of what is drawn.
//! Assumes: a series with a baseline.
//! Never: leaves out a reading.

use super::html::put;
use crate::input::quantity::{Dimension, UnitSystem, format, in_decimals};
use crate::report::draw::Frame;
use crate::report::model::chart::Scale;
use crate::report::model::words::typeset;
use crate::trend::{Charted, Point, Series};
use std::fmt::Write as _;

/// Sizes in units of the picture, about 0.55 of a point of a phone's screen and 0.9 of a desk's.
const WIDTH: f64 = 640.0;
/// Room on the left for values such as `3.063 kJ/mm`, in the letters of a phone.
const GUTTER: f64 = 122.0;
const MARGIN: f64 = 14.0;
const READINGS_HEIGHT: f64 = 210.0;
const SUMS_HEIGHT: f64 = 120.0;
/// Room below for the numbers of the joints.
const FOOT: f64 = 22.0;
/// Words do not come closer to each other than this, one above the other.
const LINE: f64 = 17.0;
/// Numbers of joints that fit side by side.
const NUMBERS: usize = 8;

/// Readings, moving average and limits; `label` is told to those who do not see it.
pub fn readings(page: &mut String, series: &Series, system: UnitSystem, label: &str) {
    let (Some(baseline), Some(limits)) = (series.baseline, series.ewma_limits) else { return };
    let values = series.points.iter().flat_map(|point| {
        [Some(point.adjusted), point.charted.map(|charted| charted.ewma)].into_iter().flatten()
    });
    let close = scale(values.chain(limits));
    // A range that is far away would press the readings flat.
    let span = close.high - close.low;
    let is_near = |end: &f64| *end > close.low - span && *end < close.high + span;
    let near: Vec<f64> = series.allowed.iter().flat_map(|range| range.ends()).filter(is_near).collect();
    let scale = scale([close.low, close.high].into_iter().chain(near.iter().copied()));
    let frame = frame(&series.points, scale, READINGS_HEIGHT);
    open(page, READINGS_HEIGHT + FOOT, label);
    let dimension = series.measure.description().dimension;
    let shown: Vec<f64> =
        [limits[0], baseline.mean, limits[1]].into_iter().chain(near.iter().copied()).collect();
    let show = |value| typeset(&among(value, &shown, dimension, system));
    rules(page, &frame, [limits[0], baseline.mean, limits[1]], show);
    for end in near {
        let (y, right) = (frame.y(end), frame.left + frame.width);
        put!(page, "<line class=\"allowed\" x1=\"{GUTTER}\" x2=\"{right}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>");
        let (x, above) = (right - 4.0, y - 5.0);
        put!(page, "<text x=\"{x}\" y=\"{above:.1}\" text-anchor=\"end\">allowed {}</text>", show(end));
    }
    events(page, &frame, &series.points);
    line(page, &frame, &series.points, |charted| charted.ewma);
    dots(page, &frame, series);
    joints(page, &frame, &series.points);
    put!(page, "</svg>");
}

/// The sums above and below, in standard deviations.
pub fn sums(page: &mut String, series: &Series, interval: f64, title: &str) {
    let charted = || series.points.iter().filter_map(|point| point.charted);
    let sums = charted().flat_map(|charted| [charted.cusum_high, -charted.cusum_low]);
    let frame = frame(&series.points, scale(sums.chain([interval, -interval])), SUMS_HEIGHT);
    let most = charted().map(|charted| charted.cusum_high.max(charted.cusum_low)).fold(0.0, f64::max);
    let label = format!(
        "{title}: cumulative sums; the largest is {most:.1}, the decision interval {interval} standard deviations"
    );
    open(page, SUMS_HEIGHT + FOOT, &label);
    rules(page, &frame, [-interval, 0.0, interval], |value| format!("{value} sd"));
    line(page, &frame, &series.points, |charted| charted.cusum_high);
    line(page, &frame, &series.points, |charted| -charted.cusum_low);
    joints(page, &frame, &series.points);
    put!(page, "</svg>");
}

/// A value of an axis: where two of them would read alike, as fractions of an inch do, or some of them would be
/// fractions and others not, with as many more digits as tell them apart; inches in thousandths.
fn among(value: f64, shown: &[f64], dimension: Dimension, system: UnitSystem) -> String {
    let words: Vec<String> = shown.iter().map(|&one| format(one, dimension, system)).collect();
    let is_alike = |at: usize, other: &f64| {
        shown
            .iter()
            .zip(&words)
            .take(at)
            .any(|(one, word)| word == &words[at] && one.total_cmp(other).is_ne())
    };
    let has = |sign| words.iter().any(|word| word.contains(sign));
    let is_mixed = dimension == Dimension::Length && has('/') && has('.');
    if !is_mixed && !shown.iter().enumerate().any(|(at, other)| is_alike(at, other)) {
        return format(value, dimension, system);
    }
    in_decimals(value, shown, dimension, system)
}

/// Events, as lines at the first joint after them.
fn events(page: &mut String, frame: &Frame, points: &[Point]) {
    for (index, _) in points.iter().enumerate().filter(|(_, point)| point.restart.is_some()) {
        let (x, end) = (frame.x(index as f64 - 0.5), frame.top + frame.height);
        put!(page, "<line class=\"event\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{}\" y2=\"{end}\"/>", frame.top);
    }
}

/// Over values of which some differ.
fn scale(values: impl Iterator<Item = f64>) -> Scale {
    let (low, high) = values
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    let margin = 0.06 * (high - low);
    Scale { low: low - margin, high: high + margin }
}

const fn frame(points: &[Point], scale: Scale, height: f64) -> Frame {
    let (width, height) = (WIDTH - GUTTER - MARGIN, height - 2.0 * MARGIN);
    Frame { from: -0.5, to: points.len() as f64 - 0.5, scale, left: GUTTER, top: MARGIN, width, height }
}

fn open(page: &mut String, height: f64, label: &str) {
    put!(page, "<svg class=\"chart\" viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" aria-label=\"{label}\">");
}

/// Lower limit, middle and upper limit, with what they are on the left.
fn rules(page: &mut String, frame: &Frame, values: [f64; 3], show: impl Fn(f64) -> String) {
    let [low, middle, high] = values.map(|value| frame.y(value));
    let right = frame.left + frame.width;
    // Words beside lines that lie close together move apart.
    let words_at = [low.max(middle + LINE), middle, high.min(middle - LINE)];
    for (((value, y), words_y), class) in
        values.into_iter().zip([low, middle, high]).zip(words_at).zip(["limit", "middle", "limit"])
    {
        put!(page, "<line class=\"{class}\" x1=\"{GUTTER}\" x2=\"{right}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>");
        let (x, y) = (GUTTER - 6.0, words_y + 5.0);
        put!(page, "<text x=\"{x}\" y=\"{y:.1}\" text-anchor=\"end\">{}</text>", show(value));
    }
}

fn line(page: &mut String, frame: &Frame, points: &[Point], read: impl Fn(&Charted) -> f64) {
    let mut path = String::new();
    for (index, point) in points.iter().enumerate() {
        if let Some(charted) = &point.charted {
            let letter = if path.is_empty() { 'M' } else { 'L' };
            // Writing to a string cannot fail.
            let _ = write!(path, "{letter}{:.1} {:.1}", frame.x(index as f64), frame.y(read(charted)));
        }
    }
    put!(page, "<path class=\"course\" d=\"{path}\"/>");
}

fn dots(page: &mut String, frame: &Frame, series: &Series) {
    for (index, point) in series.points.iter().enumerate() {
        let (x, y) = (frame.x(index as f64), frame.y(point.adjusted));
        let signals = point.charted.map(|charted| {
            u8::from(charted.ewma_signal.is_some()) + u8::from(charted.cusum_signal.is_some())
        });
        let is_aside = point.is_set_aside || point.charted.is_some_and(|charted| charted.is_set_aside);
        let class = match signals {
            _ if is_aside || (point.is_flagged && signals.is_none()) => "aside",
            None => "base",
            Some(0) => "dot",
            Some(1) => "one",
            Some(_) => "both",
        };
        if matches!(class, "base" | "dot" | "aside") {
            put!(page, "<circle class=\"{class}\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.4\"/>");
        } else {
            let (x, y) = (x - 4.5, y - 4.5);
            put!(page, "<rect class=\"{class}\" x=\"{x:.1}\" y=\"{y:.1}\" width=\"9\" height=\"9\"/>");
        }
    }
}

/// Numbers of the joints below, as many as fit.
fn joints(page: &mut String, frame: &Frame, points: &[Point]) {
    let step = points.len().div_ceil(NUMBERS).max(1);
    let y = frame.top + frame.height + MARGIN + LINE;
    for (index, point) in points.iter().enumerate().step_by(step) {
        let x = frame.x(index as f64);
        let joint = if index == 0 { "joint " } else { "" };
        put!(
            page,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"middle\">{joint}{}</text>",
            point.joint + 1
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_axis_in_inches_is_all_fractions_or_all_thousandths() {
        let inches = |shown: &[f64]| -> Vec<String> {
            let show = |one: &f64| among(*one, shown, Dimension::Length, UnitSystem::Inch);
            shown.iter().map(show).collect()
        };
        // 29/32 in is 23.01875 mm; 1/16 in is 1.5875 mm, exactly.
        assert_eq!(inches(&[22.90, 23.018_75, 23.10]), ["0.902 in", "0.906 in", "0.909 in"]);
        assert_eq!(inches(&[1.5875, 3.175]), ["1/16 in", "1/8 in"]);
    }
}
