// Every part given (invented)
// SHA-256 of its text: 8688f194739c6d7f7e3e41ba7209046651247a77178eadced5c363e09ba67c16
// Made by bandward 0.1.0: change the procedure, and make this anew.
#![allow(dead_code, unused_imports, clippy::unreadable_literal)]

use bandward::Severity::{Advise, Warn, Stop};
use bandward::procedure::{ArcSettings, Geometry, JointPlan, Limits, Polarity, Range, Rotation};
use bandward::units::{Current, Length, Temperature, Voltage};
use bandward::rule::AlarmSetting;
use bandward::{Procedure, Quantity, Rule, SoundProcedure};

/// What the board watches by.
pub static PROCEDURE: SoundProcedure = match SoundProcedure::of(written()) {
    Ok(sound) => sound,
    Err(_) => panic!("the procedure makes no sense"),
};

const fn written() -> Procedure {
    let mut written = Procedure::new();
    written.polarity = Some(Polarity::ElectrodeNegative);
    written.geometry = Geometry {
        outside_diameter: Some(Length::from_bits(689254)),
        wire_diameter: Some(Length::from_bits(6502)),
        deposition_efficiency_milli: 950,
        stick_out: None,
        band_width: None,
        run_out: Length::from_bits(12288),
    };
    written.arc = ArcSettings {
        current_on: Current::from_bits(245760),
        current_off: Current::from_bits(122880),
        open_circuit: Voltage::from_bits(184320),
        strike_us: 2000000,
        outage_join_us: 3000000,
        gap_join_us: 10000000,
        crater_fill_us: 0,
    };
    written.joint = JointPlan {
        bands: 5,
        groups: [3, 2, 0, 0],
        rotation: Some(Rotation::CounterClockwise),
        ends_with_carriage_beyond: Some(Length::from_bits(819200)),
        ends_with_arc_off_us: Some(90000000),
    };
    written.cooling_until = Some(Temperature::from_bits(614400));
    // cooling, allowed any to 50 degC/h
    written = written.limited(Quantity::Cooling, Limits { recommended: None, allowed: Some(Range { low: -2147483648, high: 204800 }), floor: None });
    written = set(written, Rule::VoltageLow, AlarmSetting { on_delay_us: 2000000, off_delay_us: 1000000, re_alarm_us: 0, deadband: 1228, latched: true, severity: Warn });
    written
}

const fn set(written: Procedure, rule: Rule, setting: AlarmSetting) -> Procedure {
    match written.with_alarm(rule, setting) {
        Ok(written) => written,
        Err(_) => panic!("an alarm makes no sense"),
    }
}