//! Made joints against geometry, the trade and each other.

use bandward::{Channel, Rule};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::fault::{Fault, Start};
use bandward_sim::process::{Kind, Scenario, Targets};
use bandward_sim::trace::Row;

fn targets() -> Targets {
    let text = include_str!("../data/procedures/quick-joint.toml");
    Targets::of_file(&ProcedureFile::parse("quick-joint.toml", text).expect("a sound procedure"))
}

fn good(sample_rate_hz: f64) -> Scenario {
    Scenario::good(targets(), sample_rate_hz)
}

/// From 5 s into the first band to its end: a fault that is easy to reckon with.
fn whole(kind: Kind, size: f64) -> Fault {
    Fault {
        kind,
        joint: 1,
        band: 1,
        start: Start::Seconds(5.0),
        duration_s: f64::INFINITY,
        size,
        channel: None,
    }
}

fn readings(rows: &[Row], channel: Channel, from_s: f64, to_s: f64) -> Vec<f64> {
    let within = |row: &&Row| (from_s..to_s).contains(&(row.time_us as f64 / 1e6));
    rows.iter().filter(within).filter_map(|row| row.get(channel)).collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// What comes off the spool is on the joint, but for spatter.
#[test]
fn every_band_holds_the_metal_of_its_wire() {
    let scenario = good(50.0);
    let joint = &scenario.joint;
    let feed_mm_per_s = joint.wire_feed_mm_per_min.expect("in the procedure") / 60.0;
    let section_mm2 = std::f64::consts::FRAC_PI_4 * joint.wire_diameter_mm * joint.wire_diameter_mm;
    for band in scenario.truth().bands {
        let wire_mm3 =
            feed_mm_per_s * section_mm2 * joint.deposition_efficiency * (band.end_s - band.start_s);
        let surface_mm2 = std::f64::consts::PI * joint.outside_diameter_mm * joint.band_width_mm;
        assert!((band.mean_height_mm * surface_mm2 / wire_mm3 - 1.0).abs() < 1e-3, "band {}", band.band);
    }
}

/// Where the pipe stands, the band is piled high; turning slowly piles it high everywhere, turning fast
/// leaves it thin (common practice, no source).
#[test]
fn a_band_is_high_where_the_pipe_turns_slowly() {
    let height = |scenario: Scenario| scenario.truth().bands.remove(0).height_mm;
    let usual = height(good(50.0))[20];
    let stall = Fault { start: Start::Degrees(205.0), duration_s: 2.0, ..whole(Kind::ChuckStall, 0.0) };
    let piled = height(good(50.0).with_fault(stall));
    assert!(piled[20] > 1.5 * usual && (piled[10] / usual - 1.0).abs() < 0.02, "{piled:?}");
    let turn = |kind, factor: f64| {
        let fault =
            Fault { start: Start::Seconds(0.0), ..whole(kind, factor * good(50.0).joint.turn_time_s) };
        height(good(50.0).with_fault(fault))[20] / usual
    };
    assert!((turn(Kind::TurningSlow, 1.25) - 1.25).abs() < 0.02);
    assert!((turn(Kind::TurningFast, 0.8) - 0.8).abs() < 0.02);
}

/// A dip is a reading under 60 % of the usual voltage: each short circuit makes one, of 1 to 5 ms.
#[test]
fn short_circuits_are_dips_of_one_to_five_milliseconds() {
    let scenario = good(10_000.0).with_fault(whole(Kind::GasMixtureWrong, 20.0));
    let (rows, truth) = scenario.make();
    let band = &truth.bands[0];
    let voltages = readings(&rows, Channel::Voltage, band.start_s + 0.5, band.end_s);
    let limit = 0.6 * mean(&voltages);
    let mut dips = Vec::new();
    let mut length = 0;
    for &voltage in &voltages {
        if voltage < limit {
            length += 1;
        } else if length > 0 {
            dips.push(f64::from(length) * 0.1);
            length = 0;
        }
    }
    assert_eq!(dips.len(), band.short_circuits as usize);
    assert!(dips.iter().all(|length_ms| (1.0..=5.0).contains(length_ms)), "{dips:?}");
    let rate = dips.len() as f64 / (truth.faults[0].end_s - truth.faults[0].start_s);
    assert!((rate / 20.0 - 1.0).abs() < 0.1, "{rate} a second");
}

/// Below the floor the metal transfer itself changes (common practice, no source): drops touch.
#[test]
fn drops_touch_below_the_voltage_floor_and_not_above() {
    let shorts = |voltage_v: f64| {
        let truth = good(50.0).with_fault(whole(Kind::SourceSagging, voltage_v)).truth();
        let (band, fault) = (&truth.bands[0], &truth.faults[0]);
        f64::from(band.short_circuits) / (fault.end_s - fault.start_s)
    };
    let floor_v = 29.0;
    assert!(shorts(floor_v + 0.5) < 1.0);
    assert!(shorts(floor_v - 1.0) > 5.0);
    assert!(shorts(floor_v - 2.0) > shorts(floor_v - 1.0));
}

/// Low volts on thin wire below its spray current: the arc cannot stand and shorts some 20 to 200 times
/// a second (common practice, no source).
#[test]
fn a_thin_wire_at_low_volts_runs_in_short_circuits() {
    let mut scenario = Scenario::good(Targets::new(bandward::Procedure::new()), 50.0);
    scenario.joint.wire_diameter_mm = 1.2;
    (scenario.joint.current_a, scenario.joint.voltage_v) = (150.0, 22.0);
    (scenario.joint.stick_out_mm, scenario.joint.arc_length_mm) = (12.0, 2.5);
    scenario.joint.turn_time_s = 15.0;
    let shorts = |voltage_v| {
        let truth = scenario.clone().with_fault(whole(Kind::SourceSagging, voltage_v)).truth();
        f64::from(truth.bands[0].short_circuits) / (truth.faults[0].end_s - truth.faults[0].start_s)
    };
    assert!(shorts(22.0) < 0.1);
    for voltage_v in [19.0, 18.0, 17.0, 16.0] {
        let rate = shorts(voltage_v);
        assert!((20.0..200.0).contains(&rate), "{rate} a second at {voltage_v} V");
    }
}

/// Mean power is the mean of the product: with short circuits it is not the product of the means.
#[test]
fn a_shorting_arc_has_less_power_than_its_means_say() {
    let truth = good(50.0).with_fault(whole(Kind::GasMixtureWrong, 40.0)).truth();
    let band = &truth.bands[0];
    // The current is highest while the voltage is lowest.
    assert!(band.arc_power_w < 0.995 * band.current_a * band.voltage_v);
}

/// Worn tip: current and voltage flutter; wind: the same, more quickly; the means stay.
#[test]
fn a_worn_tip_and_wind_make_the_arc_flutter() {
    let spread = |scenario: &Scenario| {
        let (rows, truth) = scenario.make();
        let band = &truth.bands[0];
        let values = readings(&rows, Channel::Current, band.end_s - 4.0, band.end_s);
        let centre = mean(&values);
        (
            centre,
            mean(&values.iter().map(|value| (value - centre) * (value - centre)).collect::<Vec<_>>()).sqrt(),
        )
    };
    let (usual, quiet) = spread(&good(50.0));
    for (kind, size) in [(Kind::ContactTipWear, 2.0), (Kind::Wind, 1.0)] {
        let (centre, loud) = spread(&good(50.0).with_fault(whole(kind, size)));
        assert!(loud > 2.0 * quiet, "{kind:?}: {loud} A against {quiet} A");
        assert!((centre / usual - 1.0).abs() < 0.04, "{kind:?}: {centre} A against {usual} A");
    }
}

/// Heat stays in the work from band to band and leaves it while it waits; further off it comes later.
#[test]
fn bands_heat_the_work_and_waiting_cools_it() {
    let start_c = |ahead_mm: f64, between_s: f64, below_c: f64| {
        let mut scenario = good(10.0);
        scenario.timing.between_bands_s = between_s;
        (scenario.joint.sensor_ahead_mm, scenario.joint.start_below_c) = (ahead_mm, below_c);
        let bands = scenario.truth().bands;
        (bands[0].work_at_start_c, bands[1].work_at_start_c)
    };
    let any_c = f64::INFINITY;
    let (first, soon) = start_c(20.0, 6.0, any_c);
    let (_, late) = start_c(20.0, 300.0, any_c);
    assert!(soon > first + 100.0 && late < soon - 100.0, "{first}, {soon} soon, {late} late");
    // The technician waits until the work is cool enough, whatever the plan says; it goes on cooling under the gas.
    let (_, waited) = start_c(20.0, 1.0, late);
    assert!((late - 3.0..late).contains(&waited), "{waited} after {late}");
    let [soon, later, late] = [6.0, 60.0, 900.0].map(|between_s| start_c(60.0, between_s, any_c).1);
    assert!(soon < first + 10.0 && later > soon + 30.0 && late < soon - 30.0, "{soon}, {later}, {late}");
}

/// Work does not get hot at once: a burner brings it there before the arc, through the wall, so that what the sensor
/// reads is true for seconds before the strike and after.
#[test]
fn work_started_too_hot_was_hot_before_and_stays_so() {
    for outside_diameter_mm in [25.4, 127.0] {
        let mut scenario = good(10.0).with_fault(Fault { band: 2, ..whole(Kind::WorkHot, 450.0) });
        scenario.joint.outside_diameter_mm = outside_diameter_mm;
        let (rows, truth) = scenario.make();
        let (ended_s, start_s) = (truth.bands[0].end_s, truth.bands[1].start_s);
        let around = readings(&rows, Channel::Work, start_s - 5.0, start_s + 5.0);
        assert!(around.iter().all(|work_c| (430.0..460.0).contains(work_c)), "{around:?}");
        assert!((truth.bands[1].work_at_start_c - 450.0).abs() < 10.0);
        // Some 250 K at 6 K a second at most.
        assert!((40.0..600.0).contains(&(start_s - ended_s)), "{} s", start_s - ended_s);
    }
}

#[test]
fn instruments_err_as_they_are_told_to() {
    let mut scenario = good(200.0);
    let quiet =
        bandward_sim::process::sensor::Sensor { noise: 0.0, ..scenario.sensors[Channel::Gas as usize] };
    scenario.sensors[Channel::Gas as usize].drift_per_hour = 360.0;
    scenario.sensors[Channel::Coolant as usize].dropout = 0.1;
    scenario.sensors[Channel::Carriage as usize] =
        bandward_sim::process::sensor::Sensor { hum: 2.0, resolution: 0.0, ..quiet };
    let (rows, truth) = scenario.make();
    let (start_s, end_s) = (truth.bands[0].start_s, truth.bands[0].end_s);
    let gas = |from_s| mean(&readings(&rows, Channel::Gas, from_s, from_s + 2.0));
    let drifted = (gas(end_s - 3.0) - gas(start_s + 1.0)) / (end_s - start_s - 4.0);
    assert!((drifted - 0.1).abs() < 0.01, "{drifted} L/min a second");
    let coolant = readings(&rows, Channel::Coolant, 0.0, f64::MAX).len() as f64 / rows.len() as f64;
    assert!((coolant - 0.9).abs() < 0.02);
    let hum = readings(&rows, Channel::Carriage, start_s, start_s + 1.0);
    let square = mean(&hum.iter().map(|value| value * value).collect::<Vec<_>>());
    assert!((square - 2.0).abs() < 0.05, "an amplitude of 2 has a mean square of 2, not {square}");
}

#[test]
fn an_encoder_that_loses_counts_reads_less_than_the_pipe_turns() {
    let fault = Fault { duration_s: 2.0, ..whole(Kind::EncoderLosingCounts, 0.5) };
    let mut scenario = good(50.0).with_fault(fault);
    scenario.spindle_wraps = false;
    let (rows, truth) = scenario.make();
    let band = &truth.bands[0];
    let angles = readings(&rows, Channel::Spindle, band.start_s, band.end_s);
    let read_deg = angles[angles.len() - 1] - angles[0];
    let lost_deg = 0.5 * 2.0 * 360.0 / scenario.joint.turn_time_s;
    assert!((band.turns * 360.0 - read_deg - lost_deg).abs() < 0.15 * lost_deg, "{read_deg}");
}

/// The spindle reads either way round, wrapping or running on.
#[test]
fn the_spindle_reads_the_way_the_pipe_turns() {
    for (clockwise, sign) in [(true, 1.0), (false, -1.0)] {
        let mut scenario = good(50.0);
        scenario.joint.clockwise = clockwise;
        let wrapped = scenario.make().0;
        scenario.spindle_wraps = false;
        let (rows, truth) = scenario.make();
        let turned = rows[rows.len() - 1].get(Channel::Spindle).expect("wired");
        assert!(turned * sign > 360.0 * truth.bands.iter().map(|band| band.turns).sum::<f64>());
        for (row, other) in rows.iter().zip(&wrapped) {
            let (on, within) =
                (row.get(Channel::Spindle).expect("wired"), other.get(Channel::Spindle).expect("wired"));
            assert!((0.0..360.0).contains(&within));
            assert!(((on - within) / 360.0 - ((on - within) / 360.0).round()).abs() < 1e-9);
        }
    }
}

/// A fault leaves everything it does not touch as it was, noise included.
#[test]
fn a_fault_changes_nothing_before_it_and_elsewhere() {
    let (usual, _) = good(50.0).make();
    let (faulty, truth) =
        good(50.0).with_default_fault(Rule::GasLow, 4).expect("a fault is made for the rule").make();
    let start_us = (truth.faults[0].start_s * 1e6) as u64;
    for (row, other) in usual.iter().zip(&faulty) {
        assert_eq!(row.time_us, other.time_us);
        if row.time_us < start_us {
            assert_eq!(row, other);
        }
        assert_eq!(row.get(Channel::Torch), other.get(Channel::Torch));
        assert_eq!(row.get(Channel::Current), other.get(Channel::Current));
    }
}
