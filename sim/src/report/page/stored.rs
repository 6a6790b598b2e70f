//! A joint out of a register as one page, where its log is not there.
//!
//! Decides: what can be shown without the log: verdict, bands, alarms, causes, hashes; no trace, no unrolled joint.
//! Assumes: a record as `replay --json` printed it; what is missing in an older one is left out.
//! Never: makes up what only the log knows.

use super::html::{begin, escape, put};
use crate::register::{Document, Stored};
use crate::report::register::document;
use anstream::adapter::strip_str;
use serde_json::Value;

/// The page, as HTML; `why` says why the log is not in it.
pub fn page(stored: &Stored, text: &str, why: &str) -> String {
    let record = &stored.record;
    let name = name(stored);
    let mut page = String::with_capacity(1 << 16);
    let standing = stored.standing();
    let outcome = standing.map_or("not proven", |standing| standing.outcome.as_str());
    begin(&mut page, &format!("{name}: {outcome}"), &[include_str!("style.css")], false);
    put!(page, "<header>\n<p class=\"kind\">Hardbanding joint, from the register</p>");
    put!(page, "<h1>{}</h1>\n</header>\n<main id=\"main\">", escape(&name));
    verdict(&mut page, outcome, why);
    recorded(&mut page, standing.map(|standing| &standing.recorded[..]).unwrap_or_default());
    put!(page, "<section aria-labelledby=\"told\"><h2 id=\"told\">As it was recorded</h2>");
    put!(page, "<div class=\"scroll\" role=\"region\" aria-label=\"As it was recorded\" tabindex=\"0\">");
    put!(page, "<pre>{}</pre>\n</div>\n</section>", escape(text));
    table(&mut page, "Bands", &of_joint(stored, "bands"), &BANDS);
    table(&mut page, "Alarms", &of_joint(stored, "alarms"), &ALARMS);
    table(&mut page, "Likely causes", &of_joint(stored, "findings"), &FINDINGS);
    hashes(&mut page, stored, record);
    put!(page, "</main>\n</body>\n</html>");
    page
}

fn joint(stored: &Stored) -> &Value {
    let is_it = |joint: &&Value| joint["joint"].as_i64() == Some(stored.joint);
    let joints = stored.record["joints"].as_array();
    joints.and_then(|joints| joints.iter().find(is_it)).unwrap_or(&Value::Null)
}

/// The serial, where there is one; else the log and which joint of it.
fn name(stored: &Stored) -> String {
    let joint = joint(stored);
    let told = |key: &str| joint[key].as_str().or_else(|| stored.record["context"][key].as_str());
    match (told("serial"), told("end")) {
        (Some(serial), Some(end)) => format!("{serial}, {end}"),
        (Some(serial), None) => serial.to_owned(),
        _ => format!("{}, joint {}", stored.record["trace"]["path"].as_str().unwrap_or("log"), stored.joint),
    }
}

fn of_joint<'s>(stored: &'s Stored, key: &str) -> Vec<&'s Value> {
    let own = |row: &&Value| row["joint"].as_i64() == Some(stored.joint);
    stored.record[key].as_array().into_iter().flatten().filter(own).collect()
}

fn verdict(page: &mut String, outcome: &str, why: &str) {
    let (class, sign, words) = match outcome {
        "proven" => ("within", "✓", "WITHIN THE PROCEDURE"),
        "not proven" => ("unproven", "!", "NOT PROVEN"),
        "broken" => ("outside", "✕", "OUTSIDE THE PROCEDURE"),
        _ => ("open", "?", "NOT JUDGED"),
    };
    put!(page, "<section class=\"verdict {class}\" aria-labelledby=\"verdict\">");
    put!(page, "<span class=\"sign\" aria-hidden=\"true\">{sign}</span>\n<div>");
    put!(page, "<h2 id=\"verdict\">{words}</h2>");
    put!(
        page,
        "<p>From the register alone: {}. Traces and the unrolled joint need the log.</p>",
        escape(why)
    );
    put!(page, "</div>\n</section>");
}

/// Setups and inspections that count for it besides its judgement.
fn recorded(page: &mut String, documents: &[Document]) {
    if documents.is_empty() {
        return;
    }
    put!(page, "<section aria-labelledby=\"counts\"><h2 id=\"counts\">Recorded for this joint</h2>\n<ul>");
    for one in documents {
        let words = strip_str(&document(one)).to_string();
        put!(page, "<li>{}; recorded {}</li>", escape(&words), escape(&one.added_at));
    }
    put!(page, "</ul>\n<p>What stands below is its judgement alone.</p>\n</section>");
}

/// A title and the keys that lead to a cell.
type Column = (&'static str, &'static [&'static str]);

const BANDS: [Column; 12] = [
    ("band", &["band"]),
    ("outcome", &["outcome"]),
    ("start s", &["start_s"]),
    ("turns", &["turns"]),
    ("turn time s", &["turn_time_s"]),
    ("overlap deg", &["overlap_deg"]),
    ("current A", &["current_a", "mean"]),
    ("voltage V", &["voltage_v", "mean"]),
    ("gas L/min", &["gas_lpm", "mean"]),
    ("weave width mm", &["weave_width_mm"]),
    ("step-over mm", &["step_over_mm"]),
    ("height mm", &["band_height_mm"]),
];
const ALARMS: [Column; 8] = [
    ("severity", &["severity"]),
    ("rule", &["rule"]),
    ("band", &["band"]),
    ("turn", &["turn"]),
    ("at deg", &["clock_deg"]),
    ("raised s", &["raised_s"]),
    ("cleared s", &["cleared_s"]),
    ("worst", &["worst"]),
];
const FINDINGS: [Column; 5] = [
    ("cause", &["cause"]),
    ("score", &["score"]),
    ("band", &["band"]),
    ("what", &["words"]),
    ("check", &["look_at"]),
];

fn table(page: &mut String, title: &str, rows: &[&Value], columns: &[Column]) {
    let id = title.to_lowercase().replace(' ', "-");
    put!(page, "<section aria-labelledby=\"{id}\"><h2 id=\"{id}\">{title}</h2>");
    if rows.is_empty() {
        put!(page, "<p>None.</p></section>");
        return;
    }
    put!(
        page,
        "<div class=\"scroll\" role=\"region\" aria-label=\"{title}\" tabindex=\"0\">\n<table><thead><tr>"
    );
    for (title, _) in columns {
        put!(page, "<th scope=\"col\">{title}</th>");
    }
    put!(page, "</tr></thead>\n<tbody>");
    for row in rows {
        put!(page, "<tr>");
        for (_, keys) in columns {
            let found = keys.iter().fold(*row, |value, key| &value[*key]);
            put!(page, "<td>{}</td>", escape(&cell(found)));
        }
        put!(page, "</tr>");
    }
    put!(page, "</tbody>\n</table>\n</div></section>");
}

fn cell(value: &Value) -> String {
    match value {
        Value::Null => "–".to_owned(),
        Value::String(text) => text.clone(),
        Value::Number(number) if number.is_f64() => {
            let text = format!("{:.3}", number.as_f64().unwrap_or_default());
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        }
        other => other.to_string(),
    }
}

fn hashes(page: &mut String, stored: &Stored, record: &Value) {
    let not_known = || "not known".to_owned();
    let rows = [
        ("Log", record["trace"]["path"].as_str().map_or_else(not_known, str::to_owned)),
        ("SHA-256 of the log", stored.log_sha256.clone()),
        ("Procedure file", stored.procedure.as_ref().map_or_else(not_known, |file| file.file.clone())),
        ("SHA-256 of the procedure", stored.procedure_sha256.clone().unwrap_or_else(not_known)),
        ("Recorded", format!("{} by bandward {}", stored.added_at, stored.program)),
        ("Number in the register", stored.id.to_string()),
        ("Made with", format!("bandward {}", env!("CARGO_PKG_VERSION"))),
    ];
    put!(page, "<section id=\"traceability\" aria-labelledby=\"traceability-title\">");
    put!(page, "<h2 id=\"traceability-title\">Traceability</h2>\n<table><tbody>");
    for (name, value) in rows {
        put!(page, "<tr><th scope=\"row\">{name}</th><td>{}</td></tr>", escape(&value));
    }
    put!(page, "</tbody>\n</table>\n<dl class=\"signature\" aria-label=\"Room for a signature\">");
    for line in ["Inspected by", "Date", "Decision"] {
        put!(page, "<div><dt>{line}</dt><dd></dd></div>");
    }
    put!(page, "</dl>\n</section>");
}
