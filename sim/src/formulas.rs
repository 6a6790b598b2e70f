//! The core's formulas for values in f64.
//!
//! Decides: nothing; each formula stands once, in [`bandward::heat`], with its source.
//! Assumes: house units of [`crate::input::unit::Dimension`].
//! Never: computes what the core computes.

use crate::input::setting::raw_value;
use crate::raw::value;
use bandward::heat;
use bandward::units::{Current, Duration, Length, Power, SurfaceSpeed, WireSpeed};

macro_rules! fixed {
    ($quantity:ident, $value:expr) => {
        $quantity::from_bits(raw_value($value, $quantity::FRACTION_BITS))
    };
}

/// Surface speed, mm/s, of a joint of `diameter_mm` that turns once in `turn_time_s`.
pub fn surface_speed(diameter_mm: f64, turn_time_s: f64) -> Option<f64> {
    heat::surface_speed(fixed!(Length, diameter_mm), fixed!(Duration, turn_time_s)).map(value)
}

/// Arc energy, kJ/mm, of `power_w` at `speed_mm_per_s`.
pub fn arc_energy(power_w: f64, speed_mm_per_s: f64) -> Option<f64> {
    heat::arc_energy(fixed!(Power, power_w), fixed!(SurfaceSpeed, speed_mm_per_s)).map(value)
}

/// What a band is laid from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deposit {
    /// Wire feed, mm/min.
    pub wire_feed_mm_per_min: f64,
    /// Wire diameter, mm.
    pub wire_diameter_mm: f64,
    /// Share of the wire that stays in the band, 0 to 1.
    pub deposition_efficiency: f64,
    /// Surface speed, mm/s.
    pub speed_mm_per_s: f64,
    /// Width of the band, mm.
    pub width_mm: f64,
}

impl Deposit {
    /// Expected height of the band, mm.
    pub fn height_mm(self) -> Option<f64> {
        heat::band_height(
            fixed!(WireSpeed, self.wire_feed_mm_per_min),
            fixed!(Length, self.wire_diameter_mm),
            (self.deposition_efficiency * 1000.0).round() as u16,
            fixed!(SurfaceSpeed, self.speed_mm_per_s),
            fixed!(Length, self.width_mm),
        )
        .map(value)
    }
    /// The wire feed, mm/min, that gives a height: the two are in proportion.
    pub fn wire_feed_for_height(self, height_mm: f64) -> Option<f64> {
        let base_mm_per_min = 10_000.0;
        let base_mm = Self { wire_feed_mm_per_min: base_mm_per_min, ..self }.height_mm()?;
        (base_mm > 0.0).then(|| base_mm_per_min * height_mm / base_mm)
    }
}

/// Length of the arc, mm, of a spraying wire: what of the distance from tip to work is no wire. Common
/// practice, no source (some 4 to 6 mm).
pub const USUAL_ARC_LENGTH_MM: f64 = 5.0;

/// The wire that the current heats, mm: from the tip to where the arc burns, which is the stick-out from
/// tip to work less the arc.
pub fn electrode_extension(stick_out_mm: f64) -> f64 {
    (stick_out_mm - USUAL_ARC_LENGTH_MM).max(0.0)
}

/// Why no wire feed is worked out from amps, nor amps from wire feed, on the negative pole.
pub const NEGATIVE_POLE: &str = "on the negative pole (DCEN) a wire melts faster than on the positive one, and no law for it is known here: wire \
     feed and amps are not worked out from each other";

/// Wire feed, mm/min, that a current melts off a solid wire on the positive pole; on the negative one it
/// burns off much faster, and no law for it is known here.
pub fn wire_feed_from_current(current_a: f64, extension_mm: f64, wire_diameter_mm: f64) -> Option<f64> {
    heat::wire_feed_from_current(
        fixed!(Current, current_a),
        fixed!(Length, extension_mm),
        fixed!(Length, wire_diameter_mm),
    )
    .map(value)
}

/// Turn time, s, of a joint at the surface speed of the benchmark of the trade: 2 min a turn on a 5 in
/// (127 mm) joint; smaller joints turn faster, larger slower. Common practice, no source.
pub fn benchmark_turn_time(diameter_mm: f64) -> f64 {
    120.0 * diameter_mm / 127.0
}

/// Torch offset from the top centre, mm, of a joint at the angle of the benchmark of the trade: 3/4 to
/// 1 1/2 in on a 5 in (127 mm) joint, which is 17.5 to 36.9 degrees. Common practice, no source. A table
/// published for submerged arc gives less (12 mm for pipe of 25 to 75 mm, 22 mm for 75 to 450 mm; read as
/// an excerpt): its pool lies under slag and freezes later. The trade's own is used.
pub fn benchmark_offset(diameter_mm: f64) -> (f64, f64) {
    (19.05 * diameter_mm / 127.0, 38.1 * diameter_mm / 127.0)
}

/// Gas flow, L/min, for a nozzle: 35 ft3/h (16.5 L/min) at a bore of 3/4 in (19.05 mm); for a larger one
/// about as the square of the bore, so that it leaves as fast. Common practice, no source.
pub fn benchmark_gas_flow(bore_mm: f64) -> f64 {
    let times = (bore_mm / 19.05).max(1.0);
    35.0 * 28.316_846_592 / 60.0 * times * times
}

/// Overlap of a band with the one before, mm: 1/8 in. Common practice, no source.
pub const USUAL_OVERLAP_MM: f64 = 3.175;
