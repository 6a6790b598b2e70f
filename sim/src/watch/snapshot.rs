//! The state of this instant as JSON, for the live page, for a broker and for other machines.
//!
//! Decides: field names, and what of the screen's words the page shows apart: now, and this band and joint so far.
//! Assumes: a view as the screen has it.
//! Never: shows a value that is old: then there is none.

use super::gauge::{Gauge, GaugeState};
use super::tone::Tone;
use super::unrolled;
use super::verdict::ScreenVerdict;
use super::view::{LinkView, View, names};
use crate::input::quantity::{self, UnitSystem};
use crate::report::model::meaning;
use crate::report::rounded::rounded;
use crate::standing::show_bounds;
use bandward::rule::RuleSet;
use bandward::{ActiveAlarm, Channel, Outcome, Severity};
use serde_json::{Value, json};

/// The state of this instant; `acts` is what can be asked for by whoever reads it, by name.
pub fn of(view: &View, acts: &[&str]) -> Value {
    let is_old = view.is_old();
    let now = now(view);
    let is_in_band = view.phase.is_in_band() && !view.is_over;
    let turned = view.turned_deg.filter(|_| is_in_band && !is_old);
    let (is_done, _, joint, broken) =
        view.shown_joint().unwrap_or((false, 0, Outcome::NotAsked, RuleSet::EMPTY));
    let mut band = so_far(view.so_far.band, view.so_far.broken_in_band, view.so_far.not_proven);
    if view.is_over {
        band["outcome"] = "none".into();
    }
    json!({
        "source": view.source, "procedure": view.procedure, "pace": view.pace, "time_s": rounded(view.time_s),
        "is_old": is_old, "is_over": view.is_over,
        "now": { "word": now.word, "words": now.rest, "tone": tone(now.tone) },
        "band": band,
        "joint": so_far(joint, broken, RuleSet::EMPTY), "is_joint_done": is_done,
        "last_joint": view.last_joint.map(|joint| json!({
            "joint": joint.joint, "outcome": outcome(joint.outcome), "broken": names(joint.broken),
        })),
        "phase": if view.is_over { "ended" } else { view.phase_words() }, "is_in_band": is_in_band,
        "joint_number": view.joint_number(), "band_number": (view.band > 0).then_some(view.band),
        "bands_planned": view.bands_planned, "bands_done": view.bands_done(),
        "turned_deg": turned.map(rounded),
        "turn_left_s": turned.and_then(|_| view.unrolled.left_s()).map(rounded),
        "next_band": view.next_band.as_ref().or(view.in_range_words.as_ref()),
        "unrolled": { "joint": view.unrolled.joint(), "bands": bands(view) },
        "gauges": view.gauges.iter().map(|one| gauge(one, view.system, is_old)).collect::<Vec<_>>(),
        "alarms": view.alarms.iter().map(|one| alarm(*one)).collect::<Vec<_>>(),
        "history": view.history.json(),
        "link": view.link.as_ref().map(link),
        "acts": acts,
    })
}

/// The verdict of this instant. What the band has come to stands beside it, and never makes this one green.
pub fn now(view: &View) -> ScreenVerdict {
    let verdict = view.verdict();
    let is_of_band = matches!(verdict.word, "OUTSIDE" | "NOT PROVEN") && !view.is_over;
    if is_of_band { ScreenVerdict { word: "IN RANGE", tone: Tone::Careful, ..verdict } } else { verdict }
}

const fn tone(tone: Tone) -> &'static str {
    match tone {
        Tone::Calm => "calm",
        Tone::Good => "good",
        Tone::Careful => "careful",
        Tone::Bad => "bad",
        Tone::Stop => "stop",
    }
}

const fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::NotAsked => "not judged",
        Outcome::Proven => "within",
        Outcome::NotProven => "not proven",
        Outcome::Broken => "outside",
    }
}

fn so_far(of: Outcome, broken: RuleSet, not_proven: RuleSet) -> Value {
    json!({ "outcome": outcome(of), "broken": names(broken), "not_proven": names(not_proven) })
}

/// The bands of the joint that is shown, each with what it came to once it is done.
fn bands(view: &View) -> Vec<Value> {
    let mut bands = view.unrolled.json();
    for band in &mut bands {
        let number = band["band"].as_u64();
        let done = view
            .bands
            .iter()
            .rev()
            .find(|(joint, band, _)| *joint == view.unrolled.joint() && Some(u64::from(*band)) == number);
        // What was in range at each place proves nothing where a limit was not judged.
        let is_open =
            number == Some(u64::from(view.band)) && view.unrolled.joint() == view.so_far.joint_number;
        let so_far = is_open.then_some(view.so_far.band);
        if done.map(|(.., of)| *of).or(so_far) == Some(Outcome::NotProven)
            && let Some(sectors) = band["sectors"].as_str()
        {
            band["sectors"] = sectors.replace(unrolled::IN_RANGE, unrolled::NOT_PROVEN).into();
        }
        band["outcome"] = done.map(|(.., of)| outcome(*of)).into();
    }
    bands
}

fn gauge(gauge: &Gauge, system: UnitSystem, is_old: bool) -> Value {
    let setting = &gauge.setting;
    let words = |bounds| show_bounds(bounds, setting.subject.dimension(), system);
    let place = |value: f64| gauge.place(value).map(rounded);
    let ends =
        |bounds: crate::input::bounds::Bounds| [bounds.low.and_then(place), bounds.high.and_then(place)];
    let value = gauge.value.filter(|_| !is_old);
    let in_unit = |value| quantity::shown(value, setting.subject.dimension(), UnitSystem::Metric);
    json!({
        "name": setting.subject.table_name(), "title": setting.subject.title(),
        "shown": if is_old { "-".to_owned() } else { gauge.shown(system) },
        "value": value.map(|value| rounded(in_unit(value).0)), "unit": in_unit(0.0).1,
        "words": if is_old { "no data" } else { gauge.words() },
        "state": if is_old { "none" } else { state(gauge.standing()) },
        "at": value.and_then(place), "floor_at": setting.floor.and_then(place),
        "recommended": setting.recommended.map(words), "recommended_at": setting.recommended.map(ends),
        "allowed": setting.allowed.map(words), "allowed_at": setting.allowed.map(ends),
    })
}

const fn state(standing: GaugeState) -> &'static str {
    match standing {
        GaugeState::InRange => "in",
        GaugeState::Outside(Severity::Advise, _) => "advise",
        GaugeState::Outside(Severity::Warn, _) => "warn",
        GaugeState::Outside(Severity::Stop, _) => "stop",
        GaugeState::NotJudged => "none",
        GaugeState::NoRange => "no-range",
    }
}

fn alarm(alarm: ActiveAlarm) -> Value {
    json!({
        "rule": alarm.rule.name(), "severity": alarm.severity.name(), "words": meaning::meaning(alarm.rule),
        "channel": alarm.channel.map(Channel::name),
        "acknowledged": alarm.acknowledged, "shelved": alarm.shelved,
    })
}

fn link(link: &LinkView) -> Value {
    json!({
        "lost": link.lost, "silent_s": link.silent_s, "has_spoken": link.has_spoken,
        "relay_energised": link.outputs.map(|outputs| outputs.relay_energised),
        "lamp": link.outputs.map(|outputs| outputs.lamp.name()),
        "horn": link.outputs.map(|outputs| outputs.horn),
        "is_bench": link.is_bench, "faults": link.faults, "black_box_frozen": link.black_box_frozen,
        "frames_bad": link.bad, "frames_lost": link.missed, "is_recording": link.is_recording,
        "is_other_procedure": link.is_other_procedure, "notice": link.notice,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use bandward::Phase;

    #[test]
    fn a_band_that_is_outside_never_makes_now_green() {
        let mut view = View::new(String::new(), UnitSystem::Metric, "");
        view.procedure = Some("any".to_owned());
        view.phase = Phase::Arc;
        for (band, tone) in
            [(Outcome::Broken, "careful"), (Outcome::NotProven, "careful"), (Outcome::Proven, "good")]
        {
            view.so_far.band = band;
            let told = of(&view, &[]);
            assert_eq!((&told["now"]["word"], &told["now"]["tone"]), (&json!("IN RANGE"), &json!(tone)));
            assert_eq!(told["band"]["outcome"], outcome(band));
        }
    }

    #[test]
    fn old_values_are_not_told() {
        let file = crate::demo::procedure().expect("the demo");
        let mut view = View::new(String::new(), UnitSystem::Metric, "");
        view.gauges = crate::watch::gauge::of_procedure(&file, |_| Some(1));
        let values = |told: &Value| {
            let gauges = told["gauges"].as_array().expect("gauges");
            gauges.iter().filter(|gauge| !gauge["value"].is_null() || gauge["shown"] != "-").count()
        };
        assert!(values(&of(&view, &[])) > 5);
        view.link = Some(LinkView { silent_s: Some(3), has_spoken: true, ..LinkView::default() });
        let told = of(&view, &[]);
        assert_eq!((values(&told), &told["now"]["word"]), (0, &json!("NO DATA")));
    }
}
