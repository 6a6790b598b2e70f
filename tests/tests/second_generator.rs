//! The second generator keeps to its own word: good joints lie well inside the procedure, a fault leaves
//! the range it is meant to leave, and the same seed gives the same rows.
//!
//! Decides: whether the generator can be measured by. All figures are self-consistency, but for the laws of
//! the arc (more wire, more amperes; further away, fewer) and of 1/f noise.

use bandward::Channel;
use bandward_sim::trace::Row;
use bandward_tests::second::arc::{Arc, Drive, source_for};
use bandward_tests::second::fault::{Fault, Shape};
use bandward_tests::second::kinds::{FACTS, Kind};
use bandward_tests::second::noise::Pink;
use bandward_tests::second::plan::Advance;
use bandward_tests::second::random::Chance;
use bandward_tests::second::shop::{self, Gauge};
use bandward_tests::second::weave::{Swing, Weave};
use bandward_tests::second::{Order, Truth, shift, watched};

fn rows_and_truth(order: &Order) -> (Vec<Row>, Truth) {
    let mut joint = order.joint();
    let rows = joint.by_ref().collect();
    (rows, joint.truth())
}

#[test]
fn the_kinds_stand_in_their_order() {
    for (at, facts) in FACTS.iter().enumerate() {
        assert_eq!(facts.kind as usize, at, "{}", facts.name);
    }
}

/// The figures of `allowed` in a table of the procedure file.
fn allowed_in(text: &str, table: &str) -> Vec<f64> {
    let from = text.find(&format!("[{table}]")).expect("the table is there");
    let line = text[from..].lines().find(|line| line.starts_with("allowed")).expect("it allows");
    let is_figure = |letter: char| letter.is_ascii_digit() || letter == '.';
    line.split(|letter| !is_figure(letter)).filter_map(|word| word.parse().ok()).collect()
}

#[test]
fn the_limits_are_those_of_the_procedure_file() {
    let text = watched::procedure().text;
    let table = |gauge: Gauge| match gauge {
        Gauge::Current => ("current", 1.0),
        Gauge::Voltage => ("voltage", 1.0),
        Gauge::Gas => ("gas_flow", 1.0),
        Gauge::WeaveRate => ("weave_rate", 1.0),
        Gauge::WeaveWidth => ("weave_width", 1.0),
        Gauge::Centre => ("weave_centre_drift", 1.0),
        Gauge::TurnTime => ("turn_time", 1.0),
        Gauge::Coolant => ("coolant_flow", 1.0),
        Gauge::Feed => ("wire_feed", 1000.0),
    };
    for gauge in Gauge::ALL {
        let (table, unit) = table(gauge);
        let (low, high) = gauge.allowed();
        let own: Vec<f64> = [low, high].into_iter().filter(|limit| limit.is_finite()).collect();
        let file: Vec<f64> = allowed_in(&text, table).iter().map(|value| value * unit).collect();
        assert_eq!(own, file, "{table}");
    }
}

fn settled(change: impl Fn(&mut Drive)) -> Arc {
    let mut drive = Drive {
        source_v: source_for(shop::VOLTAGE_V),
        feed_mm_s: shop::FEED_MM_S,
        tip_to_work_mm: shop::TIP_TO_WORK_MM,
        more_ohm: 0.0,
        more_falls_v: 0.0,
    };
    change(&mut drive);
    let mut arc = Arc::struck(&drive);
    (0..500).for_each(|_| arc.step(0.01, &drive));
    arc
}

#[test]
fn the_arc_regulates_itself_as_the_trade_knows_it() {
    let usual = settled(|_| {});
    assert!((usual.current_a - shop::CURRENT_A).abs() < 8.0, "{usual:?}");
    assert!((usual.voltage_v - shop::VOLTAGE_V).abs() < 0.4, "{usual:?}");
    // More wire feed, more amps; further away, fewer; more volts at the source, more at the arc.
    assert!(settled(|drive| drive.feed_mm_s *= 1.1).current_a > usual.current_a + 10.0);
    assert!(settled(|drive| drive.tip_to_work_mm += 5.0).current_a < usual.current_a - 10.0);
    assert!(settled(|drive| drive.source_v += 2.0).voltage_v > usual.voltage_v + 1.5);
}

#[test]
fn one_over_f_noise_falls_slowly_as_it_is_averaged() {
    let mut chance = Chance::new(3, 0);
    let mut pink = Pink::new(&mut chance);
    let values: Vec<f64> = (0..200_000).map(|_| pink.next(0.01, &mut chance)).collect();
    let deviation = |block: usize| {
        let means: Vec<f64> =
            values.chunks_exact(block).map(|part| part.iter().sum::<f64>() / block as f64).collect();
        (means.iter().map(|mean| mean * mean).sum::<f64>() / means.len() as f64).sqrt()
    };
    assert!((deviation(1) - 1.0).abs() < 0.15, "{}", deviation(1));
    // White noise would fall by the root of a thousand, to 0.03.
    assert!(deviation(1000) > 0.25 && deviation(1000) < 0.7, "{}", deviation(1000));
}

#[test]
fn the_torch_covers_the_width_asked_for_in_every_shape() {
    for swing in Swing::ALL {
        let mut chance = Chance::new(5, 0);
        let mut weave = Weave::new(swing, &mut chance);
        let places: Vec<f64> = (0..60_000)
            .map(|_| {
                weave.step(0.001, 76.0, 21.0, 0.0, &mut chance);
                weave.torch_mm
            })
            .collect();
        let (low, high) = places.iter().fold((0.0, 0.0), |(low, high), &at| (at.min(low), at.max(high)));
        let width: f64 = high - low;
        assert!((width - 21.0).abs() < 0.5, "{swing:?}: {width}");
    }
}

#[test]
fn good_joints_lie_inside_the_recommended_ranges() {
    for seed in 0..24 {
        let (rows, truth) = rows_and_truth(&Order::good(20.0, seed));
        assert_eq!(truth.bands.len(), shop::BANDS, "seed {seed}");
        for band in &truth.bands {
            let inside =
                |value: f64, low: f64, high: f64| assert!((low..high).contains(&value), "{seed} {band:?}");
            inside(band.current_a, 275.0, 315.0);
            inside(band.voltage_v, 30.0, 32.0);
            inside(band.overlap_deg, 6.0, 16.0);
            inside(band.height_mm, 2.6, 3.0);
        }
        assert!(rows.is_sorted_by(|one, next| one.time_us < next.time_us), "seed {seed}");
    }
}

#[test]
fn the_same_seed_gives_the_same_rows() {
    let rows = |seed| Order::good(10.0, seed).joint().collect::<Vec<_>>();
    assert_eq!(rows(7), rows(7));
    assert_ne!(rows(7), rows(8));
}

#[test]
fn a_fault_takes_its_quantity_out_of_range_and_a_good_joint_never() {
    for facts in FACTS.iter().filter(|facts| facts.gauge.is_some()) {
        for (rank, &shape) in facts.shapes.iter().flat_map(|shape| [(0, shape), (2, shape)]) {
            let fault = Fault::drawn(facts.kind, shape, rank, None, &mut Chance::new(11, 0));
            let (_, truth) = rows_and_truth(&Order::good(10.0, 300 + rank as u64).with_fault(fault));
            let outside = truth.faults[0].outside_s;
            assert!(outside.is_some(), "{} {} {rank}: {:?}", facts.name, shape.name(), truth.faults[0]);
        }
    }
}

#[test]
fn a_lying_sensor_and_a_cut_trace_are_as_ordered() {
    let fault = |kind, shape, channel| Fault::drawn(kind, shape, 1, channel, &mut Chance::new(2, 0));
    let dead = fault(Kind::Dead, Shape::Onwards, Some(Channel::Gas));
    let (rows, truth) = rows_and_truth(&Order::good(10.0, 40).with_fault(dead));
    let start_s = truth.faults[0].start_s.expect("on");
    let is_dead = |row: &&Row| row.get(Channel::Gas).is_none();
    let first_s = rows.iter().find(is_dead).expect("dead").time_us as f64 / 1e6;
    assert!((first_s - start_s).abs() < 0.3 && is_dead(&rows.last().expect("there")), "{first_s} {start_s}");

    let (_, truth) =
        rows_and_truth(&Order::good(10.0, 41).with_fault(fault(Kind::CutInBand, Shape::Act, None)));
    assert!(truth.bands.last().is_some_and(|band| band.turned_deg < 330.0), "{truth:?}");

    let missing = fault(Kind::MissingBand, Shape::Act, None);
    let (_, truth) = rows_and_truth(&Order::good(10.0, 42).with_fault(missing));
    assert_eq!(truth.bands.len(), shop::BANDS - 1);
}

#[test]
fn rows_come_at_any_rate() {
    for rate_hz in [0.5, 5.0, 10_000.0] {
        let mut joint = Order::good(rate_hz, 50).joint();
        let rows = joint.by_ref().take(50).collect::<Vec<_>>();
        let mean_s = (rows[49].time_us - rows[0].time_us) as f64 / 49e6;
        assert!((mean_s * rate_hz - 1.0).abs() < 0.02, "{rate_hz}: {mean_s}");
    }
}

#[test]
fn bands_under_one_arc_turn_three_times() {
    for advance in [Advance::Steps, Advance::Spiral] {
        let mut order = Order::good(20.0, 60);
        order.advance = advance;
        let (rows, truth) = rows_and_truth(&order);
        assert_eq!(truth.bands.len(), 1);
        assert!((truth.bands[0].turned_deg / 360.0 - 3.0).abs() < 0.06, "{:?}", truth.bands[0]);
        let furthest = rows.iter().filter_map(|row| row.get(Channel::Carriage)).fold(0.0, f64::max);
        assert!((furthest - 2.0 * shop::STEP_MM).abs() < 0.5, "{advance:?}: {furthest}");
    }
}

#[test]
fn the_clock_and_the_encoder_of_a_shift_run_on() {
    let (rig, orders) = shift::good(5.0, 3, 70);
    let rows: Vec<_> = shift::rows(rig, orders).collect();
    assert!(rows.is_sorted_by(|one, next| one.time_us < next.time_us));
    let jump = rows.windows(2).map(|pair| turned(&pair[0], &pair[1])).fold(0.0, f64::max);
    // By hand the pipe turns five times as fast as under the arc, 4 degrees between two rows.
    assert!(jump < 12.0, "{jump}");
}

fn turned(one: &Row, next: &Row) -> f64 {
    let angle = |row: &Row| row.get(Channel::Spindle).expect("there");
    let moved = (angle(next) - angle(one)).rem_euclid(360.0);
    moved.min(360.0 - moved)
}
