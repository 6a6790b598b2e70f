//! From alarms and trends to likely causes.
//!
//! Decides: which causes of the [`table`] a trace calls for, how they rank, and the evidence.
//! Assumes: the core's alarms and bands, and the [histories](band_history) gathered beside it.
//! Never: changes a verdict; a finding is a hint where to look first.
//!
//! A cause is called for by an alarm of one of its rules, by flutter of current and voltage, or by a limit that was
//! not proven for a reason that tells what may be wrong. Its score starts at 1 (less for an alarm that only advises);
//! every sign of the table that is missing takes its share. Where no band broke anything, nothing warned and the angle
//! does not run the other way, nothing is likely wrong (a meter that does not move is a doubt, and may be a quiet one):
//! what there is of advice and flutter keeps its order, and no score is above three tenths. A score is no probability.
//!
//! A trace may make anything of a joint: looked at are its first 200 bands, each held against all others, and what calls
//! first, 4,000 times, 16 of them the same rule on the same band.

pub mod band_history;
mod case;
pub mod evidence;
mod flutter;
mod gathered;
mod half_cycles;
mod pattern;
mod seen;
mod series;
mod sign;
mod standing;
mod swing;
pub mod table;

use crate::alarm::Alarm;
use band_history::{BandHistory, Live};
use bandward::record::proof::{Proof, Why};
use bandward::{BandRecord, Channel, Procedure, Rule, Severity};
use case::{Caller, Case, Scene};
use evidence::Evidence;
use flutter::{Flutter, Quiet, flutters};
use gathered::Gathered;
use seen::ADVISED;
use series::Window;
use std::collections::HashMap;
use table::{Call, Cause, causes, telling};

/// A likely cause of what is wrong with a band.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Its name in the table.
    pub cause: &'static str,
    /// What it is, in words.
    pub words: &'static str,
    /// What to check first.
    pub look_at: &'static str,
    /// 0 to 1; larger is likelier. No probability.
    pub score: f64,
    /// What a person can check in the trace, the weightiest first.
    pub evidence: Vec<Evidence>,
    /// The joint, from 1.
    pub joint: u16,
    /// Where it is clearest.
    pub place: Place,
    /// Where it was called for in other bands, in their order.
    pub elsewhere: Vec<Place>,
}

/// Where a cause was called for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The band, from 1; 0 before the first.
    pub band: u16,
    /// Its score there.
    pub score: f64,
    /// When it began, µs.
    pub from_us: u64,
    /// When it was over, µs.
    pub to_us: u64,
    /// Where it began, degrees turned since the band began; 360 and more lie over its own start.
    pub from_deg: Option<f64>,
    /// Where it was over.
    pub to_deg: Option<f64>,
}

impl Finding {
    /// The other bands that it is told of, in their order: not those where it is much less clear.
    pub fn other_bands(&self) -> Vec<u16> {
        let is_clear = |place: &&Place| place.band > 0 && place.score >= CLEAR * self.score;
        let clear = self.elsewhere.iter().filter(is_clear);
        clear.map(|place| place.band).collect()
    }
    /// Every place, the clearest first.
    pub fn places(&self) -> impl Iterator<Item = &Place> {
        std::iter::once(&self.place).chain(&self.elsewhere)
    }
}

/// More bands of a joint are not looked at.
const MOST_BANDS: usize = 200;
/// So many alarms of a rule on a band call for causes.
const MOST_ALARMS: u16 = 16;
/// So many calls for causes are followed.
const MOST_CALLS: usize = 4_000;
/// Findings with a lower score are left out.
const LEAST_SCORE: f64 = 0.05;
/// The highest score of a joint with which nothing is wrong.
const NOTHING_WRONG: f64 = 0.3;
/// Share of its weight a sign takes that could not be judged.
const UNKNOWN: f64 = 0.5;
/// Signs seen less clearly than this are no evidence.
const CLEAR: f64 = 0.5;

/// The likely causes, most likely first.
pub fn find(
    procedure: &Procedure,
    records: &[BandRecord],
    alarms: &[Alarm],
    courses: &[BandHistory],
    live: &[Live; Channel::COUNT],
) -> Vec<Finding> {
    let is_wrong = records.iter().any(|band| {
        !band.violated.is_empty() || telling_reasons(band).any(|(_, why)| why == Why::SenseUnknown)
    }) || alarms.iter().any(|alarm| alarm.severity >= Severity::Warn);
    let courses = &courses[..courses.len().min(MOST_BANDS)];
    let records = &records[..records.len().min(MOST_BANDS)];
    let mut first_alarms = HashMap::new();
    for alarm in alarms {
        first_alarms.entry((alarm.band, alarm.rule)).or_insert(alarm);
    }
    let about_measuring = alarms.iter().filter(|alarm| alarm.rule.is_about_measuring());
    let disbelieved = about_measuring.filter_map(|alarm| Some((alarm.band, alarm.channel?))).collect();
    let gathered = Gathered::default();
    let scene = Scene { procedure, records, first_alarms, disbelieved, courses, live, gathered };
    let quiet = Quiet::of(courses, |band, channel| scene.believes(band, channel));
    let is_arc_seen = |band| [Channel::Current, Channel::Voltage].iter().all(|&of| scene.believes(band, of));
    let flutters: Vec<Vec<Flutter>> = courses
        .iter()
        .map(|course| match &quiet {
            Some(quiet) if is_arc_seen(course.band) => flutters(course, quiet),
            _ => Vec::new(),
        })
        .collect();
    let of_band = |band: u16| {
        let index = courses.iter().position(|course| course.band == band)?;
        quiet.filter(|_| is_arc_seen(band)).map(|_| flutters[index].as_slice())
    };
    let mut calls = HashMap::new();
    let is_one_of_the_first = |alarm: &&Alarm| {
        let count: &mut u16 = calls.entry((alarm.band, alarm.rule)).or_default();
        *count = count.saturating_add(1);
        *count <= MOST_ALARMS
    };
    let by_alarm = alarms.iter().filter(is_one_of_the_first).map(|alarm| {
        let to_us = alarm.cleared_us.or_else(|| scene.record(alarm.band).map(|band| band.end_us));
        let window =
            Window { from_us: alarm.onset_us, to_us: to_us.unwrap_or(alarm.raised_us).max(alarm.onset_us) };
        (alarm.band, window, Caller::Alarm(alarm))
    });
    let by_flutter = courses.iter().zip(&flutters).flat_map(|(course, found)| {
        found.iter().map(|flutter| (course.band, flutter.window, Caller::Flutter))
    });
    let unproven = records.iter().flat_map(|band| {
        let window = Window { from_us: band.start_us, to_us: band.end_us };
        telling_reasons(band).map(move |(rule, why)| (band.band, window, Caller::Unproven(rule, why)))
    });
    let mut findings = Vec::new();
    for (band, window, caller) in by_alarm.chain(by_flutter).chain(unproven).take(MOST_CALLS) {
        let case =
            Case { scene: &scene, band, window, caller, course: scene.course(band), flutters: of_band(band) };
        for cause in causes() {
            if let Some(finding) = finding(&case, cause) {
                keep(&mut findings, finding);
            }
        }
    }
    if !is_wrong {
        for finding in &mut findings {
            finding.score *= NOTHING_WRONG;
            finding.place.score *= NOTHING_WRONG;
            finding.elsewhere.iter_mut().for_each(|place| place.score *= NOTHING_WRONG);
        }
    }
    findings.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.place.from_us.cmp(&b.place.from_us)));
    findings
}

/// A cause is told once, of the band where it is clearest; the others are named.
fn keep(findings: &mut Vec<Finding>, mut new: Finding) {
    let Some(old) = findings.iter_mut().find(|old| old.cause == new.cause) else {
        return findings.push(new);
    };
    if old.score < new.score {
        std::mem::swap(old, &mut new);
        old.elsewhere = std::mem::take(&mut new.elsewhere);
        old.elsewhere.retain(|place| place.band != old.place.band);
    }
    let place = new.place;
    if place.band == old.place.band {
        return;
    }
    match old.elsewhere.binary_search_by_key(&place.band, |known| known.band) {
        Ok(at) if old.elsewhere[at].score < place.score => old.elsewhere[at] = place,
        Ok(_) => {}
        Err(at) => old.elsewhere.insert(at, place),
    }
}

fn finding(case: &Case<'_>, cause: &'static Cause) -> Option<Finding> {
    let call = match case.caller {
        Caller::Alarm(alarm) => Call::Alarm(alarm.rule),
        Caller::Flutter => Call::Flutter,
        Caller::Unproven(_, why) => Call::Unproven(why),
    };
    if !cause.called_by.contains(&call) {
        return None;
    }
    let mut score =
        if case.alarm().is_some_and(|alarm| alarm.severity == Severity::Advise) { ADVISED } else { 1.0 };
    let mut evidence: Vec<Evidence> = caller_evidence(case).into_iter().collect();
    for (sign, weight) in &cause.signs {
        let seen = sign.look(case);
        score *= seen.as_ref().map_or(1.0 - UNKNOWN * weight, |seen| 1.0 - weight * (1.0 - seen.degree));
        evidence.extend(seen.filter(|seen| seen.degree >= CLEAR).and_then(|seen| seen.evidence));
    }
    let score = score.min(cause.at_most);
    (score >= LEAST_SCORE).then(|| placed(case, cause, score, evidence))
}

fn placed(case: &Case<'_>, cause: &'static Cause, score: f64, evidence: Vec<Evidence>) -> Finding {
    let stretches = case.course.map_or(&[][..], |course| &course.stretches);
    let Window { from_us, to_us } = case.window;
    let first = stretches.iter().find(|stretch| stretch.to_us >= from_us).or(stretches.last());
    let last = stretches.iter().rev().find(|stretch| stretch.from_us <= to_us).or(stretches.first());
    let turned = case.alarm().and_then(|alarm| alarm.turned).map(|turned| crate::raw::value(turned).max(0.0));
    let from_deg = turned.or_else(|| first?.from_deg);
    let to_deg =
        last.and_then(|last| last.to_deg).zip(from_deg).map(|(to_deg, from_deg)| to_deg.max(from_deg));
    Finding {
        cause: &cause.name,
        words: &cause.words,
        look_at: &cause.look_at,
        score,
        evidence,
        joint: 1,
        place: Place { band: case.band, score, from_us, to_us, from_deg, to_deg },
        elsewhere: Vec::new(),
    }
}

/// The limits of a band that rest on one reading and were not proven for a reason that tells what may be wrong.
fn telling_reasons(band: &BandRecord) -> impl Iterator<Item = (Rule, Why)> {
    Rule::ALL.into_iter().filter_map(|rule| match band.proof.get(rule) {
        Proof::NotProven { why, .. } if rule.needs().iter().count() == 1 => telling(why).map(|_| (rule, why)),
        _ => None,
    })
}

fn caller_evidence(case: &Case<'_>) -> Option<Evidence> {
    match case.caller {
        Caller::Alarm(alarm) => Some(alarm_evidence(alarm)),
        Caller::Flutter => None,
        Caller::Unproven(rule, why) => {
            let channel = case.channel();
            let of = channel.map_or(String::new(), |channel| format!(" ({})", channel.name()));
            let words = format!("{} is not proven: {}{of}", rule.name(), telling(why)?);
            Some(Evidence::between(channel, case.window.from_us, case.window.to_us).words(words).times())
        }
    }
}

fn alarm_evidence(alarm: &Alarm) -> Evidence {
    let to_us = alarm.cleared_us.unwrap_or(alarm.raised_us);
    let channel = alarm.channel.or_else(|| alarm.rule.needs().iter().next());
    let of = alarm.channel.map_or(String::new(), |channel| format!(" ({})", channel.name()));
    let evidence = Evidence::between(channel, alarm.onset_us, to_us).words(format!(
        "alarm {}{of} from {:.1} s",
        alarm.rule.name(),
        crate::raw::seconds(alarm.onset_us)
    ));
    let Some((quantity, _)) = alarm.rule.watches() else { return evidence };
    let dimension = crate::input::setting::Subject::Judged(quantity).dimension();
    let evidence = evidence.words(": ").figure(alarm.in_unit(alarm.worst), dimension);
    match alarm.limit {
        Some(limit) => evidence.words(", limit ").figure(alarm.in_unit(limit), dimension),
        None => evidence,
    }
}
