//! What a sweep came to, as one picture: false alarms against delay; beside it, for one tunable, both and
//! the misses along it, for several the settings that no other beats.
//!
//! Decides: where everything stands on the sheet.
//! Assumes: at least one setting.
//! Never: says by colour alone what a shape does not say.

mod along;
mod axes;
mod dot;
mod list;
mod look;
mod mark;

use super::{escape, put};
use crate::report::draw::Frame;
use crate::report::trial::Results;
use axes::{axes, budget, path, up_to};
use dot::Dot;
use look::{BESIDE, FAINT, INK, LIMIT, LINE};

/// The picture, as SVG.
pub fn svg(results: &Results<'_>) -> String {
    let points = results.plan.points.iter();
    let dots: Vec<_> = points.map(|point| Dot::of(results, point, &results.at(point))).collect();
    let front: Vec<_> = results.front().iter().map(|(point, score)| Dot::of(results, point, score)).collect();
    let mut body = String::new();
    head(&mut body, results, dots.len());
    trade_off(&mut body, results, &dots, &front);
    let width = match results.sweeps {
        [sweep] => along::draw(&mut body, results, sweep, &dots),
        sweeps => list::draw(&mut body, sweeps, &front),
    };
    let width = width.max(BESIDE - 40.0);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"690\" viewBox=\"0 0 {width} 690\" \
         font-family=\"DejaVu Sans\" font-size=\"14\" fill=\"{INK}\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n{body}</svg>"
    )
}

fn head(body: &mut String, results: &Results<'_>, settings: usize) {
    let tunables: Vec<_> = results.sweeps.iter().map(|sweep| sweep.tunable.to_string()).collect();
    put!(
        body,
        "<text x=\"24\" y=\"44\" font-size=\"24\" font-weight=\"bold\">{}</text>",
        escape(&tunables.join(" and "))
    );
    let sums = results.sums;
    put!(
        body,
        "<text x=\"24\" y=\"70\" fill=\"{FAINT}\">{} · {settings} settings, {} traces, {:.2} h without fault</text>",
        escape(&results.title),
        sums.traces,
        sums.sound_hours()
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
    axes(body, &frame, Some("mean delay, s"), "false alarms, 1/h");
    if dots.iter().all(|dot| dot.late_s.is_none()) {
        let (x, y) = (frame.left + frame.width / 2.0, frame.top + frame.height / 2.0);
        put!(
            body,
            "<text x=\"{x}\" y=\"{y}\" text-anchor=\"middle\">no fault was found: no delay to show</text>"
        );
    }
    let least = front.iter().map(|dot| dot.missed).fold(f64::INFINITY, f64::min);
    let place = |dot: &Dot| Some((frame.x(dot.late_s?), frame.y(dot.false_per_hour)));
    let mut course: Vec<_> = front.iter().filter(|dot| dot.missed <= least).filter_map(place).collect();
    course.sort_by(|one, other| one.0.total_cmp(&other.0));
    path(body, &course, INK, "");
    // The best on top.
    let mut order: Vec<_> = dots.iter().collect();
    order.sort_by(|one, other| other.missed.total_cmp(&one.missed));
    for (dot, (x, y)) in order.iter().filter_map(|dot| Some((dot, place(dot)?))) {
        mark::draw(body, dot.missed, x, y);
    }
    budget(body, &frame, results.wish.budget_per_hour);
    for (dot, (x, y)) in order.iter().filter_map(|dot| Some((dot, place(dot)?))) {
        if dot.is_present {
            mark::present(body, x, y);
        }
        if dot.is_proposed {
            mark::proposed(body, x, y);
        }
    }
    mark::key(body, 96.0, 622.0, results.proposed.is_some());
}
