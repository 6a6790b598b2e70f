//! What was set up before the arc, beside what came of it.
//!
//! Decides: the columns of the table.
//! Assumes: the setup is of the joint that was replayed.
//! Never: mixes its verdict into that of the trace.

use super::html::{escape, put};
use crate::report::Report;
use crate::report::model::setup::{show_measured, show_wanted, signed};
use crate::report::model::words::typeset;
use crate::report::torch_drawing;
use crate::setup::{Judged, SettingVerdict};
use bandward::{Outcome, Severity};

/// The section; nothing where no setup was given.
pub fn section(page: &mut String, report: &Report<'_>) {
    let (Some(setup), Some(procedure)) = (report.setup, report.procedure) else { return };
    put!(page, "<section id=\"setup\" aria-labelledby=\"setup-title\">");
    put!(page, "<h2 id=\"setup-title\">Setup before the arc</h2>");
    let stood = match setup.checked.outcome() {
        Outcome::Proven => "<span class=\"tag good\">✓ within</span>",
        Outcome::NotProven => "<span class=\"tag advise\">not proven</span>",
        Outcome::NotAsked => "<span class=\"tag advise\">not judged</span>",
        Outcome::Broken => "<span class=\"tag warn\">outside</span>",
    };
    let joint = setup.sheet.joint.as_deref().map_or(String::new(), |joint| format!("{}; ", escape(joint)));
    put!(page, "<p>{stood} {joint}{}</p>", escape(&signed(&setup.sheet, procedure)));
    put!(
        page,
        "<div class=\"scroll\" role=\"region\" aria-label=\"Setup before the arc\" tabindex=\"0\">\n<table>"
    );
    put!(page, "<caption>What was measured, and what the procedure says of it</caption>");
    put!(page, "<thead><tr>");
    for title in ["Setting", "Measured", "Wanted", "Verdict", "If not corrected"] {
        put!(page, "<th scope=\"col\">{title}</th>");
    }
    put!(page, "</tr></thead>\n<tbody>");
    for judged in &setup.checked.settings {
        row(page, report, judged);
    }
    put!(page, "</tbody>\n</table>\n</div>");
    if let Some(drawing) = torch_drawing::svg(&setup.checked) {
        put!(
            page,
            "<figure>{drawing}<figcaption>Torch round the joint, seen towards the chuck; the thick arc is \
                    where it belongs</figcaption></figure>"
        );
    }
    for warning in &setup.checked.warnings {
        put!(page, "<p><strong>{}</strong></p>", escape(warning));
    }
    for fit in setup.checked.fits.iter().filter(|fit| fit.is_good == Some(false)) {
        put!(page, "<p>{}: {}</p>", fit.of.name(), typeset(&escape(&fit.words(report.system))));
    }
    put!(page, "</section>");
}

fn row(page: &mut String, report: &Report<'_>, judged: &Judged) {
    let shown = show_measured(judged, report.system).map_or_else(|| "–".to_owned(), |shown| escape(&shown));
    let shown = match (judged.is_carried, judged.is_unconfirmed) {
        (true, true) => shown + " (from the last joint)",
        (true, false) => shown + " (confirmed to be as on the last joint)",
        (false, _) => shown,
    };
    let wanted =
        judged.wanted.map_or(String::new(), |wanted| show_wanted(judged.item, wanted, report.system));
    let verdict = match (judged.verdict, judged.verdict.severity()) {
        (SettingVerdict::NotCompared(reason), _) => escape(&format!("not compared: {reason}")),
        (SettingVerdict::NotMeasured, _) => "not measured".to_owned(),
        (_, None) => "<span class=\"tag good\">✓ good</span>".to_owned(),
        (_, Some(severity)) => tag(severity).to_owned(),
    };
    let left_so = judged.verdict.advice().map_or("", |advice| advice.left_so);
    put!(
        page,
        "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{verdict}</td><td>{left_so}</td></tr>",
        judged.item.title(),
        typeset(&shown),
        typeset(&escape(&wanted)),
    );
}

const fn tag(severity: Severity) -> &'static str {
    match severity {
        Severity::Advise => "<span class=\"tag advise\">advisory</span>",
        Severity::Warn => "<span class=\"tag warn\">outside</span>",
        Severity::Stop => "<span class=\"tag stop\">stop</span>",
    }
}
