//! The plan of a joint as one page to print: the joint drawn to scale, where each band lies and starts, and every
//! figure of the plan.
//!
//! Decides: the lines of the drawing; all of it in millimetres of the joint, so that it is to scale.
//! Assumes: a browser of the last years; nothing of the network.
//! Never: leaves to a colour what words do not say.

use super::html::{escape, put};
use crate::input::place::Finish;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, format};
use crate::plan::JointPlan;
use crate::plan::placement::Stretch;
use crate::report::model::words::typeset;
use crate::report::plan::{NOTHING_LIMITED, problems, table};
use crate::report::plan_joint::{Side, counted_from, edges, own_settings, start};
use bandward::Outcome;
use std::fmt::Write as _;

const STYLE: &str = "@page{margin:12mm}body{font:12pt/1.3 sans-serif;color:#000;background:#fff;margin:1em auto;\
                     max-width:190mm}h1{font-size:18pt;margin:0}h2{font-size:13pt;margin:.8em 0 .2em}\
                     table{border-collapse:collapse;width:100%;font-size:10.5pt}td,th{border:1px solid;\
                     padding:.1em .4em;text-align:left}strong{border:2pt solid;padding:0 .3em}figure{margin:.4em 0}\
                     figcaption,small{font-size:10pt}svg{max-width:100%;max-height:110mm}svg text{fill:#000;\
                     stroke:#fff;stroke-width:.25em;paint-order:stroke}table,figure{break-inside:avoid}";
/// A band's height in the drawing where none is known, mm.
const HEIGHT_MM: f64 = 2.5;

/// The page.
pub fn page(plan: &JointPlan, procedure: &ProcedureFile, system: UnitSystem) -> String {
    let mut page = String::from("<!doctype html>\n<html lang=\"en\">\n");
    put!(page, "<meta charset=\"utf-8\"><title>Plan of a joint</title><style>{STYLE}</style>");
    put!(page, "<h1>Plan of a joint</h1>");
    let stood = match plan.outcome() {
        Outcome::Broken => "OUTSIDE THE PROCEDURE".to_owned(),
        Outcome::NotProven => escape(&format!("NOT PROVEN: {}", plan.doubts().join("; "))),
        Outcome::NotAsked => format!("NOT JUDGED: {NOTHING_LIMITED}"),
        Outcome::Proven => "WITHIN THE PROCEDURE".to_owned(),
    };
    put!(page, "<p>{}<br><strong>{stood}</strong></p>", escape(&procedure.title()));
    for problem in problems(plan, system) {
        put!(page, "<p><strong>{}</strong></p>", typeset(&escape(&problem)));
    }
    for stretch in plan.placement.iter().flat_map(|placement| &placement.stretches) {
        place(&mut page, plan, stretch, system);
    }
    for (heading, rows) in table(plan, system) {
        put!(page, "<h2>{heading}</h2>\n<table>");
        for [title, first, second, from] in rows {
            let cells = [first, second, from].map(|cell| typeset(&escape(&cell)));
            put!(
                page,
                "<tr><td>{title}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                cells[0],
                cells[1],
                cells[2]
            );
        }
        put!(page, "</table>");
    }
    for note in &plan.notes {
        put!(page, "<p><small>{}</small></p>", typeset(&escape(note)));
    }
    put!(page, "</html>");
    page
}

fn place(page: &mut String, plan: &JointPlan, stretch: &Stretch, system: UnitSystem) {
    put!(page, "<h2>Where the bands lie: {}, from {}</h2>", stretch.name(), counted_from(stretch));
    put!(page, "<figure>{}", side(plan, stretch, system));
    put!(page, "{}", starts(stretch));
    put!(
        page,
        "<figcaption>From the side, to scale, heights too; and from the end, where each band starts: the first of the \
         joint at the top, the others on from it the way the joint is laid</figcaption></figure>"
    );
    put!(
        page,
        "<table><tr><th>Band</th><th colspan=\"2\">Edges from {}</th><th>Starts at</th></tr>",
        counted_from(stretch)
    );
    for band in &stretch.bands {
        let [first, second] = [system, system.other()].map(|system| typeset(&edges(band, system)));
        let own = own_settings(plan, band, system).map_or(String::new(), |own| format!("; {own}"));
        let starts = typeset(&format!("{}{own}", start(band, system)));
        put!(page, "<tr><td>{}</td><td>{first}</td><td>{second}</td><td>{starts}</td></tr>", band.number);
    }
    put!(page, "</table>");
}

/// The joint from the side, one unit a millimetre.
fn side(plan: &JointPlan, stretch: &Stretch, system: UnitSystem) -> String {
    let side = Side::of(plan, stretch);
    let radius = side.diameter_mm / 2.0;
    let letter = (side.length_mm / 40.0).max(4.0);
    let (left, margin) = (-3.0 * letter, 8.0 * letter);
    let mut drawn = format!(
        "<svg viewBox=\"{left:.1} {:.1} {:.1} {:.1}\" width=\"540\" role=\"img\" aria-label=\"Joint from the side, to \
         scale\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"{:.2}\" font-size=\"{letter:.2}\">",
        -radius - 3.0 * letter,
        side.length_mm - 2.0 * left,
        2.0 * radius + 3.0 * letter + margin,
        letter / 12.0,
    );
    outline(&mut drawn, &side);
    bands(&mut drawn, &side, plan, letter);
    let below = radius + 1.6 * letter;
    let mut marks = Vec::new();
    if let (Some(first), Some(last)) = (stretch.bands.first(), stretch.bands.last()) {
        marks.extend([first.from_mm, last.to_mm]);
    }
    marks.extend(stretch.taper().map(|taper| taper.from_mm));
    marks.sort_by(f64::total_cmp);
    for (row, at_mm) in marks.into_iter().filter(|at_mm| *at_mm > 0.0).enumerate() {
        dimension(&mut drawn, at_mm, below + 1.9 * letter * row as f64, (radius, letter), system);
    }
    drawn.push_str("</svg>");
    drawn
}

/// The body with its taper, and the centreline.
fn outline(drawn: &mut String, side: &Side<'_>) {
    let length = side.length_mm;
    let bend = side.stretch.taper().map_or(length, |taper| taper.from_mm.min(length));
    let (full, thin) = (side.diameter_mm / 2.0, side.radius_mm(length));
    let close = if side.stretch.is_from_shoulder { "Z" } else { "" };
    let _ = write!(
        drawn,
        "<path fill=\"#eee\" d=\"M0 {0:.2}L0 {1:.2}L{bend:.2} {1:.2}L{length:.2} {2:.2}V{3:.2}L{bend:.2} {0:.2}{close}\"/>",
        full, -full, -thin, thin
    );
    let _ = write!(drawn, "<path stroke-dasharray=\"8 2 2 2\" d=\"M-4 0H{:.2}\"/>", length + 4.0);
}

/// Each band above and below the joint at its own height, with its number.
fn bands(drawn: &mut String, side: &Side<'_>, plan: &JointPlan, letter: f64) {
    let groove = match side.stretch.place.map(|place| place.finish) {
        Some(Finish::Flush { groove_depth_mm }) => groove_depth_mm,
        _ => 0.0,
    };
    let height = plan.band_height_mm.unwrap_or(HEIGHT_MM);
    for band in &side.stretch.bands {
        let (from, to) = (band.from_mm, band.to_mm);
        let [near, far] = [from, to].map(|at_mm| side.radius_mm(at_mm) - groove);
        for way in [-1.0, 1.0] {
            let _ = write!(
                drawn,
                "<path fill=\"#000\" fill-opacity=\".55\" d=\"M{from:.2} {:.2}L{to:.2} {:.2}V{:.2}L{from:.2} {:.2}Z\"/>",
                way * near,
                way * far,
                way * (far + height),
                way * (near + height),
            );
        }
        let top = -side.diameter_mm / 2.0 - height - 0.5 * letter;
        let middle = f64::midpoint(from, to);
        let _ = write!(
            drawn,
            "<text x=\"{middle:.2}\" y=\"{top:.2}\" text-anchor=\"middle\">{}</text>",
            band.number
        );
    }
}

/// A measure from where edges are counted to a place along the joint.
fn dimension(drawn: &mut String, at_mm: f64, down: f64, (radius, letter): (f64, f64), system: UnitSystem) {
    let [first, second] = [system, system.other()].map(|system| format(at_mm, Dimension::Length, system));
    let arrow = letter / 3.0;
    // Within its line where it fits there, else beside its end.
    let label = format!("{first} ({second})");
    let is_within = at_mm > 0.65 * letter * label.len() as f64;
    let (anchor, beside) = if is_within { ("end", -1.0) } else { ("start", 1.0) };
    let _ = write!(
        drawn,
        "<path d=\"M0 {radius:.2}V{0:.2}M{at_mm:.2} {radius:.2}V{0:.2}M0 {down:.2}H{at_mm:.2}M{1:.2} {2:.2}L{at_mm:.2} \
         {down:.2}L{1:.2} {0:.2}\"/><text x=\"{3:.2}\" y=\"{4:.2}\" text-anchor=\"{anchor}\">{label}</text>",
        down + arrow,
        at_mm - arrow,
        down - arrow,
        at_mm + beside * letter,
        down - 0.3 * letter,
    );
}

/// The joint from its end, with the start of each band.
fn starts(stretch: &Stretch) -> String {
    let mut drawn = String::from(
        "<svg viewBox=\"-50 -50 100 100\" width=\"150\" role=\"img\" aria-label=\"Where each band starts\" fill=\"none\" \
         stroke=\"currentColor\" font-size=\"9\"><circle r=\"30\"/>",
    );
    for band in &stretch.bands {
        let (sine, cosine) = band.start_deg.to_radians().sin_cos();
        // Bands that start at one place are told apart by how far out their numbers stand.
        let same = |other: &&crate::plan::placement::PlacedBand| {
            other.number < band.number && (other.start_deg - band.start_deg).abs() < 1.0
        };
        let out = 41.0 + 8.0 * stretch.bands.iter().filter(same).count() as f64;
        let _ = write!(
            drawn,
            "<path d=\"M{:.1} {:.1}L{:.1} {:.1}\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            26.0 * sine,
            -26.0 * cosine,
            35.0 * sine,
            -35.0 * cosine,
            out * sine,
            3.0 - out * cosine,
            band.number,
        );
    }
    drawn.push_str("</svg>");
    drawn
}
