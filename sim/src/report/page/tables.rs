//! The alarms, the bands, and what was not judged, as tables.
//!
//! Decides: which columns there are.
//! Assumes: nothing.
//! Never: leaves an alarm uncounted.

use super::html::{escape, put};
use super::traces::link;
use crate::alarm::Alarm;
use crate::report::Report;
use crate::report::model::alarms::{first_and_worst, measured, not_shown, place_and_time};
use crate::report::model::bands::{COLUMNS, ESTIMATES, cell, has_estimates};
use crate::report::model::chart::stood;
use crate::report::model::coverage::reasons_not_judged;
use crate::report::model::meaning::meaning;
use crate::report::model::strip::sign;
use crate::report::model::verdict::of_band;
use crate::report::model::words::typeset;
use bandward::Outcome;
use bandward::rule::RuleSet;
use bandward::{BandRecord, Channel, Rule};

/// More alarms, or bands, than this are counted, not listed.
const LISTED: usize = 500;

/// What alarms there were.
pub fn alarms(page: &mut String, report: &Report<'_>) {
    let alarms = &report.replay.alarms;
    put!(
        page,
        "<section id=\"alarms\" aria-labelledby=\"alarms-title\">\n<h2 id=\"alarms-title\">Alarms</h2>"
    );
    if alarms.is_empty() {
        put!(page, "<p>No alarms.</p>\n</section>");
        return;
    }
    put!(page, "<div class=\"scroll\" role=\"region\" aria-label=\"Alarms\" tabindex=\"0\">\n<table>");
    put!(
        page,
        "<caption>{}, in the order they were raised; angles count from the start of the band</caption>",
        if alarms.len() > LISTED { "The first and the worst alarms" } else { "Every alarm" }
    );
    put!(page, "<thead><tr>");
    for title in ["Severity", "Rule", "Where and when", "Worst value", "What it means"] {
        put!(page, "<th scope=\"col\">{title}</th>");
    }
    put!(page, "<th scope=\"col\" class=\"zoom\">Trace</th></tr></thead>\n<tbody>");
    let shown = first_and_worst(alarms, LISTED, |alarm| alarm.severity);
    for &index in &shown {
        alarm_row(page, report, index, &alarms[index]);
    }
    put!(page, "</tbody>\n</table>\n</div>");
    if alarms.len() > LISTED {
        let (more, where_to) = (alarms.len() - shown.len(), not_shown(alarms, &shown));
        put!(page, "<p>And {more} more: {where_to}; replay with --json lists all.</p>");
    }
    put!(page, "</section>");
}

fn alarm_row(page: &mut String, report: &Report<'_>, index: usize, alarm: &Alarm) {
    let name = alarm.severity.name();
    let channel = alarm.channel.map_or(String::new(), |channel| format!(" ({})", Channel::name(channel)));
    put!(
        page,
        "<tr id=\"alarm-{index}\"><td><span class=\"tag {name}\">{} {name}</span></td>",
        sign(alarm.severity)
    );
    put!(page, "<th scope=\"row\">{}{channel}</th>", alarm.rule.name());
    put!(page, "<td>{}</td>", typeset(&place_and_time(alarm)));
    let value = measured(alarm, report.system);
    put!(page, "<td>{}</td>", typeset(value.trim_end_matches("; ")));
    put!(page, "<td>{}</td>", meaning(alarm.rule));
    let (from_s, to_s) = stood(report, alarm);
    let label = format!("Show {} of alarm {} in the traces", alarm.rule.name(), index + 1);
    put!(page, "<td class=\"zoom\">{}</td></tr>", link(report, from_s, to_s, &label));
}

/// Every band in figures.
pub fn bands(page: &mut String, report: &Report<'_>) {
    let bands = &report.replay.bands;
    put!(page, "<section id=\"bands\" aria-labelledby=\"bands-title\">\n<h2 id=\"bands-title\">Bands</h2>");
    if bands.is_empty() {
        put!(page, "<p>No band was found.</p>\n</section>");
        return;
    }
    let columns: Vec<_> = COLUMNS
        .iter()
        .filter(|column| bands.iter().any(|band| cell(column, band, report.system) != "-"))
        .collect();
    put!(
        page,
        "<div class=\"scroll\" role=\"region\" aria-label=\"Bands\" tabindex=\"0\">\n<table class=\"figures\">"
    );
    let estimates = if has_estimates(bands) { format!("; {ESTIMATES}") } else { String::new() };
    put!(
        page,
        "<caption>Every band: means over the band, and its verdict; –: there is no value{estimates}</caption>\n<thead><tr>"
    );
    put!(page, "<th scope=\"col\">band</th><th scope=\"col\">verdict</th>");
    for column in columns.iter().skip(1) {
        put!(page, "<th scope=\"col\">{}</th>", column.title);
    }
    put!(page, "</tr></thead>\n<tbody>");
    for band in bands.iter().take(LISTED) {
        put!(page, "<tr><th scope=\"row\">{}</th><td>{}</td>", band.band, band_verdict(band));
        for column in columns.iter().skip(1) {
            let text = typeset(&cell(column, band, report.system));
            put!(page, "<td>{}</td>", if text == "-" { "–".to_owned() } else { escape(&text) });
        }
        put!(page, "</tr>");
    }
    put!(page, "</tbody>\n</table>\n</div>");
    if bands.len() > LISTED {
        put!(page, "<p>And {} more; replay with --json lists all.</p>", bands.len() - LISTED);
    }
    put!(page, "</section>");
}

fn band_verdict(band: &BandRecord) -> String {
    let names = |rules: RuleSet| rules.iter().map(Rule::name).collect::<Vec<_>>().join(", ");
    let (words, rules) = of_band(band);
    let (class, sign) = match band.outcome {
        Outcome::NotAsked => ("", "?"),
        Outcome::Proven => ("good", "✓"),
        Outcome::NotProven => ("unproven", "!"),
        Outcome::Broken => ("warn", "✕"),
    };
    let advised =
        if band.advised.is_empty() { String::new() } else { format!("; advisory: {}", names(band.advised)) };
    format!("<span class=\"tag {class}\">{sign} {words}</span> {}{advised}", names(rules))
}

/// What the verdict does not cover.
pub fn not_judged(page: &mut String, report: &Report<'_>) {
    let reasons = reasons_not_judged(report.replay);
    put!(page, "<section id=\"not-judged\" aria-labelledby=\"not-judged-title\">");
    put!(page, "<h2 id=\"not-judged-title\">What was not judged</h2>");
    if reasons.is_empty() {
        put!(page, "<p>Every rule that applied was judged.</p>\n</section>");
        return;
    }
    put!(
        page,
        "<div class=\"scroll\" role=\"region\" aria-label=\"What was not judged\" tabindex=\"0\">\n<table>"
    );
    put!(page, "<caption>Rules the verdict says nothing about, for all or part of the trace</caption>");
    put!(page, "<thead><tr><th scope=\"col\">Why</th><th scope=\"col\">Rules</th></tr></thead>\n<tbody>");
    for (reason, rules) in reasons {
        put!(page, "<tr><th scope=\"row\">{}</th><td>{}</td></tr>", escape(&reason), rules.join(", "));
    }
    put!(page, "</tbody>\n</table>\n</div>\n</section>");
}
