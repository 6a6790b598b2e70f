//! False alarms, delays and misses, each along the one tunable of a sweep.
//!
//! Decides: what is drawn along the tunable.
//! Assumes: settings in the order of its values.
//! Never: joins what was not found to what was.

use super::super::put;
use super::axes::{axes, budget, path, up_to};
use super::{BESIDE, Dot, INK, LINE};
use crate::input::quantity::shown;
use crate::report::draw::Frame;
use crate::report::model::chart::Scale;
use crate::report::trial::Results;
use crate::trial::sweep::Sweep;

/// Courses of a panel: what is drawn of a setting, and the dashes of its line.
type Courses = &'static [(fn(&Dot) -> Option<f64>, &'static str)];

const WIDTH: f64 = 580.0;

/// Draws the panels; returns how wide the sheet must be.
pub(super) fn draw(body: &mut String, results: &Results<'_>, sweep: &Sweep, dots: &[Dot]) -> f64 {
    let value = |dot: &Dot| dot.values.first().copied().unwrap_or(0.0);
    let (first, last) = (dots.first().map_or(0.0, value), dots.last().map_or(1.0, value));
    let to = if last > first { last } else { first + 1.0 };
    let in_unit = |house| shown(house, sweep.tunable.dimension(), results.system);
    let title = format!("{}, {}", sweep.tunable, in_unit(0.0).1);
    let panels: [(&str, Scale, Courses); 3] = [
        (
            "false alarms, 1/h",
            up_to(dots.iter().map(|dot| dot.false_per_hour), 0.1),
            &[(|dot| Some(dot.false_per_hour), "")],
        ),
        (
            "delay, s: mean, and dashed what 95 % of the faults do not exceed",
            up_to(dots.iter().filter_map(|dot| dot.latest_s), 0.1),
            &[(|dot| dot.late_s, ""), (|dot| dot.latest_s, "6 4")],
        ),
        ("missed, % of faults", Scale { low: 0.0, high: 105.0 }, &[(|dot| Some(100.0 * dot.missed), "")]),
    ];
    let present = sweep.tunable.value(results.procedure).map(|house| in_unit(house).0);
    for (row, (above, scale, courses)) in panels.into_iter().enumerate() {
        let frame = Frame {
            from: first,
            to,
            scale,
            left: BESIDE,
            top: 130.0 + 150.0 * row as f64,
            width: WIDTH,
            height: 120.0,
        };
        axes(body, &frame, (row == 2).then_some(&title), above);
        for (course, dashes) in courses {
            let place = |dot: &Dot| Some((frame.x(value(dot)), frame.y(course(dot)?)));
            for stretch in dots.split(|dot| course(dot).is_none()) {
                path(body, &stretch.iter().filter_map(place).collect::<Vec<_>>(), LINE, dashes);
            }
        }
        if row == 0 {
            budget(body, &frame, results.wish.budget_per_hour);
        }
        let proposed = dots.iter().find(|dot| dot.is_proposed).map(value);
        for (at, dashes) in [(present, "2 4"), (proposed, "10 3 2 3")] {
            let Some(at) = at.filter(|at| (first..=to).contains(at)) else { continue };
            let (x, top, height) = (frame.x(at), frame.top, frame.height);
            put!(
                body,
                "<path d=\"M{x:.1} {top:.1}v{height:.1}\" stroke=\"{INK}\" stroke-dasharray=\"{dashes}\"/>"
            );
        }
    }
    let key = "dotted: as it is · dash and dot: proposed";
    let key = if results.proposed.is_some() { key } else { "dotted: as it is" };
    put!(body, "<text x=\"{BESIDE}\" y=\"627\">{key}</text>");
    BESIDE + WIDTH + 30.0
}
