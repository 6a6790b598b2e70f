//! The replay as one picture: the verdict, the joint unrolled, the traces.
//!
//! Decides: where everything stands on the sheet.
//! Assumes: it will be looked at in a mail or a log book, without the page.
//! Never: depends on what is installed where it is made: its letters are outlines of its own (`letters`).

mod joint;
mod letters;
mod sheet;
mod traces;
mod trade_off;

use super::Report;
use super::model::chart::letter;
use super::model::coverage::reasons_not_judged;
use super::model::findings::{likely, place};
use super::model::setup::{signed, stood};
use super::model::strip::PlaceState as Place;
use super::model::verdict::Verdict;
use super::model::words::typeset;
use super::trial::Results;
use crate::input::procedure_file::ProcedureFile;
use crate::raw::seconds;
use anyhow::Context as _;
use bandward::Outcome;
use resvg::{tiny_skia, usvg};
use sheet::{FRAMED, HATCHED, LEFT, RIGHT, areas, border, escape, mark, title};
use sheet::{PATTERNS, put};

/// Width of the sheet, dots.
const WIDTH: f64 = 1600.0;

/// The picture, as PNG.
///
/// # Errors
/// The picture could not be rendered.
pub fn png(report: &Report<'_>) -> anyhow::Result<Vec<u8>> {
    rendered(&svg(report))
}

pub use trade_off::svg as trade_off_svg;

/// What a sweep came to, as PNG.
///
/// # Errors
/// The picture could not be rendered.
pub fn trade_off_png(results: &Results<'_>) -> anyhow::Result<Vec<u8>> {
    rendered(&trade_off_svg(results))
}

fn rendered(svg: &str) -> anyhow::Result<Vec<u8>> {
    let outlined = letters::outlined(svg)?;
    let tree =
        usvg::Tree::from_str(&outlined, &usvg::Options::default()).context("the picture is not sound")?;
    let size = tree.size().to_int_size();
    let mut sheet =
        tiny_skia::Pixmap::new(size.width(), size.height()).context("the picture is too large")?;
    resvg::render(&tree, tiny_skia::Transform::identity(), &mut sheet.as_mut());
    sheet.encode_png().context("the picture could not be written")
}

/// The picture, as SVG.
pub fn svg(report: &Report<'_>) -> String {
    let mut body = String::new();
    let mut y = head(&mut body, report);
    y = joint::draw(&mut body, report, y);
    y = traces::draw(&mut body, report, y);
    y = foot(&mut body, report, y);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{y:.0}\" viewBox=\"0 0 {WIDTH} {y:.0}\" \
         font-family=\"DejaVu Sans\" font-size=\"15\" fill=\"#1c2330\">\n{PATTERNS}\
         <rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n{body}</svg>"
    )
}

fn head(sheet: &mut String, report: &Report<'_>) -> f64 {
    let verdict = Verdict::of(report.replay);
    let (colour, sign) = match verdict.outcome {
        Outcome::Proven => ("#0b6b58", "✓"),
        Outcome::NotProven => ("#7a4fa3", "!"),
        Outcome::Broken => ("#c04e00", "✕"),
        Outcome::NotAsked if verdict.has_faults => ("#c04e00", "✕"),
        Outcome::NotAsked => ("#6b7484", "?"),
    };
    put!(sheet, "<rect x=\"24\" y=\"24\" width=\"64\" height=\"64\" fill=\"{colour}\"/>");
    put!(
        sheet,
        "<text x=\"56\" y=\"70\" font-size=\"40\" fill=\"#fff\" text-anchor=\"middle\">{sign}</text>"
    );
    put!(
        sheet,
        "<text x=\"108\" y=\"54\" font-size=\"28\"><tspan font-weight=\"bold\">{}</tspan>{}</text>",
        verdict.words,
        escape(&verdict.rest)
    );
    let procedure = report.procedure.map_or("no procedure given".to_owned(), ProcedureFile::title);
    put!(
        sheet,
        "<text x=\"108\" y=\"82\" fill=\"#5b6474\">{} · {}</text>",
        escape(&report.replay.trace.path),
        escape(&procedure)
    );
    let y = causes(sheet, report);
    put!(
        sheet,
        "<text x=\"24\" y=\"{y:.0}\" font-size=\"13\" fill=\"#5b6474\">Line: judged value. Grey field: recommended range. \
         Thin lines: allowed range. Angles from the start of each band, in the direction of travel. \
         Dotted: where the band meets its own start.</text>"
    );
    legend(sheet, y + 14.0)
}

/// What the fillings mean; returns where the next block begins.
fn legend(sheet: &mut String, top: f64) -> f64 {
    let standings =
        [Place::Lowish, Place::Highish, Place::Low, Place::High, Place::UnderFloor, Place::Unknown];
    let fillings = standings.map(|place| (joint::fill(place), place.words().unwrap_or("not judged")));
    let alarm = (HATCHED, "an alarm stood: ● warn, ○ advise, ■ stop");
    let mut x = 24.0;
    for (fill, words) in fillings.into_iter().chain([alarm]) {
        let (box_end, baseline) = (x + 36.0, top + 13.0);
        put!(
            sheet,
            "<rect x=\"{x}\" y=\"{top:.0}\" width=\"30\" height=\"16\" fill=\"{fill}\" stroke=\"#b5b2a8\"/>\
             <text x=\"{box_end}\" y=\"{baseline:.0}\" font-size=\"13\">{words}</text>"
        );
        x += 60.0 + 8.2 * words.chars().count() as f64;
    }
    top + 32.0
}

/// The most likely causes, a line each; returns where the next line goes.
fn causes(sheet: &mut String, report: &Report<'_>) -> f64 {
    let mut y = 116.0;
    for (index, finding) in likely(&report.replay.findings).iter().enumerate() {
        let Some(letter) = letter(index) else { break };
        let (words, place) = (escape(finding.words), typeset(&place(finding)));
        put!(
            sheet,
            "<text x=\"24\" y=\"{y:.0}\"><tspan font-weight=\"bold\">{letter}</tspan> likely: {words}; {place}; score {:.2}</text>",
            finding.score
        );
        y += 22.0;
    }
    y + 6.0
}

/// What the sheet does not show, and what it was made from.
fn foot(sheet: &mut String, report: &Report<'_>, top: f64) -> f64 {
    let length_s = seconds(report.replay.trace.duration_us);
    let mut lines: Vec<String> = reasons_not_judged(report.replay)
        .into_iter()
        .map(|(reason, rules)| format!("Not judged, {reason}: {}", few(&rules)))
        .collect();
    lines.push(
        "A band within its procedure is not necessarily a sound band. This is a monitor, no safety device."
            .to_owned(),
    );
    lines.push(format!(
        "{} samples, {length_s:.1} s; bandward {}",
        report.replay.trace.samples,
        env!("CARGO_PKG_VERSION")
    ));
    let hash = report.provenance.map_or("not known", |from| from.sha256.as_str());
    let changed =
        report.provenance.and_then(|from| from.changed.as_ref()).map(|_| ", which changed meanwhile");
    lines.push(format!("SHA-256 of the trace{}: {hash}", changed.unwrap_or_default()));
    let procedure = report.procedure.map_or("none", |file| &file.sha256);
    lines.push(format!("SHA-256 of the procedure: {procedure}"));
    if let (Some(setup), Some(procedure)) = (report.setup, report.procedure) {
        let stood = stood(setup.checked.outcome(), "outside");
        let signed = signed(&setup.sheet, procedure);
        lines.push(format!("SHA-256 of the setup ({stood}; {signed}): {}", setup.sheet.sha256));
    }
    let mut y = top + 10.0;
    for words in &lines {
        y += 20.0;
        put!(sheet, "<text x=\"24\" y=\"{y:.1}\" font-size=\"13\" fill=\"#5b6474\">{}</text>", escape(words));
    }
    y + 20.0
}

/// As many names as fit on a line, and how many more there are.
fn few(names: &[&str]) -> String {
    const MOST: usize = 7;
    let told = names.iter().take(MOST).copied().collect::<Vec<_>>().join(", ");
    if names.len() > MOST { format!("{told} and {} more", names.len() - MOST) } else { told }
}
