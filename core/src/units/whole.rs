//! Quantities in the units people write, for a procedure in code.
//!
//! Decides: which units there are beside those of the crate.
//! Assumes: nothing.
//! Never: panics; what cannot be held is held at the end of the range.

use super::{
    CoolingRate, Current, Degrees, Duration, EnergyPerLength, EventRate, FlowRate, Length, Power,
    SurfaceSpeed, Temperature, Voltage, WeaveRate, WireSpeed,
};
use crate::procedure::Range;

macro_rules! whole {
    ($($unit:ident :: $name:ident, $words:literal;)*) => { $(
        impl $unit {
            #[doc = concat!("From whole ", $words, ".")]
            ///
            /// ```
            #[doc = concat!("use bandward::units::", stringify!($unit), ";")]
            ///
            #[doc = concat!("const GIVEN: ", stringify!($unit), " = ", stringify!($unit), "::", stringify!($name), "(12);")]
            /// assert_eq!(GIVEN.to_milli(), 12_000);
            #[doc = concat!("assert_eq!(", stringify!($unit), "::", stringify!($name), "(i32::MIN), ",
                stringify!($unit), "::MIN);")]
            /// ```
            pub const fn $name(whole: i32) -> Self {
                Self::from_milli((whole as i64).saturating_mul(1000))
            }
            /// The range from this value to another, both inside it.
            ///
            /// ```
            #[doc = concat!("use bandward::units::", stringify!($unit), " as Unit;")]
            ///
            #[doc = concat!("let range = Unit::", stringify!($name), "(1).to(Unit::", stringify!($name), "(2));")]
            #[doc = concat!("assert_eq!(range.low, Unit::", stringify!($name), "(1).to_bits());")]
            /// ```
            pub const fn to(self, high: Self) -> Range {
                Range { low: self.to_bits(), high: high.to_bits() }
            }
            /// The range of this value and all above.
            pub const fn or_more(self) -> Range {
                self.to(Self::MAX)
            }
            /// The range of this value and all below.
            pub const fn or_less(self) -> Range {
                Self::MIN.to(self)
            }
        }
    )* };
}

whole! {
    Current::amps, "ampere";
    Voltage::volts, "volt";
    FlowRate::litres_per_minute, "litres a minute";
    Length::millimetres, "millimetres";
    WireSpeed::millimetres_per_minute, "millimetres a minute";
    Temperature::celsius, "degrees Celsius";
    CoolingRate::kelvin_per_hour, "kelvin an hour";
    WeaveRate::cycles_per_minute, "cycles (there and back) a minute";
    Duration::seconds, "seconds";
    Degrees::whole, "degrees";
    EventRate::per_second, "events a second";
    Power::watts, "watts";
    SurfaceSpeed::millimetres_per_second, "millimetres a second";
    EnergyPerLength::kilojoules_per_millimetre, "kilojoules a millimetre";
}

impl Length {
    /// From whole inches and a fraction of one: `inches(1, 1, 8)` is 1 1/8 in. An inch is 25.4 mm (exact; NIST
    /// SP 811, from memory). A fraction of nothing is none.
    ///
    /// ```
    /// use bandward::units::Length;
    ///
    /// assert_eq!(Length::inches(5, 0, 1).to_milli(), 127_000);
    /// assert_eq!(Length::inches(1, 1, 8).to_milli(), 28_575);
    /// ```
    pub const fn inches(whole: i32, numerator: u32, denominator: u32) -> Self {
        let micrometres = (whole as i64).saturating_mul(25_400);
        let fraction = match (numerator as i64).saturating_mul(25_400).checked_div(denominator as i64) {
            Some(fraction) => fraction,
            None => 0,
        };
        Self::from_milli(if whole < 0 {
            micrometres.saturating_sub(fraction)
        } else {
            micrometres.saturating_add(fraction)
        })
    }
}

impl FlowRate {
    /// From cubic feet an hour; a cubic foot is 28.316846592 L (exact; NIST SP 811, from memory).
    ///
    /// ```
    /// use bandward::units::FlowRate;
    ///
    /// assert_eq!(FlowRate::cubic_feet_per_hour(35).to_milli(), 16_518); // L/min
    /// ```
    pub const fn cubic_feet_per_hour(whole: i32) -> Self {
        // 28_316.846592 mL over 60 min, in millionths.
        Self::from_milli(rounded((whole as i64).saturating_mul(471_947_443), 1_000_000))
    }
}

impl WireSpeed {
    /// From metres a minute.
    ///
    /// ```
    /// use bandward::units::WireSpeed;
    ///
    /// assert_eq!(WireSpeed::metres_per_minute(5), WireSpeed::millimetres_per_minute(5000));
    /// ```
    pub const fn metres_per_minute(whole: i32) -> Self {
        Self::from_milli((whole as i64).saturating_mul(1_000_000))
    }
    /// From inches a minute.
    ///
    /// ```
    /// use bandward::units::WireSpeed;
    ///
    /// assert_eq!(WireSpeed::inches_per_minute(200), WireSpeed::millimetres_per_minute(5080));
    /// ```
    pub const fn inches_per_minute(whole: i32) -> Self {
        Self::from_milli((whole as i64).saturating_mul(25_400))
    }
}

impl Temperature {
    /// From degrees Fahrenheit, rounded to a thousandth.
    ///
    /// ```
    /// use bandward::units::Temperature;
    ///
    /// assert_eq!(Temperature::fahrenheit(212), Temperature::celsius(100));
    /// assert_eq!(Temperature::fahrenheit(-40), Temperature::celsius(-40));
    /// ```
    pub const fn fahrenheit(whole: i32) -> Self {
        Self::from_milli(rounded((whole as i64).saturating_sub(32).saturating_mul(5000), 9))
    }
}

impl CoolingRate {
    /// From degrees Fahrenheit an hour, rounded to a thousandth.
    ///
    /// ```
    /// use bandward::units::CoolingRate;
    ///
    /// assert_eq!(CoolingRate::fahrenheit_per_hour(90), CoolingRate::kelvin_per_hour(50));
    /// ```
    pub const fn fahrenheit_per_hour(whole: i32) -> Self {
        Self::from_milli(rounded((whole as i64).saturating_mul(5000), 9))
    }
}

/// A quotient, rounded to the nearest; `divisor` is above zero.
const fn rounded(dividend: i64, divisor: i64) -> i64 {
    let half = divisor / 2;
    let moved = if dividend < 0 { dividend.saturating_sub(half) } else { dividend.saturating_add(half) };
    match moved.checked_div(divisor) {
        Some(quotient) => quotient,
        None => 0,
    }
}
