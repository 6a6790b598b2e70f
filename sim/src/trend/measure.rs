//! What is followed from joint to joint.
//!
//! Decides: which figures of a band's record have a chart, and the least spread worth telling.
//! Assumes: records as `replay --json` writes them.
//! Never: follows a wire feed that was itself worked out from the current.

use crate::input::setting::Subject;
use crate::input::unit::Dimension;
use bandward::Quantity;

/// What there is to know about a measure.
#[derive(Clone, Copy, Debug)]
pub struct Description {
    /// Name in JSON and Parquet.
    pub key: &'static str,
    /// Name for people.
    pub title: &'static str,
    /// Where it stands in the record of a band: a key, and one below it or none.
    pub field: (&'static str, Option<&'static str>),
    /// What it measures.
    pub dimension: Dimension,
    /// The setting of a procedure that gives its range.
    pub subject: Option<Subject>,
    /// A smaller standard deviation is taken as this one: finer steps nobody at the machine can tell
    /// (common practice, no source).
    pub least_deviation: f64,
}

macro_rules! measures {
    ($($(#[$doc:meta])* $measure:ident $key:literal $title:literal $field:expr, $dimension:ident, $subject:expr, $least:literal;)*) => {
        /// A figure that is followed from joint to joint.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum Measure { $($(#[$doc])* $measure,)* }

        impl Measure {
            /// All of them, in the order they are shown.
            pub const ALL: &'static [Self] = &[$(Self::$measure,)*];
            /// What there is to know about it.
            pub const fn description(self) -> Description {
                match self {
                    $(Self::$measure => Description {
                        key: $key, title: $title, field: $field, dimension: Dimension::$dimension,
                        subject: $subject, least_deviation: $least,
                    },)*
                }
            }
        }
    };
}

const fn of(quantity: Quantity) -> Subject {
    Subject::Judged(quantity)
}

const MEAN: Option<&str> = Some("mean");
const DEVIATION: Option<&str> = Some("sd");

measures! {
    /// Mean current.
    Current "current_a" "mean current" ("current_a", MEAN), Current, Some(of(Quantity::Current)), 0.5;
    /// Standard deviation of the current within a band.
    CurrentSpread "current_spread_a" "current spread" ("current_a", DEVIATION), Current, None, 0.2;
    /// Mean voltage.
    Voltage "voltage_v" "mean voltage" ("voltage_v", MEAN), Voltage, Some(of(Quantity::Voltage)), 0.02;
    /// Standard deviation of the voltage within a band.
    VoltageSpread "voltage_spread_v" "voltage spread" ("voltage_v", DEVIATION), Voltage, None, 0.02;
    /// Mean wire feed, where it was measured.
    WireFeed "wire_mm_per_min" "wire feed" ("wire_mm_per_min", None), WireSpeed, Some(Subject::Judged(Quantity::WireFeed)), 10.0;
    /// Short circuits a second.
    ShortCircuits "short_circuits_per_s" "short circuits" ("short_circuits_per_s", None), EventRate, Some(of(Quantity::ShortCircuitRate)), 0.05;
    /// Mean gas flow.
    Gas "gas_lpm" "gas flow" ("gas_lpm", MEAN), Flow, Some(of(Quantity::GasFlow)), 0.05;
    /// Gas flow before the arc.
    GasPreflow "gas_preflow_s" "gas preflow" ("gas_preflow_s", None), Duration, Some(of(Quantity::GasPreflow)), 0.05;
    /// Gas flow after the arc.
    GasPostflow "gas_postflow_s" "gas postflow" ("gas_postflow_s", None), Duration, Some(of(Quantity::GasPostflow)), 0.05;
    /// Mean weave rate.
    WeaveRate "weave_per_min" "weave rate" ("weave_per_min", MEAN), Rate, Some(of(Quantity::WeaveRate)), 0.2;
    /// Mean weave width.
    WeaveWidth "weave_width_mm" "weave width" ("weave_width_mm", None), Length, Some(of(Quantity::WeaveWidth)), 0.05;
    /// Furthest the weave centre went within the band.
    WeaveCentreDrift "weave_centre_drift_mm" "weave centre drift" ("weave_centre_drift_mm", None), Length, Some(of(Quantity::WeaveCentreDrift)), 0.05;
    /// Mean time of a turn.
    TurnTime "turn_time_s" "turn time" ("turn_time_s", None), Duration, Some(of(Quantity::TurnTime)), 0.1;
    /// Angle welded past one turn.
    Overlap "overlap_deg" "overlap" ("overlap_deg", None), Angle, Some(of(Quantity::Overlap)), 0.2;
    /// Carriage step from the band before.
    StepOver "step_over_mm" "step-over" ("step_over_mm", None), Length, Some(of(Quantity::StepOver)), 0.1;
    /// Arc power over surface speed.
    ArcEnergy "arc_energy_kj_per_mm" "arc energy" ("arc_energy_kj_per_mm", None), EnergyPerLength, None, 0.005;
    /// Height expected from the metal laid.
    BandHeight "band_height_mm" "band height" ("band_height_mm", None), Length, Some(Subject::Judged(Quantity::BandHeight)), 0.02;
    /// Height by the inspector's gauge, less the height expected there.
    HeightOff "gauged_less_expected_mm" "gauged less expected height" ("gauged_less_expected_mm", None), Length, None, 0.05;
    /// Lowest coolant flow.
    Coolant "coolant_lpm_min" "coolant, lowest" ("coolant_lpm_min", None), LiquidFlow, Some(of(Quantity::CoolantFlow)), 0.05;
    /// Work temperature at the start of the first band of a joint.
    Preheat "preheat_c" "preheat" ("work_at_start_c", None), Temperature, Some(of(Quantity::Preheat)), 1.0;
    /// Work temperature at the start of a later band.
    Interpass "interpass_c" "interpass" ("work_at_start_c", None), Temperature, Some(of(Quantity::Interpass)), 1.0;
}

impl Measure {
    /// How many there are.
    pub const COUNT: usize = Self::ALL.len();

    /// Can a figure of a band be true? No arc burns without current and voltage, nothing spreads or lasts less than
    /// nothing; a meter may read a little less than nothing, and what has a direction may be below it.
    pub fn is_possible(self, figure: f64) -> bool {
        match self {
            Self::Current | Self::Voltage | Self::TurnTime | Self::ArcEnergy => figure > 0.0,
            Self::Gas | Self::Coolant | Self::WireFeed => figure >= -1.0,
            Self::Preheat | Self::Interpass => figure >= -273.15,
            Self::Overlap | Self::StepOver | Self::WeaveCentreDrift | Self::HeightOff => true,
            _ => figure >= 0.0,
        }
    }
    /// Does a band of this number (from 1) have it?
    pub const fn is_of_band(self, band: u64) -> bool {
        match self {
            Self::Preheat => band == 1,
            Self::Interpass => band > 1,
            _ => true,
        }
    }
}
