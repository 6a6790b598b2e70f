//! The head of the page: what was replayed, the verdict, the cautions.
//!
//! Decides: what an inspector reads first.
//! Assumes: nothing.
//! Never: promises more than was judged.

use super::html::{escape, put};
use crate::laid;
use crate::raw::seconds;
use crate::report::Report;
use crate::report::identity::facts;
use crate::report::model::coverage::reasons_not_judged;
use crate::report::model::setup::{signed, stood};
use crate::report::model::verdict::Verdict;
use crate::report::model::words::typeset;
use bandward::{Outcome, Severity};

/// What the page is of: the joint, where its serial is known; else the file.
pub fn name(report: &Report<'_>) -> String {
    report.replay.dossier.identity.context.title().unwrap_or_else(|| report.replay.trace.path.clone())
}

/// What was replayed, and by which procedure.
pub fn header(page: &mut String, report: &Report<'_>) {
    let trace = &report.replay.trace;
    let context = &report.replay.dossier.identity.context;
    put!(page, "<header>\n<p class=\"kind\">Hardbanding replay</p>\n<h1>{}</h1>", escape(&name(report)));
    let procedure = report.procedure.map_or("no procedure given".to_owned(), |file| escape(&file.title()));
    put!(page, "<dl class=\"facts\">\n<div><dt>Procedure</dt><dd>{procedure}</dd></div>");
    if context.serial.is_some() {
        put!(page, "<div><dt>File</dt><dd>{}</dd></div>", escape(&trace.path));
    }
    for (fact, value) in facts(context, report.system) {
        let value = typeset(&escape(&value));
        put!(page, "<div><dt>{fact}</dt><dd>{value}</dd></div>");
    }
    if let Some(start) = &trace.start {
        put!(page, "<div><dt>Recorded from</dt><dd>{}</dd></div>", escape(start));
    }
    put!(page, "<div><dt>Length</dt><dd>{:.1} s</dd></div>", seconds(trace.duration_us));
    put!(page, "<div><dt>Bands</dt><dd>{}</dd></div>\n</dl>\n</header>", report.replay.bands.len());
}

/// The verdict and the cautions that belong to it.
pub fn verdict(page: &mut String, report: &Report<'_>, verdict: &Verdict) {
    let (class, sign) = match verdict.outcome {
        Outcome::Proven => ("within", "✓"),
        Outcome::NotProven => ("unproven", "!"),
        Outcome::Broken => ("outside", "✕"),
        Outcome::NotAsked if verdict.has_faults => ("outside", "✕"),
        Outcome::NotAsked => ("open", "?"),
    };
    put!(page, "<section class=\"verdict {class}\" aria-labelledby=\"verdict\">");
    put!(page, "<span class=\"sign\" aria-hidden=\"true\">{sign}</span>\n<div>");
    put!(page, "<h2 id=\"verdict\">{}<span>{}</span></h2>", verdict.words, escape(&verdict.rest));
    put!(page, "<p>{}</p>", summary(report));
    for warning in report.procedure.map(laid::warnings).unwrap_or_default() {
        put!(page, "<p><strong>{}</strong></p>", escape(&warning));
    }
    if let Some(place) = report.procedure.and_then(|procedure| procedure.temperature_place(report.system)) {
        put!(page, "<p>{}.</p>", escape(&place));
    }
    for remark in report.replay.dossier.identity.remarks(report.system) {
        put!(page, "<p>{}</p>", escape(&remark));
    }
    if !verdict.reasons.is_empty() {
        put!(page, "<ul class=\"reasons\">");
        for reason in &verdict.reasons {
            put!(page, "<li>{}</li>", escape(reason));
        }
        put!(page, "</ul>");
    }
    if let (Some(setup), Some(procedure)) = (report.setup, report.procedure) {
        let stood = stood(setup.checked.outcome(), "OUTSIDE");
        let signed = escape(&signed(&setup.sheet, procedure));
        put!(page, "<p><a href=\"#setup\">Setup before the arc</a>: {stood}; {signed}.</p>");
    }
    put!(page, "</div>\n</section>");
    put!(page, "<aside class=\"cautions\" aria-label=\"Cautions\">\n<h2>Cautions</h2>\n<ul>");
    for caution in CAUTIONS {
        put!(page, "<li>{caution}</li>");
    }
    if !reasons_not_judged(report.replay).is_empty() {
        put!(page, "<li>Not everything was judged: see <a href=\"#not-judged\">what was not</a>.</li>");
    }
    put!(page, "</ul>\n</aside>");
}

/// Common practice, no source.
const CAUTIONS: [&str; 3] = [
    "A band within its procedure is not necessarily a sound band: inspect it, measure its height and width, \
     check it for cracks as the procedure of the shop says.",
    "A record tells no more than its sensors did. A sensor out of calibration makes a wrong record.",
    "This is a monitor. It is no safety device and no emergency stop.",
];

fn summary(report: &Report<'_>) -> String {
    let count = |severity| report.replay.alarms.iter().filter(|alarm| alarm.severity == severity).count();
    let told: Vec<String> = [
        (Severity::Stop, "never permitted (stop)"),
        (Severity::Warn, "outside the allowed range (warn)"),
        (Severity::Advise, "outside the recommended range (advise)"),
    ]
    .into_iter()
    .map(|(severity, words)| (count(severity), words))
    .filter(|&(count, _)| count > 0)
    .map(|(count, words)| format!("{count} {words}"))
    .collect();
    if told.is_empty() { "No alarms.".to_owned() } else { format!("Alarms: {}.", told.join(", ")) }
}
