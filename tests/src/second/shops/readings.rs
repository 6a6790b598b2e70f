//! What the bands of a joint read.
//!
//! Decides: each reading from what the joint is set to, by the arc of the second generator.
//! Assumes: scatter within a joint, spreads and the effect of a crater fill are those of 80 joints of the second
//! generator through `replay`; invented like it.

use super::conditions::Conditions;
use crate::second::arc::{Arc, Drive, source_for};
use crate::second::random::Chance;
use crate::second::shop;
use std::f64::consts::PI;

/// The readings of a band.
#[derive(Clone, Copy, Debug)]
#[expect(missing_docs, reason = "as records name them")]
pub struct Band {
    pub current_a: f64,
    pub current_sd_a: f64,
    pub voltage_v: f64,
    pub voltage_sd_v: f64,
    pub gas_lpm: f64,
    pub gas_sd_lpm: f64,
    pub gas_preflow_s: f64,
    pub gas_postflow_s: f64,
    pub weave_per_min: f64,
    pub weave_width_mm: f64,
    pub weave_centre_drift_mm: f64,
    pub turn_time_s: f64,
    pub step_over_mm: f64,
    pub wire_mm_per_min: f64,
    pub band_height_mm: f64,
    pub arc_power_w: f64,
    pub arc_energy_kj_per_mm: f64,
    pub coolant_lpm: f64,
    pub work_c: f64,
}

/// What is the same on all bands of a joint, beside its settings.
struct Joint {
    current_sd_a: f64,
    centre_mm: f64,
    step_mm: f64,
    width_mm: f64,
}

/// The bands of a joint.
pub fn bands(conditions: &Conditions, chance: &mut Chance) -> Vec<Band> {
    let arc = settled(conditions);
    let joint = Joint {
        current_sd_a: (10.7 + 0.55 * conditions.upset.worn_mm) * (0.065 * chance.normal()).exp(),
        centre_mm: chance.around(0.69, 0.2),
        step_mm: chance.around(shop::STEP_MM, 0.04),
        width_mm: chance.around(21.26, 0.16),
    };
    (0..shop::BANDS).map(|at| band(at, conditions, &arc, &joint, chance)).collect()
}

fn settled(conditions: &Conditions) -> Arc {
    let Conditions { setting, upset, metal, .. } = conditions;
    let drive = Drive {
        source_v: source_for(shop::VOLTAGE_V) + setting.source_v + upset.source_v,
        feed_mm_s: shop::FEED_MM_S * (1.0 + setting.feed) * upset.feed * upset.grip * metal,
        tip_to_work_mm: shop::TIP_TO_WORK_MM + setting.lift_mm + upset.lift_mm + upset.worn_mm,
        more_ohm: 0.000_3 * upset.worn_mm,
        more_falls_v: 0.0,
    };
    let mut arc = Arc::struck(&drive);
    (0..400).for_each(|_| arc.step(0.01, &drive));
    arc
}

fn band(at: usize, conditions: &Conditions, arc: &Arc, joint: &Joint, chance: &mut Chance) -> Band {
    let Conditions { setting, upset, .. } = conditions;
    // A crater fill takes a few seconds of some 95.
    let crater = conditions.crater_s / 2.5;
    let current_a = arc.current_a + 1.8 * chance.normal() - 2.6 * crater;
    let voltage_v = arc.voltage_v + 0.05 * chance.normal() - 0.03 * crater;
    let turn_time_s = shop::TURN_S / ((1.0 + setting.turning) * upset.turning) + 0.04 * chance.normal();
    let fed = shop::FEED_MM_S * 60.0 * (1.0 + setting.feed) * upset.feed;
    let wire_mm_per_min = fed + 12.0 * chance.normal() - 46.0 * crater;
    let weave_width_mm = joint.width_mm * upset.weave_width + 0.03 * chance.normal();
    let round_mm = PI * shop::DIAMETER_MM;
    let metal_mm3 = 0.94 * PI * 0.64 * wire_mm_per_min / 60.0 * turn_time_s;
    let arc_power_w = current_a * voltage_v;
    Band {
        current_a,
        current_sd_a: joint.current_sd_a * (0.13 * chance.normal()).exp() + 2.4 * crater,
        voltage_v,
        voltage_sd_v: 0.55 * (0.37 * chance.normal()).exp() + 0.1 * crater,
        gas_lpm: (shop::GAS_LPM + setting.gas_lpm) * upset.gas + 0.03 * chance.normal(),
        gas_sd_lpm: 0.255 * (0.25 * chance.normal()).exp(),
        gas_preflow_s: chance.between(1.35, 3.05),
        gas_postflow_s: chance.between(4.85, 6.95),
        weave_per_min: (shop::WEAVE_PER_MIN + setting.weave_per_min) * upset.weave_rate
            + 0.035 * chance.normal(),
        weave_width_mm,
        weave_centre_drift_mm: (joint.centre_mm + 0.12 * chance.normal()).abs(),
        turn_time_s,
        step_over_mm: joint.step_mm + 0.05 * chance.normal(),
        wire_mm_per_min,
        band_height_mm: metal_mm3 / round_mm / weave_width_mm,
        arc_power_w,
        arc_energy_kj_per_mm: arc_power_w * turn_time_s / round_mm / 1000.0,
        coolant_lpm: (shop::COOLANT_LPM - 0.18 + setting.coolant_lpm) * upset.coolant
            + 0.03 * chance.normal(),
        work_c: shop::PREHEAT_C - 2.0
            + setting.preheat_k
            + conditions.preheat_k
            + [0.0, 38.0, 59.0][at % 3]
            + 3.0 * chance.normal(),
    }
}
