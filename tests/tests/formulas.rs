//! The formulas of the core against published values and arithmetic by hand.

use bandward::heat;
use bandward::units::{Current, Duration, FixedPoint, Length, Power, SurfaceSpeed, WireSpeed};
use bandward::{Channel, Procedure, Sample};
use bandward_tests::heard::{acquisition, watch, with};

fn value<Q: FixedPoint>(quantity: Q) -> f64 {
    f64::from(quantity.bits()) / (1_u64 << Q::FRACTION_BITS) as f64
}

#[track_caller]
fn near(got: f64, expected: f64, within: f64) {
    assert!((got - expected).abs() <= within, "{got}, expected {expected} within {within}");
}

fn millimetres(value: f64) -> Length {
    Length::from_milli((value * 1000.0).round() as i64)
}

/// E = IP / v: ISO/TR 18491 (from memory). In inches, H = V A 60 / S with S in in/min: ASME BPVC IX
/// QW-409.1, the same formula as QW-409.26 for hard-facing overlay (from memory). Q = k E with k = 0.8 for gas-shielded metal-arc: EN 1011-1 (from memory).
/// 26 V, 250 A, 5 mm/s: arithmetic on the three.
#[test]
fn heat_input_in_both_forms() {
    let power = Power::from_milli(26 * 250 * 1000);
    let speed = SurfaceSpeed::from_milli(5000);
    let energy = value(heat::arc_energy(power, speed).unwrap());
    near(energy, 1.3, 1e-5);
    near(0.8 * energy, 1.04, 1e-5);
    let inches_per_minute = 5.0 * 60.0 / 25.4;
    near(energy * 1000.0 * 25.4, 26.0 * 250.0 * 60.0 / inches_per_minute, 0.5);
    near(energy * 1000.0 * 25.4, 33_020.0, 0.5);
}

/// Surface speed is pi D over the time of a turn: geometry.
#[test]
fn surface_speed_is_circumference_over_turn_time() {
    for (diameter_mm, turn_s) in [(127.0, 120.0), (88.9, 84.0), (203.2, 200.0)] {
        let speed = heat::surface_speed(millimetres(diameter_mm), Duration::from_milli(turn_s as i64 * 1000));
        near(value(speed.unwrap()), std::f64::consts::PI * diameter_mm / turn_s, 3e-5);
    }
}

/// Two facts of the trade (common practice, no source) that geometry must make agree: 1.6 mm wire fed
/// at about 7.5 m/min, 95 % of it kept, on a 5 in joint turning in 2 min, over a band of 28 mm; and
/// bands 3/32 to 1/8 in high.
#[test]
fn the_benchmark_joint_gets_a_band_of_the_usual_height() {
    let speed = heat::surface_speed(millimetres(127.0), Duration::from_milli(120_000)).unwrap();
    let feed = WireSpeed::from_milli(7_500_000);
    let height = heat::band_height(feed, millimetres(1.6), 950, speed, millimetres(28.0)).unwrap();
    let area_mm2 = 7500.0 / 60.0 * std::f64::consts::FRAC_PI_4 * 1.6 * 1.6 * 0.95;
    let by_hand_mm = area_mm2 / (std::f64::consts::PI * 127.0 / 120.0) / 28.0;
    near(value(height), by_hand_mm, 0.001);
    assert!((25.4 * 3.0 / 32.0..=25.4 / 8.0).contains(&value(height)), "{} mm", value(height));
}

/// Melting rate = a I + b L I^2: Lesnewich, Welding Journal 1958 (from memory); a = 0.3 mm/(A s) and
/// b = 5e-5 /(A^2 s) for 1.2 mm solid steel wire: literature after it (from memory), plausible and no
/// oracle. 250 A and 15 mm: arithmetic.
#[test]
fn wire_feed_from_current_follows_the_melting_formula() {
    let feed = |amps: i64, wire_mm| {
        let current = Current::from_milli(amps * 1000);
        value(heat::wire_feed_from_current(current, millimetres(15.0), millimetres(wire_mm)).unwrap()) / 60.0
    };
    near(feed(250, 1.2), 0.3 * 250.0 + 5e-5 * 15.0 * 250.0 * 250.0, 0.1);
    near(feed(250, 1.2), 121.9, 0.1);
    assert_eq!(feed(-250, 1.2).to_bits(), feed(250, 1.2).to_bits(), "either polarity melts wire");
    let section = (1.2_f64 / 1.6).powi(2);
    near(feed(300, 1.6), 0.3 * 300.0 * section + 5e-5 * 15.0 * 9e4 * section * section, 0.1);
}

/// Arc power is the mean of u(t) i(t): ISO/TR 18491; ASME BPVC IX QW-409.1 (from memory; QW-409.26
/// and QW-453 are the variables of hard-facing overlay).
/// A square pulse of 400 A at 34 V for 2 ms and 80 A at 20 V for 6 ms: 4600 W, where the product of
/// the means is 3760 W and that of the root mean squares 5136.8 W (arithmetic).
#[test]
fn arc_power_is_the_mean_of_the_products() {
    for period_us in [20, 100, 500, 1000] {
        let samples = (0..1000 * 8000 / u64::from(period_us)).map(|index| {
            let sample = Sample::at(index * u64::from(period_us));
            let (amps, volts) = if sample.time_us % 8000 < 2000 { (400.0, 34.0) } else { (80.0, 20.0) };
            with(with(sample, Channel::Current, amps), Channel::Voltage, volts)
        });
        let wired = acquisition(period_us, &[Channel::Current, Channel::Voltage]);
        let (heard, _) = watch(Procedure::new(), wired, samples);
        let [band] = heard.bands[..] else { panic!("{} bands", heard.bands.len()) };
        near(value(band.arc_power.unwrap()), 4600.0, 0.0);
        near(value(band.current.unwrap().mean), 160.0, 0.0);
        near(value(band.voltage.unwrap().mean), 23.5, 0.0);
    }
}
