//! The temperature of a joint over time, as characters and as a picture.
//!
//! Decides: scales, and what is drawn: the place of the next band, the bore, and the limits of both.
//! Assumes: moments in order of time.
//! Never: draws what was not worked out.

use super::heat_words::{MELTS, clock, degrees};
use super::style::line;
use crate::heat::sequence::{Moment, Sequence};
use crate::input::quantity::UnitSystem;
use crate::plan::heat::HeatPlan;
use anyhow::{Context as _, bail};
use std::fmt::Write as _;

/// Columns and lines of the drawing in characters.
const ACROSS: usize = 60;
const DOWN: usize = 12;
/// The picture, px: all of it, and where its axes lie.
const SIZE: (f64, f64) = (840.0, 420.0);
const LEFT_TOP: (f64, f64) = (80.0, 40.0);
const RIGHT_BOTTOM: (f64, f64) = (820.0, 370.0);

/// Time and temperature that the drawing covers.
struct Frame {
    end_s: f64,
    low_c: f64,
    high_c: f64,
}

impl Frame {
    fn of(heat: &HeatPlan, sequence: &Sequence) -> Self {
        let all = sequence.moments.iter().flat_map(|moment| [moment.strip_c, moment.bore_c]);
        let all = all.chain([heat.start_c.value, heat.coating_limit_c.value]);
        let all = all.chain(heat.between.and_then(|range| range.high));
        let (low, high) =
            all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| (one.min(low), one.max(high)));
        let even = |value: f64| 50.0 * value;
        Self {
            end_s: sequence.duration_s.max(1.0),
            low_c: even((low / 50.0).floor()),
            high_c: even((high / 50.0).floor() + 1.0),
        }
    }
    /// How far across and how far up, 0 to 1.
    fn across(&self, time_s: f64) -> f64 {
        (time_s / self.end_s).clamp(0.0, 1.0)
    }
    fn up(&self, value_c: f64) -> f64 {
        ((value_c - self.low_c) / (self.high_c - self.low_c)).clamp(0.0, 1.0)
    }
}

/// The drawing in characters; empty where nothing was worked out.
pub fn text(heat: &HeatPlan, system: UnitSystem) -> String {
    let Some(sequence) = &heat.sequence else { return String::new() };
    let frame = Frame::of(heat, sequence);
    let mut grid = vec![[' '; ACROSS]; DOWN];
    let row = |value_c: f64| ((1.0 - frame.up(value_c)) * (DOWN - 1) as f64).round() as usize;
    if let Some(most_c) = heat.between.and_then(|range| range.high) {
        grid[row(most_c)].fill('-');
    }
    grid[row(heat.coating_limit_c.value)].fill('.');
    let mut arc = [' '; ACROSS];
    for moment in &sequence.moments {
        let column = (frame.across(moment.time_s) * (ACROSS - 1) as f64).round() as usize;
        grid[row(moment.bore_c)][column] = 'o';
        grid[row(moment.strip_c)][column] = '*';
        if moment.is_arc_on {
            arc[column] = '=';
        }
    }
    let mut text = String::new();
    for (index, characters) in grid.iter().enumerate() {
        let at_c = frame.high_c - (frame.high_c - frame.low_c) * index as f64 / (DOWN - 1) as f64;
        let label = if index % 3 == 0 || index == DOWN - 1 { degrees(at_c, system) } else { String::new() };
        let drawn: String = characters.iter().collect();
        line!(&mut text, "{}", format!("  {label:>9} |{drawn}").trim_end());
    }
    let arc: String = arc.iter().collect();
    line!(&mut text, "{}", format!("  {:>9} |{arc}", "arc").trim_end());
    line!(&mut text, "  {:>9} 0:00{:>width$}", "", clock(frame.end_s), width = ACROSS - 3);
    line!(&mut text, "  * place of the next band   o bore   = arc   - most between bands   . coating");
    text
}

/// The picture, as SVG.
///
/// # Errors
/// Something is missing to work it out, or the wall would melt.
pub fn svg(heat: &HeatPlan, system: UnitSystem) -> anyhow::Result<String> {
    if let Some(band) = heat.melts_at_band {
        bail!("no picture of the heat: at band {band} {MELTS}");
    }
    let sequence = heat.sequence.as_ref();
    let sequence =
        sequence.with_context(|| format!("no picture of the heat; missing: {}", heat.missing.join("; ")))?;
    let frame = Frame::of(heat, sequence);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" font-family=\"sans-serif\" \
         font-size=\"13\" role=\"img\" aria-label=\"Temperature of the joint over time\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n",
        SIZE.0, SIZE.1
    );
    axes(&mut svg, &frame, system);
    arcs(&mut svg, &frame, sequence);
    if let Some(most_c) = heat.between.and_then(|range| range.high) {
        limit(&mut svg, &frame, most_c, "most between bands");
    }
    limit(&mut svg, &frame, heat.coating_limit_c.value, "coating of the bore");
    course(&mut svg, &frame, sequence, "#0b5fa5", |moment| moment.strip_c);
    course(&mut svg, &frame, sequence, "#b0410e", |moment| moment.bore_c);
    let _ = writeln!(
        svg,
        "<text x=\"{}\" y=\"22\" fill=\"#0b5fa5\">place of the next band</text>\
         <text x=\"{}\" y=\"22\" fill=\"#b0410e\">hottest ring of the bore</text>\
         <text x=\"{}\" y=\"22\" fill=\"#555555\">grey: arc on</text>\n</svg>",
        LEFT_TOP.0,
        LEFT_TOP.0 + 200.0,
        LEFT_TOP.0 + 400.0
    );
    Ok(svg)
}

fn x(frame: &Frame, time_s: f64) -> f64 {
    LEFT_TOP.0 + frame.across(time_s) * (RIGHT_BOTTOM.0 - LEFT_TOP.0)
}

fn y(frame: &Frame, value_c: f64) -> f64 {
    RIGHT_BOTTOM.1 - frame.up(value_c) * (RIGHT_BOTTOM.1 - LEFT_TOP.1)
}

fn axes(svg: &mut String, frame: &Frame, system: UnitSystem) {
    for part in 0..=5 {
        let share = f64::from(part) / 5.0;
        let at_c = frame.low_c + share * (frame.high_c - frame.low_c);
        let (at_y, at_x) = (y(frame, at_c), x(frame, share * frame.end_s));
        let _ = writeln!(
            svg,
            "<line x1=\"{}\" x2=\"{}\" y1=\"{at_y:.1}\" y2=\"{at_y:.1}\" stroke=\"#dddddd\"/>\
             <text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>\
             <text x=\"{at_x:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
            LEFT_TOP.0,
            RIGHT_BOTTOM.0,
            LEFT_TOP.0 - 6.0,
            at_y + 4.0,
            degrees(at_c, system),
            RIGHT_BOTTOM.1 + 20.0,
            clock(share * frame.end_s)
        );
    }
}

/// A grey area for every stretch of arc.
fn arcs(svg: &mut String, frame: &Frame, sequence: &Sequence) {
    for stretch in sequence.moments.chunk_by(|one, next| one.is_arc_on == next.is_arc_on) {
        if let [first, .., last] = stretch
            && first.is_arc_on
        {
            let (from, to) = (x(frame, first.time_s), x(frame, last.time_s));
            let _ = writeln!(
                svg,
                "<rect x=\"{from:.1}\" y=\"{}\" width=\"{:.1}\" height=\"{}\" fill=\"#eeeeee\"/>",
                LEFT_TOP.1,
                to - from,
                RIGHT_BOTTOM.1 - LEFT_TOP.1
            );
        }
    }
}

fn limit(svg: &mut String, frame: &Frame, at_c: f64, title: &str) {
    let at_y = y(frame, at_c);
    let _ = writeln!(
        svg,
        "<line x1=\"{}\" x2=\"{}\" y1=\"{at_y:.1}\" y2=\"{at_y:.1}\" stroke=\"#555555\" \
         stroke-dasharray=\"6 4\"/><text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\" fill=\"#555555\">{title}</text>",
        LEFT_TOP.0,
        RIGHT_BOTTOM.0,
        RIGHT_BOTTOM.0,
        at_y - 5.0
    );
}

fn course(
    svg: &mut String,
    frame: &Frame,
    sequence: &Sequence,
    colour: &str,
    value: impl Fn(&Moment) -> f64,
) {
    let points = sequence
        .moments
        .iter()
        .map(|moment| format!("{:.1},{:.1}", x(frame, moment.time_s), y(frame, value(moment))));
    let points = points.collect::<Vec<_>>().join(" ");
    let _ =
        writeln!(svg, "<polyline points=\"{points}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\"/>");
}
