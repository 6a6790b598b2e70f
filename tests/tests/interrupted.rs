//! Arcs and readings that are interrupted: out for a moment, touching once more past the turn, a tack before the strike, a
//! torch that is read in pieces, an angle read a few times a second. One band from formulas alone: self-consistency.
//!
//! Decides: what is put in; what must come of it follows from the formulas. All joints are invented.

use bandward::procedure::{Limits, Polarity, Procedure, Range};
use bandward::record::proof::{Proof, Why};
use bandward::rule::Side;
use bandward::{AlarmKind, Channel, Outcome, Quantity, Rule, Sample};
use bandward_sim::process::random::Noise;
use bandward_tests::heard::{Heard, acquisition, raw, watch, with};

const STRIKE_S: f64 = 12.0;
const TURN_S: f64 = 60.0;
const WEAVES_A_MINUTE: f64 = 80.0;

/// What the machine does at a time, s.
struct Machine<'m> {
    lit: &'m dyn Fn(f64) -> bool,
    /// Gas flow, L/min.
    gas: &'m dyn Fn(f64) -> f64,
    /// Angle turned, degrees.
    turned: &'m dyn Fn(f64) -> f64,
    /// The weave runs.
    weaves: &'m dyn Fn(f64) -> bool,
    /// The torch is read.
    is_read: &'m dyn Fn(f64) -> bool,
    amps_volts: (f64, f64),
    until_s: f64,
}

/// A turn in [`TURN_S`] from the strike on.
fn evenly(s: f64) -> f64 {
    360.0 * (s - STRIKE_S).max(0.0) / TURN_S
}

/// When so many degrees have been turned, s.
fn at_deg(deg: f64) -> f64 {
    STRIKE_S + TURN_S * deg / 360.0
}

const SOUND: Machine<'static> = Machine {
    lit: &|s| (STRIKE_S..at_deg(370.0)).contains(&s),
    gas: &|s| if (STRIKE_S - 3.0..at_deg(370.0) + 6.0).contains(&s) { 17.0 } else { 0.0 },
    turned: &evenly,
    weaves: &|_| true,
    is_read: &|_| true,
    amps_volts: (320.0, 31.0),
    until_s: 90.0,
};

fn limits() -> Procedure {
    let milli = |quantity: Quantity, low: f64, high: f64| {
        let of = |value| raw(value, quantity.fraction_bits());
        (
            quantity,
            Limits { allowed: Some(Range { low: of(low), high: of(high) }), recommended: None, floor: None },
        )
    };
    [
        milli(Quantity::Current, 285.0, 355.0),
        milli(Quantity::Voltage, 29.2, 33.0),
        milli(Quantity::GasFlow, 14.0, 21.0),
        milli(Quantity::GasPostflow, 3.0, 20.0),
        milli(Quantity::WeaveRate, 68.0, 92.0),
        milli(Quantity::TurnTime, 56.0, 64.5),
        milli(Quantity::Overlap, 4.0, 25.0),
    ]
    .into_iter()
    .fold(Procedure::new(), |procedure, (quantity, limits)| procedure.limited(quantity, limits))
}

fn seen(machine: &Machine<'_>, rate_hz: f64) -> Heard {
    const CHANNELS: [Channel; 5] =
        [Channel::Current, Channel::Voltage, Channel::Gas, Channel::Torch, Channel::Spindle];
    let mut noise = Noise::new(97, 0);
    // How long the weave has run, s.
    let mut woven_s = 0.0;
    let samples = (0..(machine.until_s * rate_hz) as u64).map(|index| {
        let s = index as f64 / rate_hz;
        let (amps, volts) = if (machine.lit)(s) { machine.amps_volts } else { (0.0, 0.0) };
        if (machine.weaves)(s) {
            woven_s += 1.0 / rate_hz;
        }
        let torch = 12.0 * (std::f64::consts::TAU * WEAVES_A_MINUTE / 60.0 * woven_s).sin();
        let readings = [
            (Channel::Current, amps + 2.0 * noise.normal()),
            (Channel::Voltage, volts + 0.2 * noise.normal()),
            (Channel::Gas, (machine.gas)(s) + 0.1 * noise.normal()),
            (Channel::Torch, torch + 0.02 * noise.normal()),
            // In tenths of a degree.
            (Channel::Spindle, ((machine.turned)(s) * 10.0).floor() / 10.0),
        ];
        let is_read = |channel| channel != Channel::Torch || (machine.is_read)(s);
        let read = readings.into_iter().filter(|&(channel, _)| is_read(channel));
        read.fold(Sample::at((s * 1e6).round() as u64), |sample, (channel, value)| {
            with(sample, channel, value)
        })
    });
    watch(limits(), acquisition((1e6 / rate_hz) as u32, &CHANNELS), samples).0
}

fn proof(heard: &Heard, rule: Rule) -> Proof {
    heard.bands.first().map_or(Proof::NotAsked, |band| band.proof.get(rule))
}

fn raised(heard: &Heard) -> Vec<Rule> {
    let all = Rule::ALL.into_iter();
    all.filter(|&rule| heard.alarms(rule).iter().any(|alarm| alarm.kind == AlarmKind::Raised)).collect()
}

#[test]
fn the_sound_band_is_proven() {
    for rate_hz in [10.0, 50.0, 1000.0] {
        let heard = seen(&SOUND, rate_hz);
        assert_eq!(heard.bands.len(), 1, "{rate_hz} Hz");
        assert_eq!(heard.bands[0].outcome, Outcome::Proven, "{rate_hz} Hz: {:?}", heard.bands[0].proof);
        assert_eq!(raised(&heard), [], "{rate_hz} Hz");
    }
}

/// Found by any bytes: after every strike a mean must be gathered anew, and that was told as a channel that is lost.
#[test]
fn an_arc_that_stutters_is_not_proven_and_no_channel_is_lost() {
    for rate_hz in [10.0, 50.0, 1000.0] {
        // Out for 0.3 s of every 2 s.
        let lit = |s| (STRIKE_S..at_deg(370.0)).contains(&s) && (s - STRIKE_S) % 2.0 < 1.7;
        let heard = seen(&Machine { lit: &lit, ..SOUND }, rate_hz);
        assert_eq!(heard.bands.len(), 1, "{rate_hz} Hz");
        for rule in [Rule::CurrentLow, Rule::CurrentHigh] {
            assert_eq!(proof(&heard, rule).why(), Some(Why::Unsettled), "{rule:?} {rate_hz} Hz");
        }
        // A voltage was not looked at for long enough to be seen to move, either.
        for rule in [Rule::VoltageLow, Rule::VoltageHigh] {
            let why = proof(&heard, rule).why();
            assert!(matches!(why, Some(Why::Unsettled | Why::Motionless)), "{rule:?} {rate_hz} Hz: {why:?}");
        }
    }
}

/// The arc goes out before or past the full turn, the pipe turns on, and the wire touches once more for 0.3 s: what was
/// not laid in between is no overlap.
#[test]
fn a_touch_past_the_turn_is_no_overlap() {
    for (out_deg, touch_deg, rate_hz) in
        [(354.0, 366.0, 200.0), (354.0, 372.0, 50.0), (361.0, 373.0, 50.0), (361.0, 373.0, 10.0)]
    {
        let lit = |s| {
            (STRIKE_S..at_deg(out_deg)).contains(&s)
                || (at_deg(touch_deg)..at_deg(touch_deg) + 0.3).contains(&s)
        };
        let gas = |s| if (STRIKE_S - 3.0..at_deg(touch_deg) + 6.0).contains(&s) { 17.0 } else { 0.0 };
        let heard = seen(&Machine { lit: &lit, gas: &gas, ..SOUND }, rate_hz);
        let told = raised(&heard);
        assert!(
            told.contains(&Rule::OverlapShort) || told.contains(&Rule::ArcOutage),
            "{out_deg} to {touch_deg} at {rate_hz} Hz: {told:?}, {:?}",
            heard.bands[0].overlap
        );
        assert_eq!(heard.bands[0].outcome, Outcome::Broken);
    }
    // What was laid by then is enough: the same touch changes nothing.
    let lit = |s| (STRIKE_S..at_deg(368.0)).contains(&s) || (at_deg(380.0)..at_deg(380.0) + 0.3).contains(&s);
    let gas = |s| if (STRIKE_S - 3.0..at_deg(380.0) + 6.0).contains(&s) { 17.0 } else { 0.0 };
    let heard = seen(&Machine { lit: &lit, gas: &gas, ..SOUND }, 50.0);
    assert_eq!(heard.bands[0].outcome, Outcome::Proven, "{:?}", raised(&heard));
    let overlap = heard.bands[0].overlap.expect("known").to_bits();
    let overlap = f64::from(overlap) / f64::from(1_u32 << Quantity::Overlap.fraction_bits());
    assert!((overlap - 8.0).abs() < 1.0, "{overlap}");
}

/// An arc that is out for 10 to 50 ms again and again is one arc: its volts, amps and gas are judged all the same, and what
/// is wrong stays wrong over it.
#[test]
fn an_arc_that_stutters_is_judged() {
    for (on_s, out_s) in [(1.4, 0.01), (1.3, 0.02), (1.4, 0.05), (0.4, 0.01)] {
        let lit = |s: f64| (SOUND.lit)(s) && s % (on_s + out_s) < on_s;
        let gas = |s: f64| if s < STRIKE_S + 0.5 { (SOUND.gas)(s) } else { 0.0 };
        let heard = seen(&Machine { lit: &lit, gas: &gas, amps_volts: (150.0, 20.0), ..SOUND }, 1000.0);
        let told = raised(&heard);
        for rule in [Rule::CurrentLow, Rule::VoltageLow, Rule::GasLow] {
            assert!(told.contains(&rule), "{on_s} s, {out_s} s: {told:?}");
            let cleared = heard.alarms(rule).iter().filter(|alarm| alarm.kind == AlarmKind::Cleared).count();
            assert!(cleared <= 1, "{} is back {cleared} times under one arc", rule.name());
        }
    }
}

/// Half cycles of a weave that ran with a tack and rested until the strike are none of the band's.
#[test]
fn a_tack_with_a_weave_before_the_strike_costs_nothing() {
    for tack_s in [0.6, 1.3, 1.8, 2.4] {
        for pause_s in [1.5, 2.0, 2.5, 3.0, 3.5, 5.0] {
            let tack = STRIKE_S - pause_s - tack_s..STRIKE_S - pause_s;
            let lit = |s: f64| tack.contains(&s) || (SOUND.lit)(s);
            let gas = |s: f64| if (1.0..at_deg(370.0) + 6.0).contains(&s) { 17.0 } else { 0.0 };
            let heard = seen(&Machine { lit: &lit, weaves: &lit, gas: &gas, ..SOUND }, 50.0);
            let rate = heard.alarms(Rule::WeaveRateLow);
            assert!(rate.is_empty(), "tack of {tack_s} s, {pause_s} s before: {rate:?}");
        }
    }
}

/// A torch that is read for one second in two shows no rate, and none that is wrong.
#[test]
fn a_torch_read_in_pieces_is_no_slow_weave() {
    let is_read = |s: f64| !(30.0..70.0).contains(&s) || s % 2.0 < 1.0;
    let heard = seen(&Machine { is_read: &is_read, ..SOUND }, 50.0);
    assert!(heard.alarms(Rule::WeaveRateLow).is_empty(), "{:?}", heard.alarms(Rule::WeaveRateLow));
    assert!(matches!(proof(&heard, Rule::WeaveRateLow), Proof::NotProven { .. }));
}

/// At five rows a second the time of a turn is known for sure only over most of one; what the pipe does for half a minute is
/// found all the same.
#[test]
fn half_a_minute_at_another_speed_is_found_at_five_rows_a_second() {
    for (turn_s, rule) in [(67.0, Rule::TurnTimeSlow), (53.0, Rule::TurnTimeFast)] {
        let turned = |s: f64| {
            let wrong_s = (s - 30.0).clamp(0.0, 30.0);
            evenly(s) + wrong_s * (360.0 / turn_s - 360.0 / TURN_S)
        };
        let heard = seen(&Machine { turned: &turned, ..SOUND }, 5.0);
        assert!(!heard.alarms(rule).is_empty(), "{turn_s} s a turn: {:?}", proof(&heard, rule));
    }
}

/// Data that end while gas flows on prove no longest post-flow; one that was shut before does.
#[test]
fn gas_that_flows_on_as_the_data_end_proves_no_longest_postflow() {
    let cut = seen(&Machine { until_s: at_deg(370.0) + 4.5, ..SOUND }, 50.0);
    assert!(
        matches!(proof(&cut, Rule::GasPostflowLong), Proof::NotProven { .. }),
        "{:?}",
        cut.bands[0].proof
    );
    assert!(matches!(proof(&cut, Rule::GasPostflow), Proof::Held { .. }));
    let whole = seen(&SOUND, 50.0);
    assert!(matches!(proof(&whole, Rule::GasPostflowLong), Proof::Held { .. }));
}

/// What an alarm tells as its worst value lies beyond its limit, however the value goes back within the deadband.
#[test]
fn the_worst_value_lies_beyond_its_limit() {
    for (least_s, most_s) in [(64.2, 64.9), (64.0, 65.5)] {
        // The speed swings twice a turn.
        let turned = |s: f64| {
            let (mean_s, half_s) = (f64::midpoint(least_s, most_s), (most_s - least_s) / 2.0);
            let turns = (s - STRIKE_S).max(0.0) / mean_s;
            360.0 * turns + 360.0 * half_s / mean_s * (2.0 * std::f64::consts::TAU * turns).sin() / 12.0
        };
        let heard = seen(&Machine { turned: &turned, ..SOUND }, 50.0);
        for alarm in heard.alarms(Rule::TurnTimeSlow) {
            let (worst, limit) = (alarm.worst, alarm.limit.expect("it has one"));
            let (_, side) = alarm.rule.watches().expect("it watches a range");
            assert_eq!(side, Side::High);
            assert!(worst > limit, "{worst} within {limit}");
        }
    }
}

/// A weave that rests after a tack, or after it was tried, and is started shortly before the strike is no slow weave.
#[test]
fn a_weave_that_starts_before_the_strike_is_no_slow_weave() {
    for lead_s in [0.3, 0.8, 1.5] {
        for (tack_s, pause_s) in [(0.4, 2.5), (0.7, 3.2), (0.9, 4.0), (0.0, 3.0)] {
            let tack = STRIKE_S - pause_s - tack_s..STRIKE_S - pause_s;
            let lit = |s: f64| tack.contains(&s) || (SOUND.lit)(s);
            // Where there is no tack it is tried for two and a half seconds.
            let tried = if tack_s > 0.0 { tack.start - lead_s..tack.end } else { tack.start - 2.5..tack.end };
            let weaves = |s: f64| tried.contains(&s) || s >= STRIKE_S - lead_s;
            let gas = |s: f64| if (1.0..at_deg(370.0) + 6.0).contains(&s) { 17.0 } else { 0.0 };
            let heard = seen(&Machine { lit: &lit, weaves: &weaves, gas: &gas, ..SOUND }, 50.0);
            let rate = heard.alarms(Rule::WeaveRateLow);
            assert!(rate.is_empty(), "{lead_s} s before, tack of {tack_s} s, {pause_s} s: {rate:?}");
        }
    }
}

/// Whatever dips the current has from the strike on, and however short the arcs are that are struck again and again: volts,
/// amps and gas that are wrong are told within a few seconds of arc.
#[test]
fn an_arc_that_never_burns_in_peace_is_judged() {
    let told = |every_s: f64, out_s: f64, rate_hz: f64| {
        let lit = |s: f64| (SOUND.lit)(s) && (s - STRIKE_S) % every_s < every_s - out_s;
        let gas = |s: f64| if s < STRIKE_S { (SOUND.gas)(s) } else { 0.0 };
        let heard = seen(&Machine { lit: &lit, gas: &gas, amps_volts: (150.0, 20.0), ..SOUND }, rate_hz);
        let first = heard.alarms(Rule::GasLow).first().map(|alarm| alarm.time_us as f64 / 1e6 - STRIKE_S);
        (raised(&heard), first)
    };
    for (every_s, out_s) in [(0.2, 0.001), (0.1, 0.001), (0.02, 0.006), (0.05, 0.02)] {
        let (told, first_s) = told(every_s, out_s, 1000.0);
        for rule in [Rule::CurrentLow, Rule::VoltageLow, Rule::GasLow] {
            assert!(told.contains(&rule), "{out_s} s in {every_s} s: {told:?}");
        }
        assert!(first_s.is_some_and(|first_s| first_s < 10.0), "{out_s} s in {every_s} s: {first_s:?}");
    }
    for (every_s, out_s) in [(0.5, 0.2), (0.99, 0.3), (1.9, 1.0), (2.4, 1.0)] {
        let (told, first_s) = told(every_s, out_s, 200.0);
        assert!(told.contains(&Rule::GasLow), "{out_s} s in {every_s} s: {told:?}");
        assert!(first_s.is_some_and(|first_s| first_s < 40.0), "{out_s} s in {every_s} s: {first_s:?}");
    }
}

/// What is told of a pole that is wrong for some seconds is a voltage where the voltage is named, and none that was not read.
#[test]
fn a_wrong_pole_is_told_by_a_voltage_that_was_read() {
    for rate_hz in [25.0, 50.0, 1000.0] {
        let samples = (0..(60.0 * rate_hz) as u64).map(|index| {
            let s = index as f64 / rate_hz;
            let sign = if (30.0..36.0).contains(&s) { -1.0 } else { 1.0 };
            // Never quite still.
            let more = (index % 7) as f64;
            let (amps, volts) = if s >= STRIKE_S { (240.0 + more, 27.0 + more / 50.0) } else { (0.0, 0.0) };
            let sample = with(Sample::at((s * 1e6).round() as u64), Channel::Current, sign * amps);
            with(sample, Channel::Voltage, sign * volts)
        });
        let mut asked = Procedure::new();
        asked.polarity = Some(Polarity::ElectrodePositive);
        let wired = acquisition((1e6 / rate_hz) as u32, &[Channel::Current, Channel::Voltage]);
        let heard = watch(asked, wired, samples).0;
        let told = heard.alarms(Rule::PolarityWrong);
        assert!(!told.is_empty(), "{rate_hz} Hz");
        for alarm in told {
            assert_eq!(alarm.channel, Some(Channel::Voltage));
            assert!(alarm.worst >= raw(-27.2, 12), "{rate_hz} Hz: {}", f64::from(alarm.worst) / 4096.0);
        }
    }
}
