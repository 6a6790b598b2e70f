//! The board's logic on the host: from counts to samples, and from alarms to relay, lamp and horn.

use bandward::event::{AlarmEvent, AlarmKind, Position};
use bandward::link::{BoardFaults, Lamp, Outputs};
use bandward::units::{Current, Voltage};
use bandward::{Channel, JointRecord, Outcome, Rule, Severity, SoFar};
use bandward_firmware::acquisition::{
    Acquirer, AnalogInputs, CableDrop, Calibration, CalibrationError, Counters, Encoder, FlowMeter, Source,
    Wiring,
};
use bandward_firmware::outputs::{Annunciator, Driven, Levels, Pins};
use embedded_hal_mock::eh1::MockError;
use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};
use proptest::prelude::*;
use std::io::ErrorKind;

/// Inputs whose counts a test sets.
#[derive(Default)]
struct Inputs {
    counts: [Option<i32>; Channel::COUNT],
    spindle: Option<i32>,
    pulses: Option<u32>,
}

impl AnalogInputs for Inputs {
    fn read(&mut self, channel: Channel) -> Option<i32> {
        self.counts[channel as usize]
    }
}

impl Counters for Inputs {
    fn spindle(&mut self) -> Option<i32> {
        self.spindle
    }
    fn pulses(&mut self, _: Channel) -> Option<u32> {
        self.pulses
    }
}

#[test]
fn a_calibration_passes_through_both_points_either_way_round() {
    // 4 to 20 mA over 250 ohm on a 12-bit converter with 5 V: 1 V is count 819, 5 V is 4095.
    let (low, high) = ((819, 0), (4095, Current::from_milli(500_000).to_bits()));
    for calibration in [Calibration::try_new(low, high), Calibration::try_new(high, low)] {
        let calibration = calibration.unwrap();
        assert_eq!(calibration.apply(819), 0);
        assert_eq!(calibration.apply(4095), Current::from_milli(500_000).to_bits());
        assert_eq!(calibration.apply(2457), Current::from_milli(250_000).to_bits());
    }
    assert_eq!(Calibration::try_new((5, 0), (5, 1)), Err(CalibrationError::SameCount));
}

proptest! {
    /// Against the straight line in floating point.
    #[test]
    fn a_calibration_is_the_nearest_to_the_line(
        low in -40_000..40_000_i32, run in 1..40_000_i32, down in any::<bool>(),
        raw_low in -2_000_000..2_000_000_i32, rise in -2_000_000..2_000_000_i32, count in -50_000..50_000_i32,
    ) {
        let high = if down { low - run } else { low + run };
        let calibration = Calibration::try_new((low, raw_low), (high, raw_low + rise)).unwrap();
        let slope = f64::from(rise) / f64::from(high - low);
        let on_the_line = f64::from(raw_low) + f64::from(count - low) * slope;
        // A steep line leaves what a reading can hold.
        let expected = on_the_line.clamp(f64::from(i32::MIN), f64::from(i32::MAX));
        prop_assert!((f64::from(calibration.apply(count)) - expected).abs() <= 0.500_001);
    }

    #[test]
    fn nothing_overflows(a in any::<(i32, i32)>(), b in any::<(i32, i32)>(), count in any::<i32>(), r in any::<u32>()) {
        if let Ok(calibration) = Calibration::try_new(a, b) {
            let raw = calibration.apply(count);
            CableDrop::of_microohm(r).compensate(Voltage::from_bits(raw), Current::from_bits(count));
        }
    }

    /// However the count runs and wraps, the angle is the count modulo a turn.
    #[test]
    fn the_angle_follows_the_count(
        counts_a_turn in 1_u32..100_000, start in any::<i32>(), moves in prop::collection::vec(-5000..5000_i32, 1..50)
    ) {
        let mut encoder = Encoder::try_new(counts_a_turn).unwrap();
        prop_assert_eq!(encoder.angle(start), 0);
        let (mut count, mut total) = (start, 0_i64);
        for step in moves {
            count = count.wrapping_add(step);
            total += i64::from(step);
            let expected = total.rem_euclid(i64::from(counts_a_turn)) as f64 / f64::from(counts_a_turn);
            let angle = f64::from(encoder.angle(count)) / 4_294_967_296.0;
            prop_assert!((angle - expected).abs() < 1e-9, "{angle} for {expected}");
        }
    }
}

/// A.12: before, a gear whose turns are no whole number of counts could not be told. Against exact fractions.
#[test]
fn an_encoder_behind_a_gear_keeps_its_angle_over_any_number_of_turns() {
    // A belt of 60 to 47 teeth on an encoder of 2,400 counts: 144,000 counts in 47 turns.
    let (counts, turns) = (144_000_u64, 47_u64);
    let mut encoder = Encoder::try_geared(counts as u32, turns as u32).unwrap();
    assert_eq!(encoder.angle(0), 0);
    // In steps, past the wrap of the counter at 32 bits.
    let step = 1_234_567_i32;
    for i in 1..4000_u64 {
        let count = (i as i32).wrapping_mul(step);
        let expected = ((u128::from(i * step as u64 * turns) << 32) / u128::from(counts)) as u32;
        let off = encoder.angle(count).wrapping_sub(expected) as i32;
        assert!(off.abs() <= 1, "{off} after {i} steps");
    }
    for (counts, turns) in [(0, 1), (1, 0), (0, 0)] {
        assert_eq!(Encoder::try_geared(counts, turns), Err(CalibrationError::CountsATurn));
    }
}

/// A.12: before, the voltage of the meter passed for that of the arc wherever no current was read.
#[test]
fn the_voltage_at_the_arc_is_not_told_without_the_current() {
    let line = Calibration::try_new((0, 0), (1000, 1000)).unwrap();
    let cable = CableDrop::of_microohm(10_000);
    let wired = |every| {
        let mut wiring = [Wiring::NONE; Channel::COUNT];
        wiring[Channel::Voltage as usize] = Wiring { source: Source::Analog(line), every: 1, turn: 0 };
        wiring[Channel::Current as usize] = Wiring { source: Source::Analog(line), every, turn: 0 };
        wiring
    };
    let (volts, amps) = (Voltage::from_milli(31_800).to_bits(), Current::from_milli(280_000).to_bits());
    let mut inputs = Inputs::default();
    inputs.counts[Channel::Voltage as usize] = Some(volts);
    let voltage = |acquirer: &mut Acquirer, inputs: &mut Inputs| {
        acquirer.sample(0, inputs).raw(Channel::Voltage).map(|raw| Voltage::from_bits(raw).to_milli())
    };
    // A current that fails.
    let mut acquirer = Acquirer::new(wired(1), cable);
    assert_eq!(voltage(&mut acquirer, &mut inputs), None);
    inputs.counts[Channel::Current as usize] = Some(amps);
    let compensated = voltage(&mut acquirer, &mut inputs).unwrap();
    assert!((compensated - 29_000).abs() <= 1, "{compensated}");
    inputs.counts[Channel::Current as usize] = None;
    assert_eq!(voltage(&mut acquirer, &mut inputs), None);
    // One that is read in every fourth sample stands for the three after it, and not for longer.
    let mut acquirer = Acquirer::new(wired(4), cable);
    inputs.counts[Channel::Current as usize] = Some(amps);
    let first = (0..8).find(|_| acquirer.sample(0, &mut inputs).raw(Channel::Current).is_some());
    assert!(first.is_some());
    inputs.counts[Channel::Current as usize] = None;
    let seen: Vec<_> = (0..6).map(|_| voltage(&mut acquirer, &mut inputs).is_some()).collect();
    assert_eq!(seen, [true, true, true, false, false, false]);
    // A cable that takes nothing changes nothing.
    let mut acquirer = Acquirer::new(wired(1), CableDrop::default());
    assert_eq!(voltage(&mut acquirer, &mut inputs), Some(31_800));
}

/// Ohm's law: 280 A through 10 mΩ are 2.8 V; with the electrode negative the sign turns.
#[test]
fn the_cable_takes_its_voltage() {
    let cable = CableDrop::of_microohm(10_000);
    for (meter, current, arc) in
        [(31_800, 280_000, 29_000), (-31_800, -280_000, -29_000), (60_000, 0, 60_000)]
    {
        let found = cable.compensate(Voltage::from_milli(meter), Current::from_milli(current));
        assert!((found.to_milli() - arc).abs() <= 1, "{} for {arc}", found.to_milli());
    }
}

#[test]
fn pulses_make_a_flow_over_whole_windows() {
    let mut meter = FlowMeter::try_new(450, 1_000_000).unwrap();
    // 6 L/min are 0.1 L/s: 45 pulses a second; the counter wraps on the way.
    let start = u32::MAX - 20;
    assert_eq!(meter.flow(0, start), None);
    assert_eq!(meter.flow(500_000, start.wrapping_add(22)), None);
    let flow = meter.flow(1_000_000, start.wrapping_add(45)).unwrap();
    assert_eq!(flow.to_milli(), 6000);
    assert_eq!(meter.flow(1_900_000, start.wrapping_add(45)), Some(flow), "held until the window is over");
    assert_eq!(meter.flow(2_000_000, start.wrapping_add(45)).unwrap().to_milli(), 0);
    assert_eq!(FlowMeter::try_new(0, 1), Err(CalibrationError::PulsesALitre));
    assert_eq!(Encoder::try_new(0), Err(CalibrationError::CountsATurn));
}

#[test]
fn slow_channels_come_in_their_turn_and_what_is_missing_is_absent() {
    let line = Calibration::try_new((0, 0), (1000, 1000)).unwrap();
    let mut wiring = [Wiring::NONE; Channel::COUNT];
    wiring[Channel::Current as usize] = Wiring { source: Source::Analog(line), every: 1, turn: 0 };
    wiring[Channel::Gas as usize] = Wiring { source: Source::Analog(line), every: 10, turn: 3 };
    wiring[Channel::Torch as usize] = Wiring { source: Source::Analog(line), every: 15, turn: 19 };
    let mut acquirer = Acquirer::new(wiring, CableDrop::default());
    let mut inputs = Inputs { counts: [Some(7); Channel::COUNT], ..Inputs::default() };
    let mut currents = 0;
    for i in 0..100 {
        let sample = acquirer.sample(i * 100, &mut inputs);
        assert_eq!(sample.time_us, i * 100);
        assert_eq!(sample.raw(Channel::Voltage), None, "not wired");
        currents += usize::from(sample.raw(Channel::Current) == Some(7));
        let is_due = |channel, every, turn| (sample.raw(channel) == Some(7)) == (i % every == turn);
        assert!(is_due(Channel::Gas, 10, 3), "{i}");
        assert!(is_due(Channel::Torch, 15, 4), "{i}: 19 is 4 and one whole round");
    }
    assert_eq!(currents, 100);
    inputs.counts[Channel::Current as usize] = None;
    assert_eq!(acquirer.sample(10_000, &mut inputs).raw(Channel::Current), None);
}

fn alarm(kind: AlarmKind, rule: Rule, channel: Option<Channel>, severity: Severity) -> AlarmEvent {
    AlarmEvent {
        time_us: 1,
        kind,
        rule,
        channel,
        severity,
        onset_us: 0,
        position: Position { band: 1, turned: None },
        worst: 0,
        limit: None,
    }
}

/// (relay energised, lamp steady, horn)
fn states(annunciator: &Annunciator) -> (bool, bool, bool) {
    let outputs = annunciator.outputs();
    assert_ne!(outputs.lamp, Lamp::Slow, "no verdict was given");
    (outputs.relay_energised, outputs.lamp == Lamp::On, outputs.horn)
}

fn judging() -> Annunciator {
    let mut annunciator = Annunciator::new();
    assert_eq!(states(&annunciator), (false, false, false), "released until a sample is judged");
    annunciator.judged();
    assert_eq!(states(&annunciator), (true, false, false));
    annunciator
}

#[test]
fn every_severity_drives_what_it_should() {
    for (severity, raised) in [
        (Severity::Advise, (true, false, false)),
        (Severity::Warn, (true, true, true)),
        (Severity::Stop, (false, true, true)),
    ] {
        let mut annunciator = judging();
        annunciator.take(&alarm(AlarmKind::Raised, Rule::GasLow, None, severity));
        assert_eq!(states(&annunciator), raised, "{severity:?}");
        annunciator.take(&alarm(AlarmKind::Acknowledged, Rule::GasLow, None, severity));
        assert_eq!(states(&annunciator), (raised.0, raised.1, false), "the lamp stays, the horn does not");
        annunciator.take(&alarm(AlarmKind::Cleared, Rule::GasLow, None, severity));
        assert_eq!(states(&annunciator), (true, false, false));
    }
}

#[test]
fn an_alarm_that_gets_worse_or_repeats_sounds_again() {
    let mut annunciator = judging();
    let rule = Rule::VoltageLow;
    annunciator.take(&alarm(AlarmKind::Raised, rule, None, Severity::Warn));
    annunciator.take(&alarm(AlarmKind::Acknowledged, rule, None, Severity::Warn));
    annunciator.take(&alarm(AlarmKind::Repeated, rule, None, Severity::Warn));
    assert_eq!(states(&annunciator), (true, true, true));
    annunciator.take(&alarm(AlarmKind::Acknowledged, rule, None, Severity::Warn));
    annunciator.take(&alarm(AlarmKind::Escalated, rule, None, Severity::Stop));
    assert_eq!(states(&annunciator), (false, true, true));
}

#[test]
fn a_dead_sensor_releases_the_relay_whatever_its_severity() {
    for rule in [Rule::SignalStuck, Rule::SignalRailed, Rule::SignalMissing] {
        let mut annunciator = judging();
        annunciator.take(&alarm(AlarmKind::Raised, rule, Some(Channel::Gas), Severity::Advise));
        assert_eq!(states(&annunciator), (false, true, false), "{rule:?}");
        // Another channel that recovers does not stand in for this one.
        annunciator.take(&alarm(AlarmKind::Cleared, rule, Some(Channel::Torch), Severity::Advise));
        assert!(!annunciator.outputs().relay_energised);
        annunciator.take(&alarm(AlarmKind::Cleared, rule, Some(Channel::Gas), Severity::Advise));
        assert_eq!(states(&annunciator), (false, true, false), "over, and nobody has acknowledged");
        annunciator.acknowledge();
        assert!(annunciator.outputs().relay_energised);
    }
}

#[test]
fn an_alarm_put_away_is_dark_and_silent_and_still_holds() {
    let mut annunciator = judging();
    let channel = Some(Channel::Gas);
    annunciator.take(&alarm(AlarmKind::Raised, Rule::SignalMissing, channel, Severity::Warn));
    annunciator.take(&alarm(AlarmKind::Shelved, Rule::SignalMissing, channel, Severity::Warn));
    assert_eq!(states(&annunciator), (false, false, false));
    annunciator.take(&alarm(AlarmKind::Unshelved, Rule::SignalMissing, channel, Severity::Warn));
    assert_eq!(states(&annunciator), (false, true, true));
    // A stop ends the shelf.
    annunciator.take(&alarm(AlarmKind::Shelved, Rule::SignalMissing, channel, Severity::Warn));
    annunciator.take(&alarm(AlarmKind::Escalated, Rule::SignalMissing, channel, Severity::Stop));
    assert_eq!(states(&annunciator), (false, true, true));
}

#[test]
fn the_boards_own_faults_release_the_relay() {
    let none = BoardFaults::default();
    let mut annunciator = judging();
    annunciator.take_moment(BoardFaults { missed_deadline: true, ..none });
    assert_eq!(states(&annunciator), (false, true, false));
    annunciator.acknowledge();
    assert_eq!(states(&annunciator), (true, false, false));
    annunciator.take_faults(BoardFaults { bad_configuration: true, ..none });
    annunciator.acknowledge();
    assert!(!annunciator.outputs().relay_energised, "no button mends a procedure");
}

/// The lamp is dark only where nothing was broken and nothing left unjudged; the relay does not follow it.
#[test]
fn the_lamp_shows_the_verdict_beside_the_alarms() {
    let so_far = |bands, band, joint| SoFar { bands, band, joint, ..SoFar::default() };
    for (verdict, lamp) in [
        // Before the first band the joint is not proven, which is no news.
        (so_far(0, Outcome::NotAsked, Outcome::NotProven), Lamp::Off),
        (so_far(0, Outcome::Proven, Outcome::Proven), Lamp::Off),
        (so_far(0, Outcome::NotProven, Outcome::NotProven), Lamp::Slow),
        (so_far(1, Outcome::Proven, Outcome::NotProven), Lamp::Slow),
        (so_far(1, Outcome::Proven, Outcome::Broken), Lamp::On),
        // The gas failed before the first strike.
        (so_far(0, Outcome::NotAsked, Outcome::Broken), Lamp::On),
        (so_far(2, Outcome::NotAsked, Outcome::NotAsked), Lamp::Off),
    ] {
        let mut annunciator = judging();
        annunciator.verdict(&verdict);
        assert_eq!(
            annunciator.outputs(),
            Outputs { relay_energised: true, lamp, horn: false },
            "{verdict:?}"
        );
        // An alarm is louder than a verdict.
        annunciator.take(&alarm(AlarmKind::Raised, Rule::GasLow, None, Severity::Warn));
        assert_eq!(annunciator.outputs().lamp, Lamp::On);
    }
}

/// What a joint came to is shown until the next one begins, not only for the moment in which it ended.
#[test]
fn the_lamp_keeps_the_last_joint_until_the_next_begins() {
    let waiting = SoFar { joint: Outcome::NotProven, ..SoFar::default() };
    for (outcome, lamp) in
        [(Outcome::Broken, Lamp::On), (Outcome::NotProven, Lamp::Slow), (Outcome::Proven, Lamp::Off)]
    {
        let mut annunciator = judging();
        annunciator.joint_done(&JointRecord { outcome, ..JointRecord::default() });
        assert_eq!(annunciator.outputs().lamp, lamp);
        annunciator.verdict(&waiting);
        assert_eq!(annunciator.outputs().lamp, lamp, "still shown");
        annunciator.verdict(&SoFar { band: Outcome::Proven, joint: Outcome::Proven, ..waiting });
        assert_eq!(annunciator.outputs().lamp, Lamp::Off, "the next joint is good so far");
    }
}

#[test]
fn a_slow_lamp_is_lit_every_other_second() {
    let lit = |lamp, time_us| Levels::at(Outputs { lamp, ..Outputs::default() }, time_us).lamp;
    let seen: Vec<bool> = (0..8).map(|half| lit(Lamp::Slow, half * 500_000)).collect();
    assert_eq!(seen, [true, true, false, false, true, true, false, false]);
    for time_us in (0..8).map(|half| half * 500_000) {
        assert!(lit(Lamp::On, time_us) && !lit(Lamp::Off, time_us));
    }
}

#[test]
fn the_pins_follow_and_a_lamp_that_fails_does_not_hold_up_the_relay() {
    let failing = MockError::Io(ErrorKind::BrokenPipe);
    let mut relay = Mock::new(&[Transaction::set(State::High), Transaction::set(State::Low)]);
    let mut lamp =
        Mock::new(&[Transaction::set(State::Low), Transaction::set(State::High).with_error(failing)]);
    let mut horn = Mock::new(&[Transaction::set(State::Low), Transaction::set(State::High)]);
    let mut pins = Pins { relay: relay.clone(), lamp: lamp.clone(), horn: horn.clone() };
    let mut annunciator = judging();
    assert_eq!(pins.drive(Levels::at(annunciator.outputs(), 0)), Driven { relay: true, all: true });
    annunciator.take(&alarm(AlarmKind::Raised, Rule::PolarityWrong, None, Severity::Stop));
    let driven = pins.drive(Levels::at(annunciator.outputs(), 0));
    assert_eq!(driven, Driven { relay: true, all: false }, "it says that a pin failed");
    relay.done();
    lamp.done();
    horn.done();
}
