//! The steel of a tool joint: what it is made of, and how it takes up and conducts heat.
//!
//! Decides: the carbon equivalent, and the composition that a short name stands for.
//! Assumes: one conductivity and one heat capacity at all temperatures, those at about 300 °C.
//! Never: knows the heat treatment.

/// Heat that steel conducts, W/(mm K): carbon steel at 300 °C has 44 W/(m K) by the formula of EN 1993-1-2
/// (from memory); alloyed steel of this kind conducts a little less.
pub const CONDUCTIVITY_W_PER_MM_K: f64 = 0.042;
/// Heat that a volume of steel takes up, J/(mm³ K): 7850 kg/m³, and 565 J/(kg K) as carbon steel has at
/// 300 °C by the formula of EN 1993-1-2 (from memory).
pub const CAPACITY_J_PER_MM3_K: f64 = 7850e-9 * 565.0;
/// How fast a difference in temperature evens out, mm²/s.
pub const DIFFUSIVITY_MM2_PER_S: f64 = CONDUCTIVITY_W_PER_MM_K / CAPACITY_J_PER_MM3_K;

/// Steel of tool joints begins to melt about here, °C. Handbook value, from memory.
pub const MELTS_C: f64 = 1480.0;

/// Parts of the steel that count towards its hardness beside a weld, in percent of its mass.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Composition {
    /// Carbon.
    pub carbon: f64,
    /// Manganese.
    pub manganese: f64,
    /// Molybdenum.
    pub molybdenum: f64,
    /// Chromium.
    pub chromium: f64,
    /// Copper.
    pub copper: f64,
    /// Nickel.
    pub nickel: f64,
}

impl Composition {
    /// Carbon equivalent CET, percent: EN 1011-2 annex C, method B (from memory).
    pub fn carbon_equivalent(&self) -> f64 {
        self.carbon
            + (self.manganese + self.molybdenum) / 10.0
            + (self.chromium + self.copper) / 20.0
            + self.nickel / 40.0
    }
}

/// Steels of tool joints, by the last part of their usual names. Typical compositions, from memory; a mill
/// certificate is better.
pub const STEELS: &[(&str, Composition)] = &[
    ("4137", chrome_molybdenum(0.37, 0.85, 1.0)),
    ("4140", chrome_molybdenum(0.40, 0.875, 0.95)),
    ("4145", chrome_molybdenum(0.455, 0.875, 0.95)),
];

const fn chrome_molybdenum(carbon: f64, manganese: f64, chromium: f64) -> Composition {
    Composition { carbon, manganese, molybdenum: 0.20, chromium, copper: 0.0, nickel: 0.0 }
}
