//! Meters that are dead, frozen for a while, spike or contradict others: never green, and never a fault of the
//! weld. Made traces: self-consistency.

use bandward::procedure::{Limits, Range};
use bandward::record::proof::{Proof, Why};
use bandward::{AlarmKind, Channel, Outcome, Procedure, Quantity, Rule, Sample};
use bandward_sim::process::random::Noise;
use bandward_tests::heard::{Heard, acquisition, raw, watch, with};

const STRIKE_S: f64 = 10.0;
const END_S: f64 = 100.0;
const PREFLOW_S: f64 = 3.0;
const POSTFLOW_S: f64 = 8.0;

/// One band, with noise in the last digits of every channel.
fn value(channel: Channel, s: f64, noise: &mut Noise) -> f64 {
    let lit = (STRIKE_S..END_S).contains(&s);
    let gas = (STRIKE_S - PREFLOW_S..END_S + POSTFLOW_S).contains(&s);
    match channel {
        Channel::Current if lit => 280.0 + 4.0 * noise.normal(),
        Channel::Voltage if lit => 29.0 + 0.3 * noise.normal(),
        Channel::Current | Channel::Voltage => 0.05 * noise.normal().abs(),
        Channel::Gas if gas => 17.0 + 0.15 * noise.normal(),
        Channel::Torch if lit => 12.5 * (s * 8.0).sin() + 0.02 * noise.normal(),
        Channel::Spindle => 4.5 * s + 0.02 * noise.normal(),
        Channel::Wire if lit => 7000.0 + 40.0 * noise.normal(),
        Channel::Coolant => 6.0 + 0.05 * noise.normal(),
        Channel::Work => 150.0 + 0.3 * (s - STRIKE_S).clamp(0.0, 90.0) + 0.3 * noise.normal(),
        Channel::Carriage => 100.0,
        Channel::Gas | Channel::Torch | Channel::Wire => 0.0,
    }
}

fn procedure() -> Procedure {
    let wanted = [
        (Quantity::Current, 250.0, 310.0),
        (Quantity::Voltage, 27.0, 31.0),
        (Quantity::GasFlow, 15.0, 19.0),
        (Quantity::GasPreflow, 1.0, 1e4),
        (Quantity::GasPostflow, 5.0, 1e4),
        (Quantity::WireFeed, 6500.0, 7500.0),
        (Quantity::CoolantFlow, 5.0, 8.0),
        (Quantity::Preheat, 120.0, 200.0),
    ];
    wanted.into_iter().fold(Procedure::new(), |procedure, (quantity, low, high)| {
        let [low, high] = [low, high].map(|value| raw(value, quantity.fraction_bits()));
        let limits = Limits { recommended: None, allowed: Some(Range { low, high }), floor: None };
        procedure.with_limits(quantity, limits).expect("a range")
    })
}

/// 50 samples a second; `change` makes another value of what `which` reads.
fn see(which: Channel, mut change: impl FnMut(f64, f64) -> f64) -> Heard {
    let mut noise = Noise::new(3, 0);
    let samples: Vec<_> = (0..50 * 115)
        .map(|index| {
            let s = f64::from(index) / 50.0;
            Channel::ALL.into_iter().fold(Sample::at((s * 1e6) as u64), |sample, channel| {
                let shown = value(channel, s, &mut noise);
                with(sample, channel, if channel == which { change(s, shown) } else { shown })
            })
        })
        .collect();
    watch(procedure(), acquisition(20_000, &Channel::ALL), samples).0
}

fn proof(heard: &Heard, rule: Rule) -> Proof {
    let [band] = heard.bands[..] else { panic!("{} bands", heard.bands.len()) };
    band.proof.get(rule)
}

fn raised(heard: &Heard) -> Vec<(Rule, Option<Channel>)> {
    let raised = Rule::ALL.into_iter().flat_map(|rule| heard.alarms(rule));
    let raised = raised.filter(|alarm| alarm.kind == AlarmKind::Raised);
    let mut raised: Vec<_> = raised.map(|alarm| (alarm.rule, alarm.channel)).collect();
    raised.dedup();
    raised
}

/// Nothing is said of the weld, and what the rule watches may be that of a dead meter.
fn is_doubted(heard: &Heard, rule: Rule, of: &str) {
    assert_eq!(raised(heard), [], "{of}");
    let why = proof(heard, rule).why();
    assert_eq!(why, Some(Why::Motionless), "{of}: {:?}", proof(heard, rule));
    assert_eq!(heard.bands[0].outcome, Outcome::NotProven, "{of}");
}

#[test]
fn a_band_whose_meters_live_is_proven() {
    let heard = see(Channel::Gas, |_, shown| shown);
    assert_eq!(raised(&heard), []);
    assert_eq!(heard.bands[0].outcome, Outcome::Proven, "{:?}", heard.bands[0].proof);
}

#[test]
fn gas_that_never_stops_is_not_proven() {
    is_doubted(&see(Channel::Gas, |s, _| 17.0 + 0.1 * (s * 9.0).sin()), Rule::GasLow, "moves");
    is_doubted(&see(Channel::Gas, |_, _| 17.0), Rule::GasPostflow, "a coarse meter");
}

#[test]
fn a_wire_that_never_stops_is_not_proven() {
    is_doubted(&see(Channel::Wire, |s, _| 7000.0 + 30.0 * (s * 9.0).sin()), Rule::WireFeedLow, "moves");
    is_doubted(&see(Channel::Wire, |_, _| 7000.0), Rule::WireFeedLow, "stands");
}

#[test]
fn an_arc_voltage_without_an_arc_is_not_proven() {
    is_doubted(&see(Channel::Voltage, |s, _| 29.0 + 0.3 * (s * 9.0).sin()), Rule::VoltageLow, "floats");
}

#[test]
fn coolant_and_work_that_never_move_are_not_proven_where_the_meter_is_fine() {
    is_doubted(&see(Channel::Coolant, |_, _| 6.037), Rule::CoolantLow, "fine");
    is_doubted(&see(Channel::Work, |_, _| 155.0), Rule::PreheatLow, "work that no heat warms");
    let coarse = see(Channel::Coolant, |_, _| 6.0);
    assert_eq!(coarse.bands[0].outcome, Outcome::Proven, "a coarse meter on a good day");
}

#[test]
fn what_never_moves_under_the_arc_is_not_proven_whatever_its_digits() {
    let lit = |s: f64| (STRIKE_S..END_S).contains(&s);
    for volts in [27.5, 29.0, 29.4, 29.47] {
        let heard = see(Channel::Voltage, |s, shown| if lit(s) { volts } else { shown });
        assert_eq!(heard.bands[0].outcome, Outcome::NotProven, "{volts} V: {:?}", raised(&heard));
        assert!(raised(&heard).iter().all(|(rule, _)| *rule == Rule::SignalStuck), "{:?}", raised(&heard));
    }
    for (channel, rule) in [(Channel::Gas, Rule::GasLow), (Channel::Coolant, Rule::CoolantLow)] {
        for share in [1.0, 1.03, 1.0294] {
            let flow = share * if channel == Channel::Gas { 17.0 } else { 6.0 };
            let heard = see(channel, |s, shown| {
                let idle = if channel == Channel::Gas { 0.01 * (s * 9.0).sin().abs() } else { shown };
                if lit(s) || shown > 1.0 && channel == Channel::Gas { flow } else { idle }
            });
            assert_eq!(
                proof(&heard, rule).why(),
                Some(Why::Motionless),
                "{channel:?} {flow}: {:?}",
                raised(&heard)
            );
        }
    }
}

/// Whole amperes never stand for half of a band; steps of 10 A may, and so may a voltage in steps of 1 V.
#[test]
fn a_current_that_stands_for_half_of_a_band_is_not_proven() {
    let lit = |s: f64, shown: f64| if (STRIKE_S..END_S).contains(&s) { shown } else { 0.0 };
    is_doubted(&see(Channel::Current, |s, _| lit(s, 280.0)), Rule::CurrentLow, "for all of it");
    let whole = |s: f64, shown: f64| if s < 50.0 { shown.round() } else { lit(s, 280.0) };
    let heard = see(Channel::Current, whole);
    assert_eq!(heard.bands[0].outcome, Outcome::NotProven, "from the middle on: {:?}", raised(&heard));
    assert!(raised(&heard).iter().all(|(rule, _)| *rule == Rule::SignalStuck), "{:?}", raised(&heard));
    for (channel, step, what) in [
        (Channel::Current, 1.0, "whole amperes"),
        (Channel::Current, 10.0, "steps of 10 A"),
        (Channel::Voltage, 0.5, "half volts"),
        (Channel::Voltage, 1.0, "whole volts"),
    ] {
        let heard = see(channel, |_, shown| (shown / step).round() * step);
        assert_eq!((raised(&heard), heard.bands[0].outcome), (Vec::new(), Outcome::Proven), "{what}");
    }
}

/// A turn in 80 s is 4.5 degrees a second: 45 seconds without an angle are 202 degrees, and the short way is not the
/// way it went.
#[test]
fn an_angle_that_is_gone_for_more_than_half_a_turn_breaks_nothing() {
    let overlap = Limits { recommended: None, allowed: Some(Range { low: 0, high: i32::MAX }), floor: None };
    for (from_s, to_s) in [(30.0, 75.0), (45.0, 98.0), (12.0, 90.0)] {
        let mut noise = Noise::new(3, 0);
        let samples = (0..50 * 115).map(|index| {
            let s = f64::from(index) / 50.0;
            Channel::ALL.into_iter().fold(Sample::at((s * 1e6) as u64), |sample, channel| {
                let shown = value(channel, s, &mut noise);
                let is_gone = channel == Channel::Spindle && (from_s..to_s).contains(&s);
                if is_gone { sample } else { with(sample, channel, shown) }
            })
        });
        let asked = procedure().with_limits(Quantity::Overlap, overlap).expect("a range");
        let heard = watch(asked, acquisition(20_000, &Channel::ALL), samples.collect::<Vec<_>>()).0;
        let told = format!("{from_s} to {to_s} s: {:?} {:?}", raised(&heard), heard.bands[0]);
        assert!(raised(&heard).iter().all(|(rule, _)| *rule == Rule::SignalMissing), "{told}");
        assert_eq!(heard.bands[0].outcome, Outcome::NotProven, "{told}");
        assert_eq!((heard.bands[0].overlap, heard.bands[0].turned), (None, None), "{told}");
        assert_eq!(proof(&heard, Rule::OverlapShort).why(), Some(Why::ChannelLost), "{told}");
    }
}

/// By counts a pipe that stands is told when one is overdue. At 80 s a turn 60 counts are 1.3 s apart, 36 are 2.2 s.
#[test]
fn a_stall_that_counts_show_too_late_is_not_proven() {
    let turns =
        Limits { recommended: None, allowed: Some(Range { low: 1 << 12, high: 900 << 12 }), floor: None };
    for (counts, is_judged) in [(36.0, false), (72.0, true), (4096.0, true)] {
        let mut noise = Noise::new(3, 0);
        let samples = (0..50 * 115).map(|index| {
            let s = f64::from(index) / 50.0;
            Channel::ALL.into_iter().fold(Sample::at((s * 1e6) as u64), |sample, channel| {
                let shown = value(channel, s, &mut noise);
                let counted = (4.5 * s / 360.0 * counts).floor() / counts * 360.0;
                with(sample, channel, if channel == Channel::Spindle { counted } else { shown })
            })
        });
        let asked = procedure().with_limits(Quantity::TurnTime, turns).expect("a range");
        let heard = watch(asked, acquisition(20_000, &Channel::ALL), samples.collect::<Vec<_>>()).0;
        let proof = proof(&heard, Rule::SpindleStall);
        let why = (!is_judged).then_some(Why::TooCoarse);
        assert_eq!(proof.why(), why, "{counts}: {proof:?}");
    }
}

/// What the logger takes from the set point stands, and stops with the arc.
#[test]
fn a_wire_at_its_set_point_is_proven() {
    let heard = see(Channel::Wire, |_, shown| if shown > 0.0 { 7000.0 } else { 0.0 });
    assert_eq!(heard.bands[0].outcome, Outcome::Proven, "{:?}", heard.bands[0].proof);
    let steps =
        see(Channel::Gas, |_, shown| (shown / 4.0).round() * 4.0 + if shown > 1.0 { 1.0 } else { 0.0 });
    assert_eq!(steps.bands[0].outcome, Outcome::Proven, "gas in coarse steps");
}

#[test]
fn eight_frozen_seconds_are_not_proven() {
    for (channel, rule) in [
        (Channel::Gas, Rule::GasLow),
        (Channel::Wire, Rule::WireFeedLow),
        (Channel::Coolant, Rule::CoolantLow),
    ] {
        let mut held = None;
        let heard = see(
            channel,
            |s, shown| {
                if (50.0..58.0).contains(&s) { *held.get_or_insert(shown) } else { shown }
            },
        );
        is_doubted(&heard, rule, channel.name());
    }
}

#[test]
fn gas_that_fails_right_after_the_strike_is_told() {
    for back_s in [2.0, 3.0, 3.9] {
        let heard = see(
            Channel::Gas,
            |s, shown| {
                if (STRIKE_S..STRIKE_S + back_s).contains(&s) { 0.0 } else { shown }
            },
        );
        assert_eq!(raised(&heard), [(Rule::GasLow, None)], "{back_s} s");
        assert_eq!(heard.bands[0].outcome, Outcome::Broken);
    }
}

/// A meter with a time constant of 2 s, after a pre-flow of 2 s, and the surge of a regulator.
#[test]
fn a_slow_meter_and_a_surge_are_no_failing_gas() {
    let (mut shown_lpm, step) = (0.0, 0.02 / 2.0);
    let slow = see(Channel::Gas, |s, shown| {
        let opened = if s < STRIKE_S - 2.0 { 0.0 } else { shown };
        shown_lpm += (opened - shown_lpm) * step;
        shown_lpm
    });
    assert_eq!(raised(&slow), []);
    assert_eq!(slow.bands[0].outcome, Outcome::Proven, "{:?}", slow.bands[0].proof);
    let surge = see(Channel::Gas, |s, shown| {
        shown * (1.0 + 0.6 * (-(s - STRIKE_S + PREFLOW_S).max(0.0) / 2.0).exp())
    });
    assert_eq!(raised(&surge), []);
}

#[test]
fn spikes_that_come_again_are_told_and_not_judged() {
    for (channel, spike) in [
        (Channel::Current, 2000.0),
        (Channel::Current, 1100.0),
        (Channel::Voltage, 90.0),
        (Channel::Spindle, 5.0),
    ] {
        let spiking = |least_apart_s: f64| {
            see(channel, move |s, shown| {
                let hit = (30.0..90.0).contains(&s) && (s / least_apart_s).fract() * least_apart_s < 0.015;
                if hit { spike } else { shown }
            })
        };
        let heard = spiking(6.0);
        assert_eq!(raised(&heard), [(Rule::SignalImplausible, Some(channel))], "{spike}");
        assert_eq!(heard.bands[0].outcome, Outcome::NotProven);
        assert_eq!(heard.bands[0].outages, 0);
        let once = spiking(61.0);
        assert_eq!(raised(&once), [], "{spike} once");
    }
}

#[test]
fn a_current_that_is_gone_beside_an_arc_is_no_outage() {
    let heard = see(Channel::Current, |s, shown| if (40.0..50.0).contains(&s) { 0.0 } else { shown });
    assert_eq!(raised(&heard), [(Rule::SignalImplausible, Some(Channel::Current))]);
    assert_eq!(heard.bands.len(), 1);
    assert_eq!(heard.bands[0].outages, 0);
    let short = see(Channel::Current, |s, shown| if (40.0..41.5).contains(&s) { 0.0 } else { shown });
    assert_eq!(proof(&short, Rule::CurrentLow).why(), Some(Why::Motionless));
    assert_eq!(proof(&short, Rule::ArcOutage).why(), Some(Why::Motionless));
}

#[test]
fn an_open_circuit_beside_a_live_current_and_a_fed_wire_is_no_high_voltage() {
    let heard = see(Channel::Voltage, |s, shown| if (40.0..50.0).contains(&s) { 62.0 } else { shown });
    assert_eq!(raised(&heard), [(Rule::SignalImplausible, Some(Channel::Voltage))]);
    assert_eq!(heard.bands[0].outcome, Outcome::NotProven);
}

/// The current reads an arc from the first sample to the last: the band is followed by voltage and wire.
#[test]
fn a_current_that_runs_on_is_told_and_breaks_nothing() {
    let heard = see(Channel::Current, |s, _| 280.0 + 4.0 * (s * 9.0).sin());
    let measured = raised(&heard);
    assert!(measured.iter().all(|(rule, _)| rule.is_about_measuring()), "{measured:?}");
    assert!(measured.contains(&(Rule::SignalImplausible, Some(Channel::Current))), "{measured:?}");
    let [band] = heard.bands[..] else { panic!("{} bands", heard.bands.len()) };
    assert!((STRIKE_S - 0.5..STRIKE_S + 0.5).contains(&(band.start_us as f64 / 1e6)), "{}", band.start_us);
    assert!((END_S - 0.5..END_S + 0.5).contains(&(band.end_us as f64 / 1e6)), "{}", band.end_us);
    assert_eq!(heard.joints[0].outcome, Outcome::NotProven);
}
