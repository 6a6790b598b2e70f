//! The figures that the invented shop aims at, and the limits of its procedure.
//!
//! Decides: what a good joint is.
//! Assumes: the limits are those of `data/second.procedure.toml`; a test compares the two.

/// Bands on a joint.
pub const BANDS: usize = 3;
/// Outside diameter, mm.
pub const DIAMETER_MM: f64 = 95.0;
/// Mean welding current, A.
pub const CURRENT_A: f64 = 295.0;
/// Voltage at the feeder, V.
pub const VOLTAGE_V: f64 = 31.0;
/// Gas flow, L/min.
pub const GAS_LPM: f64 = 16.6;
/// Wire feed, mm/s.
pub const FEED_MM_S: f64 = 6050.0 / 60.0;
/// Weave cycles a minute.
pub const WEAVE_PER_MIN: f64 = 76.0;
/// Weave width, mm.
pub const WEAVE_MM: f64 = 21.0;
/// Time of a turn, s.
pub const TURN_S: f64 = 92.0;
/// Step between bands, mm.
pub const STEP_MM: f64 = 19.5;
/// Overlap past a turn, degrees.
pub const OVERLAP_DEG: f64 = 11.0;
/// Torch coolant, L/min.
pub const COOLANT_LPM: f64 = 5.6;
/// Work temperature before the first band, degrees Celsius.
pub const PREHEAT_C: f64 = 195.0;
/// Contact tip to work, mm.
pub const TIP_TO_WORK_MM: f64 = 25.0;

/// A quantity as it truly is, without instruments.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gauge {
    /// Mean current over a second, A.
    Current,
    /// Mean voltage over a second, V.
    Voltage,
    /// Gas at the nozzle, L/min.
    Gas,
    /// Weave cycles a minute.
    WeaveRate,
    /// Weave width, mm.
    WeaveWidth,
    /// Distance of the weave's centre from where it began, mm.
    Centre,
    /// Seconds a turn at the present speed.
    TurnTime,
    /// Coolant, L/min.
    Coolant,
    /// Wire through the tip, mm/min.
    Feed,
}

impl Gauge {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Current,
        Self::Voltage,
        Self::Gas,
        Self::WeaveRate,
        Self::WeaveWidth,
        Self::Centre,
        Self::TurnTime,
        Self::Coolant,
        Self::Feed,
    ];
    /// The allowed range.
    pub const fn allowed(self) -> (f64, f64) {
        match self {
            Self::Current => (255.0, 335.0),
            Self::Voltage => (29.3, 33.0),
            Self::Gas => (14.0, 20.0),
            Self::WeaveRate => (58.0, 95.0),
            Self::WeaveWidth => (18.2, 23.8),
            Self::Centre => (f64::NEG_INFINITY, 2.0),
            Self::TurnTime => (86.0, 98.0),
            Self::Coolant => (3.2, f64::INFINITY),
            Self::Feed => (5400.0, 6700.0),
        }
    }
    /// Is the value outside the allowed range?
    pub fn is_outside(self, value: f64) -> bool {
        let (low, high) = self.allowed();
        value < low || value > high
    }
}
