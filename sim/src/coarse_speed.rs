//! What a speed of few digits cannot prove.
//!
//! Decides: which limits of a band lie within the error of half a digit of its spindle speed: its time of a turn, its
//! overlap, its height, and whether a slip would have shown.
//! Assumes: the digits are rounded, and may be rounded the same way all round the joint.
//! Never: takes back what is broken by more than that, or proves anything.

use crate::alarm::Alarm;
use crate::findings::Finding;
use crate::replay::Replay;
use bandward::record::proof::{Proof, Why};
use bandward::rule::{RuleSet, Side};
use bandward::units::{Degrees, Duration, Length};
use bandward::{BandRecord, Outcome, Procedure, Quantity, Rule};

/// A speed that may be wrong by more than this share hides a slip, which is a fall by a third. Invented.
const HIDES_SLIP: f64 = 0.1;
/// Degrees in a turn.
const TURN: f64 = 360.0;

/// Takes the proof from limits that lie within the error of a speed that may be wrong by `error_deg_s`.
pub fn doubt(replay: &mut Replay, error_deg_s: f64, procedure: &Procedure) {
    let mut taken_back: Vec<(u16, u16, Rule)> = Vec::new();
    let Replay { bands, alarms, .. } = &mut *replay;
    for band in bands {
        let Some(share) = share(band, error_deg_s) else { continue };
        for rule in Rule::ALL {
            let judged_percent = match band.proof.get(rule) {
                Proof::Held { judged_percent }
                    if told(band, rule, share, procedure, alarms) != Told::Held =>
                {
                    judged_percent
                }
                Proof::Broken { judged_percent }
                    if told(band, rule, share, procedure, alarms) == Told::Neither =>
                {
                    taken_back.push((band.joint, band.band, rule));
                    band.violated = band.violated.without(rule);
                    band.advised = band.advised.without(rule);
                    judged_percent
                }
                _ => continue,
            };
            let waived = is_waived(rule, procedure);
            band.proof.set(rule, Proof::NotProven { judged_percent, why: Why::TooCoarse, waived });
        }
        let is_whole = matches!(band.outcome, Outcome::Proven | Outcome::Broken) && band.broken().is_empty();
        if is_whole && !(band.outcome == Outcome::Proven && band.not_proven().is_empty()) {
            band.outcome = Outcome::NotProven;
        }
    }
    take_back(replay, &taken_back);
    for joint in &mut replay.joints {
        let own = || replay.bands.iter().filter(|band| band.joint == joint.joint);
        let of_bands = own().fold(RuleSet::EMPTY, |all, band| all.union(band.broken()));
        let is_taken_back =
            |rule: &Rule| taken_back.iter().any(|(of, _, taken)| (of, taken) == (&joint.joint, rule));
        let sound = joint.broken.iter().filter(|rule| is_taken_back(rule) && !of_bands.contains(*rule));
        joint.broken = sound.fold(joint.broken, RuleSet::without);
        joint.not_proven = own().fold(joint.not_proven, |all, band| all.union(band.not_proven()));
        let worst = own().map(|band| band.outcome).max().unwrap_or_default();
        joint.outcome = match joint.outcome {
            Outcome::Proven => worst.max(Outcome::Proven),
            Outcome::Broken if joint.broken.is_empty() && worst != Outcome::Broken => Outcome::NotProven,
            outcome => outcome,
        };
    }
}

/// Takes the alarms of limits that are not broken for certain out of a replay, and the causes that they called for.
fn take_back(replay: &mut Replay, rules: &[(u16, u16, Rule)]) {
    let is_of = |alarm: &Alarm| rules.contains(&(alarm.joint, alarm.band, alarm.rule));
    let (gone, left): (Vec<Alarm>, Vec<Alarm>) = replay.alarms.iter().copied().partition(is_of);
    let calls = |alarm: &Alarm, finding: &Finding| {
        (alarm.joint, alarm.band, alarm.onset_us)
            == (finding.joint, finding.place.band, finding.place.from_us)
    };
    replay.findings.retain(|finding| {
        !gone.iter().any(|alarm| calls(alarm, finding)) || left.iter().any(|alarm| calls(alarm, finding))
    });
    replay.alarms = left;
}

/// By what share the mean speed of a band may be wrong.
fn share(band: &BandRecord, error_deg_s: f64) -> Option<f64> {
    let turned = f64::from(band.turned?.to_bits()) / f64::from(1_u32 << Degrees::FRACTION_BITS);
    let speed_deg_s = turned.abs() / (band.arc_time_us as f64 / 1e6);
    (speed_deg_s.is_finite() && speed_deg_s > 0.0).then_some(error_deg_s / speed_deg_s)
}

/// What a reading tells of a limit, whatever its error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Told {
    Held,
    Broken,
    Neither,
}

/// What the readings of a band tell of the limit of a rule; of a rule that needs no speed, what was judged.
fn told(band: &BandRecord, rule: Rule, share: f64, procedure: &Procedure, alarms: &[Alarm]) -> Told {
    let judged = if matches!(band.proof.get(rule), Proof::Broken { .. }) { Told::Broken } else { Told::Held };
    let Some((quantity, side)) = rule.watches() else {
        let is_hidden = rule == Rule::SpindleSlip && share > HIDES_SLIP && judged == Told::Held;
        return if is_hidden { Told::Neither } else { judged };
    };
    // What broke may be a piece of the band, of which the mean says nothing; what has no value is told by nothing.
    let seen = |mean: Option<i32>| {
        let value = if judged == Told::Broken { worst(alarms, band, rule) } else { mean };
        value.map_or(f64::NAN, f64::from)
    };
    let (bits, error_bits) = match quantity {
        Quantity::TurnTime => of_share(seen(band.turn_time.map(Duration::to_bits)), share),
        Quantity::BandHeight => of_share(seen(band.band_height.map(Length::to_bits)), share),
        Quantity::Overlap => {
            let turn_bits = TURN * f64::from(1_u32 << quantity.fraction_bits());
            let bits = seen(band.overlap.map(Degrees::to_bits));
            (bits, share * (turn_bits + bits))
        }
        _ => return judged,
    };
    let range = procedure.limits(quantity).and_then(|limits| limits.allowed.or(limits.recommended));
    let Some(range) = range else { return judged };
    let within = match side {
        Side::Low => bits - f64::from(range.low),
        Side::High => f64::from(range.high) - bits,
    };
    match judged {
        Told::Held if within >= error_bits => Told::Held,
        Told::Broken if !(within < 0.0 && -within <= error_bits) => Told::Broken,
        _ => Told::Neither,
    }
}

/// A value, and its error as a share of it.
fn of_share(bits: f64, share: f64) -> (f64, f64) {
    (bits, share * bits)
}

/// The worst that was told of a rule in a band.
fn worst(alarms: &[Alarm], band: &BandRecord, rule: Rule) -> Option<i32> {
    let of_band = |alarm: &&Alarm| (alarm.joint, alarm.band, alarm.rule) == (band.joint, band.band, rule);
    let told = alarms.iter().filter(of_band).map(|alarm| alarm.worst);
    if matches!(rule.watches(), Some((_, Side::Low))) { told.min() } else { told.max() }
}

/// Is the limit judged only where the trace allows?
fn is_waived(rule: Rule, procedure: &Procedure) -> bool {
    let is_waived =
        |quantity| procedure.limits(quantity).is_none() || procedure.is_judged_where_possible(quantity);
    match rule.watches() {
        Some((quantity, _)) => procedure.is_judged_where_possible(quantity),
        // Whoever asks for a turn time or an overlap asks for a pipe that turns.
        None => [Quantity::TurnTime, Quantity::Overlap].into_iter().all(is_waived),
    }
}
