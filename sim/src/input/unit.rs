//! Units: what they measure and how they are written.
//!
//! Decides: which units measure what.
//! Assumes: 1 in = 25.4 mm and 1 ft = 0.3048 m exactly (international yard and pound agreement,
//! 1959); a US gallon is 231 cubic inches.
//! Never: reads a number.

use bandward::Channel;

/// What is measured. Every value of a dimension is held in its house unit, the first of its units.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Electrical current, A.
    Current,
    /// Electrical tension, V.
    Voltage,
    /// Volume flow of gas, L/min.
    Flow,
    /// Volume flow of coolant, L/min.
    LiquidFlow,
    /// Length or position, mm.
    Length,
    /// Wire feed speed, mm/min.
    WireSpeed,
    /// Temperature, °C.
    Temperature,
    /// Difference of two temperatures, °C.
    TemperatureDifference,
    /// Cycles a minute, 1/min.
    Rate,
    /// Time, s.
    Duration,
    /// Angle, degrees.
    Angle,
    /// Events a second, 1/s.
    EventRate,
    /// Electrical power, W.
    Power,
    /// A share of a whole, 0 to 1.
    Share,
    /// Speed along a surface, mm/s.
    SurfaceSpeed,
    /// Energy over a length of weld, kJ/mm.
    EnergyPerLength,
    /// Area, mm².
    Area,
    /// Mass, kg.
    Mass,
    /// Mass laid down over time, kg/h.
    MassRate,
    /// Volume of gas, L.
    Volume,
    /// Speed of air, m/s.
    WindSpeed,
    /// Diffusible hydrogen of weld metal, mL in 100 g.
    Hydrogen,
    /// Fall of temperature over time, °C/h.
    CoolingRate,
}

/// A unit: how it is written, and the way from it to the house unit of its dimension.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// The way it is written in messages.
    pub symbol: &'static str,
    /// House units in one of this unit.
    pub factor: f64,
    /// House units at the zero of this unit.
    pub offset: f64,
    aliases: &'static [&'static str],
}

impl Unit {
    /// The value in the house unit of a reading in this unit.
    pub fn to_house(self, reading: f64) -> f64 {
        reading * self.factor + self.offset
    }
    /// Counts of an encoder on the spindle, as an angle.
    pub const fn encoder_counts(counts_per_turn: f64) -> Self {
        unit("count", 360.0 / counts_per_turn, &[])
    }
    /// A speed of turning; the house unit is then a degree a second.
    pub const fn speed(degrees_per_s: f64) -> Self {
        unit("speed", degrees_per_s, &[])
    }
    /// The reading in this unit of a value in the house unit.
    pub fn from_house(self, value: f64) -> f64 {
        (value - self.offset) / self.factor
    }
}

const fn unit(symbol: &'static str, factor: f64, aliases: &'static [&'static str]) -> Unit {
    Unit { symbol, factor, offset: 0.0, aliases }
}

const MM_PER_INCH: f64 = 25.4;
const MM_PER_FOOT: f64 = 304.8;
/// Avoirdupois pound in kilograms: international yard and pound agreement, 1959.
const KG_PER_POUND: f64 = 0.453_592_37;
/// Cubic foot in litres, a foot being 3.048 dm.
const LITRES_PER_CUBIC_FOOT: f64 = 3.048 * 3.048 * 3.048;
/// US gallon in litres: 231 cubic inches, an inch being 0.254 dm.
const LITRES_PER_GALLON: f64 = 231.0 * 0.254 * 0.254 * 0.254;

const CURRENT: &[Unit] =
    &[unit("A", 1.0, &["amp", "amps", "Amps", "amperes"]), unit("kA", 1e3, &[]), unit("mA", 1e-3, &[])];
const VOLTAGE: &[Unit] =
    &[unit("V", 1.0, &["volt", "volts", "Volts"]), unit("mV", 1e-3, &[]), unit("kV", 1e3, &[])];
const FLOW: &[Unit] = &[
    unit("L/min", 1.0, &["l/min", "lpm", "LPM"]),
    unit(
        "cfh",
        LITRES_PER_CUBIC_FOOT / 60.0,
        &["CFH", "scfh", "SCFH", "ft3/h", "ft³/h", "ft^3/h", "ft3/hr", "cubic feet per hour"],
    ),
    unit("cfm", LITRES_PER_CUBIC_FOOT, &["CFM", "scfm", "SCFM", "ft3/min", "ft³/min", "ft^3/min"]),
    unit("m3/h", 1000.0 / 60.0, &["m³/h", "m^3/h"]),
    unit("gal/min", LITRES_PER_GALLON, &["gpm", "GPM"]),
];
const LENGTH: &[Unit] = &[
    unit("mm", 1.0, &[]),
    unit("in", MM_PER_INCH, &["inch", "inches", "\"", "″", "”"]),
    unit("cm", 10.0, &[]),
    unit("m", 1000.0, &[]),
    unit("ft", MM_PER_FOOT, &["'"]),
];
const WIRE_SPEED: &[Unit] = &[
    unit("mm/min", 1.0, &[]),
    unit("m/min", 1000.0, &[]),
    unit("ipm", MM_PER_INCH, &["IPM", "in/min", "inch/min", "inches per minute"]),
    unit("cm/min", 10.0, &[]),
    unit("mm/s", 60.0, &[]),
];
const CELSIUS: Unit = unit("degC", 1.0, &["°C", "C"]);
const FAHRENHEIT: Unit = unit("degF", 5.0 / 9.0, &["°F", "F"]);
const TEMPERATURE: &[Unit] = &[
    CELSIUS,
    Unit { offset: -160.0 / 9.0, ..FAHRENHEIT },
    Unit { symbol: "K", factor: 1.0, offset: -273.15, aliases: &[] },
];
const TEMPERATURE_DIFFERENCE: &[Unit] = &[CELSIUS, FAHRENHEIT, unit("K", 1.0, &[])];
const RATE: &[Unit] = &[
    unit(
        "/min",
        1.0,
        &[
            "1/min",
            "cycles/min",
            "cycle/min",
            "per min",
            "cpm",
            "CPM",
            "opm",
            "per minute",
            "osc/min",
            "oscillations/min",
            "oscillations per minute",
        ],
    ),
    unit("Hz", 60.0, &["/s", "1/s", "cycles/s"]),
];
const DURATION: &[Unit] = &[
    unit("s", 1.0, &["sec", "secs", "second", "seconds"]),
    unit("ms", 1e-3, &[]),
    unit("min", 60.0, &["mins", "minute", "minutes"]),
    unit("h", 3600.0, &["hour", "hours"]),
    unit("us", 1e-6, &["µs", "μs"]),
];
const ANGLE: &[Unit] = &[
    unit("deg", 1.0, &["°", "degrees"]),
    unit("turn", 360.0, &["turns", "rev"]),
    unit("rad", 180.0 / std::f64::consts::PI, &[]),
];
const EVENT_RATE: &[Unit] = &[
    unit("/s", 1.0, &["1/s", "Hz", "per s"]),
    unit("/min", 1.0 / 60.0, &["1/min", "per min"]),
    unit("kHz", 1e3, &[]),
];
const POWER: &[Unit] = &[unit("W", 1.0, &[]), unit("kW", 1e3, &[])];
const SHARE: &[Unit] = &[unit("%", 0.01, &["percent"])];
const SURFACE_SPEED: &[Unit] = &[
    unit("mm/s", 1.0, &[]),
    unit("mm/min", 1.0 / 60.0, &[]),
    unit("m/min", 1000.0 / 60.0, &[]),
    unit("ipm", MM_PER_INCH / 60.0, &["IPM", "in/min"]),
];
const ENERGY_PER_LENGTH: &[Unit] = &[
    unit("kJ/mm", 1.0, &[]),
    unit("J/in", 1e-3 / MM_PER_INCH, &[]),
    unit("kJ/in", 1.0 / MM_PER_INCH, &[]),
    unit("J/mm", 1e-3, &[]),
];
const AREA: &[Unit] =
    &[unit("mm2", 1.0, &["mm²", "mm^2"]), unit("in2", MM_PER_INCH * MM_PER_INCH, &["in²", "in^2"])];
const MASS: &[Unit] =
    &[unit("kg", 1.0, &[]), unit("g", 1e-3, &[]), unit("lb", KG_PER_POUND, &["lbs", "pound", "pounds"])];
const MASS_RATE: &[Unit] = &[unit("kg/h", 1.0, &[]), unit("lb/h", KG_PER_POUND, &["lb/hr"])];
const VOLUME: &[Unit] = &[
    unit("L", 1.0, &["l", "litre", "litres"]),
    unit("m3", 1000.0, &["m³", "m^3"]),
    unit("ft3", LITRES_PER_CUBIC_FOOT, &["ft³", "ft^3", "cf"]),
];
const WIND_SPEED: &[Unit] = &[
    unit("m/s", 1.0, &[]),
    // A mile is 5280 ft.
    unit("mph", 5.28 * MM_PER_FOOT / 3600.0, &["mi/h"]),
    unit("km/h", 1.0 / 3.6, &["kph"]),
    unit("ft/min", 1e-3 * MM_PER_FOOT / 60.0, &["fpm"]),
];
const HYDROGEN: &[Unit] = &[unit("mL/100g", 1.0, &["ml/100g", "mL/100 g", "ml/100 g"])];
const COOLING_RATE: &[Unit] = &[
    unit("degC/h", 1.0, &["°C/h", "K/h", "degC per hour", "°C per hour", "K per hour"]),
    unit("degF/h", 5.0 / 9.0, &["°F/h", "degF per hour", "°F per hour"]),
    unit("degC/min", 60.0, &["°C/min", "K/min", "degC per minute", "K per minute"]),
    unit("degF/min", 60.0 * 5.0 / 9.0, &["°F/min"]),
    unit("degC/10min", 6.0, &["K/10min", "°C/10min"]),
];

impl Dimension {
    /// What the readings of a channel are measured in.
    pub const fn of_channel(channel: Channel) -> Self {
        match channel {
            Channel::Current => Self::Current,
            Channel::Voltage => Self::Voltage,
            Channel::Gas => Self::Flow,
            Channel::Coolant => Self::LiquidFlow,
            Channel::Torch | Channel::Carriage => Self::Length,
            Channel::Spindle => Self::Angle,
            Channel::Wire => Self::WireSpeed,
            Channel::Work => Self::Temperature,
        }
    }
    /// What a difference of two of its values is measured in.
    #[must_use]
    pub const fn of_differences(self) -> Self {
        match self {
            Self::Temperature => Self::TemperatureDifference,
            other => other,
        }
    }
    /// The units it may be written in.
    pub const fn units(self) -> &'static [Unit] {
        match self {
            Self::Current => CURRENT,
            Self::Voltage => VOLTAGE,
            Self::Flow | Self::LiquidFlow => FLOW,
            Self::Length => LENGTH,
            Self::WireSpeed => WIRE_SPEED,
            Self::Temperature => TEMPERATURE,
            Self::TemperatureDifference => TEMPERATURE_DIFFERENCE,
            Self::Rate => RATE,
            Self::Duration => DURATION,
            Self::Angle => ANGLE,
            Self::EventRate => EVENT_RATE,
            Self::Power => POWER,
            Self::Share => SHARE,
            Self::SurfaceSpeed => SURFACE_SPEED,
            Self::EnergyPerLength => ENERGY_PER_LENGTH,
            Self::Area => AREA,
            Self::Mass => MASS,
            Self::MassRate => MASS_RATE,
            Self::Volume => VOLUME,
            Self::WindSpeed => WIND_SPEED,
            Self::Hydrogen => HYDROGEN,
            Self::CoolingRate => COOLING_RATE,
        }
    }
    /// What it is called in a sentence, with its article.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Current => "a current",
            Self::Voltage => "a voltage",
            Self::Flow | Self::LiquidFlow => "a flow",
            Self::Length => "a length",
            Self::WireSpeed => "a wire feed speed",
            Self::Temperature => "a temperature",
            Self::TemperatureDifference => "a temperature difference",
            Self::Rate => "a rate of cycles",
            Self::Duration => "a time",
            Self::Angle => "an angle",
            Self::EventRate => "a rate of events",
            Self::Power => "a power",
            Self::Share => "a share",
            Self::SurfaceSpeed => "a surface speed",
            Self::EnergyPerLength => "an energy per length",
            Self::Area => "an area",
            Self::Mass => "a mass",
            Self::MassRate => "a mass over time",
            Self::Volume => "a volume",
            Self::WindSpeed => "a speed of air",
            Self::Hydrogen => "a content of hydrogen",
            Self::CoolingRate => "a fall of temperature over time",
        }
    }
    /// One that reads well in a message.
    pub const fn example(self) -> &'static str {
        match self {
            Self::Current => "300 A",
            Self::Voltage => "31 V",
            Self::Flow => "16.5 L/min",
            Self::LiquidFlow => "5 L/min",
            Self::Length => "1 1/16 in",
            Self::WireSpeed => "7.5 m/min",
            Self::Temperature => "150 degC",
            Self::TemperatureDifference => "5 degC",
            Self::Rate => "80 /min",
            Self::Duration => "90 s",
            Self::Angle => "12 deg",
            Self::EventRate => "5 /s",
            Self::Power => "9 kW",
            Self::Share => "95 %",
            Self::SurfaceSpeed => "3.3 mm/s",
            Self::EnergyPerLength => "2.5 kJ/mm",
            Self::Area => "70 mm2",
            Self::Mass => "15 kg",
            Self::MassRate => "6 kg/h",
            Self::Volume => "10 m3",
            Self::WindSpeed => "5 m/s",
            Self::Hydrogen => "5 mL/100g",
            Self::CoolingRate => "50 degC/h",
        }
    }
    /// The unit that values of it are held in.
    pub const fn house_unit(self) -> Unit {
        let units = self.units();
        // Every dimension has a unit.
        units[0]
    }
    /// Its units as a list to show.
    pub fn unit_list(self) -> String {
        let symbols: Vec<_> = self.units().iter().map(|unit| unit.symbol).collect();
        symbols.join(", ")
    }
    /// The unit written `text`, if it measures this.
    pub fn unit(self, text: &str) -> Option<Unit> {
        let written = |unit: &&Unit| unit.symbol == text || unit.aliases.contains(&text);
        self.units().iter().find(written).copied()
    }
}
