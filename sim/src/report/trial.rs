//! What a trial came to, for people and for machines.
//!
//! Decides: what stands where. The verdict first, then the rules, then what to look at.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: counts.

mod json;
mod proposal;

pub use json::json;

use super::style::{BAD, BOLD, FAINT, GOOD, line};
use crate::input::quantity::UnitSystem;
use crate::replay::seconds;
use crate::trial::Sums;
use crate::trial::knob::{Knob, Sweep};
use crate::trial::pass::Told;
use crate::trial::plan::{Plan, Point};
use crate::trial::score::{RuleScore, at_most_per_hour};
use bandward::rule::RuleSet;
use bandward::{Procedure, Rule, Severity};

/// More settings than this are not listed one by one.
const LISTED: usize = 40;

/// Everything a trial came to.
pub struct Results<'a> {
    /// The procedure, for people.
    pub title: String,
    /// The procedure that was tried.
    pub procedure: &'a Procedure,
    /// The units it is shown in.
    pub system: UnitSystem,
    /// Alarms count from here.
    pub severity: Severity,
    /// How long after its end a fault may be found, s.
    pub grace_s: f64,
    /// False alarms an hour that can be lived with.
    pub budget_per_hour: f64,
    /// All traces together.
    pub sums: &'a Sums,
    /// What was run.
    pub plan: &'a Plan,
    /// What was swept.
    pub sweeps: &'a [Sweep],
    /// Misses and false alarms, with their trace.
    pub told: Vec<(String, Told)>,
    /// What is proposed.
    pub proposal: Option<&'a Proposal>,
}

/// Other settings, and how they do.
pub struct Proposal {
    /// The values that differ, in house units.
    pub values: Vec<(Knob, f64)>,
    /// The present settings and, if any differ, the proposed ones as its point.
    pub plan: Plan,
    /// The traces they were fitted on.
    pub fit: Sums,
    /// The others.
    pub held: Sums,
}

impl Results<'_> {
    /// All rules together, with the procedure as it is.
    pub fn as_it_is(&self) -> RuleScore {
        Sums::together(Rule::ALL.into_iter().map(|rule| self.sums.as_it_is(rule)))
    }
    /// Was every fault found, and are false alarms within the budget?
    pub fn is_good(&self) -> bool {
        let all = self.as_it_is();
        all.missed == 0 && all.false_alarms as f64 <= self.budget_per_hour * self.sums.sound_hours()
    }
    /// The rules whose alarms the sweeps change.
    pub fn swept_rules(&self) -> RuleSet {
        if self.sweeps.iter().any(|sweep| sweep.knob.reaches_samples()) {
            return Rule::ALL.into_iter().fold(RuleSet::EMPTY, RuleSet::with);
        }
        let named = self.sweeps.iter().map(|sweep| sweep.knob.rule);
        named
            .chain(self.plan.lanes.iter().map(|(_, setting)| setting.rule()))
            .fold(RuleSet::EMPTY, RuleSet::with)
    }
    /// How the rules that the sweeps change do with one of the settings.
    pub fn at(&self, point: &Point) -> RuleScore {
        Sums::together(self.swept_rules().iter().map(|rule| self.sums.at(self.plan, point, rule)))
    }
    /// Are these the values of the procedure?
    pub fn is_present(&self, point: &Point) -> bool {
        let pairs = self.sweeps.iter().zip(&point.values);
        pairs.into_iter().all(|(sweep, value)| {
            sweep.knob.value(self.procedure).is_some_and(|present| (present - value).abs() < 1e-3)
        })
    }
    /// The settings that no other beats in misses, false alarms and mean delay.
    pub fn front(&self) -> Vec<(&Point, RuleScore)> {
        let mut all: Vec<_> = self.plan.points.iter().map(|point| (point, self.at(point))).collect();
        let key = |score: &RuleScore| (score.missed, score.false_alarms, score.mean_delay_s().unwrap_or(0.0));
        all.sort_by(|(_, one), (_, other)| {
            let (one, other) = (key(one), key(other));
            (one.0, one.1).cmp(&(other.0, other.1)).then(one.2.total_cmp(&other.2))
        });
        let mut front: Vec<(&Point, RuleScore)> = Vec::new();
        for (point, score) in all {
            let (missed, false_alarms, late_s) = key(&score);
            let is_beaten = front.iter().any(|(_, other)| {
                let other = key(other);
                other.0 <= missed && other.1 <= false_alarms && other.2 <= late_s
            });
            if !is_beaten {
                front.push((point, score));
            }
        }
        front
    }
}

/// The whole trial as text.
pub fn text(results: &Results<'_>) -> String {
    let mut text = String::new();
    let sums = results.sums;
    line!(
        &mut text,
        "{BOLD}{}{BOLD:#}: {} traces, {:.2} h, {:.2} h of them without fault",
        results.title,
        sums.traces,
        seconds(sums.duration_us) / 3600.0,
        sums.sound_hours()
    );
    line!(
        &mut text,
        "{FAINT}alarms count from `{}`; a fault may be found up to {} s after its end{FAINT:#}",
        results.severity.name(),
        results.grace_s
    );
    line!(&mut text, "");
    verdict(&mut text, results);
    line!(&mut text, "");
    let rows = rule_rows(results);
    text.push_str(&aligned(&rows));
    told(&mut text, results);
    if !results.sweeps.is_empty() {
        sweep(&mut text, results);
    }
    if let Some(proposal) = results.proposal {
        proposal::text(&mut text, results, proposal);
    }
    text
}

fn verdict(text: &mut String, results: &Results<'_>) {
    let all = results.as_it_is();
    let (hits, judged) = (all.hits(), all.hits() + all.missed);
    match all.missed {
        0 if judged == 0 => line!(text, "{BOLD}No fault to be found.{BOLD:#}"),
        0 => line!(text, "{GOOD}All {judged} faults found.{GOOD:#}"),
        missed => line!(text, "{BAD}{missed} of {judged} faults missed{BAD:#}, {hits} found."),
    }
    if all.not_judged > 0 {
        line!(
            text,
            "{} more could not be judged: no range, no channel, or sampled too slowly.",
            all.not_judged
        );
    }
    line!(text, "{}", false_alarms(&all, results.sums, results.budget_per_hour));
}

/// How many false alarms there were, what that tells, and whether it can be lived with.
fn false_alarms(all: &RuleScore, sums: &Sums, budget_per_hour: f64) -> String {
    let hours = sums.sound_hours();
    if sums.sound_us == 0 {
        return "No time without fault: nothing can be said about false alarms.".to_owned();
    }
    let count = all.false_alarms;
    let rate = count as f64 / hours;
    let (style, words) =
        if rate <= budget_per_hour { (GOOD, "within the budget") } else { (BAD, "over the budget") };
    format!(
        "{count} false alarms in {hours:.2} h, {rate:.2} an hour, with 95 % confidence at most {:.2}: \
         {style}{words}{style:#} of {budget_per_hour}.",
        at_most_per_hour(count, hours)
    )
}

const HEADS: [&str; 9] =
    ["faults", "found", "missed", "not judged", "false/h", "median s", "95 % s", "again", "beside"];

fn cells(score: &RuleScore, sums: &Sums) -> Vec<String> {
    let dash = || "-".to_owned();
    let count = |count: u64| if count == 0 { dash() } else { count.to_string() };
    let delay = |share| score.delay_s(share).map_or_else(dash, |delay_s| format!("{delay_s:.2}"));
    let rate = score.false_alarms as f64 / sums.sound_hours();
    let rate = if score.false_alarms == 0 { dash() } else { format!("{rate:.2}") };
    vec![
        count(score.faults()),
        count(score.hits()),
        count(score.missed),
        count(score.not_judged),
        rate,
        delay(0.5),
        delay(0.95),
        count(score.repeats),
        count(score.beside),
    ]
}

fn rule_rows(results: &Results<'_>) -> Vec<Vec<String>> {
    let row = |name: &str, score: &RuleScore| [vec![name.to_owned()], cells(score, results.sums)].concat();
    let heads = std::iter::once("rule").chain(HEADS).map(str::to_owned).collect();
    let rules = Rule::ALL.into_iter().filter(|&rule| !results.sums.as_it_is(rule).is_empty());
    let rows = rules.map(|rule| row(rule.name(), results.sums.as_it_is(rule)));
    std::iter::once(heads).chain(rows).chain([row("all", &results.as_it_is())]).collect()
}

/// The first column to the left, the others to the right.
fn aligned(rows: &[Vec<String>]) -> String {
    let columns = rows.first().map_or(0, Vec::len);
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<_> = (0..columns).map(width).collect();
    let mut text = String::new();
    for row in rows {
        let padded = row.iter().zip(&widths).enumerate().map(|(column, (cell, &width))| {
            if column == 0 { format!("{cell:width$}") } else { format!("{cell:>width$}") }
        });
        line!(&mut text, "{}", padded.collect::<Vec<_>>().join("  ").trim_end());
    }
    text
}

/// The rules as a table for a page in Markdown.
pub fn markdown(results: &Results<'_>) -> String {
    let rows = rule_rows(results);
    let mut text = String::new();
    for (index, row) in rows.iter().enumerate() {
        line!(&mut text, "| {} |", row.join(" | "));
        if index == 0 {
            line!(&mut text, "|---|{}", "---:|".repeat(row.len() - 1));
        }
    }
    line!(&mut text, "");
    let sums = results.sums;
    let hours = sums.sound_hours();
    let count = results.as_it_is().false_alarms;
    line!(
        &mut text,
        "{} traces, {} samples, {:.2} h, {hours:.2} h of them without fault; {count} false alarms, with 95 % \
         confidence at most {:.2} an hour.",
        sums.traces,
        sums.samples,
        seconds(sums.duration_us) / 3600.0,
        at_most_per_hour(count, hours)
    );
    text
}

fn told(text: &mut String, results: &Results<'_>) {
    if results.told.is_empty() {
        return;
    }
    line!(text, "");
    for (trace, told) in results.told.iter().take(LISTED) {
        let what = if told.is_false_alarm { "false" } else { "missed" };
        let channel = told.channel.map(|channel| format!(" ({})", channel.name())).unwrap_or_default();
        line!(text, "{what} {}{channel} at {:.2} s of {trace}", told.rule.name(), seconds(told.time_us));
    }
    if results.told.len() > LISTED {
        line!(text, "{FAINT}and {} more{FAINT:#}", results.told.len() - LISTED);
    }
}

fn sweep(text: &mut String, results: &Results<'_>) {
    let points = &results.plan.points;
    let rules = results.swept_rules();
    let about = if rules.iter().count() == Rule::COUNT {
        "all rules".to_owned()
    } else {
        rules.iter().map(Rule::name).collect::<Vec<_>>().join(", ")
    };
    line!(text, "");
    line!(text, "{BOLD}{} settings{BOLD:#}, scores of {about}", points.len());
    let listed: Vec<_> = if points.len() <= LISTED {
        points.iter().map(|point| (point, results.at(point))).collect()
    } else {
        line!(
            text,
            "{FAINT}listed are those that no other beats in misses, false alarms and mean delay{FAINT:#}"
        );
        results.front().into_iter().take(LISTED).collect()
    };
    let knobs = results.sweeps.iter().map(|sweep| sweep.knob.to_string());
    let heads = knobs.chain(HEADS.map(str::to_owned)).chain([String::new()]).collect();
    let mut rows: Vec<Vec<String>> = vec![heads];
    for (point, score) in listed {
        let pairs = results.sweeps.iter().zip(&point.values);
        let values = pairs.map(|(sweep, value)| sweep.knob.show(*value, results.system));
        let mark = if results.is_present(point) { "as it is" } else { "" };
        rows.push(values.chain(cells(&score, results.sums)).chain([mark.to_owned()]).collect());
    }
    text.push_str(&aligned(&rows));
}
