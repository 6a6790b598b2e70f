//! The preheat that keeps hydrogen from cracking the joint.
//!
//! Decides: the temperature by EN 1011-2 annex C, method B (from memory), and where the formula leaves the
//! range it was made for.
//! Assumes: steel much thicker than the bead is deep; the wall of the joint is the thickness.
//! Never: replaces the qualified procedure. A figure beyond the range of the formula says so.

/// Thermal efficiency of gas-shielded metal-arc welding: EN 1011-1 (from memory).
pub const THERMAL_EFFICIENCY: f64 = 0.8;
/// Weld metal of a gas-shielded wire, mL in 100 g (common practice, no source).
pub const USUAL_HYDROGEN: f64 = 5.0;
/// A preheat this far below what the steel needs counts as reaching it, K. Invented.
pub const PREHEAT_PLAY_C: f64 = 1.0;

/// A preheat by formula.
#[derive(Clone, Debug, PartialEq)]
pub struct Preheat {
    /// Least temperature before the arc, °C.
    pub least_c: f64,
    /// What lies outside the range of the formula: then the figure is an extrapolation.
    pub beyond: Vec<Beyond>,
}

/// A value outside the range that the formula is valid for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beyond {
    /// What it is, with its unit.
    pub what: &'static str,
    /// The value.
    pub value: f64,
    /// Ends of the valid range.
    pub valid: (f64, f64),
}

/// What the formula takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    /// Carbon equivalent CET, percent.
    pub carbon_equivalent: f64,
    /// Wall of the joint, mm.
    pub thickness_mm: f64,
    /// Diffusible hydrogen of the weld metal, mL in 100 g.
    pub hydrogen_ml_per_100_g: f64,
    /// Heat input, kJ/mm.
    pub heat_input_kj_per_mm: f64,
}

impl Preheat {
    /// Tp = 697 CET + 160 tanh(d/35) + 62 HD^0.35 + (53 CET - 32) Q - 328.
    pub fn of(conditions: Conditions) -> Self {
        let Conditions { carbon_equivalent, thickness_mm, hydrogen_ml_per_100_g, heat_input_kj_per_mm } =
            conditions;
        let least_c = 697.0 * carbon_equivalent
            + 160.0 * libm::tanh(thickness_mm / 35.0)
            + 62.0 * libm::pow(hydrogen_ml_per_100_g, 0.35)
            + (53.0 * carbon_equivalent - 32.0) * heat_input_kj_per_mm
            - 328.0;
        let ranges = [
            ("CET, %", carbon_equivalent, (0.2, 0.5)),
            ("thickness, mm", thickness_mm, (10.0, 90.0)),
            ("hydrogen, mL/100g", hydrogen_ml_per_100_g, (1.0, 20.0)),
            ("heat input, kJ/mm", heat_input_kj_per_mm, (0.5, 4.0)),
        ];
        let is_beyond = |value: f64, valid: (f64, f64)| !(valid.0..=valid.1).contains(&value);
        let beyond = ranges
            .into_iter()
            .filter(|&(_, value, valid)| is_beyond(value, valid))
            .map(|(what, value, valid)| Beyond { what, value, valid })
            .collect();
        Self { least_c, beyond }
    }
}
