//! Physical quantities in fixed point.
//!
//! Decides: the unit and the resolution of every quantity in this crate.
//! Assumes: nothing.
//! Never: mixes two quantities; arithmetic across units is written once, in [`crate::heat`].

mod whole;

use fixed::types::{I16F16, I20F12, I24F8};

/// What all quantities share, for code that is generic over them.
pub trait FixedPoint: Copy {
    /// Number of fraction bits of the raw value.
    const FRACTION_BITS: u32;
    /// The raw bits.
    fn bits(self) -> i32;
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $inner:ty, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        #[cfg_attr(feature = "serde", serde(transparent))]
        pub struct $name(i32);

        impl $name {
            /// Number of fraction bits of the raw value.
            pub const FRACTION_BITS: u32 = <$inner>::FRAC_NBITS;
            /// Unit symbol.
            pub const SYMBOL: &'static str = $symbol;
            /// Zero.
            pub const ZERO: Self = Self(0);
            /// The smallest value that can be held.
            pub const MIN: Self = Self(i32::MIN);
            /// The largest value that can be held.
            pub const MAX: Self = Self(i32::MAX);

            /// From the raw bits: value times two to the power of [`Self::FRACTION_BITS`].
            pub const fn from_bits(bits: i32) -> Self {
                Self(bits)
            }
            /// The raw bits.
            pub const fn to_bits(self) -> i32 {
                self.0
            }
            /// As a fixed-point number.
            pub const fn to_fixed(self) -> $inner {
                <$inner>::from_bits(self.0)
            }
            /// From thousandths of the unit, rounded to nearest; saturates at the ends of the range.
            pub const fn from_milli(milli: i64) -> Self {
                Self(milli_to_bits(milli, Self::FRACTION_BITS))
            }
            /// In thousandths of the unit, rounded to nearest.
            pub const fn to_milli(self) -> i64 {
                bits_to_milli(self.0, Self::FRACTION_BITS)
            }
            /// Sum, held at the ends of the range.
            #[must_use]
            pub const fn saturating_add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }
            /// Difference, held at the ends of the range.
            #[must_use]
            pub const fn saturating_sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }
            /// Size without sign, held at the end of the range.
            #[must_use]
            pub const fn magnitude(self) -> Self {
                Self(self.0.saturating_abs())
            }
        }

        impl FixedPoint for $name {
            const FRACTION_BITS: u32 = <$inner>::FRAC_NBITS;
            fn bits(self) -> i32 {
                self.0
            }
        }

        #[cfg(feature = "defmt")]
        impl defmt::Format for $name {
            fn format(&self, f: defmt::Formatter<'_>) {
                defmt::write!(f, "{=i64} m{=str}", self.to_milli(), $symbol);
            }
        }
    };
}

quantity!(
    /// Welding current; positive when the electrode is positive. 1/4096 A, ±524 kA.
    Current, I20F12, "A"
);
quantity!(
    /// Arc voltage; positive when the electrode is positive. 1/4096 V, ±524 kV.
    Voltage, I20F12, "V"
);
quantity!(
    /// Volume flow of gas or coolant. 1/4096 L/min.
    FlowRate, I20F12, "L/min"
);
quantity!(
    /// Length or position. 1/4096 mm.
    Length, I20F12, "mm"
);
quantity!(
    /// Wire feed speed. 1/256 mm/min.
    WireSpeed, I24F8, "mm/min"
);
quantity!(
    /// Temperature. 1/4096 °C.
    Temperature, I20F12, "degC"
);
quantity!(
    /// Fall of a temperature over time. 1/4096 K/h.
    CoolingRate, I20F12, "K/h"
);
quantity!(
    /// Complete weave cycles (there and back) a minute. 1/4096.
    WeaveRate, I20F12, "1/min"
);
quantity!(
    /// A stretch of time. 1/4096 s.
    Duration, I20F12, "s"
);
quantity!(
    /// An angle that may exceed a turn. 1/4096 degree.
    Degrees, I20F12, "deg"
);
quantity!(
    /// Events a second. 1/4096.
    EventRate, I20F12, "1/s"
);
quantity!(
    /// Electrical power. 1/256 W.
    Power, I24F8, "W"
);
quantity!(
    /// Surface speed. 1/65536 mm/s.
    SurfaceSpeed, I16F16, "mm/s"
);
quantity!(
    /// Arc energy per length. 1/65536 kJ/mm.
    EnergyPerLength, I16F16, "kJ/mm"
);

impl Duration {
    /// From microseconds, rounded down to 1/4096 s; held at the end of the range.
    #[inline(never)] // a division of 64 bits
    pub const fn from_micros(micros: u64) -> Self {
        // x * 4096 / 1e6 = x * 64 / 15625
        let bits = micros.saturating_mul(64) / 15_625;
        if bits > i32::MAX as u64 { Self::MAX } else { Self(bits as i32) }
    }
    /// In microseconds, rounded down; a negative duration is zero.
    pub const fn to_micros(self) -> u64 {
        if self.0 <= 0 { 0 } else { (self.0 as u64).saturating_mul(15_625) / 64 }
    }
}

/// An angle on the circumference that wraps: a full scale of `u32` is one turn, so that differences
/// come out right whichever way it wraps.
///
/// ```
/// use bandward::units::{Angle, turns_to_degrees};
///
/// let (before, after) = (Angle::from_microdegrees(359_000_000), Angle::from_microdegrees(1_000_000));
/// assert_eq!(turns_to_degrees(after.since(before).into()).to_milli(), 2_000);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(transparent))]
pub struct Angle(u32);

impl Angle {
    /// From a fraction of a turn in units of 2^-32 turn.
    pub const fn from_bits(bits: u32) -> Self {
        Self(bits)
    }
    /// In units of 2^-32 turn.
    pub const fn to_bits(self) -> u32 {
        self.0
    }
    /// From millionths of a degree; whole turns fall away.
    pub const fn from_microdegrees(microdegrees: i64) -> Self {
        let within = microdegrees.rem_euclid(360_000_000);
        // (x << 32) / 360e6 with x < 2^29 stays within 61 bits.
        Self((within.wrapping_shl(32) / 360_000_000) as u32)
    }
    /// The short way from `earlier` to `self`, in units of 2^-32 turn: within half a turn either way.
    pub const fn since(self, earlier: Self) -> i32 {
        self.0.wrapping_sub(earlier.0) as i32
    }
}

/// Turns in units of 2^-32 to degrees, held at the ends of the range.
pub const fn turns_to_degrees(turns_q32: i64) -> Degrees {
    // degrees * 4096 = t * 360 * 4096 / 2^32 = t * 45 / 2^17
    saturate(turns_q32.saturating_mul(45) >> 17, Degrees::MIN.0, Degrees::MAX.0)
}

const fn saturate(bits: i64, low: i32, high: i32) -> Degrees {
    if bits < low as i64 {
        Degrees(low)
    } else if bits > high as i64 {
        Degrees(high)
    } else {
        Degrees(bits as i32)
    }
}

const fn milli_to_bits(milli: i64, fraction_bits: u32) -> i32 {
    let scaled = milli.saturating_mul(1_i64.wrapping_shl(fraction_bits));
    let rounded = if scaled >= 0 { scaled.saturating_add(500) } else { scaled.saturating_sub(500) } / 1000;
    if rounded > i32::MAX as i64 {
        i32::MAX
    } else if rounded < i32::MIN as i64 {
        i32::MIN
    } else {
        rounded as i32
    }
}

pub(crate) const fn bits_to_milli(bits: i32, fraction_bits: u32) -> i64 {
    let half = 1_i64.wrapping_shl(fraction_bits) >> 1;
    (bits as i64).saturating_mul(1000).saturating_add(half) >> fraction_bits
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousandths_round_trip_within_half_a_step() {
        for milli in [-1_000_000, -1, 0, 1, 999, 29_000, 1_234_567] {
            assert!((Voltage::from_milli(milli).to_milli() - milli).abs() <= 1);
        }
        assert_eq!(Voltage::from_milli(29_000).to_bits(), 29 * 4096);
        assert_eq!(Current::from_milli(i64::MAX), Current::MAX);
        assert_eq!(Current::from_milli(i64::MIN), Current::MIN);
    }

    #[test]
    fn angles_wrap_the_short_way() {
        let before = Angle::from_microdegrees(359_000_000);
        let after = Angle::from_microdegrees(1_000_000);
        assert_eq!(turns_to_degrees(i64::from(after.since(before))).to_milli(), 2000);
        assert_eq!(turns_to_degrees(i64::from(before.since(after))).to_milli(), -2000);
        assert_eq!(Angle::from_microdegrees(-90_000_000), Angle::from_microdegrees(270_000_000));
    }

    #[test]
    fn durations_convert_exactly_at_whole_seconds() {
        assert_eq!(Duration::from_micros(120_000_000).to_bits(), 120 * 4096);
        assert_eq!(Duration::from_micros(u64::MAX), Duration::MAX);
        assert_eq!(Duration::from_milli(-5).to_micros(), 0);
    }
}
