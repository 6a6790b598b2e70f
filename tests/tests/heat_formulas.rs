//! Preheat and cooling time by EN 1011-2 (annexes C and D, from memory) at values computed by hand from the
//! formulas, and at the corners of what they are valid for.

use bandward_sim::heat::preheat::Conditions;
use bandward_sim::heat::steel::STEELS;
use bandward_sim::heat::{Composition, CoolingTime, Preheat};

#[track_caller]
fn within(computed: f64, by_hand: f64, error: f64) {
    assert!((computed - by_hand).abs() <= error, "{computed} against {by_hand}");
}

fn preheat(values: (f64, f64, f64, f64)) -> Preheat {
    let (carbon_equivalent, thickness_mm, hydrogen_ml_per_100_g, heat_input_kj_per_mm) = values;
    Preheat::of(Conditions { carbon_equivalent, thickness_mm, hydrogen_ml_per_100_g, heat_input_kj_per_mm })
}

#[test]
fn carbon_equivalent_of_tool_joint_steel() {
    let cet = |name| STEELS.iter().find(|(steel, _)| *steel == name).expect("listed").1.carbon_equivalent();
    within(cet("4137"), 0.525, 1e-12);
    within(cet("4140"), 0.555, 1e-12);
    within(cet("4145"), 0.61, 1e-12);
    // Each element by its own divisor: 10 for manganese and molybdenum, 20 for chromium and copper, 40 for nickel.
    let each =
        Composition { carbon: 0.2, manganese: 1.0, molybdenum: 0.5, chromium: 0.4, copper: 0.2, nickel: 0.8 };
    within(each.carbon_equivalent(), 0.2 + 0.15 + 0.03 + 0.02, 1e-12);
}

#[test]
fn preheat_at_values_by_hand() {
    let table = [
        ((0.37, 30.0, 4.0, 1.5), 123.2, 0),
        ((0.525, 25.0, 5.0, 2.0), 236.6, 1),
        ((0.3, 20.0, 3.0, 1.0), 38.7, 0),
        ((0.45, 60.0, 10.0, 2.5), 254.0, 0),
    ];
    for (conditions, by_hand_c, beyond) in table {
        let preheat = preheat(conditions);
        within(preheat.least_c, by_hand_c, 0.05);
        assert_eq!(preheat.beyond.len(), beyond, "{conditions:?}");
    }
}

/// CET 0.2 to 0.5, thickness 10 to 90 mm, hydrogen 1 to 20, heat input 0.5 to 4: the ends belong to it.
#[test]
fn where_the_formula_ends() {
    let inside = [(0.2, 10.0, 1.0, 0.5), (0.5, 90.0, 20.0, 4.0)];
    for corner in inside {
        assert_eq!(preheat(corner).beyond, [], "{corner:?}");
    }
    let (low, high) = (inside[0], inside[1]);
    let outside = [
        (0.199, low.1, low.2, low.3),
        (0.501, high.1, high.2, high.3),
        (low.0, 9.9, low.2, low.3),
        (high.0, 90.1, high.2, high.3),
        (low.0, low.1, 0.99, low.3),
        (high.0, high.1, 20.1, high.3),
        (low.0, low.1, low.2, 0.49),
        (high.0, high.1, high.2, 4.01),
    ];
    let what = outside.map(|corner| preheat(corner).beyond.iter().map(|one| one.what).collect::<Vec<_>>());
    let names = ["CET, %", "thickness, mm", "hydrogen, mL/100g", "heat input, kJ/mm"];
    for (index, found) in what.iter().enumerate() {
        assert_eq!(found, &[names[index / 2]], "{:?}", outside[index]);
    }
    assert_eq!(preheat((0.6, 5.0, 30.0, 9.0)).beyond.len(), 4);
}

#[test]
fn cooling_time_at_values_by_hand() {
    let time = |input, wall, work| CoolingTime::of(input, wall, work).expect("possible");
    let thick = time(1.5, 60.0, 150.0);
    within(thick.seconds, 11.77, 0.005);
    assert!(!thick.is_two_dimensional);
    let thin = time(1.5, 10.0, 150.0);
    within(thin.seconds, 47.67, 0.005);
    assert!(thin.is_two_dimensional);
    within(time(1.0, 60.0, 20.0).seconds, 5.288, 0.0005);
    within(time(2.0, 60.0, 250.0).seconds, 23.78, 0.005);
    // At the transition both formulas meet, and the time never falls below that of a thick wall.
    let at = time(2.0, 25.0, 200.0).transition_mm;
    within(time(2.0, at * (1.0 - 1e-9), 200.0).seconds, time(2.0, at, 200.0).seconds, 1e-6);
    assert!(time(2.0, at * 0.9, 200.0).seconds > time(2.0, at * 2.0, 200.0).seconds);
    // Towards 500 °C the time grows beyond all bounds: no figure is given within 50 K of it.
    assert!(CoolingTime::of(1.0, 20.0, 450.0).is_some());
    for none in
        [(0.0, 20.0, 20.0), (1.0, 0.0, 20.0), (1.0, 20.0, 450.1), (1.0, 20.0, 499.0), (1.0, 20.0, 500.0)]
    {
        assert_eq!(CoolingTime::of(none.0, none.1, none.2), None);
    }
}
