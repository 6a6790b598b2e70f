//! What a speed of few digits cannot prove.
//!
//! Decides: which limits of a band lie within the error of half a digit of its spindle speed: its time of a turn, its
//! overlap, its height, and whether a slip would have shown.
//! Assumes: the digits are rounded, and may be rounded the same way all round the joint.
//! Never: takes back what is broken, or proves anything.

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
    for band in &mut replay.bands {
        let Some(share) = share(band, error_deg_s) else { continue };
        for rule in Rule::ALL {
            if let Proof::Held { judged_percent } = band.proof.get(rule)
                && !is_told(band, rule, share, procedure)
            {
                let waived = is_waived(rule, procedure);
                band.proof.set(rule, Proof::NotProven { judged_percent, why: Why::TooCoarse, waived });
            }
        }
        let open = band.not_proven();
        if band.outcome == Outcome::Proven && !open.is_empty() {
            band.outcome = Outcome::NotProven;
        }
        for joint in replay.joints.iter_mut().filter(|joint| joint.joint == band.joint) {
            joint.not_proven = open.iter().fold(joint.not_proven, RuleSet::with);
            if joint.outcome == Outcome::Proven {
                joint.outcome = band.outcome;
            }
        }
    }
}

/// By what share the mean speed of a band may be wrong.
fn share(band: &BandRecord, error_deg_s: f64) -> Option<f64> {
    let turned = f64::from(band.turned?.to_bits()) / f64::from(1_u32 << Degrees::FRACTION_BITS);
    let speed_deg_s = turned.abs() / (band.arc_time_us as f64 / 1e6);
    (speed_deg_s.is_finite() && speed_deg_s > 0.0).then_some(error_deg_s / speed_deg_s)
}

/// Does the limit of a rule lie outside the error of what was read?
fn is_told(band: &BandRecord, rule: Rule, share: f64, procedure: &Procedure) -> bool {
    let Some((quantity, side)) = rule.watches() else {
        return rule != Rule::SpindleSlip || share <= HIDES_SLIP;
    };
    let (bits, error_bits) = match quantity {
        Quantity::TurnTime => of_share(band.turn_time.map(Duration::to_bits), share),
        Quantity::BandHeight => of_share(band.band_height.map(Length::to_bits), share),
        Quantity::Overlap => {
            let turn_bits = TURN * f64::from(1_u32 << quantity.fraction_bits());
            let bits = band.overlap.map_or(f64::NAN, |overlap| f64::from(overlap.to_bits()));
            (bits, share * (turn_bits + bits.max(0.0)))
        }
        _ => return true,
    };
    let range = procedure.limits(quantity).and_then(|limits| limits.allowed.or(limits.recommended));
    let Some(range) = range else { return true };
    match side {
        Side::Low => bits - error_bits >= f64::from(range.low),
        Side::High => bits + error_bits <= f64::from(range.high),
    }
}

/// A value, and its error as a share of it; what has no value is told by nothing.
fn of_share(bits: Option<i32>, share: f64) -> (f64, f64) {
    let bits = bits.map_or(f64::NAN, f64::from);
    (bits, share * bits)
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
