//! The first page of many logs: what they come to, and a line a log that leads to its own page.
//!
//! Decides: what stands where: the verdict, the stops, machines and rules, then every log in order.
//! Assumes: the pages of the logs lie in the same folder; there is no script, so that thousands of lines
//! are no more than a long table.
//! Never: asks the network for anything, nor says by colour alone what words do not say.

use super::html::{begin, escape, put};
use crate::input::procedure_file::ProcedureFile;
use crate::laid;
use crate::replay::Replay;
use crate::report::model::alarms::place_and_time;
use crate::report::model::words::typeset;
use crate::report::shift::{logs, notes, verdict_words};
use crate::shift::{Failure, Shift, worst_rule};
use bandward::{Outcome, Rule};

/// The line of a log that was read; `file` is the name of its page, if there was a row to draw.
pub fn row(replay: &Replay, machine: Option<&str>, file: Option<&str>) -> String {
    let mut row = String::new();
    let (class, sign, words) = match replay.outcome() {
        Outcome::Proven => ("good", "✓", "within"),
        Outcome::NotProven => ("advise", "!", "not proven"),
        Outcome::Broken => ("warn", "✕", "outside"),
        Outcome::NotAsked if replay.has_faults() => ("warn", "✕", "not judged, faults found"),
        Outcome::NotAsked => ("", "?", "not judged"),
    };
    let path = escape(&replay.trace.path);
    let path = file.map_or(path.clone(), |file| format!("<a href=\"{}\">{path}</a>", escape(file)));
    put!(row, "<tr><th scope=\"row\">{path}</th>");
    put!(row, "<td><span class=\"tag {class}\">{sign} {words}</span></td>");
    put!(row, "<td>{}</td>", worst_rule(replay).map_or("–", Rule::name));
    put!(row, "<td>{}</td><td>{}</td>", replay.joints.len(), replay.bands.len());
    put!(row, "<td>{}</td>", escape(machine.unwrap_or("–")));
    put!(row, "<td>{}</td></tr>", escape(replay.trace.start.as_deref().unwrap_or("–")));
    row
}

/// The line of a log that failed.
pub fn failed_row(failure: &Failure) -> String {
    let mut row = String::new();
    put!(row, "<tr><th scope=\"row\">{}</th>", escape(&failure.path));
    put!(row, "<td><span class=\"tag stop\">✕ not read</span></td>");
    put!(row, "<td colspan=\"5\">{}</td></tr>", escape(&failure.why));
    row
}

/// All that stands before the lines of the logs.
pub fn before(shift: &Shift, procedure: Option<&ProcedureFile>) -> String {
    let mut page = String::with_capacity(1 << 16);
    let (words, rest) = verdict_words(shift);
    begin(&mut page, &format!("Shift: {words}{rest}"), &[include_str!("style.css")], false);
    put!(page, "<a class=\"skip\" href=\"#main\">To the verdict</a>");
    put!(page, "<header>\n<p class=\"kind\">Hardbanding shift</p>\n<h1>{}</h1>", logs(shift));
    let procedure_name = procedure.map_or("no procedure given".to_owned(), |file| escape(&file.title()));
    put!(
        page,
        "<dl class=\"facts\">\n<div><dt>Procedure</dt><dd>{procedure_name}</dd></div></dl>\n</header>"
    );
    put!(page, "<main id=\"main\">");
    verdict(&mut page, shift, procedure);
    stops(&mut page, shift);
    machines(&mut page, shift);
    rules(&mut page, shift);
    put!(page, "<section id=\"logs\" aria-labelledby=\"logs-title\">\n<h2 id=\"logs-title\">Logs</h2>");
    let titles = ["Log", "Verdict", "Worst rule", "Joints", "Bands", "Machine", "Recorded from"];
    table(&mut page, "Every log, in the order in which they were named", &titles);
    page
}

/// All that stands after them.
pub const AFTER: &str = "</tbody>\n</table>\n</div>\n</section>\n</main>\n</body>\n</html>\n";

fn verdict(page: &mut String, shift: &Shift, procedure: Option<&ProcedureFile>) {
    let (class, sign) = match shift.outcome() {
        Outcome::Proven => ("within", "✓"),
        Outcome::NotProven => ("unproven", "!"),
        Outcome::Broken => ("outside", "✕"),
        Outcome::NotAsked if shift.faulty > 0 => ("outside", "✕"),
        Outcome::NotAsked => ("open", "?"),
    };
    let (words, rest) = verdict_words(shift);
    put!(page, "<section class=\"verdict {class}\" aria-labelledby=\"verdict\">");
    put!(page, "<span class=\"sign\" aria-hidden=\"true\">{sign}</span>\n<div>");
    put!(page, "<h2 id=\"verdict\">{words}<span>{}</span></h2>", escape(&rest));
    for warning in procedure.map(laid::warnings).unwrap_or_default() {
        put!(page, "<p><strong>{}</strong></p>", escape(&warning));
    }
    for note in notes(shift) {
        put!(page, "<p>{}</p>", escape(&note));
    }
    put!(page, "</div>\n</section>");
}

fn stops(page: &mut String, shift: &Shift) {
    if shift.stops.is_empty() {
        return;
    }
    put!(page, "<section aria-labelledby=\"stops-title\">\n<h2 id=\"stops-title\">Stops</h2>");
    table(page, "Alarms that asked for the weld to be stopped", &["Rule", "Log", "Where and when"]);
    for stop in &shift.stops {
        put!(page, "<tr><th scope=\"row\">{}</th>", stop.alarm.rule.name());
        put!(page, "<td>{}</td>", escape(&stop.path));
        put!(page, "<td>{}</td></tr>", escape(&typeset(&place_and_time(&stop.alarm))));
    }
    put!(page, "</tbody>\n</table>\n</div>");
    let more = shift.stop_count.saturating_sub(shift.stops.len() as u64);
    if more > 0 {
        put!(page, "<p>And {more} more, on the pages of the logs.</p>");
    }
    put!(page, "</section>");
}

fn machines(page: &mut String, shift: &Shift) {
    put!(page, "<section aria-labelledby=\"machines-title\">\n<h2 id=\"machines-title\">By machine</h2>");
    let titles = ["Machine", "Joints", "Proven", "Broken", "Not proven", "Not judged"];
    table(page, "Joints by machine, as far as it is known", &titles);
    for (machine, tally) in &shift.machines {
        put!(page, "<tr><th scope=\"row\">{}</th>", escape(machine.as_deref().unwrap_or("not known")));
        for number in [tally.joints, tally.proven, tally.broken, tally.not_proven, tally.not_judged] {
            put!(page, "<td>{number}</td>");
        }
        put!(page, "</tr>");
    }
    put!(page, "</tbody>\n</table>\n</div>\n</section>");
}

fn rules(page: &mut String, shift: &Shift) {
    if shift.rules.is_empty() {
        return;
    }
    put!(page, "<section aria-labelledby=\"rules-title\">\n<h2 id=\"rules-title\">By rule</h2>");
    let titles = ["Rule", "Broken", "Not proven", "Warned or stopped", "Stopped"];
    table(page, "Joints by rule", &titles);
    for (rule, tally) in &shift.rules {
        put!(page, "<tr><th scope=\"row\">{}</th>", rule.name());
        for number in [tally.broken, tally.not_proven, tally.alarmed, tally.stopped] {
            put!(page, "<td>{number}</td>");
        }
        put!(page, "</tr>");
    }
    put!(page, "</tbody>\n</table>\n</div>\n</section>");
}

/// Begins a table.
fn table(page: &mut String, caption: &str, titles: &[&str]) {
    put!(page, "<div class=\"scroll\" role=\"region\" aria-label=\"{caption}\" tabindex=\"0\">\n<table>");
    put!(page, "<caption>{caption}</caption>\n<thead><tr>");
    for title in titles {
        put!(page, "<th scope=\"col\">{title}</th>");
    }
    put!(page, "</tr></thead>\n<tbody>");
}
