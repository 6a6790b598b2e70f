//! How hot the bore gets right under the torch as it passes.
//!
//! Decides: the highest rise above the temperature before, at the inner side of the wall.
//! Assumes: a flat wall that loses nothing, heat laid at once along the seam and evenly across the width of the
//! band: right where the torch moves faster than heat runs ahead of it. After Carslaw and Jaeger, Conduction of
//! Heat in Solids (from memory): instantaneous sources, with mirror images for the two sides of the wall.
//! Never: knows that a bore is narrower than the outside, so real bores get a little hotter than this.

use super::steel::{CAPACITY_J_PER_MM3_K, DIFFUSIVITY_MM2_PER_S};

/// Rise at the bore, K, a time after the torch has passed over.
pub fn rise_at_bore(heat_input_j_per_mm: f64, width_mm: f64, wall_mm: f64, since_s: f64) -> f64 {
    let reach_mm = 2.0 * libm::sqrt(DIFFUSIVITY_MM2_PER_S * since_s);
    if reach_mm <= 0.0 {
        return 0.0;
    }
    let sideways = libm::erf(0.5 * width_mm / reach_mm) / width_mm;
    heat_input_j_per_mm / CAPACITY_J_PER_MM3_K * sideways * through(wall_mm, reach_mm)
}

/// A plane source on one side of a wall, seen from the other, 1/mm. Mirror images where heat has not gone far,
/// else waves of the cosine series, which then die out fast; both are the same function.
fn through(wall_mm: f64, reach_mm: f64) -> f64 {
    let share = reach_mm / wall_mm;
    if share < 1.0 {
        let image = |order: f64| {
            let way = (2.0 * order + 1.0) / share;
            libm::exp(-way * way)
        };
        let images: f64 = (0..4).map(|order| image(f64::from(order))).sum();
        return 4.0 * images / (libm::sqrt(std::f64::consts::PI) * reach_mm);
    }
    let wave = |order: i32| {
        let angle = std::f64::consts::PI * f64::from(order);
        let sign = if order % 2 == 0 { 1.0 } else { -1.0 };
        sign * libm::exp(-angle * angle * share * share / 4.0)
    };
    (1.0 + 2.0 * (1..6).map(wave).sum::<f64>()) / wall_mm
}

/// The highest rise at the bore, K, within the first `within_s`: the time of a turn, after which the torch
/// comes round again and the ring has taken the heat up.
pub fn highest_rise_at_bore(heat_input_j_per_mm: f64, width_mm: f64, wall_mm: f64, within_s: f64) -> f64 {
    const STEPS: u32 = 400;
    let rise = |step: u32| {
        let since_s = within_s * f64::from(step) / f64::from(STEPS);
        rise_at_bore(heat_input_j_per_mm, width_mm, wall_mm, since_s)
    };
    (1..=STEPS).map(rise).fold(0.0, f64::max)
}
