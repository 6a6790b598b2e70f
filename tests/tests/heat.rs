//! Conduction and heat loss against solutions in closed form, each with the error it may have. Carslaw and
//! Jaeger, Conduction of Heat in Solids, and Rosenthal are cited from memory; every figure is computed here.

use bandward_sim::heat::cylinder::{Cylinder, Ring, graded_edges};
use bandward_sim::heat::passing::{highest_rise_at_bore, rise_at_bore};
use bandward_sim::heat::steel::{CAPACITY_J_PER_MM3_K, CONDUCTIVITY_W_PER_MM_K, DIFFUSIVITY_MM2_PER_S};
use bandward_sim::heat::surroundings::{Surroundings, moving_air, radiation, still_air};
use statrs::function::erf::erf;
use std::f64::consts::PI;

const NO_LOSS: fn(f64) -> f64 = |_| 0.0;

#[track_caller]
fn within(what: &str, computed: f64, exact: f64, error: f64) {
    let off = (computed - exact).abs();
    assert!(off <= error, "{what}: {computed} against {exact}: {off} off");
}

/// Bessel function of the first kind by its integral, which a sum over even steps gives to all digits.
fn bessel(order: f64, x: f64) -> f64 {
    let steps = 200;
    let term = |step: i32| {
        let angle = 2.0 * PI * f64::from(step) / f64::from(steps);
        (order * angle - x * angle.sin()).cos()
    };
    (0..steps).map(term).sum::<f64>() / f64::from(steps)
}

/// Every root of `function` below `most`, by halving where the sign changes.
fn roots(function: impl Fn(f64) -> f64, most: f64) -> Vec<f64> {
    let grid = |index: u32| 1e-6 + 0.05 * f64::from(index);
    let count = (most / 0.05) as u32;
    let halved = |index: u32| {
        let (mut low, mut high) = (grid(index), grid(index + 1));
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if function(low) * function(middle) <= 0.0 { high = middle } else { low = middle }
        }
        low
    };
    (0..count).filter(|&index| function(grid(index)) * function(grid(index + 1)) < 0.0).map(halved).collect()
}

/// One cell long: only the wall conducts.
fn wall(outer_mm: f64, bore_mm: f64, layers: usize, start_c: f64) -> Cylinder {
    Cylinder::new(outer_mm, bore_mm, vec![0.0, 10.0], layers, start_c)
}

/// A slab heated evenly on one side, nothing lost on the other: Carslaw and Jaeger, section 3.8, from memory.
/// A cylinder ten metres across with a wall of 30 mm is such a slab but for a third of a percent.
#[test]
fn a_slab_heated_on_one_side() {
    let (depth, layers) = (30.0, 30_usize);
    let mut cylinder = wall(10_000.0, 10_000.0 - 2.0 * depth, layers, 20.0);
    let flux = 0.5;
    let ring = Ring { from_mm: 0.0, to_mm: 10.0, power_w: flux * PI * 10_000.0 * 10.0 };
    let mut time_s = 0.0;
    for until_s in [5.0, 20.0, 60.0] {
        while time_s < until_s - 1e-9 {
            cylinder.advance(0.02, Some(ring), 20.0, NO_LOSS);
            time_s += 0.02;
        }
        let fourier = DIFFUSIVITY_MM2_PER_S * time_s / (depth * depth);
        for layer in [0, 10, 20, 29] {
            let place = (layer as f64 + 0.5) / layers as f64;
            let wave = |order: i32| {
                let angle = f64::from(order) * PI;
                let sign = if order % 2 == 0 { 1.0 } else { -1.0 };
                sign / (angle * angle) * (-angle * angle * fourier).exp() * (angle * place).cos()
            };
            let waves: f64 = (1..60).map(wave).sum();
            let shape = fourier + (3.0 * place * place - 1.0) / 6.0 - 2.0 * waves;
            let exact = 20.0 + flux * depth / CONDUCTIVITY_W_PER_MM_K * shape;
            within("slab", cylinder.wall_c(5.0)[layer], exact, 0.005 * (exact - 20.0) + 0.3);
        }
    }
}

/// A round bar that loses heat at its outside: the series of Bessel functions of Carslaw and Jaeger, section
/// 7.7, from memory. Biot number 1.
#[test]
fn a_bar_that_cools() {
    let (radius, layers) = (40.0, 40_usize);
    let loss = CONDUCTIVITY_W_PER_MM_K / radius;
    let roots = roots(|x| x * bessel(1.0, x) - bessel(0.0, x), 40.0);
    assert!((roots[0] - 1.2558).abs() < 1e-4 && (roots[1] - 4.0795).abs() < 1e-4, "the roots as tabulated");
    let mut bar = wall(2.0 * radius, 0.0, layers, 300.0);
    let mut time_s = 0.0;
    for until_s in [10.0, 60.0, 240.0] {
        while time_s < until_s - 1e-9 {
            bar.advance(0.05, None, 20.0, |_| loss);
            time_s += 0.05;
        }
        let fourier = DIFFUSIVITY_MM2_PER_S * time_s / (radius * radius);
        for layer in [0, 20, 39] {
            let place = (f64::from(layer) + 0.5) / layers as f64;
            let term = |x: &f64| {
                let (zero, one) = (bessel(0.0, *x), bessel(1.0, *x));
                2.0 * one / (x * (zero * zero + one * one))
                    * bessel(0.0, x * place)
                    * (-x * x * fourier).exp()
            };
            let exact = 20.0 + 280.0 * roots.iter().map(term).sum::<f64>();
            within("bar", bar.wall_c(5.0)[layer as usize], exact, 0.6);
        }
    }
}

/// Once heating has gone on for long, a tube warms evenly and the wall keeps its shape: integrated by hand,
/// q R / (k (R2 - r2)) x ((R2 - r2)/2 - r2 ln(R/r)) from bore to outside.
#[test]
fn a_tube_heated_steadily() {
    let (outer, bore, layers) = (60.0_f64, 30.0_f64, 30_usize);
    let mut tube = wall(2.0 * outer, 2.0 * bore, layers, 20.0);
    let flux = 0.2;
    let ring = Ring { from_mm: 0.0, to_mm: 10.0, power_w: flux * 2.0 * PI * outer * 10.0 };
    for _ in 0..3000 {
        tube.advance(0.1, Some(ring), 20.0, NO_LOSS);
    }
    let section = outer * outer - bore * bore;
    let shape = |r: f64| (r * r - bore * bore) / 2.0 - bore * bore * (r / bore).ln();
    let middle = |layer: f64| bore + (outer - bore) * (layer + 0.5) / layers as f64;
    let difference =
        (shape(middle(29.0)) - shape(middle(0.0))) * flux * outer / (CONDUCTIVITY_W_PER_MM_K * section);
    let computed = tube.wall_c(5.0);
    within("tube", computed[29] - computed[0], difference, 0.01 * difference);
    // Nothing is lost, so the mean is what the heat brings.
    let risen = tube.gained_j() / (CAPACITY_J_PER_MM3_K * PI * section * 10.0);
    within("heat in", risen, 2.0 * flux * outer * 300.0 / (CAPACITY_J_PER_MM3_K * section), 1e-6);
}

/// A hot stretch of a long bar that loses nothing: two error functions (Carslaw and Jaeger, section 2.2, from
/// memory), on cells that grow outwards.
#[test]
fn a_hot_stretch_spreads() {
    let edges = graded_edges(-60.0, 60.0, 2.0, 600.0);
    let mut bar = Cylinder::new(80.0, 40.0, edges, 1, 20.0);
    bar.hold(-30.0, 30.0, 420.0);
    for _ in 0..1200 {
        bar.advance(0.25, None, 20.0, NO_LOSS);
    }
    let reach = 2.0 * (DIFFUSIVITY_MM2_PER_S * 300.0).sqrt();
    for at in [-51.0, -1.0, 29.0, 59.0] {
        let exact = 20.0 + 200.0 * (erf((30.0 - at) / reach) + erf((30.0 + at) / reach));
        within("stretch", bar.wall_c(at)[0], exact, 0.6);
    }
    // What goes in is still there, to rounding, whatever the step.
    let before_j = bar.held_j();
    bar.advance(5000.0, Some(Ring { from_mm: -7.0, to_mm: 11.0, power_w: 3000.0 }), 20.0, |_| 4e-5);
    within("balance", bar.held_j() - before_j, bar.gained_j(), 1e-7 * before_j);
    assert!(bar.gained_j() > 0.0 && bar.gained_j() < 3000.0 * 5000.0, "some of it lost");
}

/// A long bar heated at one place and losing heat along its length is a fin to both sides: the excess falls as
/// exp(-m z), m2 = h P / (k A), and is q / (2 k A m) at the source.
#[test]
fn a_bar_as_a_fin() {
    let edges = graded_edges(-100.0, 100.0, 2.0, 1200.0);
    let (outer, bore, loss) = (60.0, 57.0, 5e-5);
    let mut bar = Cylinder::new(outer, bore, edges, 1, 20.0);
    for _ in 0..400 {
        bar.advance(200.0, Some(Ring { from_mm: -1.0, to_mm: 1.0, power_w: 500.0 }), 20.0, |_| loss);
    }
    let section = PI / 4.0 * (outer * outer - bore * bore);
    let m = (loss * PI * outer / (CONDUCTIVITY_W_PER_MM_K * section)).sqrt();
    for at in [11.0, 31.0, 91.0] {
        let exact = 20.0 + 500.0 / (2.0 * CONDUCTIVITY_W_PER_MM_K * section * m) * (-m * at).exp();
        within("fin", bar.wall_c(at)[0], exact, 0.01 * exact);
    }
    // From the middle of the wall to its surface: ln(R/r) R h / k of the excess.
    let middle_c = bar.wall_c(11.0)[0];
    let fall = (60.0_f64 / 58.5).ln() * 30.0 * loss / CONDUCTIVITY_W_PER_MM_K;
    within("surface", bar.surface_c(11.0, 20.0, |_| loss), 20.0 + (middle_c - 20.0) / (1.0 + fall), 1e-6);
}

/// A thin body that only radiates, to surroundings at absolute zero: T = T0 (1 + 3 k T0^3 t)^(-1/3) in kelvin.
#[test]
fn a_shell_that_only_radiates() {
    let (outer, bore) = (100.0_f64, 98.0_f64);
    let mut shell = wall(outer, bore, 1, 900.0 - 273.15);
    for _ in 0..600 {
        shell.advance(0.5, None, -273.15, |surface_c| radiation(surface_c + 273.15, 0.0, 0.8) * 1e-6);
    }
    let holds = CAPACITY_J_PER_MM3_K * PI / 4.0 * (outer * outer - bore * bore);
    let k = 0.8 * 5.670_374_419e-14 * PI * outer / holds;
    let exact = 900.0 * (1.0 + 3.0 * k * 900.0_f64.powi(3) * 300.0).powf(-1.0 / 3.0);
    within("shell", shell.wall_c(5.0)[0] + 273.15, exact, 1.0);
}

/// Two worked examples of a textbook (Incropera, from memory): a 0.1 m pipe at 165 °C in still air
/// of 23 °C loses 7.29 W/(m2 K) to the air, and with an emissivity of 0.85 radiates 441 W a metre; a 12.7 mm
/// cylinder at 128.4 °C in air of 26.2 °C at 10 m/s loses 96 W/(m2 K).
#[test]
fn heat_loss_as_in_the_textbook() {
    within("still air", still_air(0.1, 438.0, 296.0), 7.29, 0.03 * 7.29);
    let radiated = radiation(438.0, 296.0, 0.85) * (438.0 - 296.0) * PI * 0.1;
    within("radiation", radiated, 441.0, 0.01 * 441.0);
    within("moving air", moving_air(0.0127, 401.55, 299.35, 10.0), 96.0, 0.03 * 96.0);
    let still = Surroundings::still(20.0);
    let blanket = Surroundings { blanket_mm: 25.0, ..still };
    let windy = Surroundings { wind_m_per_s: 5.0, ..still };
    let [wrapped, bare, blown] = [blanket, still, windy].map(|one| one.loss_w_per_mm2_k(127.0, 300.0));
    assert!(wrapped < 0.25 * bare && bare < 0.7 * blown, "{wrapped} {bare} {blown}");
    // With nothing but the blanket in the way, k / (r ln(r2/r1)): more can never pass.
    assert!(wrapped < 0.1e-6 / (0.0635 * (177.0_f64 / 127.0).ln()));
}

/// A moving line source at high speed: the highest rise at a distance r below the surface of thick work is
/// 2 Q / (pi e rho c r2) (Rosenthal; from memory); the far side of a wall doubles it, and the next images add
/// exp(-9 + 1) and less. In thin work it is Q / (sqrt(2 pi e) rho c d y) from a plane source.
#[test]
fn the_bore_as_the_torch_passes() {
    let (input, wall) = (2400.0, 30.0);
    let thick = 2.0 * input / (PI * std::f64::consts::E * CAPACITY_J_PER_MM3_K * wall * wall);
    let highest = highest_rise_at_bore(input, 0.01, wall, 200.0);
    within("thick", highest, 2.0 * thick, 0.01 * thick);
    // Both forms of the series meet where one takes over from the other.
    let at = |share: f64| share * share * wall * wall / (4.0 * DIFFUSIVITY_MM2_PER_S);
    let (before, after) = (at(1.0 - 1e-9), at(1.0 + 1e-9));
    within(
        "the two series",
        rise_at_bore(input, 25.0, wall, before),
        rise_at_bore(input, 25.0, wall, after),
        1e-6,
    );
    // A wide band on a thin wall: the heat stays where it is laid.
    let evened = input / (CAPACITY_J_PER_MM3_K * 5.0 * 300.0);
    within("thin and wide", rise_at_bore(input, 300.0, 5.0, 10.0), evened, 1e-3 * evened);
    assert!(highest_rise_at_bore(input, 25.0, wall, 200.0) < highest, "a wide weave spares the bore");
}
