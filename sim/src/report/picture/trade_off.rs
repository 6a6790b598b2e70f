//! What a sweep came to, as one picture: false alarms against delay, and for one knob, both and the
//! misses along it.
//!
//! Decides: where everything stands on the sheet.
//! Assumes: at least one setting.
//! Never: says by colour alone what a shape does not say: a setting that misses is a cross.

use super::{escape, put};
use crate::report::chart::Scale;
use crate::report::draw::{Frame, ticks};
use crate::report::trial::Results;
use crate::trial::plan::Point;
use crate::trial::score::RuleScore;

const INK: &str = "#1c2330";
const FAINT: &str = "#5b6474";
const GOOD: &str = "#0072b2";
const BAD: &str = "#c04e00";

/// A setting as it is drawn.
struct Dot {
    values: Vec<f64>,
    false_per_hour: f64,
    late_s: Option<f64>,
    latest_s: Option<f64>,
    missed: f64,
    is_present: bool,
}

/// The picture, as SVG.
pub fn svg(results: &Results<'_>) -> String {
    let hours = results.sums.sound_hours().max(f64::MIN_POSITIVE);
    let dot = |point: &Point, score: &RuleScore, is_present| Dot {
        values: point.values.iter().map(|(_, value)| *value).collect(),
        false_per_hour: score.false_alarms as f64 / hours,
        late_s: score.mean_delay_s(),
        latest_s: score.delay_s(0.95),
        missed: score.missed as f64 / (score.missed + score.hits()).max(1) as f64,
        is_present,
    };
    let points = results.plan.points.iter();
    let dots: Vec<_> =
        points.map(|point| dot(point, &results.at(point), results.is_present(point))).collect();
    let front: Vec<_> = results.front().iter().map(|(point, score)| dot(point, score, false)).collect();
    let single = results.sweeps.len() == 1;
    let (width, height) = (if single { 1480.0 } else { 820.0 }, 660.0);
    let mut body = String::new();
    let knobs: Vec<_> = results.sweeps.iter().map(|sweep| sweep.knob.to_string()).collect();
    put!(
        body,
        "<text x=\"24\" y=\"44\" font-size=\"24\" font-weight=\"bold\">{}</text>",
        knobs.join(" and ")
    );
    put!(
        body,
        "<text x=\"24\" y=\"70\" font-size=\"14\" fill=\"{FAINT}\">{} · {} settings, {} traces, {:.2} h without fault</text>",
        escape(&results.title),
        dots.len(),
        results.sums.traces,
        results.sums.sound_hours()
    );
    trade_off(&mut body, results, &dots, &front);
    if single {
        along(&mut body, results, &dots);
    }
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" \
         font-family=\"DejaVu Sans\" font-size=\"14\" fill=\"{INK}\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n{body}</svg>"
    )
}

/// From zero to a little over the largest value.
fn up_to(values: impl Iterator<Item = f64>, least: f64) -> Scale {
    Scale { low: 0.0, high: 1.08 * values.fold(least, f64::max) }
}

fn axes(body: &mut String, frame: &Frame, below: &str, beside: &str) {
    let Frame { left, top, width, height, .. } = *frame;
    for value in ticks(frame.scale.low, frame.scale.high, 5) {
        let y = frame.y(value);
        put!(body, "<path d=\"M{left:.1} {y:.1}h{width:.1}\" stroke=\"#e3e1da\"/>");
        put!(
            body,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\" fill=\"{FAINT}\">{}</text>",
            left - 8.0,
            y + 5.0,
            number(value)
        );
    }
    for place in ticks(frame.from, frame.to, 6) {
        let x = frame.x(place);
        put!(body, "<path d=\"M{x:.1} {:.1}v6\" stroke=\"{FAINT}\"/>", top + height);
        put!(
            body,
            "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" fill=\"{FAINT}\">{}</text>",
            top + height + 22.0,
            number(place)
        );
    }
    put!(
        body,
        "<rect x=\"{left:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"{height:.1}\" fill=\"none\" stroke=\"#b5b2a8\"/>"
    );
    put!(
        body,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{below}</text>",
        left + width / 2.0,
        top + height + 44.0
    );
    put!(body, "<text x=\"{left:.1}\" y=\"{:.1}\">{beside}</text>", top - 10.0);
}

/// With no more digits than it has.
fn number(value: f64) -> String {
    format!("{}", (value * 1e6).round() / 1e6)
}

fn budget(body: &mut String, frame: &Frame, per_hour: f64) {
    if per_hour > frame.scale.high {
        return;
    }
    let (y, left, width) = (frame.y(per_hour), frame.left, frame.width);
    put!(body, "<path d=\"M{left:.1} {y:.1}h{width:.1}\" stroke=\"{BAD}\" stroke-dasharray=\"8 5\"/>");
    put!(
        body,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\" fill=\"{BAD}\">budget</text>",
        left + width - 6.0,
        y - 6.0
    );
}

fn trade_off(body: &mut String, results: &Results<'_>, dots: &[Dot], front: &[Dot]) {
    let late = up_to(dots.iter().filter_map(|dot| dot.late_s), 0.1);
    let frame = Frame {
        from: 0.0,
        to: late.high,
        scale: up_to(dots.iter().map(|dot| dot.false_per_hour), results.wish.budget_per_hour.max(0.1)),
        left: 90.0,
        top: 130.0,
        width: 680.0,
        height: 420.0,
    };
    axes(body, &frame, "mean delay, s", "false alarms an hour");
    budget(body, &frame, results.wish.budget_per_hour);
    let mut course: Vec<_> = front
        .iter()
        .filter(|dot| dot.missed <= front.first().map_or(0.0, |first| first.missed))
        .filter_map(|dot| Some((frame.x(dot.late_s?), frame.y(dot.false_per_hour))))
        .collect();
    course.sort_by(|one, other| one.0.total_cmp(&other.0));
    path(body, &course, INK, "");
    for dot in dots {
        let Some(late_s) = dot.late_s else { continue };
        let (x, y) = (frame.x(late_s), frame.y(dot.false_per_hour));
        if dot.missed > 0.0 {
            put!(
                body,
                "<path d=\"M{:.1} {:.1}l8 8m0 -8l-8 8\" stroke=\"{BAD}\" stroke-width=\"1.5\"/>",
                x - 4.0,
                y - 4.0
            );
        } else {
            put!(body, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"{GOOD}\" fill-opacity=\"0.6\"/>");
        }
        if dot.is_present {
            put!(
                body,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"10\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"2\"/>"
            );
        }
    }
    let key = "dot: finds every fault · cross: misses some · ring: as it is · line: settings no other beats";
    put!(body, "<text x=\"90\" y=\"630\" font-size=\"13\" fill=\"{FAINT}\">{key}</text>");
}

fn path(body: &mut String, points: &[(f64, f64)], colour: &str, dashes: &str) {
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

/// False alarms, delays and misses, each along the one knob.
fn along(body: &mut String, results: &Results<'_>, dots: &[Dot]) {
    let Some(sweep) = results.sweeps.first() else { return };
    let (first, last) =
        (dots.first().map_or(0.0, |dot| dot.values[0]), dots.last().map_or(1.0, |dot| dot.values[0]));
    let to = if last > first { last } else { first + 1.0 };
    let unit = sweep.knob.unit();
    let frame = |row: f64, scale| Frame {
        from: first,
        to,
        scale,
        left: 870.0,
        top: 130.0 + 150.0 * row,
        width: 580.0,
        height: 100.0,
    };
    let panels: [(&str, Scale, Courses); 3] = [
        (
            "false alarms an hour",
            up_to(dots.iter().map(|dot| dot.false_per_hour), 0.1),
            &[(|dot| Some(dot.false_per_hour), "")],
        ),
        (
            "delay, s: mean, and dashed that of 95 %",
            up_to(dots.iter().filter_map(|dot| dot.latest_s), 0.1),
            &[(|dot| dot.late_s, ""), (|dot| dot.latest_s, "6 4")],
        ),
        ("missed, % of faults", Scale { low: 0.0, high: 105.0 }, &[(|dot| Some(100.0 * dot.missed), "")]),
    ];
    for (row, (title, scale, courses)) in panels.into_iter().enumerate() {
        let frame = frame(row as f64, scale);
        let below = if row == 2 { format!("{}, {unit}", sweep.knob) } else { String::new() };
        axes(body, &frame, &below, title);
        if row == 0 {
            budget(body, &frame, results.wish.budget_per_hour);
        }
        for (course, dashes) in courses {
            let points: Vec<_> =
                dots.iter().filter_map(|dot| Some((frame.x(dot.values[0]), frame.y(course(dot)?)))).collect();
            path(body, &points, GOOD, dashes);
        }
        if let Some(present) =
            sweep.knob.value(results.procedure).filter(|value| (first..=to).contains(value))
        {
            let x = frame.x(present);
            put!(
                body,
                "<path d=\"M{x:.1} {:.1}v{:.1}\" stroke=\"{INK}\" stroke-dasharray=\"2 4\"/>",
                frame.top,
                frame.height
            );
        }
    }
}

/// Courses of a panel: what is drawn of a setting, and the dashes of its line.
type Courses = &'static [(fn(&Dot) -> Option<f64>, &'static str)];
