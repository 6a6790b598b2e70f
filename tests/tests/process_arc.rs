//! The arc of the process model against published figures and against a solver of another library.

use bandward_sim::process::arc::{Circuit, Gap, Melting, Setting, State};
use bandward_sim::process::transfer::{Conditions, Mode, mode, spray_transition_a};

/// As in `data/reference/arc_response.py`.
const CIRCUIT: Circuit = Circuit {
    slope_ohm: 0.010,
    inductance_h: 350e-6,
    arc_fall_v: 20.0,
    arc_gradient_v_per_mm: 0.7,
    arc_resistance_ohm: 0.012,
    wire_resistance_ohm_per_mm: 5e-4,
    melting: Melting { arc: 0.20, resistive: 2.0e-5 },
};
const BEFORE: Setting =
    Setting { source_v: 34.5, feed_mm_per_s: 105.0, tip_to_work_mm: 26.0, contact_ohm: 5e-4 };
const LIFTED: Setting = Setting { tip_to_work_mm: 31.0, ..BEFORE };
/// Longest step the model takes.
const STEP_S: f64 = 0.001;

fn response(step_s: f64, seconds: f64) -> Vec<State> {
    let mut state = CIRCUIT.steady(&BEFORE);
    let steps = (seconds / step_s).round() as usize;
    let mut states = vec![state];
    for _ in 0..steps {
        state = CIRCUIT.advance(&LIFTED, state, Gap::Arc(0.0), step_s);
        states.push(state);
    }
    states
}

/// `SciPy` 1.17.1, `solve_ivp` with Radau at 1e-11, on the same equations written again.
#[test]
fn a_lifted_torch_gives_what_scipy_gives() {
    let reference = include_str!("../data/reference/arc_response.csv");
    let states = response(STEP_S, 1.0);
    let mut rows = 0;
    for line in reference.lines().skip(1) {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
        let state = states[(cells[0] / STEP_S).round() as usize];
        assert!((state.current_a - cells[1]).abs() < 1e-3, "{} A after {} s", state.current_a, cells[0]);
        assert!(
            (state.stick_out_mm - cells[2]).abs() < 1e-5,
            "{} mm after {} s",
            state.stick_out_mm,
            cells[0]
        );
        rows += 1;
    }
    assert_eq!(rows, 201);
}

/// A method of fourth order: half the step, a sixteenth of the error (to the leading order).
#[test]
fn half_the_step_leaves_a_sixteenth_of_the_error() {
    let exact = response(STEP_S / 64.0, 0.02);
    let error = |divisor: usize| {
        let states = response(STEP_S / divisor as f64, 0.02);
        let stride = 64 / divisor;
        let worst = states
            .iter()
            .enumerate()
            .map(|(index, state)| (state.current_a - exact[index * stride].current_a).abs());
        worst.fold(0.0, f64::max)
    };
    let (whole, half, quarter) = (error(1), error(2), error(4));
    assert!(whole < 1e-3, "{whole} A at the longest step");
    for (coarse, fine) in [(whole, half), (half, quarter)] {
        assert!((14.0..18.0).contains(&(coarse / fine)), "{coarse} A to {fine} A");
    }
}

/// In the steady state the wire melts as fast as it comes, and the source and the arc agree.
#[test]
fn the_steady_state_balances_feed_and_voltage() {
    for setting in [BEFORE, LIFTED, Setting { feed_mm_per_s: 60.0, ..BEFORE }] {
        let state = CIRCUIT.steady(&setting);
        let melted = CIRCUIT.melting.speed(state.current_a, state.stick_out_mm);
        assert!((melted - setting.feed_mm_per_s).abs() < 1e-9);
        let load_v = CIRCUIT.voltage(&setting, state, Gap::Arc(0.0));
        assert!((load_v + CIRCUIT.slope_ohm * state.current_a - setting.source_v).abs() < 1e-9);
        let later = (0..5000).fold(state, |state, _| CIRCUIT.advance(&setting, state, Gap::Arc(0.0), STEP_S));
        assert!((later.current_a - state.current_a).abs() < 1e-6, "it moved by itself");
    }
}

/// A setting asked for by its outcome has that outcome.
#[test]
fn settings_found_from_their_outcome_have_it() {
    let voltage = CIRCUIT.with_voltage(BEFORE, 29.0);
    let state = CIRCUIT.steady(&voltage);
    assert!((CIRCUIT.voltage(&voltage, state, Gap::Arc(0.0)) - 29.0).abs() < 1e-9);
    for setting in
        [CIRCUIT.with_current_by_height(BEFORE, 280.0), CIRCUIT.with_current_by_feed(BEFORE, 280.0)]
    {
        assert!((CIRCUIT.steady(&setting).current_a - 280.0).abs() < 1e-9);
    }
}

/// Wire feed sets the current; longer stick-out, fewer amps; more volts, a longer arc (common
/// practice, no source).
#[test]
fn settings_move_the_arc_the_way_the_trade_knows() {
    let before = CIRCUIT.steady(&BEFORE);
    assert!(CIRCUIT.steady(&Setting { feed_mm_per_s: 115.0, ..BEFORE }).current_a > before.current_a + 10.0);
    let lifted = CIRCUIT.steady(&LIFTED);
    assert!(lifted.current_a < before.current_a - 10.0);
    let voltage = |setting: &Setting, state| CIRCUIT.voltage(setting, state, Gap::Arc(0.0));
    let moved_v = (voltage(&LIFTED, lifted) - voltage(&BEFORE, before)).abs();
    assert!(moved_v < 0.5, "a constant-voltage source holds the voltage: {moved_v} V");
    let hotter = CIRCUIT.steady(&Setting { source_v: 36.5, ..BEFORE });
    assert!(hotter.stick_out_mm < before.stick_out_mm - 1.0, "a longer arc leaves less stick-out");
}

/// 1.2 mm solid steel, 250 A, 15 mm: 121.9 mm/s. Literature after Lesnewich (from memory): plausible,
/// not an oracle.
#[test]
fn a_solid_wire_melts_as_published() {
    assert!((Melting::of_wire(1.2).speed(250.0, 15.0) - 121.875).abs() < 1e-9);
    // The same heat melts the same volume of a thicker wire where only the arc heats it.
    let volume = |diameter: f64| Melting::of_wire(diameter).speed(250.0, 0.0) * diameter * diameter;
    assert!((volume(1.2) - volume(1.6)).abs() < 1e-9);
}

/// Handbook table of spray transition currents, carbon steel in Ar-2 % O2 (read in a public handbook).
#[test]
fn a_wire_sprays_from_its_published_current() {
    let conditions = |wire_diameter_mm, current_a| Conditions {
        current_a,
        length_mm: 5.0,
        feed_mm_per_s: 100.0,
        wire_diameter_mm,
        gas_sprays: true,
        repelled_per_s: 0.0,
        pool_mm: 0.0,
    };
    for (wire_mm, transition_a) in [(0.8, 150.0), (0.9, 165.0), (1.1, 220.0), (1.3, 240.0), (1.6, 275.0)] {
        assert!((spray_transition_a(wire_mm) - transition_a).abs() < 1e-9);
        assert_eq!(mode(&conditions(wire_mm, transition_a)), Mode::Spray);
        assert_eq!(mode(&conditions(wire_mm, transition_a - 1.0)), Mode::Globular);
        let unsuitable = Conditions { gas_sprays: false, ..conditions(wire_mm, transition_a) };
        assert_eq!(mode(&unsuitable), Mode::Globular);
    }
}
