//! What the outside of a joint loses to its surroundings.
//!
//! Decides: the coefficient of heat loss by radiation and by still or moving air, with or without a blanket.
//! Assumes: a long level cylinder in air; what surrounds it is as warm as the air.
//! Never: counts rain, or the chuck that holds the joint.

/// Stefan-Boltzmann constant, W/(m² K⁴): exact since the SI of 2019.
const RADIATION_W_PER_M2_K4: f64 = 5.670_374_419e-8;
/// Share of the radiation of a black body that oxidised steel gives off. From memory.
const STEEL_EMISSIVITY: f64 = 0.8;
/// The outside of a blanket. From memory.
const BLANKET_EMISSIVITY: f64 = 0.9;
/// Ceramic fibre at a few hundred °C, W/(m K). From memory.
const BLANKET_W_PER_M_K: f64 = 0.10;
const KELVIN: f64 = 273.15;
const GRAVITY_M_PER_S2: f64 = 9.81;
/// Heat diffuses faster than momentum in air: the Prandtl number. From memory.
const PRANDTL: f64 = 0.7;

/// What is around a joint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Surroundings {
    /// Temperature of the air, °C.
    pub ambient_c: f64,
    /// Speed of the air across the joint, m/s.
    pub wind_m_per_s: f64,
    /// Thickness of a blanket of ceramic fibre around it, mm; 0 for none.
    pub blanket_mm: f64,
}

impl Surroundings {
    /// Still air at a temperature in °C.
    pub const fn still(ambient_c: f64) -> Self {
        Self { ambient_c, wind_m_per_s: 0.0, blanket_mm: 0.0 }
    }
    /// Heat loss, W/(mm² K) of bare surface, of a cylinder whose surface is at `surface_c`.
    pub fn loss_w_per_mm2_k(&self, outside_diameter_mm: f64, surface_c: f64) -> f64 {
        let loss_w_per_m2_k = if self.blanket_mm > 0.0 {
            self.through_blanket(outside_diameter_mm, surface_c)
        } else {
            self.bare(outside_diameter_mm, surface_c, STEEL_EMISSIVITY)
        };
        loss_w_per_m2_k * 1e-6
    }
    fn bare(&self, diameter_mm: f64, surface_c: f64, emissivity: f64) -> f64 {
        let (surface_k, ambient_k) = (surface_c + KELVIN, self.ambient_c + KELVIN);
        let radiation = radiation(surface_k, ambient_k, emissivity);
        let diameter_m = diameter_mm * 1e-3;
        let still = still_air(diameter_m, surface_k, ambient_k);
        let moving = moving_air(diameter_m, surface_k, ambient_k, self.wind_m_per_s);
        radiation + still.max(moving)
    }
    /// The blanket and its outside in series, per area of the steel below it. The outside is found by going
    /// back and forth a few times, which settles since most of the fall is in the blanket.
    fn through_blanket(&self, diameter_mm: f64, surface_c: f64) -> f64 {
        let outer_mm = diameter_mm + 2.0 * self.blanket_mm;
        let radius_m = 0.5e-3 * diameter_mm;
        let blanket = radius_m * libm::log(outer_mm / diameter_mm) / BLANKET_W_PER_M_K;
        let mut outside_c = self.ambient_c;
        let mut whole = 0.0;
        for _ in 0..6 {
            let outside = self.bare(outer_mm, outside_c, BLANKET_EMISSIVITY) * outer_mm / diameter_mm;
            whole = 1.0 / (blanket + 1.0 / outside);
            outside_c = self.ambient_c + whole / outside * (surface_c - self.ambient_c);
        }
        whole
    }
}

/// The loss of one joint in one place, worked out once for every surface temperature.
#[derive(Clone, Debug)]
pub struct LossTable {
    ambient_c: f64,
    /// W/(mm² K) at every tenth degree above the air.
    losses: Vec<f64>,
}

impl LossTable {
    /// The table of a cylinder.
    pub fn new(surroundings: &Surroundings, outside_diameter_mm: f64) -> Self {
        let at = |index: u32| surroundings.ambient_c + STEP_C * f64::from(index);
        let losses = (0..STEPS).map(|index| surroundings.loss_w_per_mm2_k(outside_diameter_mm, at(index)));
        Self { ambient_c: surroundings.ambient_c, losses: losses.collect() }
    }
    /// Temperature of the air, °C.
    pub fn ambient_c(&self) -> f64 {
        self.ambient_c
    }
    /// Loss, W/(mm² K), of a surface: on a straight line between two entries.
    pub fn of(&self, surface_c: f64) -> f64 {
        let place = ((surface_c - self.ambient_c) / STEP_C).clamp(0.0, f64::from(STEPS - 2));
        let below = place as usize;
        let (one, next) = (self.losses[below], self.losses[below + 1]);
        one + (place - below as f64) * (next - one)
    }
}

/// Up to 2000 °C above the air.
const STEP_C: f64 = 10.0;
const STEPS: u32 = 201;

/// Radiation between a small warm body and large surroundings, W/(m² K).
pub fn radiation(surface_k: f64, ambient_k: f64, emissivity: f64) -> f64 {
    emissivity
        * RADIATION_W_PER_M2_K4
        * (surface_k * surface_k + ambient_k * ambient_k)
        * (surface_k + ambient_k)
}

/// Air at the mean of two temperatures: its viscosity, m²/s, and conductivity, W/(m K). Powers laid through
/// the handbook values at 300 K, 15.9e-6 and 0.0263 (from memory), good to some 3 % up to 800 K.
fn film(surface_k: f64, ambient_k: f64) -> (f64, f64) {
    let share = f64::midpoint(surface_k, ambient_k) / 300.0;
    (15.9e-6 * libm::pow(share, 1.75), 0.0263 * libm::pow(share, 0.83))
}

/// Air that rises by itself along a level cylinder, W/(m² K): Churchill and Chu 1975 (from memory).
pub fn still_air(diameter_m: f64, surface_k: f64, ambient_k: f64) -> f64 {
    let (viscosity, conductivity) = film(surface_k, ambient_k);
    let expansion = 1.0 / f64::midpoint(surface_k, ambient_k);
    let lift = GRAVITY_M_PER_S2 * expansion * (surface_k - ambient_k).abs();
    let rayleigh = lift * libm::pow(diameter_m, 3.0) * PRANDTL / (viscosity * viscosity);
    let shape = libm::pow(1.0 + libm::pow(0.559 / PRANDTL, 9.0 / 16.0), 8.0 / 27.0);
    let root = 0.60 + 0.387 * libm::pow(rayleigh, 1.0 / 6.0) / shape;
    root * root * conductivity / diameter_m
}

/// Air that blows across a cylinder, W/(m² K): Churchill and Bernstein 1977 (from memory).
pub fn moving_air(diameter_m: f64, surface_k: f64, ambient_k: f64, speed_m_per_s: f64) -> f64 {
    let (viscosity, conductivity) = film(surface_k, ambient_k);
    let reynolds = speed_m_per_s * diameter_m / viscosity;
    let shape = libm::pow(1.0 + libm::pow(0.4 / PRANDTL, 2.0 / 3.0), 0.25);
    let rough = libm::pow(1.0 + libm::pow(reynolds / 282_000.0, 0.625), 0.8);
    let nusselt = 0.3 + 0.62 * libm::sqrt(reynolds) * libm::cbrt(PRANDTL) / shape * rough;
    nusselt * conductivity / diameter_m
}
