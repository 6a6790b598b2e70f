//! A good joint: what the technician, the welder and the machine are set to.
//!
//! Decides: settings that keep a procedure, and the circuit that holds its current and voltage.
//! Assumes: where a procedure leaves a quantity open, values of a 1.6 mm metal-cored wire on a 127 mm
//! joint (common practice, no source; the rest invented).
//! Never: holds a fault.

use super::arc::{Circuit, Melting, Setting, State};
use super::targets::Targets;
use crate::heat::surroundings::Surroundings;
use crate::input::parts::USUAL_RUN_OUT_MM;
use bandward::Quantity;

/// How one band follows another.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Laying {
    /// Each under an arc of its own.
    #[default]
    Separate,
    /// Under one arc; the carriage steps after each turn.
    Stepped,
    /// Under one arc; the carriage moves on steadily, a step a turn.
    Spiral,
}

/// Settings of a good joint. Lengths in mm, times in s, currents in A, flows in L/min.
#[derive(Clone, Debug, PartialEq)]
pub struct Joint {
    /// Bands.
    pub bands: u16,
    /// How one band follows another.
    pub laying: Laying,
    /// Does the spindle angle grow with the direction of travel?
    pub clockwise: bool,
    /// Is the electrode positive?
    pub electrode_positive: bool,
    /// Outside diameter.
    pub outside_diameter_mm: f64,
    /// Time of one turn.
    pub turn_time_s: f64,
    /// Angle welded past one full turn.
    pub overlap_deg: f64,
    /// Carriage step between bands.
    pub step_over_mm: f64,
    /// Mean current without sign.
    pub current_a: f64,
    /// Mean voltage without sign.
    pub voltage_v: f64,
    /// Wire diameter.
    pub wire_diameter_mm: f64,
    /// Wire feed, mm/min; what the melting law gives for a solid wire where absent.
    pub wire_feed_mm_per_min: Option<f64>,
    /// Wire from tip to arc.
    pub stick_out_mm: f64,
    /// Length of the arc.
    pub arc_length_mm: f64,
    /// Share of the wire that stays in the band.
    pub deposition_efficiency: f64,
    /// Does the gas allow spray transfer?
    pub gas_sprays: bool,
    /// Shielding gas.
    pub gas_lpm: f64,
    /// Gas before the arc.
    pub gas_preflow_s: f64,
    /// Gas after the arc.
    pub gas_postflow_s: f64,
    /// Torch coolant.
    pub coolant_lpm: f64,
    /// Complete weave cycles a minute.
    pub weave_per_min: f64,
    /// Weave width, peak to peak.
    pub weave_width_mm: f64,
    /// Share of a weave cycle spent standing at either end.
    pub weave_dwell: f64,
    /// Play of the weave drive.
    pub weave_backlash_mm: f64,
    /// Width of a finished band; height is volume over it.
    pub band_width_mm: f64,
    /// Work temperature as the first band starts, °C.
    pub preheat_c: f64,
    /// The technician waits until the work is cooler than this before a later band, °C.
    pub start_below_c: f64,
    /// How far ahead of the torch the sensor of the work's temperature looks at the outside of the pipe, mm, riding
    /// with the carriage.
    pub sensor_ahead_mm: f64,
    /// Temperature of the shop, °C.
    pub ambient_c: f64,
    /// What the joint is put into after the last band of the trace, to cool; where absent it stays as it is.
    pub cools_in: Option<Surroundings>,
    /// How far the pipe runs out of true, either way.
    pub runout_mm: f64,
    /// Swing of the turning speed once a turn, as a share.
    pub unevenness: f64,
    /// Heaving of the pool, standard deviation.
    pub pool_mm: f64,
}

/// Arc length, mm, at which drops begin to touch the pool: the voltage floor is put there, because
/// below it the metal transfer changes.
const TOUCHING_MM: f64 = 1.8;
/// Voltage of an arc along its length in argon-rich gas, V/mm. Common practice, no source.
const ARC_GRADIENT_V_PER_MM: f64 = 0.7;

/// Some 50 mm beyond the edge of a band: beside a weld EN ISO 13916 measures four times the wall from its edge, 50 mm at
/// most (from memory). Further in a sensor would look into the arc.
const SENSOR_AHEAD_MM: f64 = 60.0;

impl Joint {
    /// A joint that keeps `targets`.
    pub fn good(targets: &Targets) -> Self {
        let geometry = &targets.procedure.geometry;
        let milli = |length: bandward::units::Length| length.to_milli() as f64 / 1000.0;
        let voltage_v = targets.aim(Quantity::Voltage, 31.0);
        let floor_v = targets.bounds(Quantity::Voltage).and_then(|bounds| bounds.floor);
        let weave_width_mm = targets.aim(Quantity::WeaveWidth, 25.0);
        let outside_diameter_mm = geometry.outside_diameter.map_or(127.0, milli);
        Self {
            bands: targets.bands,
            laying: Laying::Separate,
            clockwise: targets.clockwise,
            electrode_positive: targets.electrode_positive(),
            outside_diameter_mm,
            // Two minutes a turn on a 5 in joint is the benchmark: the same surface speed elsewhere.
            turn_time_s: targets.aim(Quantity::TurnTime, 120.0 * outside_diameter_mm / 127.0),
            overlap_deg: targets.aim(Quantity::Overlap, 10.0),
            step_over_mm: targets.aim(Quantity::StepOver, 27.0),
            current_a: targets.aim(Quantity::Current, 330.0),
            voltage_v,
            wire_diameter_mm: geometry.wire_diameter.map_or(1.6, milli),
            wire_feed_mm_per_min: targets.wire_feed_mm_per_min,
            stick_out_mm: geometry.stick_out.map_or(22.0, milli),
            arc_length_mm: floor_v
                .map_or(5.5, |floor_v| TOUCHING_MM + (voltage_v - floor_v) / ARC_GRADIENT_V_PER_MM),
            deposition_efficiency: f64::from(geometry.deposition_efficiency_milli) / 1000.0,
            gas_sprays: targets.gas_sprays,
            gas_lpm: targets.aim(Quantity::GasFlow, 16.5),
            gas_preflow_s: targets.aim(Quantity::GasPreflow, 2.0),
            gas_postflow_s: targets.aim(Quantity::GasPostflow, 5.0),
            coolant_lpm: targets.aim(Quantity::CoolantFlow, 4.0),
            weave_per_min: targets.aim(Quantity::WeaveRate, 80.0),
            weave_width_mm,
            weave_dwell: 0.08,
            weave_backlash_mm: 0.2,
            band_width_mm: geometry.band_width.map_or(weave_width_mm + USUAL_RUN_OUT_MM, milli),
            preheat_c: targets.aim(Quantity::Preheat, 150.0),
            start_below_c: 0.97
                * targets.bounds(Quantity::Interpass).map_or(f64::INFINITY, |bounds| bounds.top()),
            sensor_ahead_mm: SENSOR_AHEAD_MM,
            ambient_c: 20.0,
            cools_in: None,
            runout_mm: 0.2,
            unevenness: 0.004,
            pool_mm: 0.25,
        }
    }

    /// The circuit of a welder that holds the current and the voltage of this joint, and its setting.
    pub fn circuit(&self) -> (Circuit, Setting) {
        let wire = self.wire_diameter_mm;
        let state = State { current_a: self.current_a, stick_out_mm: self.stick_out_mm };
        let solid = Melting::of_wire(wire);
        let solid_feed = solid.speed(state.current_a, state.stick_out_mm);
        let feed_mm_per_s = self.wire_feed_mm_per_min.map_or(solid_feed, |feed| feed / 60.0);
        let mut circuit = Circuit {
            slope_ohm: 0.010,
            inductance_h: 350e-6,
            arc_fall_v: 0.0,
            arc_gradient_v_per_mm: ARC_GRADIENT_V_PER_MM,
            arc_resistance_ohm: 0.012,
            // Steel near melting, about 1 µohm m, over the section. From memory.
            wire_resistance_ohm_per_mm: 1e-3 / (std::f64::consts::FRAC_PI_4 * wire * wire),
            // A cored wire melts faster than a solid one at the same current.
            melting: solid.scaled(feed_mm_per_s / solid_feed),
        };
        let setting = Setting {
            source_v: self.voltage_v + circuit.slope_ohm * self.current_a,
            feed_mm_per_s,
            tip_to_work_mm: self.stick_out_mm + self.arc_length_mm,
            contact_ohm: 0.0005,
        };
        // What is left of the voltage falls at the two ends of the arc.
        circuit.arc_fall_v = self.voltage_v - circuit.voltage(&setting, state, super::arc::Gap::Arc(0.0));
        (circuit, setting)
    }
    /// Usual time of arc for one band, s.
    pub fn weld_s(&self) -> f64 {
        self.turn_time_s * (360.0 + self.overlap_deg) / 360.0
    }
    /// The settings of a weave drive that gives this joint's weave.
    pub fn weave(&self) -> super::drives::WeaveSetting {
        super::drives::WeaveSetting {
            per_min: self.weave_per_min,
            amplitude_mm: 0.5 * (self.weave_width_mm + self.weave_backlash_mm),
            dwell: self.weave_dwell,
            backlash_mm: self.weave_backlash_mm,
            centre_mm: 0.0,
        }
    }
}
