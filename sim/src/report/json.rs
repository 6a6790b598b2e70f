//! The replay as one JSON object, for machines.
//!
//! Decides: field names and their units, which are in the names.
//! Assumes: nothing.
//! Never: writes a number that was not computed: what is absent is `null`.

use super::model::coverage::sample_rate_hz;
use super::model::meaning;
use super::rounded::rounded;
use super::{identity, inspection_json, repair};
use crate::alarm::Alarm;
use crate::findings::{Finding, evidence::Evidence};
use crate::input::quantity::UnitSystem;
use crate::raw::{seconds, value};
use crate::replay::Replay;
use crate::trace::set_back::SetBack;
use crate::within::within;
use bandward::record::band::{Ending, Spread, WireFeedSource};
use bandward::record::joint::Shortfall;
use bandward::record::proof::Proof;
use bandward::rule::RuleSet;
use bandward::units::FixedPoint;
use bandward::{BandRecord, Channel, JointRecord, Rule, Severity};
use serde::ser::{Serialize, SerializeMap as _, Serializer};
use serde_json::{Map, Value, json};

/// The whole replay.
pub fn replay(replay: &Replay) -> Value {
    Told::of(replay).whole()
}

/// A replay as it is written: its lists, in which a log may have tens of thousands, one entry after another, each of
/// which takes some ten times the room of its text.
pub struct Told<'r> {
    /// All of it but those lists, which have their places.
    pub object: Value,
    replay: &'r Replay,
}

impl<'r> Told<'r> {
    /// Of a replay.
    pub fn of(replay: &'r Replay) -> Self {
        Self { object: without_lists(replay), replay }
    }
    /// All of it in memory.
    pub fn whole(self) -> Value {
        let Self { mut object, replay } = self;
        for list in List::ALL {
            object[list.key()] = list.entries(replay).collect();
        }
        object
    }
}

impl Serialize for Told<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let fields = self.object.as_object();
        let mut map = to.serialize_map(fields.map(Map::len))?;
        for (key, value) in fields.into_iter().flatten() {
            match List::ALL.into_iter().find(|list| list.key() == key) {
                Some(list) => map.serialize_entry(key, &Entries(list, self.replay))?,
                None => map.serialize_entry(key, value)?,
            }
        }
        map.end()
    }
}

/// A list that is as long as its log.
#[derive(Clone, Copy)]
enum List {
    Tacks,
    Joints,
    Bands,
    Alarms,
    Findings,
}

impl List {
    const ALL: [Self; 5] = [Self::Tacks, Self::Joints, Self::Bands, Self::Alarms, Self::Findings];

    const fn key(self) -> &'static str {
        match self {
            Self::Tacks => "tacks",
            Self::Joints => "joints",
            Self::Bands => "bands",
            Self::Alarms => "alarms",
            Self::Findings => "findings",
        }
    }
    fn entries(self, replay: &Replay) -> Box<dyn Iterator<Item = Value> + '_> {
        match self {
            Self::Tacks => Box::new(replay.tacks.iter().map(tack)),
            Self::Joints => Box::new(replay.joints.iter().map(|record| joint_of(replay, record))),
            Self::Bands => Box::new(replay.bands.iter().map(|record| band_of(replay, record))),
            Self::Alarms => Box::new(replay.alarms.iter().map(alarm)),
            Self::Findings => Box::new(replay.findings.iter().map(finding)),
        }
    }
}

struct Entries<'r>(List, &'r Replay);

impl Serialize for Entries<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(self.0.entries(self.1))
    }
}

fn without_lists(replay: &Replay) -> Value {
    let rate_hz = sample_rate_hz(replay);
    let not_judged = |&(rule, reason): &(Rule, _)| json!({ "rule": rule.name(), "reason": meaning::reason(reason, rate_hz) });
    json!({
        "trace": {
            "path": replay.trace.path,
            "samples": replay.trace.samples,
            "sample_rate_hz": rounded(rate_hz),
            "duration_s": seconds(replay.trace.duration_us),
            "gaps": replay.trace.gaps,
            "out_of_order": replay.trace.out_of_order,
            "start": replay.trace.start,
            "clock_set_back": replay.trace.set_backs.iter().map(clock_set_back).collect::<Vec<_>>(),
        },
        "outcome": replay.outcome().name(),
        "within_procedure": within(replay.outcome()),
        (List::Tacks.key()): null,
        (List::Joints.key()): null,
        "not_judged": replay.not_judged.iter().map(not_judged).collect::<Vec<_>>(),
        (List::Bands.key()): null,
        (List::Alarms.key()): null,
        (List::Findings.key()): null,
        "context": replay.dossier.identity.context.json(),
        "identity": identity::json(&replay.dossier.identity),
        "inspection": replay.dossier.inspection.as_ref().map(inspection_json::json),
        "repairs": replay.dossier.repairs.iter().map(repair::json).collect::<Vec<_>>(),
    })
}

/// From here on the log's own clock showed so much less.
fn clock_set_back(set_back: &SetBack) -> Value {
    json!({ "from_s": seconds(set_back.at_us), "by_s": rounded(set_back.by_us as f64 / 1e6) })
}

/// One band.
pub fn band(band: &BandRecord) -> Value {
    let outside: Map<String, Value> = band
        .outside_us
        .iter()
        .filter(|&(_, micros)| micros > 0)
        .map(|(rule, micros)| (rule.name().to_owned(), json!(seconds(u64::from(micros)))))
        .collect();
    json!({
        "joint": band.joint,
        "band": band.band,
        "group": band.group + 1,
        "start_s": seconds(band.start_us),
        "end_s": seconds(band.end_us),
        "arc_time_s": seconds(band.arc_time_us),
        "samples": band.samples,
        "ending": match band.ending {
            Ending::ArcOff => "arc-off",
            Ending::DataEnded => "data-ended",
            Ending::BrokenOff => "broken-off",
            Ending::SteppedOn => "stepped-on",
        },
        "start_unseen": band.start_unseen,
        "outages": band.outages,
        "turns": number(band.turned).map(|degrees| rounded(degrees / 360.0)),
        "turn_time_s": number(band.turn_time),
        "overlap_deg": number(band.overlap),
        "current_a": spread(band.current),
        "voltage_v": spread(band.voltage),
        "gas_lpm": spread(band.gas),
        "arc_power_w": number(band.arc_power),
        "arc_energy_kj_per_mm": number(band.arc_energy),
        "weave_per_min": spread(band.weave_rate),
        "weave_width_mm": number(band.weave_width),
        "weave_centre_drift_mm": number(band.weave_centre_drift),
        "step_over_mm": number(band.step_over),
        "short_circuits_per_s": number(band.short_circuits),
        "wire_mm_per_min": number(band.wire_feed),
        "wire_feed_source": band.wire_feed_source.map(|source| match source {
            WireFeedSource::Measured => "measured",
            WireFeedSource::EstimatedFromCurrent => "estimated-from-current",
        }),
        "band_height_mm": number(band.band_height),
        "gas_preflow_s": number(band.gas_preflow),
        "gas_postflow_s": number(band.gas_postflow),
        "coolant_lpm_min": number(band.coolant_minimum),
        "work_at_start_c": number(band.work_at_start),
        "outside_s": outside,
        "outcome": band.outcome.name(),
        "broken": band.broken().iter().map(Rule::name).collect::<Vec<_>>(),
        "not_proven": band.not_proven().iter().map(Rule::name).collect::<Vec<_>>(),
        "limits": limits(band),
        "proven_share": shares(band),
        "within_procedure": within(band.outcome),
    })
}

fn alarm(alarm: &Alarm) -> Value {
    let place = alarm.place();
    json!({
        "rule": alarm.rule.name(),
        "severity": alarm.severity.name(),
        "channel": alarm.channel.map(Channel::name),
        "joint": alarm.joint,
        "band": (alarm.band > 0).then_some(alarm.band),
        "onset_s": seconds(alarm.onset_us),
        "raised_s": seconds(alarm.raised_us),
        "reached_s": reached(alarm),
        "worst_s": seconds(alarm.worst_us),
        "cleared_s": alarm.cleared_us.map(seconds),
        "turn": place.map(|(turn, _)| turn),
        "clock_deg": place.map(|(_, degrees)| rounded(degrees)),
        "worst": rounded(alarm.in_unit(alarm.worst)),
        "limit": alarm.limit.map(|limit| rounded(alarm.in_unit(limit))),
    })
}

/// Evidence reads in metric, like every other figure here.
fn finding(finding: &Finding) -> Value {
    let sentence = |evidence: &Evidence| evidence.sentence(UnitSystem::Metric);
    let place = finding.place;
    json!({
        "cause": finding.cause,
        "score": (finding.score * 1000.0).round() / 1000.0,
        "evidence": finding.evidence.iter().map(sentence).collect::<Vec<_>>(),
        "joint": finding.joint,
        "band": (place.band > 0).then_some(place.band),
        "other_bands": finding.other_bands(),
        "from_deg": place.from_deg.map(rounded),
        "to_deg": place.to_deg.map(rounded),
        "from_s": seconds(place.from_us),
        "to_s": seconds(place.to_us),
        "words": finding.words,
        "look_at": finding.look_at,
    })
}

fn number<Q: FixedPoint>(quantity: Option<Q>) -> Option<f64> {
    quantity.map(|quantity| rounded(value(quantity)))
}

fn spread<Q: FixedPoint>(spread: Option<Spread<Q>>) -> Value {
    spread.map_or(Value::Null, |spread| {
        json!({
            "mean": rounded(value(spread.mean)),
            "min": rounded(value(spread.minimum)),
            "max": rounded(value(spread.maximum)),
            "sd": rounded(value(spread.deviation)),
        })
    })
}

/// An arc that became no band.
fn tack(&(struck_us, arc_time_us): &(u64, u64)) -> Value {
    json!({ "time_s": seconds(struck_us), "arc_time_s": seconds(arc_time_us) })
}

/// One band of a log, with what the inspector's gauge says of its height.
fn band_of(replay: &Replay, record: &BandRecord) -> Value {
    let mut value = band(record);
    let inspection = replay.dossier.inspection.as_ref().filter(|found| found.joint == record.joint);
    value["gauged_less_expected_mm"] =
        inspection.and_then(|found| found.higher_mm(record.band)).map(rounded).into();
    value
}

/// One joint of a log, with its serial, and as bad as the worst of its trace and of what came with it.
fn joint_of(replay: &Replay, record: &JointRecord) -> Value {
    let mut value = joint(record);
    let outcome = replay.outcome_of_joint(record);
    value["serial"] = replay.dossier.identity.serial_of(record.joint).into();
    value["outcome"] = outcome.name().into();
    value["within_procedure"] = within(outcome).into();
    value["outcome_of_trace"] = record.outcome.name().into();
    if let Some(reasons) = value["reasons"].as_array_mut() {
        reasons.extend(replay.dossier.effects(record.joint).into_iter().map(|(why, _)| Value::from(why)));
    }
    value
}

/// One joint.
pub fn joint(joint: &JointRecord) -> Value {
    let names = |rules: RuleSet| rules.iter().map(Rule::name).collect::<Vec<_>>();
    json!({
        "joint": joint.joint,
        "start_s": seconds(joint.start_us),
        "end_s": seconds(joint.end_us),
        "bands": joint.bands,
        "bands_expected": (joint.bands_expected > 0).then_some(joint.bands_expected),
        "outcome": joint.outcome.name(),
        "broken": names(joint.broken),
        "not_proven": names(joint.not_proven),
        "reasons": joint.shortfalls.iter().map(Shortfall::name).collect::<Vec<_>>(),
        "cooling": cooling(joint),
        "within_procedure": within(joint.outcome),
    })
}

/// How it cooled after its last band, where the procedure limits that.
fn cooling(joint: &JointRecord) -> Option<Value> {
    let (outcome, why) = outcome(Rule::CoolingFast, joint.cooling)?;
    let fastest = joint.fastest_cooling.map(|rate| rate.to_milli() as f64 / 1000.0);
    Some(json!({ "outcome": outcome, "reason": why, "fastest_c_per_h": fastest }))
}

/// What became of a limit, and why it is not proven; nothing where there is none.
fn outcome(rule: Rule, proof: Proof) -> Option<(&'static str, Option<String>)> {
    Some(match proof {
        Proof::NotAsked => return None,
        Proof::NotApplicable => ("not applicable", None),
        Proof::Held { .. } => ("held", None),
        Proof::Broken { .. } => ("broken", None),
        Proof::NotProven { why, waived: false, .. } => ("not proven", Some(meaning::why(why, rule))),
        Proof::NotProven { why, waived: true, .. } => ("not judged", Some(meaning::why(why, rule))),
    })
}

/// What became of every limit that the procedure gives.
fn limits(band: &BandRecord) -> Value {
    let told = |(rule, proof): (Rule, Proof)| {
        let share = proof.judged_percent().map(|percent| f64::from(percent) / 100.0);
        let (outcome, why) = outcome(rule, proof)?;
        Some((rule.name().to_owned(), json!({ "outcome": outcome, "judged_share": share, "reason": why })))
    };
    Value::Object(band.proof.iter().filter_map(told).collect())
}

/// For each quantity that is asked for, the least share of the arc time in which a limit of it was judged.
fn shares(band: &BandRecord) -> Value {
    let mut shares = Map::new();
    for (rule, proof) in band.proof.iter() {
        let (Some((quantity, _)), Some(percent)) = (rule.watches(), proof.judged_percent()) else { continue };
        let share = f64::from(percent) / 100.0;
        let known = shares.get(quantity.table_name()).and_then(Value::as_f64).unwrap_or(1.0);
        shares.insert(quantity.table_name().to_owned(), json!(share.min(known)));
    }
    Value::Object(shares)
}

/// When an alarm reached each severity, s.
fn reached(alarm: &Alarm) -> Value {
    let times = [Severity::Advise, Severity::Warn, Severity::Stop].into_iter().zip(alarm.reached_us);
    let told =
        times.filter_map(|(severity, at_us)| Some((severity.name().to_owned(), json!(seconds(at_us?)))));
    Value::Object(told.collect())
}
