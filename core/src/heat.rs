//! Formulas across units: surface speed, arc energy, expected band height, wire feed from current.
//!
//! Decides: each formula once, with its source.
//! Assumes: sizes above zero; anything else gives `None`.
//! Never: holds state.

use crate::procedure::Geometry;
use crate::statistics::product;
use crate::units::{Current, Duration, EnergyPerLength, Length, Power, SurfaceSpeed, WireSpeed};

/// Pi as 355 / 113, good to 3 parts in 10^7.
const PI_NUMERATOR: i128 = 355;
const PI_DENOMINATOR: i128 = 113;

/// `numerator / denominator`, rounded to nearest, if the denominator is above zero. What exceeds 64
/// bits is shifted down on both sides, which leaves far more digits than any result has.
fn divide(numerator: i128, denominator: i128) -> Option<i32> {
    let numerator = u128::try_from(numerator).ok()?;
    let denominator = u128::try_from(denominator).ok().filter(|&denominator| denominator > 0)?;
    let widest = (numerator | denominator).leading_zeros();
    let beyond = 65_u32.saturating_sub(widest);
    let numerator = (numerator >> beyond.min(127)) as u64;
    let denominator = (denominator >> beyond.min(127)) as u64;
    let rounded = numerator.saturating_add(denominator >> 1).checked_div(denominator);
    // A denominator too small to be seen beside the numerator: beyond the end of every range.
    Some(i32::try_from(rounded.unwrap_or(u64::MAX)).unwrap_or(i32::MAX))
}

/// Surface speed: pi D / turn time. Geometry.
///
/// ```
/// use bandward::{heat::surface_speed, units::{Duration, Length}};
///
/// // 5 in, two minutes a turn: 3.1416 x 127 / 120 = 3.325 mm/s, by hand.
/// let speed = surface_speed(Length::inches(5, 0, 1), Duration::seconds(120)).unwrap();
/// assert_eq!(speed.to_milli(), 3_325);
/// ```
pub fn surface_speed(outside_diameter: Length, turn_time: Duration) -> Option<SurfaceSpeed> {
    // mm and s have the same fraction bits, which cancel; the result wants 16.
    let numerator = PI_NUMERATOR.saturating_mul(i128::from(outside_diameter.to_bits())) << 16;
    divide(numerator, PI_DENOMINATOR.saturating_mul(i128::from(turn_time.to_bits())))
        .map(SurfaceSpeed::from_bits)
}

/// Arc energy per length: E = IP / v, with IP the mean of the products u(t) i(t).
/// ISO/TR 18491 and ASME BPVC IX QW-409.1 (from memory).
///
/// ```
/// use bandward::{heat::{arc_energy, surface_speed}, units::{Duration, Length, Power}};
///
/// // 320 A x 31.5 V = 10 080 W over 3.3249 mm/s: 3.032 kJ/mm, by hand.
/// let speed = surface_speed(Length::inches(5, 0, 1), Duration::seconds(120)).unwrap();
/// assert_eq!(arc_energy(Power::watts(10_080), speed).unwrap().to_milli(), 3_032);
/// ```
pub fn arc_energy(power: Power, speed: SurfaceSpeed) -> Option<EnergyPerLength> {
    // W / (mm/s) = J/mm; a thousandth is kJ/mm. Bits: 8 + 24 - 16 = 16.
    let numerator = i128::from(power.to_bits()) << 24;
    divide(numerator, i128::from(speed.to_bits()).saturating_mul(1000)).map(EnergyPerLength::from_bits)
}

/// Expected band height: deposited area over width, the area being
/// wire feed x wire area x yield / surface speed. Conservation of volume.
///
/// ```
/// use bandward::{heat::{band_height, surface_speed}, units::{Duration, Length, WireSpeed}};
///
/// // 5 m/min of 1.6 mm wire (2.0106 mm2), 95 %: 159.17 mm3/s; over 3.3249 mm/s and 28.575 mm: 1.675 mm, by hand.
/// let speed = surface_speed(Length::inches(5, 0, 1), Duration::seconds(120)).unwrap();
/// let height = band_height(
///     WireSpeed::metres_per_minute(5),
///     Length::from_milli(1_600),
///     950,
///     speed,
///     Length::inches(1, 1, 8),
/// );
/// assert!((height.unwrap().to_milli() - 1_675).abs() <= 1);
/// ```
pub fn band_height(
    wire_feed: WireSpeed,
    wire_diameter: Length,
    deposition_efficiency_milli: u16,
    speed: SurfaceSpeed,
    width: Length,
) -> Option<Length> {
    // Bits above: 8 (feed) + 24 (diameter squared); below: 16 (speed) + 12 (width), 4 too many
    // above; the result wants 12, so 8 more above. Feed is per minute: 60. Area: pi d^2 / 4.
    let diameter = i128::from(wire_diameter.to_bits());
    let numerator = i128::from(wire_feed.to_bits())
        .saturating_mul(diameter.saturating_mul(diameter))
        .saturating_mul(PI_NUMERATOR)
        .saturating_mul(i128::from(deposition_efficiency_milli))
        .saturating_mul(1 << 8);
    let denominator = i128::from(speed.to_bits())
        .saturating_mul(i128::from(width.to_bits()))
        .saturating_mul(PI_DENOMINATOR)
        .saturating_mul(4 * 60 * 1000);
    divide(numerator, denominator).map(Length::from_bits)
}

/// Height of what is laid now, with the time a turn takes now: as [`band_height`], where pi falls out of
/// section and surface speed. `None` without the sizes it needs.
pub fn band_height_now(
    wire_feed: WireSpeed,
    geometry: &Geometry,
    turn_time: Duration,
    width: Length,
) -> Option<Length> {
    // wire feed x d^2 x yield x turn time / (4 D width). Bits above: 8 + 24 + 12; below: 12 + 12; the result
    // wants 12, so 8 more below. Feed is per minute: 60.
    let diameter = i128::from(geometry.wire_diameter?.to_bits());
    let numerator = i128::from(wire_feed.to_bits())
        .saturating_mul(diameter.saturating_mul(diameter))
        .saturating_mul(i128::from(geometry.deposition_efficiency_milli))
        .saturating_mul(i128::from(turn_time.to_bits()));
    let denominator = i128::from(geometry.outside_diameter?.to_bits())
        .saturating_mul(i128::from(width.to_bits()))
        .saturating_mul((4 * 60 * 1000) << 8);
    divide(numerator, denominator).map(Length::from_bits)
}

/// Wire feed from current: melting rate = a I + b L I^2 (Lesnewich, Welding Journal 1958; from
/// memory). Coefficients a = 0.3 mm/(A s) and b = 5e-5 /(A^2 s) hold for 1.2 mm solid steel wire
/// (literature, from memory). For other diameters the arc term goes with the section, the
/// resistance term with the section squared. An estimate: metal-cored wire melts somewhat faster.
///
/// ```
/// use bandward::{heat::wire_feed_from_current, units::{Current, Length}};
///
/// // 300 A, 20 mm, 1.2 mm wire: 60 x (0.3 x 300 + 5e-5 x 20 x 300^2) = 10 800 mm/min, by hand.
/// let feed = wire_feed_from_current(Current::amps(300), Length::millimetres(20), Length::from_milli(1_200));
/// assert!((feed.unwrap().to_milli() - 10_800_000).abs() < 10_000);
/// ```
pub fn wire_feed_from_current(
    current: Current,
    stick_out: Length,
    wire_diameter: Length,
) -> Option<WireSpeed> {
    let amps = u128::from(current.to_bits().unsigned_abs());
    let millimetres = u128::try_from(stick_out.to_bits()).ok()?;
    let diameter = u64::try_from(wire_diameter.to_bits()).ok()?;
    // (1.2 mm)^2 over the diameter squared, both with 24 fraction bits; the quotient has 24 again.
    let section = ((144_u64 << 48) / 100).checked_div(diameter.saturating_mul(diameter))?;
    let section = u128::from(section);
    // mm/min = 60 x 0.3 A = 18 A, with 12 + 24 bits down to 12.
    // With amps up to 2^31, mm below 2^31 and a section below 2^49 no product up to the last reaches 2^110.
    let arc = product(amps.wrapping_mul(18), section) >> 24;
    // 60 x 5e-5 = 0.003, which is 3298534883 / 2^40; 36 bits down to 12.
    let square_amps = product(product(amps, amps), millimetres) >> 24;
    let resistance = product(square_amps, 3_298_534_883) >> 40;
    // Beyond 2^78 the section is beyond 2^41, and the feed held at the end of its range all the same.
    let resistance = product((product(resistance, section) >> 24).min(1 << 78), section) >> 24;
    let feed = arc.saturating_add(resistance).saturating_add(1 << 3) >> 4;
    Some(WireSpeed::from_bits(i32::try_from(feed).unwrap_or(i32::MAX)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_divided_by_zero() {
        assert_eq!(surface_speed(Length::from_milli(127_000), Duration::ZERO), None);
        assert_eq!(arc_energy(Power::from_milli(1), SurfaceSpeed::ZERO), None);
        let zero = Length::ZERO;
        assert_eq!(band_height(WireSpeed::MAX, Length::MAX, 1000, SurfaceSpeed::MAX, zero), None);
        assert_eq!(wire_feed_from_current(Current::MAX, Length::MAX, zero), None);
    }

    #[test]
    fn extremes_are_held() {
        let one = Length::from_bits(1);
        assert_eq!(wire_feed_from_current(Current::MAX, Length::MAX, one), Some(WireSpeed::MAX));
        assert_eq!(
            band_height(WireSpeed::MAX, Length::MAX, 1000, SurfaceSpeed::from_bits(1), one),
            Some(Length::MAX)
        );
    }
}
