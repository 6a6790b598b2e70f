// Small joint, three bands (invented), revision A
// SHA-256 of its text: 4a71986c3d35d23b96adac321c2d79c4cc822f7fc4bd18364f5ff6b6f73766c8
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
    written.polarity = Some(Polarity::ElectrodePositive);
    written.geometry = Geometry {
        outside_diameter: Some(Length::from_bits(364134)),
        wire_diameter: Some(Length::from_bits(6554)),
        deposition_efficiency_milli: 950,
        stick_out: Some(Length::from_bits(98304)),
        band_width: Some(Length::from_bits(106496)),
        run_out: Length::from_bits(4096),
    };
    written.arc = ArcSettings {
        current_on: Current::from_bits(286720),
        current_off: Current::from_bits(143360),
        open_circuit: Voltage::from_bits(164659),
        strike_us: 1000000,
        outage_join_us: 3000000,
        gap_join_us: 10000000,
        crater_fill_us: 4000000,
    };
    written.joint = JointPlan {
        bands: 3,
        groups: [0, 0, 0, 0],
        rotation: Some(Rotation::Clockwise),
        ends_with_carriage_beyond: None,
        ends_with_arc_off_us: None,
    };
    written.cooling_until = None;
    // current, allowed 280 A to 360 A, recommended 300 A to 340 A
    written = written.limited(Quantity::Current, Limits { recommended: Some(Range { low: 1228800, high: 1392640 }), allowed: Some(Range { low: 1146880, high: 1474560 }), floor: None });
    // voltage, allowed 29.5 V to 33.5 V, recommended 30.5 V to 32.5 V, never below 29 V
    written = written.limited(Quantity::Voltage, Limits { recommended: Some(Range { low: 124928, high: 133120 }), allowed: Some(Range { low: 120832, high: 137216 }), floor: Some(118784) });
    // short circuits, allowed any to 5 /s, recommended any to 2 /s
    written = written.limited(Quantity::ShortCircuitRate, Limits { recommended: Some(Range { low: -2147483648, high: 8192 }), allowed: Some(Range { low: -2147483648, high: 20480 }), floor: None });
    written = written.judged_where_possible(Quantity::ShortCircuitRate);
    // gas flow, allowed 15 L/min to 22 L/min, recommended 16 L/min to 19 L/min, never below 8 L/min
    written = written.limited(Quantity::GasFlow, Limits { recommended: Some(Range { low: 65536, high: 77824 }), allowed: Some(Range { low: 61440, high: 90112 }), floor: Some(32768) });
    // gas preflow, allowed 0.5 s to any, recommended 1 s to any
    written = written.limited(Quantity::GasPreflow, Limits { recommended: Some(Range { low: 4096, high: 2147483647 }), allowed: Some(Range { low: 2048, high: 2147483647 }), floor: None });
    // gas postflow, allowed 3 s to any, recommended 5 s to any
    written = written.limited(Quantity::GasPostflow, Limits { recommended: Some(Range { low: 20480, high: 2147483647 }), allowed: Some(Range { low: 12288, high: 2147483647 }), floor: None });
    // weave rate, allowed 60 /min to 100 /min, recommended 75 /min to 85 /min
    written = written.limited(Quantity::WeaveRate, Limits { recommended: Some(Range { low: 307200, high: 348160 }), allowed: Some(Range { low: 245760, high: 409600 }), floor: None });
    // weave width, allowed 22 mm to 28 mm, recommended 24 mm to 26 mm
    written = written.limited(Quantity::WeaveWidth, Limits { recommended: Some(Range { low: 98304, high: 106496 }), allowed: Some(Range { low: 90112, high: 114688 }), floor: None });
    // weave centre drift, allowed any to 2 mm, recommended any to 1 mm
    written = written.limited(Quantity::WeaveCentreDrift, Limits { recommended: Some(Range { low: -2147483648, high: 4096 }), allowed: Some(Range { low: -2147483648, high: 8192 }), floor: None });
    // turn time, allowed 78 s to 90 s, recommended 82 s to 86 s
    written = written.limited(Quantity::TurnTime, Limits { recommended: Some(Range { low: 335872, high: 352256 }), allowed: Some(Range { low: 319488, high: 368640 }), floor: None });
    // step-over, allowed 22 mm to 24 mm, recommended 22.5 mm to 23.5 mm
    written = written.limited(Quantity::StepOver, Limits { recommended: Some(Range { low: 92160, high: 96256 }), allowed: Some(Range { low: 90112, high: 98304 }), floor: None });
    // overlap, allowed 3 deg to 25 deg, recommended 5 deg to 15 deg
    written = written.limited(Quantity::Overlap, Limits { recommended: Some(Range { low: 20480, high: 61440 }), allowed: Some(Range { low: 12288, high: 102400 }), floor: None });
    // coolant flow, allowed 3 L/min to any, recommended 4 L/min to 8 L/min, never below 1 L/min
    written = written.limited(Quantity::CoolantFlow, Limits { recommended: Some(Range { low: 16384, high: 32768 }), allowed: Some(Range { low: 12288, high: 2147483647 }), floor: Some(4096) });
    // preheat, allowed 120 degC to 300 degC, recommended 150 degC to 250 degC
    written = written.limited(Quantity::Preheat, Limits { recommended: Some(Range { low: 614400, high: 1024000 }), allowed: Some(Range { low: 491520, high: 1228800 }), floor: None });
    // interpass, allowed 120 degC to 400 degC, recommended 150 degC to 350 degC
    written = written.limited(Quantity::Interpass, Limits { recommended: Some(Range { low: 614400, high: 1433600 }), allowed: Some(Range { low: 491520, high: 1638400 }), floor: None });
    // wire feed, allowed 6.6 m/min to 8 m/min, recommended 7 m/min to 7.5 m/min
    written = written.limited(Quantity::WireFeed, Limits { recommended: Some(Range { low: 1792000, high: 1920000 }), allowed: Some(Range { low: 1689600, high: 2048000 }), floor: None });
    // band height, allowed 2.3 mm to 3.3 mm, recommended 2.4 mm to 3.1 mm
    written = written.limited(Quantity::BandHeight, Limits { recommended: Some(Range { low: 9830, high: 12698 }), allowed: Some(Range { low: 9421, high: 13517 }), floor: None });
    written
}

const fn set(written: Procedure, rule: Rule, setting: AlarmSetting) -> Procedure {
    match written.with_alarm(rule, setting) {
        Ok(written) => written,
        Err(_) => panic!("an alarm makes no sense"),
    }
}