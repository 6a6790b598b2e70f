//! A shop's joints as the records that `replay` writes.
//!
//! Decides: what of a real record is replaced.
//! Assumes: the pattern is a record of the program under test, of a joint with as many bands, so that every key
//! stands where that program writes it.

use super::calendar::written;
use super::conditions::{Conditions, Signed};
use super::readings::{Band, bands};
use super::steady::Shop;
use crate::second::random::Chance;
use serde_json::{Value, json};

/// All records of a shop.
pub fn of_shop(pattern: &Value, shop: &Shop) -> Vec<Value> {
    let mut chance = Chance::new(shop.seed, 22);
    let of_joint =
        |(at, joint): (usize, &Conditions)| record(pattern, at + 1, joint, &bands(joint, &mut chance));
    shop.joints.iter().enumerate().map(of_joint).collect()
}

fn record(pattern: &Value, number: usize, joint: &Conditions, bands: &[Band]) -> Value {
    let mut record = pattern.clone();
    record["trace"]["path"] = json!(format!("invented joint {number}"));
    record["trace"]["start"] = json!(written(joint.day));
    record["context"] = context(joint);
    for (to, band) in record["bands"].as_array_mut().into_iter().flatten().zip(bands) {
        put(to, band);
    }
    if joint.signed != Signed::Proven {
        flag(&mut record, joint.signed);
    }
    record
}

/// What the records tell of a joint.
pub fn context(joint: &Conditions) -> Value {
    let named = |what: &str, number: usize| format!("{what} {}-{number}", joint.machine);
    json!({
        "machine": format!("machine {}", joint.machine),
        "operator": format!("operator {}", joint.operator),
        "spool": named("spool", joint.spool),
        "bottle": named("bottle", joint.bottle),
        "tip": named("tip", joint.tip),
        "procedure": "Second shop, three bands (invented)",
        "revision": joint.revision.to_string(),
        "outside_diameter_mm": crate::second::shop::DIAMETER_MM,
        "ambient_c": joint.ambient_c,
    })
}

fn put(to: &mut Value, band: &Band) {
    let first = to["band"] == json!(1);
    to["current_a"]["mean"] = json!(band.current_a);
    to["current_a"]["sd"] = json!(band.current_sd_a);
    to["voltage_v"]["mean"] = json!(band.voltage_v);
    to["voltage_v"]["sd"] = json!(band.voltage_sd_v);
    to["gas_lpm"]["mean"] = json!(band.gas_lpm);
    to["gas_lpm"]["sd"] = json!(band.gas_sd_lpm);
    to["weave_per_min"]["mean"] = json!(band.weave_per_min);
    let plain = [
        ("gas_preflow_s", band.gas_preflow_s),
        ("gas_postflow_s", band.gas_postflow_s),
        ("weave_width_mm", band.weave_width_mm),
        ("weave_centre_drift_mm", band.weave_centre_drift_mm),
        ("turn_time_s", band.turn_time_s),
        ("wire_mm_per_min", band.wire_mm_per_min),
        ("band_height_mm", band.band_height_mm),
        ("arc_power_w", band.arc_power_w),
        ("arc_energy_kj_per_mm", band.arc_energy_kj_per_mm),
        ("coolant_lpm_min", band.coolant_lpm),
        ("work_at_start_c", band.work_c),
    ];
    for (key, value) in plain {
        to[key] = json!(value);
    }
    if !first {
        to["step_over_mm"] = json!(band.step_over_mm);
    }
}

/// A joint that its own record does not prove: the whole record, its joint and its first band.
fn flag(record: &mut Value, signed: Signed) {
    let word = json!(signed.word());
    for part in ["/outcome", "/joints/0/outcome", "/bands/0/outcome"] {
        if let Some(outcome) = record.pointer_mut(part) {
            *outcome = word.clone();
        }
    }
    for part in ["/within_procedure", "/joints/0/within_procedure", "/bands/0/within_procedure"] {
        if let Some(within) = record.pointer_mut(part) {
            *within = json!(false);
        }
    }
}
