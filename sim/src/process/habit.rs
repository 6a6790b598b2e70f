//! What technicians and machines do on every good joint.
//!
//! Decides: which habits there are, how far each goes, and what is everyday. None of them is a fault.
//! Assumes: a size is the most that is done; how much of it is drawn from the seed, band by band.
//! Never: says how a habit acts; that is `technician`, `stages` and `sensor`.

use crate::input::unit::Dimension;

/// How the pipe turns between two bands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Between {
    /// Not at all.
    #[default]
    Stops,
    /// On, 1.5 to 4 times as fast as while welding.
    Faster,
    /// Back, 1 to 3 times as fast as while welding.
    Back,
    /// One of the three, drawn for each band.
    Mixed,
}

/// The habits of a joint; a size of 0 switches one off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habits {
    /// The arc goes out at most so many times in the first second of a band, 40 to 80 ms each.
    pub restrikes: u16,
    /// Chance that one or two tacks or fidget arcs come before a band, 0 to 1.
    pub tack_chance: f64,
    /// Longest arc of a tack, s.
    pub tack_s: f64,
    /// Time of the ramp at the end of the weld, past a full turn, s.
    pub crater_s: f64,
    /// Share of the current that is left at the end of the ramp.
    pub crater_current: f64,
    /// Share of the voltage that is left at the end of the ramp.
    pub crater_voltage: f64,
    /// Flow beyond the set one as the valve opens, as a share of it.
    pub gas_surge: f64,
    /// A twentieth of the surge is left after this time, s.
    pub gas_surge_s: f64,
    /// Turning between bands.
    pub between: Between,
    /// The spindle starts so long after the arc, s.
    pub spindle_late_s: f64,
    /// The spindle stops so long before the end of the arc, s.
    pub spindle_early_s: f64,
    /// Corrections of the current by hand, either way, as a share.
    pub hand_current: f64,
    /// Corrections of the voltage by hand, either way, as a share.
    pub hand_voltage: f64,
    /// Corrections of the turn time by hand, either way, as a share.
    pub hand_turn_time: f64,
    /// Usual time between two corrections, s.
    pub hand_every_s: f64,
    /// Chance that a flame comes before the pyrometer while a band is waited for or laid, 0 to 1.
    pub flame_chance: f64,
    /// The flame shows so much above the work, °C.
    pub flame_rise_c: f64,
    /// Longest time of the flame, s.
    pub flame_s: f64,
    /// Does the carriage go home after the joint?
    pub carriage_home: bool,
}

impl Habits {
    /// None at all. What shapes a habit has its everyday value, so that one key switches it on.
    pub const NONE: Self = Self {
        restrikes: 0,
        tack_chance: 0.0,
        crater_s: 0.0,
        gas_surge: 0.0,
        between: Between::Stops,
        spindle_late_s: 0.0,
        spindle_early_s: 0.0,
        hand_current: 0.0,
        hand_voltage: 0.0,
        hand_turn_time: 0.0,
        flame_chance: 0.0,
        carriage_home: false,
        ..Self::EVERYDAY
    };
    /// As on an ordinary day. Invented; that a regulator surges for about 8 s is common practice, no
    /// source.
    pub const EVERYDAY: Self = Self {
        restrikes: 3,
        tack_chance: 0.4,
        tack_s: 1.5,
        crater_s: 2.0,
        crater_current: 0.6,
        crater_voltage: 0.92,
        gas_surge: 0.6,
        gas_surge_s: 8.0,
        between: Between::Mixed,
        spindle_late_s: 1.0,
        spindle_early_s: 0.4,
        hand_current: 0.03,
        hand_voltage: 0.015,
        hand_turn_time: 0.015,
        hand_every_s: 25.0,
        flame_chance: 0.3,
        flame_rise_c: 200.0,
        flame_s: 4.0,
        carriage_home: true,
    };
}

/// What there is to know about a kind of habit.
#[derive(Clone, Copy, Debug)]
pub struct Description {
    /// Name in truth files.
    pub name: &'static str,
    /// The key of a scenario that switches it on.
    pub key: &'static str,
    /// What its size measures; `None` where the unit is that of the channel it is in.
    pub size: Option<Dimension>,
    /// What its size means, in words.
    pub size_means: &'static str,
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident $name:literal $key:literal $size:expr, $means:literal;)*) => {
        /// A kind of habit.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum HabitKind { $($(#[$doc])* $kind,)* }

        impl HabitKind {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$kind,)*];
            /// What there is to know about it.
            pub const fn description(self) -> Description {
                match self {
                    $(Self::$kind => Description {
                        name: $name, key: $key, size: $size, size_means: $means,
                    },)*
                }
            }
        }
    };
}

use Dimension as D;

kinds! {
    /// The arc goes out as it is struck, and is struck again.
    Restrike "restrike" "habits.restrikes" Some(D::Duration), "time without current";
    /// A short arc before a band: a tack, or a finger on the switch.
    Tack "tack" "habits.tack_chance" Some(D::Duration), "time of arc";
    /// Current and voltage go down at the end of the weld.
    CraterFill "crater-fill" "habits.crater_time" Some(D::Share), "share of the current that is left";
    /// The regulator lets too much through as the valve opens.
    GasSurge "gas-surge" "habits.gas_surge" Some(D::Share), "flow beyond the set one as the valve opens";
    /// The pipe turns between two bands.
    TurningBetween "turning-between" "habits.between_turning" Some(D::Angle), "angle turned, back where negative";
    /// The spindle starts after the arc.
    SpindleLate "spindle-late" "habits.spindle_late" Some(D::Duration), "time from arc to spindle";
    /// The spindle stops before the end of the arc.
    SpindleEarly "spindle-early" "habits.spindle_early" Some(D::Duration), "time from spindle to end of arc";
    /// A setting is corrected by hand, inside its range.
    HandCorrection "hand-correction" "habits.hand_current" Some(D::Share), "setting against that of the good joint";
    /// A flame stands before the pyrometer.
    Flame "flame" "habits.flame_chance" Some(D::TemperatureDifference), "reading above the work";
    /// The carriage leaves the joint.
    CarriageAway "carriage-away" "habits.carriage_home" Some(D::Length), "way of the carriage";
    /// A slow meter.
    SlowMeter "slow-meter" "sensor.gas.lag" Some(D::Duration), "time constant";
    /// Noise whose power falls with one over the frequency.
    PinkNoise "pink-noise" "sensor.current.pink" None, "standard deviation";
    /// Ripple of the rectifier, seen at moments that have nothing to do with it.
    Ripple "ripple" "sensor.current.ripple" None, "amplitude";
    /// The encoder's disc runs out of true.
    Eccentricity "eccentricity" "sensor.spindle.eccentricity" Some(D::Angle), "amplitude once a turn";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_and_every_key_is_its_own() {
        for (index, kind) in HabitKind::ALL.iter().enumerate() {
            for other in HabitKind::ALL.iter().skip(index + 1) {
                assert_ne!(kind.description().name, other.description().name);
                assert_ne!(kind.description().key, other.description().key);
            }
        }
    }
}
