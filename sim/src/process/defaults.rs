//! A fault of every rule, without being told more: where, how long, how large.
//!
//! Decides: sizes that lie clearly outside the allowed range of their own rule and no other's.
//! Assumes: the joint keeps the procedure without the fault.
//! Never: repeats itself: sizes and places vary with the seed.

use super::fault::{Course, Fault, Kind, Start};
use super::joint::{Joint, Laying};
use super::random::Noise;
use super::targets::{Bounds, Targets};
use bandward::rule::Side;
use bandward::sample::ChannelSet;
use bandward::{Channel, Quantity, Rule};

/// A fault of `kind` for a joint, its places and sizes drawn from `seed`.
pub fn default_fault(kind: Kind, seed: u64, joint: &Joint, targets: &Targets, channels: ChannelSet) -> Fault {
    let mut noise = Noise::new(seed, 300 + kind as u64);
    let weld_s = joint.turn_time_s * (360.0 + joint.overlap_deg) / 360.0;
    let start_s = (weld_s * noise.uniform(0.2, 0.35)).max(4.0);
    let stretch_s = (weld_s * noise.uniform(0.25, 0.4)).max(6.0);
    let (start_s, duration_s) = match kind {
        // A turning speed is off from the start of a band.
        Kind::TurningFast | Kind::TurningSlow => (0.0, f64::INFINITY),
        // A weave does not find back by itself.
        Kind::WeaveWandering => (start_s, f64::INFINITY),
        Kind::ChuckSlip | Kind::EncoderLosingCounts => (start_s, noise.uniform(1.0, 1.6)),
        Kind::ChuckStall => (start_s, noise.uniform(2.5, 4.0)),
        Kind::ArcOut => (start_s, noise.uniform(0.4, 1.2)),
        Kind::ReadingFrozen | Kind::ReadingDead => (start_s, noise.uniform(5.0, 8.0)),
        Kind::ReadingMissing => (start_s, noise.uniform(2.2, 4.0)),
        Kind::RowsMissing => (start_s, noise.uniform(1.2, 2.2)),
        _ => (start_s, stretch_s),
    };
    Fault {
        kind,
        joint: 1,
        band: band(kind, joint, &mut noise),
        start: Start::Seconds(start_s),
        duration_s,
        size: size(kind, joint, targets, &mut noise),
        channel: channel(kind, channels, &mut noise),
    }
}

fn band(kind: Kind, joint: &Joint, noise: &mut Noise) -> u16 {
    let bands = joint.bands;
    let drawn = match kind {
        Kind::WorkCold => 1,
        // Heat stays for the bands after; a joint cools after its last.
        Kind::WorkHot | Kind::CooledUncovered => bands,
        Kind::StepShort | Kind::StepLong => 2 + noise.pick(usize::from(bands.saturating_sub(1))) as u16,
        _ => 1 + noise.pick(usize::from(bands)) as u16,
    };
    match joint.laying {
        Laying::Separate => drawn,
        Laying::Stepped | Laying::Spiral => kind.band_under_one_arc(bands).unwrap_or(drawn),
    }
}

fn channel(kind: Kind, wired: ChannelSet, noise: &mut Noise) -> Option<Channel> {
    let candidates: &[Channel] = match kind {
        Kind::ReadingFrozen => &[Channel::Current, Channel::Voltage],
        Kind::ReadingDead => &[Channel::Wire],
        Kind::ReadingRailed => &[Channel::Work, Channel::Gas, Channel::Coolant],
        Kind::ReadingMissing => {
            &[Channel::Voltage, Channel::Gas, Channel::Torch, Channel::Wire, Channel::Coolant, Channel::Work]
        }
        _ => return None,
    };
    let present: Vec<_> = candidates.iter().copied().filter(|&channel| wired.contains(channel)).collect();
    if present.is_empty() { None } else { Some(present[noise.pick(present.len())]) }
}

fn size(kind: Kind, joint: &Joint, targets: &Targets, noise: &mut Noise) -> f64 {
    let possible = kind.possible_sizes();
    let size = match kind {
        Kind::ChuckSlip | Kind::EncoderLosingCounts => noise.uniform(0.5, 0.85),
        Kind::ContactTipWear => noise.uniform(1.0, 2.0),
        Kind::Wind => noise.uniform(0.6, 1.0),
        Kind::CooledUncovered => noise.uniform(4.0, 8.0),
        Kind::WeaveSlow | Kind::GasLeak | Kind::CoolantLost if noise.pick(3) == 0 => 0.0,
        _ => kind.description().rule.map_or(0.0, |rule| {
            let far = beyond(rule, joint, targets, noise);
            let creeps = kind.description().course == Course::Creeping;
            // One that creeps has its size only in the end: it goes further.
            if creeps { far + 0.4 * (far - usual(rule, joint)) } else { far }
        }),
    };
    size.clamp(*possible.start(), *possible.end())
}

/// A value clearly outside the allowed range of what `rule` watches.
fn beyond(rule: Rule, joint: &Joint, targets: &Targets, noise: &mut Noise) -> f64 {
    let Some((quantity, side)) = rule.watches() else { return 0.0 };
    let share = noise.uniform(0.15, 0.4);
    // Voltage and current move each other: less of the fault, until only its own rule is broken.
    let shares = (0..12).map(|step| share * (1.0 - 0.07 * f64::from(step)));
    let value = |share| outside(rule, share, joint, targets);
    let alone = |&share: &f64| disturbs_no_other(rule, value(share), joint, targets);
    let far = value(shares.clone().find(alone).unwrap_or(share));
    let bounds = targets.bounds(quantity);
    let floor = bounds.and_then(|bounds: Bounds| bounds.floor);
    let low = bounds.and_then(|bounds| bounds.allowed).map(|(low, _)| low);
    match (rule, floor, low) {
        // Clearly under the floor, without putting the arc out.
        (Rule::TransferLowVoltage, Some(floor), _) => floor - noise.uniform(0.7, 1.5),
        // Between floor and range, further from the floor: that is held against a tenth of a second, whose noise must not
        // reach it.
        (Rule::VoltageLow, Some(floor), Some(low)) => floor + noise.uniform(0.55, 0.7) * (low - floor),
        (Rule::WeaveCentreDrift, ..) => far * noise.uniform(1.2, 1.6),
        (Rule::TransferShortCircuits, ..) => far.max(usual(rule, joint)) * noise.uniform(2.0, 3.0),
        (Rule::GasPreflow | Rule::GasPostflow, _, Some(low)) => low * noise.uniform(0.2, 0.6),
        (Rule::OverlapShort, _, Some(low)) => low * noise.uniform(0.1, 0.6),
        // At most a third slower, so that it is no slip.
        (Rule::TurnTimeSlow, ..) => far.min(joint.turn_time_s * 1.35),
        (_, _, Some(low)) if side == Side::Low => far.max(0.4 * low),
        _ => far,
    }
}

/// A value outside the allowed range by `share` of its width; by `share` away from the good joint
/// where the procedure gives no range.
fn outside(rule: Rule, share: f64, joint: &Joint, targets: &Targets) -> f64 {
    let Some((quantity, side)) = rule.watches() else { return 0.0 };
    match (side, targets.bounds(quantity).and_then(|bounds| bounds.allowed)) {
        (Side::Low, Some((low, high))) if low.is_finite() => low - share * span(low, high),
        (Side::High, Some((low, high))) if high.is_finite() => high + share * span(low, high),
        (Side::Low, _) => usual(rule, joint) * (1.0 - share),
        (Side::High, _) => usual(rule, joint) * (1.0 + share),
    }
}

/// Do current and voltage stay well inside where `rule` is not about them?
fn disturbs_no_other(rule: Rule, value: f64, joint: &Joint, targets: &Targets) -> bool {
    let (circuit, setting) = joint.circuit();
    let (changed, other) = match rule {
        Rule::VoltageHigh => (circuit.with_voltage(setting, value), Quantity::Current),
        Rule::CurrentLow | Rule::CurrentHigh => {
            (circuit.with_current_by_feed(setting, value), Quantity::Voltage)
        }
        _ => return true,
    };
    let state = circuit.steady(&changed);
    let reading = match other {
        Quantity::Current => state.current_a,
        _ => changed.source_v - circuit.slope_ohm * state.current_a,
    };
    targets.bounds(other).is_none_or(|bounds| bounds.allows(reading, 0.08))
}

/// Width of a range; for one open at an end, a third of the end it has.
fn span(low: f64, high: f64) -> f64 {
    let width = high - low;
    if width.is_finite() { width } else { 0.33 * if low.is_finite() { low.abs() } else { high.abs() } }
}

/// What a good joint has of the quantity behind `rule`.
fn usual(rule: Rule, joint: &Joint) -> f64 {
    match rule {
        Rule::VoltageLow | Rule::VoltageHigh | Rule::TransferLowVoltage => joint.voltage_v,
        Rule::CurrentLow | Rule::CurrentHigh => joint.current_a,
        Rule::GasLow | Rule::GasHigh => joint.gas_lpm,
        Rule::GasPreflow => joint.gas_preflow_s,
        Rule::GasPostflow => joint.gas_postflow_s,
        Rule::WeaveRateLow | Rule::WeaveRateHigh => joint.weave_per_min,
        Rule::WeaveWidthLow | Rule::WeaveWidthHigh => joint.weave_width_mm,
        Rule::TransferShortCircuits | Rule::WeaveCentreDrift => 5.0,
        Rule::TurnTimeFast | Rule::TurnTimeSlow => joint.turn_time_s,
        Rule::StepOverLow | Rule::StepOverHigh => joint.step_over_mm,
        Rule::OverlapShort => joint.overlap_deg,
        Rule::CoolantLow => joint.coolant_lpm,
        Rule::InterpassHigh => joint.start_below_c,
        Rule::PreheatLow => joint.preheat_c,
        _ => 0.0,
    }
}
