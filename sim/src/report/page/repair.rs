//! The repair list, to take to the joint.
//!
//! Decides: the columns of the table; the last is empty, for whoever did it.
//! Never: leaves a repair out uncounted.

use super::html::{escape, put};
use crate::report::Report;
use crate::report::model::repair::{FIRST, along, band, place, side, why};
use crate::report::model::words::typeset;

/// More repairs than this are counted, not listed.
const LISTED: usize = 500;

/// The section; nothing where nothing is to be repaired.
pub fn section(page: &mut String, report: &Report<'_>) {
    let repairs = &report.replay.dossier.repairs;
    if repairs.is_empty() {
        return;
    }
    let has_joints = report.replay.joints.len() > 1;
    put!(page, "<section id=\"repairs\" aria-labelledby=\"repairs-title\">");
    put!(page, "<h2 id=\"repairs-title\">Repair list</h2>\n<p>{FIRST}</p>");
    put!(page, "<div class=\"scroll\" role=\"region\" aria-label=\"Repair list\" tabindex=\"0\">\n<table>");
    put!(
        page,
        "<caption>Bad stretches, round from the tie-in in the direction of travel, along the top of the band</caption>"
    );
    put!(page, "<thead><tr>");
    for title in ["Band", "Where", "Why", "What to do", "Done by, date"] {
        put!(page, "<th scope=\"col\">{title}</th>");
    }
    put!(page, "</tr></thead>\n<tbody>");
    for repair in repairs.iter().take(LISTED) {
        let along = along(repair, report.system).map(|along| format!("; {along}")).unwrap_or_default();
        let side = side(repair).map(|side| format!("; {side}")).unwrap_or_default();
        put!(page, "<tr><th scope=\"row\">{}</th>", band(repair, has_joints));
        put!(page, "<td>{}</td>", typeset(&escape(&format!("{}{along}{side}", place(repair)))));
        put!(page, "<td>{}</td><td>", escape(&why(repair)));
        for action in &repair.actions {
            put!(page, "<p>{}: {}</p>", escape(&action.defect), escape(&action.what_to_do));
        }
        put!(page, "</td><td></td></tr>");
    }
    put!(page, "</tbody>\n</table>\n</div>");
    if repairs.len() > LISTED {
        put!(page, "<p>And {} more; replay with --json lists all.</p>", repairs.len() - LISTED);
    }
    put!(page, "</section>");
}
