//! What the programs for real chips do before a sample is made: the filter, the ring, the counters, the wire speed and
//! the ports, each against something that is plainly right and slow.

use bandward::units::WireSpeed;
use bandward_chips::counters::{Counts, DOUBT, LOOKS, PINS, PinCounters, Unwrapped};
use bandward_chips::decimation::{Decimator, GAIN, OVERSAMPLING};
use bandward_chips::frames::{PERIOD_US, Reader};
use bandward_chips::wire::WireWheel;
use proptest::prelude::*;
use std::f64::consts::PI;

/// Conversions a second.
const RATE: f64 = 80_000.0;

fn filtered(conversions: &[u16]) -> Vec<Option<i32>> {
    let mut filter = Decimator::EMPTY;
    conversions.chunks_exact(OVERSAMPLING).map(|sample| filter.take(sample.iter().copied())).collect()
}

/// The response of two moving means of eight: the quotient of sines, squared (textbook formula of a CIC filter).
pub(crate) fn response(hertz: f64) -> f64 {
    let angle = PI * hertz / RATE;
    let eight = OVERSAMPLING as f64;
    ((eight * angle).sin() / (eight * angle.sin())).abs().powi(2)
}

proptest! {
    /// Against the sum of the last fifteen conversions, each times its weight: 1 to 8 and back to 1.
    #[test]
    fn the_filter_is_the_weighted_sum(conversions in prop::collection::vec(0..=4095_u16, 0..400)) {
        let weights = [1, 2, 3, 4, 5, 6, 7, 8, 7, 6, 5, 4, 3, 2, 1];
        for (index, count) in filtered(&conversions).into_iter().enumerate() {
            let end = (index + 1) * OVERSAMPLING;
            let expected = end.checked_sub(weights.len()).map(|start| {
                conversions[start..end].iter().zip(weights).map(|(&x, w)| i32::from(x) * w).sum::<i32>()
            });
            prop_assert_eq!(count, expected);
        }
    }
    /// A counter of 16 bits, read often enough, counts as one without an end.
    #[test]
    fn a_short_counter_does_not_jump(start in any::<u16>(), steps in prop::collection::vec(-32_768..32_768_i32, 0..200)) {
        let mut counter = Unwrapped::NEW;
        prop_assert_eq!(counter.take(start), 0);
        let mut sum = 0;
        for step in steps {
            sum += step;
            prop_assert_eq!(counter.take((i32::from(start) + sum) as u16), sum);
        }
    }
    /// Against the state of the pins written down look by look.
    #[test]
    fn pins_are_counted_edge_by_edge(steps in prop::collection::vec((-1..=1_i32, any::<bool>(), any::<bool>()), 8..400)) {
        const GRAY: [u32; 4] = [0b00, 0b01, 0b11, 0b10];
        let mut counters = PinCounters::NEW;
        let (mut place, mut wire, mut coolant, mut before) = (0, 0_u32, 0_u32, None);
        let mut start = None;
        for sample in steps.chunks_exact(LOOKS as usize) {
            let mut word = 0;
            for &(step, wire_pin, coolant_pin) in sample {
                // The first look is where counting begins.
                place += if before.is_some() { step } else { 0 };
                start.get_or_insert(place);
                let (was_wire, was_coolant) = before.unwrap_or((wire_pin, coolant_pin));
                wire += u32::from(wire_pin && !was_wire);
                coolant += u32::from(coolant_pin && !was_coolant);
                before = Some((wire_pin, coolant_pin));
                let pins = GRAY[place.rem_euclid(4) as usize] | u32::from(wire_pin) << 2 | u32::from(coolant_pin) << 3;
                word = word << PINS | pins;
            }
            let expected = Counts { spindle: Some(place), wire: Some(wire), coolant: Some(coolant) };
            prop_assert_eq!(counters.take(word), expected);
        }
        prop_assert_eq!(counters.untold(), 0);
    }
    /// The hardware fills, somebody reads at odd times: every frame once, in order, whole, at its time; or it is said
    /// that some were lost, and then the time is right again.
    #[test]
    fn the_ring_gives_every_frame_once_or_says_that_it_lost_some(
        waits in prop::collection::vec((1..40_u64, 0..64_usize, 0..90_u64), 1..200), late in 0..200_usize, pause in 40..3000_u64,
    ) {
        const FRAMES: usize = 64;
        let mut reader = Reader::new(FRAMES);
        let (mut filled, mut next) = (0_u64, 0_u64);
        reader.look(0, 1000);
        for (turn, (wait, most, early_us)) in waits.into_iter().enumerate() {
            let wait = if turn == late { pause } else { wait };
            filled += wait;
            // The two clocks are not read at one moment.
            let now_us = 1000 + filled * u64::from(PERIOD_US) - early_us;
            reader.look(filled as usize % FRAMES, now_us as u32);
            for frame in std::iter::from_fn(|| reader.take()).take(most) {
                let index = frame.time_us / u64::from(PERIOD_US);
                prop_assert!(index < filled, "{index} is being filled");
                prop_assert!(filled - index < FRAMES as u64, "{index} was filled anew");
                prop_assert_eq!(frame.slot as u64, index % FRAMES as u64);
                prop_assert_eq!(index == next, !frame.is_after_loss);
                prop_assert!(index >= next);
                prop_assert_eq!(frame.newer, filled - index - 1);
                next = index + 1;
            }
        }
    }
    /// Against the quotient in floating point.
    #[test]
    fn the_wire_speed_is_pulses_over_time(um in 10..5000_u32, pulses in 0..100_000_u32, start in any::<u32>(), late_us in 0..5000_u64) {
        let mut wheel = WireWheel::new(um, 500_000);
        prop_assert_eq!(wheel.speed(1000, start), None);
        prop_assert_eq!(wheel.speed(400_000, start.wrapping_add(pulses / 2)), None);
        let elapsed_us = 500_000 + late_us;
        let speed = wheel.speed(1000 + elapsed_us, start.wrapping_add(pulses)).unwrap();
        let mm_a_minute = f64::from(pulses) * f64::from(um) / 1000.0 / (elapsed_us as f64 / 60e6);
        let most = f64::from(i32::MAX) / f64::from(1_u32 << WireSpeed::FRACTION_BITS);
        let found = f64::from(speed.to_bits()) / f64::from(1_u32 << WireSpeed::FRACTION_BITS);
        prop_assert!((found - mm_a_minute.min(most)).abs() <= 1.0 / f64::from(1_u32 << WireSpeed::FRACTION_BITS) + 1e-9);
    }
}

/// Sums that wrap after some 180 samples of the highest count change nothing, for minutes.
#[test]
fn the_filter_does_not_drift() {
    let mut filter = Decimator::EMPTY;
    let highest = [4095; OVERSAMPLING];
    assert_eq!(filter.take(highest.into_iter()), None);
    for _ in 0..1_000_000 {
        assert_eq!(filter.take(highest.into_iter()), Some(4095 * GAIN));
    }
}

/// A sine goes in, and what comes out at the frequency it is read as has the height of the formula.
#[test]
fn the_filter_passes_what_the_formula_says() {
    const SECONDS: usize = 1;
    const HEIGHT: f64 = 2000.0;
    for hertz in
        [300.0, 360.0, 1000.0, 2000.0, 4000.0, 9640.0, 9700.0, 10_300.0, 10_360.0, 79_640.0, 79_700.0]
    {
        let sine = |index: usize| {
            let angle = 2.0 * PI * hertz * index as f64 / RATE;
            // Spread, so that rounding to whole conversions does not repeat with the sine.
            let spread = (index as f64 * 0.618_034).fract();
            (2048.0 + HEIGHT * angle.sin() + spread).floor() as u16
        };
        let conversions: Vec<_> = (0..SECONDS * 80_000 + 16).map(sine).collect();
        let counts: Vec<_> = filtered(&conversions).into_iter().flatten().take(SECONDS * 10_000).collect();
        let read_as = (hertz - (hertz / 10_000.0).round() * 10_000.0).abs();
        let parts = counts.iter().enumerate().map(|(index, &count)| {
            let angle = 2.0 * PI * read_as * index as f64 / 10_000.0;
            (f64::from(count) * angle.cos(), f64::from(count) * angle.sin())
        });
        let (cos, sin) = parts.fold((0.0, 0.0), |(a, b), (c, s)| (a + c, b + s));
        let height = 2.0 * cos.hypot(sin) / counts.len() as f64 / f64::from(GAIN);
        let expected = HEIGHT * response(hertz);
        assert!((height - expected).abs() < 0.02, "{hertz} Hz: {height}, {expected} expected");
    }
}

/// Noise of one count becomes what the page says: the root of the sum of the squared weights, over their sum.
#[test]
fn noise_becomes_smaller() {
    let weights = (1..=8).chain((1..8).rev()).map(f64::from);
    let squares: f64 = weights.clone().map(|weight| weight * weight).sum();
    let becomes = squares.sqrt() / weights.sum::<f64>();
    assert_eq!(format!("{becomes:.2}"), "0.29");
    let page = include_str!("../../firmware-example/WIRING.md");
    assert!(page.contains(&format!("White noise of one count becomes {becomes:.2} of one")));
}

/// A converter that stands gives no frame, whatever the clock says: old conversions are never new ones.
#[test]
fn a_converter_that_stands_gives_nothing() {
    for wait_us in [1000_u32, 5_000, 6_400, 12_800, 1_000_000_000] {
        let mut reader = Reader::new(64);
        reader.look(0, 0);
        reader.look(3, 300);
        assert_eq!(std::iter::from_fn(|| reader.take()).count(), 3);
        for turn in 1..20 {
            reader.look(3, 300_u32.wrapping_add(wait_us.wrapping_mul(turn)));
            assert_eq!(reader.take(), None, "{wait_us} us, turn {turn}");
        }
    }
}

/// Both channels at once: nobody can tell which way. There is no count until it is certain to have been missed.
#[test]
fn an_encoder_that_leaps_is_not_believed() {
    let mut counters = PinCounters::NEW;
    assert_eq!(counters.take(0x0000_0000).spindle, Some(0));
    // From 00 to 11 between two looks.
    assert_eq!(counters.take(0x0000_3333).spindle, None);
    assert_eq!(counters.untold(), 1);
    let silent = (0..2 * DOUBT).take_while(|_| counters.take(0x3333_3333).spindle.is_none()).count();
    assert_eq!(silent, usize::from(DOUBT) - 1);
    // Pulses go on meanwhile, and looks that were lost are no edges.
    assert_eq!(counters.take(0x3333_7777).wire, Some(1));
    counters.lose();
    let counts = counters.take(0x8888_8888);
    assert_eq!((counts.spindle, counts.wire, counts.coolant), (None, Some(1), Some(0)));
    assert_eq!(counters.untold(), 1);
}
