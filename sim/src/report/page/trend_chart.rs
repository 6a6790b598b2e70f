//! The pair of charts of one quantity, as SVG.
//!
//! Decides: scale and shape of what is drawn.
//! Assumes: a series with a baseline.
//! Never: leaves out a reading.

use super::html::{put, typeset};
use crate::input::quantity::{UnitSystem, format};
use crate::report::chart::Scale;
use crate::report::draw::Frame;
use crate::trend::{Charted, Point, Series};
use std::fmt::Write as _;

const WIDTH: f64 = 900.0;
const GUTTER: f64 = 84.0;
const READINGS_HEIGHT: f64 = 190.0;
const SUMS_HEIGHT: f64 = 110.0;
/// Room below for the numbers of the joints.
const FOOT: f64 = 20.0;

/// Readings, moving average and limits; `label` is told to those who do not see it.
pub fn readings(page: &mut String, series: &Series, system: UnitSystem, label: &str) {
    let (Some(baseline), Some(limits)) = (series.baseline, series.ewma_limits) else { return };
    let (first, last) = ends(&series.points);
    let values = series.points.iter().flat_map(|point| {
        [Some(point.value), point.charted.map(|charted| charted.ewma)].into_iter().flatten()
    });
    let Some(close) = Scale::over(values.chain(limits), 0.08) else { return };
    // A range that is far away would press the readings flat.
    let allowed: Vec<f64> = series.allowed.iter().flat_map(|range| range.ends()).collect();
    let span = close.high - close.low;
    let is_near = |end: &f64| *end > close.low - span && *end < close.high + span;
    let near = allowed.into_iter().filter(is_near).collect::<Vec<_>>();
    let scale =
        Scale::over([close.low, close.high].into_iter().chain(near.iter().copied()), 0.04).unwrap_or(close);
    let frame = frame(first, last, scale, READINGS_HEIGHT);
    open(page, READINGS_HEIGHT + FOOT, label);
    let show = |value| typeset(&format(value, series.measure.description().dimension, system));
    rule(page, &frame, baseline.mean, "middle", Some(&show(baseline.mean)));
    for limit in limits {
        rule(page, &frame, limit, "limit", Some(&show(limit)));
    }
    for end in near {
        rule(page, &frame, end, "allowed", Some(&format!("allowed {}", show(end))));
    }
    line(page, &frame, &series.points, |charted| charted.ewma);
    dots(page, &frame, series);
    joints(page, &frame, &series.points, READINGS_HEIGHT);
    put!(page, "</svg>");
}

/// The sums above and below, in standard deviations.
pub fn sums(page: &mut String, series: &Series, interval: f64, title: &str) {
    let (first, last) = ends(&series.points);
    let charted = || series.points.iter().filter_map(|point| point.charted);
    let sums = charted().flat_map(|charted| [charted.cusum_high, -charted.cusum_low]);
    let Some(scale) = Scale::over(sums.chain([interval, -interval]), 0.08) else { return };
    let frame = frame(first, last, scale, SUMS_HEIGHT);
    let most = charted().map(|charted| charted.cusum_high.max(charted.cusum_low)).fold(0.0, f64::max);
    let label = format!(
        "{title}: cumulative sums; the largest is {most:.1}, the decision interval {interval} standard deviations"
    );
    open(page, SUMS_HEIGHT + FOOT, &label);
    rule(page, &frame, 0.0, "middle", Some("0 sd"));
    for limit in [interval, -interval] {
        rule(page, &frame, limit, "limit", Some(&format!("{limit} sd")));
    }
    line(page, &frame, &series.points, |charted| charted.cusum_high);
    line(page, &frame, &series.points, |charted| -charted.cusum_low);
    joints(page, &frame, &series.points, SUMS_HEIGHT);
    put!(page, "</svg>");
}

fn ends(points: &[Point]) -> (f64, f64) {
    (-0.5, points.len() as f64 - 0.5)
}

const fn frame(from: f64, to: f64, scale: Scale, height: f64) -> Frame {
    Frame { from, to, scale, left: GUTTER, top: 4.0, width: WIDTH - GUTTER - 100.0, height: height - 8.0 }
}

fn open(page: &mut String, height: f64, label: &str) {
    put!(page, "<svg class=\"chart\" viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" aria-label=\"{label}\">");
}

fn rule(page: &mut String, frame: &Frame, value: f64, class: &str, name: Option<&str>) {
    let (y, right) = (frame.y(value), frame.left + frame.width);
    put!(page, "<line class=\"{class}\" x1=\"{}\" x2=\"{right}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>", frame.left);
    if let Some(name) = name {
        // The allowed range is written on the right, so that it does not cover the limits.
        let (x, anchor) = if class == "allowed" { (right + 4.0, "start") } else { (frame.left - 4.0, "end") };
        put!(page, "<text x=\"{x}\" y=\"{:.1}\" text-anchor=\"{anchor}\">{name}</text>", y + 4.0);
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
        let (x, y) = (frame.x(index as f64), frame.y(point.value));
        match point.charted {
            None => put!(page, "<circle class=\"base\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"2.6\"/>"),
            Some(charted) if charted.ewma_signal.or(charted.cusum_signal).is_some() => put!(
                page,
                "<rect class=\"signal\" x=\"{:.1}\" y=\"{:.1}\" width=\"7\" height=\"7\"/>",
                x - 3.5,
                y - 3.5
            ),
            Some(_) => put!(page, "<circle class=\"dot\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"2.6\"/>"),
        }
    }
}

/// Numbers of the joints below, as many as fit.
fn joints(page: &mut String, frame: &Frame, points: &[Point], height: f64) {
    let all = points.last().map_or(1, |point| point.joint + 1);
    let step = all.div_ceil(16).max(1);
    let mut before = None;
    for (index, point) in points.iter().enumerate() {
        if before != Some(point.joint) && point.joint % step == 0 {
            let words = if before.is_none() { "joint 1".to_owned() } else { (point.joint + 1).to_string() };
            let x = frame.x(index as f64);
            put!(page, "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{words}</text>", height + 13.0);
        }
        before = Some(point.joint);
    }
}
