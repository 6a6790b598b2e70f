//! What a trial came to, for people and for machines.
//!
//! Decides: what stands where. The verdict first, then the rules, then what to check.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: counts.

mod against;
mod effect;
mod json;
mod missed;
mod proposal;
mod results;
mod score_json;
mod table;

pub use json::json;
pub use proposal::why;
pub use results::{Against, Proposed, Results};
pub use table::markdown;

use super::style::{BAD, BOLD, FAINT, GOOD, line};
use crate::output::printable;
use crate::raw::seconds;
use crate::trial::pass::Told;
use crate::trial::score::{RuleScore, at_most_per_hour};
use bandward::Rule;
use table::{HEADS, LEGEND, aligned, cells, rule_rows};

/// More settings than this are not listed one by one.
const LISTED: usize = 40;
/// More false alarms, and more misses, of a rule are not told with their place.
const TOLD: usize = 5;

/// The whole trial as text.
pub fn text(results: &Results<'_>) -> String {
    let mut text = String::new();
    let sums = results.sums;
    line!(
        &mut text,
        "{BOLD}{}{BOLD:#}: {} {}, {:.2} h, {:.2} h of them without fault",
        results.title,
        sums.traces,
        if sums.traces == 1 { "trace" } else { "traces" },
        seconds(sums.duration_us) / 3600.0,
        sums.sound_hours()
    );
    line!(
        &mut text,
        "{FAINT}minimum severity: `{}`; a fault may be found up to {} s after its end{FAINT:#}",
        results.severity.name(),
        results.grace_s
    );
    line!(&mut text, "");
    verdict(&mut text, results);
    line!(&mut text, "");
    let rows = rule_rows(results);
    text.push_str(&aligned(&rows));
    line!(&mut text, "{FAINT}{LEGEND}{FAINT:#}");
    told(&mut text, results);
    without_rule(&mut text, results);
    if !results.sweeps.is_empty() {
        sweep(&mut text, results);
    }
    if let Some(proposed) = &results.proposed {
        proposal::text(&mut text, results, proposed);
    }
    if let Some(other) = &results.against {
        against::text(&mut text, results, other);
    }
    text
}

fn verdict(text: &mut String, results: &Results<'_>) {
    let all = results.as_it_is();
    let (hits, judged) = (all.hits(), all.judged());
    match all.missed() {
        0 if judged == 0 => line!(text, "{BOLD}No fault to be found.{BOLD:#}"),
        0 if judged == 1 => line!(text, "{GOOD}The only fault found.{GOOD:#}"),
        0 => line!(text, "{GOOD}All {judged} faults found.{GOOD:#}"),
        missed => line!(text, "{BAD}{missed} of {judged} faults missed{BAD:#}, {hits} found."),
    }
    if let (Some(median_s), Some(most_s)) = (all.delay_s(0.5), all.delay_s(0.95)) {
        line!(text, "Time to find: median {median_s:.2} s, 95 % within {most_s:.2} s.");
    }
    if let (Some(median_s), Some(most_s)) = (all.stop_delay_s(0.5), all.stop_delay_s(0.95)) {
        line!(
            text,
            "Time to stop, where there was a stop: median {median_s:.2} s, 95 % within {most_s:.2} s."
        );
    }
    if all.only_warned() > 0 {
        line!(text, "{BAD}Told only as a warning, no stop{BAD:#}: {}.", all.only_warned());
    }
    if all.stood_already() > 0 {
        line!(
            text,
            "Stood already when the fault began, and found it with a delay of 0: {}.",
            all.stood_already()
        );
    }
    if let Some(mean_s) = all.mean_delay_s().filter(|_| all.missed() > 0) {
        line!(text, "Mean with the missed faults up to the end of their grace: {mean_s:.2} s or more.");
    }
    let stops = all.of_stops(true);
    if let Some(share) = stops.share() {
        line!(
            text,
            "{} of {} stop faults found (95 % confidence: {:.0} to {:.0} %).",
            stops.hits(),
            stops.judged(),
            share.low_percent(),
            share.high_percent()
        );
    }
    if all.not_judged() > 0 {
        line!(
            text,
            "{BAD}{} more could not be judged{BAD:#}: no range, no channel, or sampled too slowly; each costs as much \
             as a missed one.",
            all.not_judged()
        );
    }
    line!(text, "{}", false_alarms(&all, results.sums.sound_us, results.wish.budget_per_hour));
}

/// How many false alarms there were, what that tells, and whether it can be lived with.
fn false_alarms(all: &RuleScore, sound_us: u64, budget_per_hour: f64) -> String {
    let hours = sound_us as f64 / 3.6e9;
    if sound_us == 0 {
        return "No time without fault: nothing can be said about false alarms.".to_owned();
    }
    let count = all.false_alarms;
    let rate = count as f64 / hours;
    let at_most = at_most_per_hour(count, hours);
    let (style, words, doubt) = if rate > budget_per_hour {
        (BAD, "over the budget", "")
    } else if at_most > budget_per_hour {
        (GOOD, "within the budget", ", but more hours are needed to be sure of it")
    } else {
        (GOOD, "within the budget", "")
    };
    format!(
        "{count} false alarms in {hours:.2} h, {rate:.2} an hour, with 95 % confidence at most {at_most:.2}: \
         {style}{words}{style:#} of {budget_per_hour}{doubt}."
    )
}

/// The first false alarms and misses of each rule, with their place.
fn told(text: &mut String, results: &Results<'_>) {
    for rule in Rule::ALL {
        let score = results.sums.as_it_is(rule);
        let counts = [
            ("false alarm", score.false_alarms),
            ("missed", score.missed()),
            ("not judged", score.not_judged()),
        ];
        for (what, count) in counts {
            let of_rule = |(_, told): &&(String, Told)| told.rule == rule && missed::what(told) == what;
            let of_rule: Vec<_> = results.told.iter().filter(of_rule).take(TOLD).collect();
            let name = if what == "false alarm" { "false" } else { what };
            for (index, (trace, told)) in of_rule.iter().enumerate() {
                let lead = if index == 0 { "\n" } else { "" };
                let channel =
                    told.channel.map(|channel| format!(" ({})", channel.name())).unwrap_or_default();
                let time_s = seconds(told.time_us);
                line!(text, "{lead}{name} {}{channel} at {time_s:.2} s of {trace}", rule.name());
                if let Some(missed) = &told.missed {
                    line!(text, "    {FAINT}{}{FAINT:#}", missed::words(told, missed, results.system));
                }
            }
            let more = count.saturating_sub(of_rule.len() as u64);
            if more > 0 && !of_rule.is_empty() {
                line!(text, "{FAINT}and {more} more {name} {}{FAINT:#}", rule.name());
            }
        }
    }
}

/// What was wrong that no rule is about: no rule can miss it.
fn without_rule(text: &mut String, results: &Results<'_>) {
    let spans = &results.without_rule;
    if spans.is_empty() {
        return;
    }
    let length_s: f64 =
        spans.iter().map(|(_, mark)| seconds(mark.end_us.saturating_sub(mark.start_us))).sum();
    line!(
        text,
        "\n{} marked without a rule, {length_s:.2} s together: no rule is about them, and alarms within count as \
         secondary",
        if spans.len() == 1 { "1 span".to_owned() } else { format!("{} spans", spans.len()) }
    );
    for (trace, mark) in spans.iter().take(TOLD) {
        let kind = mark.kind.as_deref().map(|kind| format!("{}: ", printable(kind))).unwrap_or_default();
        line!(text, "  {kind}{:.2} to {:.2} s of {trace}", seconds(mark.start_us), seconds(mark.end_us));
    }
    if spans.len() > TOLD {
        line!(text, "{FAINT}and {} more{FAINT:#}", spans.len() - TOLD);
    }
}

fn sweep(text: &mut String, results: &Results<'_>) {
    let points = &results.plan.points;
    let about = results.about.iter().map(Rule::name).collect::<Vec<_>>().join(", ");
    line!(text, "");
    line!(text, "{BOLD}{} settings{BOLD:#}, scores of {about}", points.len());
    if points.iter().all(|point| results.at(point).is_empty()) {
        line!(
            text,
            "No fault of {about} in these traces, and no alarm with any of the settings: they tell nothing of them."
        );
        return;
    }
    let listed: Vec<_> = if points.len() <= LISTED {
        points.iter().map(|point| (point, results.at(point))).collect()
    } else {
        line!(
            text,
            "{FAINT}listed are those that no other beats in misses, false alarms and mean delay{FAINT:#}"
        );
        results.front().into_iter().take(LISTED).collect()
    };
    let tunables = results.sweeps.iter().map(|sweep| sweep.tunable.to_string());
    let heads = tunables.chain(HEADS.map(str::to_owned)).chain([String::new()]).collect();
    let mut rows: Vec<Vec<String>> = vec![heads];
    for (point, score) in listed {
        let values = point.values.iter().map(|(tunable, value)| tunable.show(*value, results.system));
        let marks = [
            results.is_present(point).then(|| "as it is".to_owned()),
            (score.only_warned() > 0).then(|| format!("no stop: {}", score.only_warned())),
        ];
        let marks = marks.into_iter().flatten().collect::<Vec<_>>().join(", ");
        rows.push(values.chain(cells(&score, results.sums)).chain([marks]).collect());
    }
    text.push_str(&aligned(&rows));
    if points.iter().any(|point| results.at(point).only_warned() > 0) {
        line!(
            text,
            "{FAINT}no stop: the present procedure stops for so many faults that this setting only warns of; they \
             count as missed. By itself a procedure with it would find them.{FAINT:#}"
        );
    }
}
