//! Courses as outlines in the notation of SVG paths.
//!
//! Decides: how many points an outline has.
//! Assumes: a frame whose end is after its beginning.
//! Never: leaves an extreme out: points that share a place on the paper become the span they cover.

use super::model::chart::Scale;
use crate::recording::Recording;
use crate::recording::envelope::{Envelope, Extremes};
use std::fmt::Write as _;

/// Where an outline is drawn.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    /// At the left edge (s, or degrees).
    pub from: f64,
    /// At the right edge.
    pub to: f64,
    /// At the lower and the upper edge.
    pub scale: Scale,
    /// Left edge on the paper.
    pub left: f64,
    /// Upper edge on the paper.
    pub top: f64,
    /// Width on the paper.
    pub width: f64,
    /// Height on the paper.
    pub height: f64,
}

impl Frame {
    /// Over all the time of a recording, on a stretch of paper: left, top, width, height.
    pub fn over(recording: &Recording, scale: Scale, [left, top, width, height]: [f64; 4]) -> Self {
        let from = recording.start_s;
        Self { from, to: recording.end_s.max(from + 1e-6), scale, left, top, width, height }
    }
    /// Where a time (or an angle) lies on the paper.
    pub fn x(&self, place: f64) -> f64 {
        self.left + (place - self.from) / (self.to - self.from) * self.width
    }
    /// Where a value lies on the paper.
    pub fn y(&self, value: f64) -> f64 {
        self.top + (1.0 - self.scale.share(value)) * self.height
    }
}

/// The outline of a course over time, open across holes longer than `hole_s`.
pub fn course(envelope: &Envelope, frame: &Frame, hole_s: f64, most_points: usize) -> String {
    let stretches = envelope.stretches();
    outline(stretches, envelope.start_s(), envelope.width_s(), frame, hole_s, most_points)
}

/// The outline of even stretches, each `width` long, the first beginning at `start`.
pub fn outline(
    stretches: &[Extremes],
    start: f64,
    width: f64,
    frame: &Frame,
    hole: f64,
    most_points: usize,
) -> String {
    let group = stretches.len().div_ceil(most_points.max(1)).max(1);
    let group_width = width * group as f64;
    let mut path = String::new();
    let mut open: Vec<(f64, Extremes)> = Vec::new();
    let mut last = f64::NEG_INFINITY;
    for (index, stretch) in stretches.chunks(group).enumerate() {
        let extremes = stretch.iter().copied().fold(Extremes::NONE, Extremes::union);
        if extremes.is_empty() {
            continue;
        }
        let place = start + (index as f64 + 0.5) * group_width;
        if place - last > hole + 1.5 * group_width {
            close(&mut path, &open, frame);
            open.clear();
        }
        last = place;
        open.push((place, extremes));
    }
    close(&mut path, &open, frame);
    path
}

/// Along the largest values and back along the smallest.
fn close(path: &mut String, points: &[(f64, Extremes)], frame: &Frame) {
    let there = points.iter().map(|(place, extremes)| (*place, extremes.high));
    let back = points.iter().rev().map(|(place, extremes)| (*place, extremes.low));
    for (index, (place, value)) in there.chain(back).enumerate() {
        let letter = if index == 0 { 'M' } else { 'L' };
        // Writing to a string cannot fail.
        let _ = write!(path, "{letter}{:.1} {:.1}", frame.x(place), frame.y(f64::from(value)));
    }
    if !points.is_empty() {
        path.push('Z');
    }
}

/// Round numbers between two ends, some `wanted` of them.
pub fn ticks(from: f64, to: f64, wanted: usize) -> Vec<f64> {
    let rough = (to - from) / wanted.max(1) as f64;
    if !rough.is_finite() || rough <= 0.0 {
        return Vec::new();
    }
    let power = 10.0_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|digit| digit * power).find(|&step| step >= rough);
    let step = step.unwrap_or(10.0 * power);
    let first = (from / step).ceil() as i64;
    let last = (to / step).floor() as i64;
    (first..=last).map(|count| count as f64 * step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Frame = Frame {
        from: 0.0,
        to: 10.0,
        scale: Scale { low: 0.0, high: 100.0 },
        left: 0.0,
        top: 0.0,
        width: 1000.0,
        height: 100.0,
    };

    #[test]
    fn a_spike_of_one_sample_in_a_million_reaches_the_paper() {
        let mut envelope = Envelope::new(0, 10, 8192);
        for sample in 0..1_000_000_u64 {
            envelope.push(sample * 10, if sample == 765_432 { 90.0 } else { 50.0 });
        }
        let path = course(&envelope, &FRAME, 1.0, 600);
        let peaks: Vec<&str> = path.split(['M', 'L', 'Z']).filter(|point| point.ends_with(" 10.0")).collect();
        assert_eq!(peaks.len(), 1, "{peaks:?}");
        let x: f64 = peaks[0].split(' ').next().and_then(|x| x.parse().ok()).expect("a number");
        assert!((x - 765.4).abs() < 2.0, "{x}");
    }

    #[test]
    fn a_hole_is_left_open_and_a_missing_row_is_not() {
        let mut envelope = Envelope::new(0, 100_000, 1024);
        for tenth in (0..100).filter(|tenth| *tenth != 20 && !(40..70).contains(tenth)) {
            envelope.push(tenth * 100_000, 50.0);
        }
        assert_eq!(course(&envelope, &FRAME, 1.0, 600).matches('M').count(), 2);
    }

    #[test]
    fn ticks_are_round() {
        assert_eq!(ticks(0.0, 300.0, 6), [0.0, 50.0, 100.0, 150.0, 200.0, 250.0, 300.0]);
        assert_eq!(ticks(12.3, 12.9, 3), [12.4, 12.600_000_000_000_001, 12.8]);
        assert!(ticks(1.0, 1.0, 5).is_empty());
    }
}
