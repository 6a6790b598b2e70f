//! Habits of everyday welding raise nothing, and faults put in beside them are still found.
//!
//! The traces are made here from plain formulas: steps, ramps and first-order lags (`1 - exp(-t / tau)`).
//! Sizes of the habits are common practice, no source.

use bandward::procedure::{Limits, Polarity, Range};
use bandward::record::band::Ending;
use bandward::sample::ChannelSet;
use bandward::units::Angle;
use bandward::{
    Acquisition, AlarmEvent, AlarmKind, BandRecord, Channel, Event, Monitor, Procedure, Quantity, Rule,
    Sample, Severity, Sink,
};

#[derive(Default)]
struct Told {
    alarms: Vec<AlarmEvent>,
    tacks: Vec<(u64, u64)>,
    bands: Vec<BandRecord>,
}

impl Sink for Told {
    fn event(&mut self, event: &Event) {
        match event {
            Event::Alarm(alarm) => self.alarms.push(*alarm),
            Event::Tack { time_us, arc_time_us } => self.tacks.push((*time_us, *arc_time_us)),
            Event::Phase { .. } => {}
        }
    }
    fn band(&mut self, record: &BandRecord) {
        self.bands.push(*record);
    }
}

impl Told {
    /// When each rule first warned or stopped, s.
    fn raised(&self) -> Vec<(&'static str, f64)> {
        let worse = |alarm: &&AlarmEvent| {
            matches!(alarm.kind, AlarmKind::Raised | AlarmKind::Escalated) && alarm.severity >= Severity::Warn
        };
        let raised = self.alarms.iter().filter(worse);
        raised.map(|alarm| (alarm.rule.name(), alarm.time_us as f64 / 1e6)).collect()
    }
    fn at_s(&self, rule: Rule) -> Option<f64> {
        self.raised().into_iter().find(|(name, _)| *name == rule.name()).map(|(_, at_s)| at_s)
    }
}

fn raw(channel: Channel, value: f64) -> i32 {
    (value * f64::from(1_u32 << channel.fraction_bits())).round() as i32
}

fn limits(low: f64, high: f64, bits: u32, floor: Option<f64>) -> Limits {
    let raw = |value: f64| (value * f64::from(1_u32 << bits)).round() as i32;
    let high = if high.is_finite() { raw(high) } else { i32::MAX };
    Limits { recommended: None, allowed: Some(Range { low: raw(low), high }), floor: floor.map(raw) }
}

/// An invented procedure: turns of 40 s, 16 l/min of gas.
fn procedure(crater_fill_us: u32) -> Procedure {
    let of = |procedure: Procedure, quantity: Quantity, low, high, floor| {
        let limits = limits(low, high, quantity.fraction_bits(), floor);
        procedure.with_limits(quantity, limits).expect("the range is sound")
    };
    let mut procedure = Procedure::new();
    for (quantity, low, high, floor) in [
        (Quantity::Current, 280.0, 360.0, None),
        (Quantity::Voltage, 29.0, 33.0, Some(26.0)),
        (Quantity::GasFlow, 12.0, 20.0, Some(2.0)),
        (Quantity::GasPreflow, 1.0, f64::INFINITY, None),
        (Quantity::GasPostflow, 3.0, f64::INFINITY, None),
        (Quantity::TurnTime, 36.0, 44.0, None),
        (Quantity::Overlap, 5.0, f64::INFINITY, None),
        (Quantity::Preheat, 100.0, 200.0, None),
        (Quantity::Interpass, 100.0, 300.0, None),
    ] {
        procedure = of(procedure, quantity, low, high, floor);
    }
    procedure.polarity = Some(Polarity::ElectrodePositive);
    procedure.arc.crater_fill_us = crater_fill_us;
    procedure
}

/// What the machine does at one instant.
#[derive(Clone, Copy)]
struct Instant {
    burns: bool,
    amps: f64,
    volts: f64,
    gas: f64,
    degrees_a_s: f64,
    work: f64,
}

/// The arc of the band burns from 20 s to 62 s: a turn of 40 s and 18 degrees.
const FROM_S: f64 = 20.0;
const TO_S: f64 = 62.0;

/// Good welding.
fn good(s: f64) -> Instant {
    let burns = (FROM_S..TO_S).contains(&s);
    let gas = if (FROM_S - 2.0..TO_S + 5.0).contains(&s) { 16.0 } else { 0.0 };
    let degrees_a_s = if burns { 9.0 } else { 0.0 };
    Instant { burns, amps: 320.0, volts: 31.0, gas, degrees_a_s, work: 150.0 }
}

/// Watches 100 s of it at 100 Hz.
fn watch(procedure: Procedure, machine: impl Fn(f64) -> Instant) -> Told {
    watch_for(10_000, procedure, machine)
}
fn watch_for(samples: u64, procedure: Procedure, machine: impl Fn(f64) -> Instant) -> Told {
    let wired = [Channel::Current, Channel::Voltage, Channel::Gas, Channel::Spindle, Channel::Work];
    let acquisition = Acquisition {
        gap_tolerance_us: 500_000,
        ..Acquisition::every(10_000, wired.into_iter().fold(ChannelSet::EMPTY, ChannelSet::with))
    };
    let mut monitor = Monitor::new(&procedure.try_into().expect("it is sound"), acquisition);
    let mut told = Told::default();
    let mut degrees: f64 = 0.0;
    for index in 0..samples {
        let now = machine(index as f64 * 0.01);
        degrees += now.degrees_a_s * 0.01;
        // A wobble of two thousandths either way, as readings of an arc have.
        let wobble = 1.0 + ((index * 7919 % 401) as f64 - 200.0) * 1e-5;
        let (amps, volts) = if now.burns { (now.amps * wobble, now.volts / wobble) } else { (0.0, 0.0) };
        let mut sample = Sample::at(index * 10_000);
        for (channel, value) in [
            (Channel::Current, amps),
            (Channel::Voltage, volts),
            (Channel::Gas, now.gas * wobble),
            (Channel::Work, now.work),
        ] {
            sample = sample.with_raw(channel, raw(channel, value));
        }
        let turns = (degrees / 360.0).rem_euclid(1.0);
        let angle = Angle::from_bits((turns * 4_294_967_296.0) as u32);
        sample = sample.with_raw(Channel::Spindle, angle.to_bits() as i32);
        monitor.step(&sample, &mut told);
    }
    monitor.finish(&mut told);
    told
}

/// One band, from strike to end, and no warning; else what was told instead.
fn is_silent_with_one_band(told: &Told) -> Result<(), String> {
    let whole = |band: &BandRecord| {
        let end_s = band.end_us as f64 / 1e6;
        (band.band, band.outages, band.ending) == (1, 0, Ending::ArcOff) && (end_s - TO_S).abs() < 0.1
    };
    match &told.bands[..] {
        [band] if whole(band) && told.raised().is_empty() => Ok(()),
        bands => Err(format!("{:?}, {} bands", told.raised(), bands.len())),
    }
}

fn lag(since_s: f64, tau_s: f64) -> f64 {
    1.0 - (-since_s / tau_s).exp()
}

fn restrikes(s: f64) -> Instant {
    let out = [(0.15, 0.04), (0.4, 0.08), (0.8, 0.06)];
    let dark = out.into_iter().any(|(at, long)| (FROM_S + at..FROM_S + at + long).contains(&s));
    Instant { burns: good(s).burns && !dark, ..good(s) }
}
/// Tacks at 3 s (no gas), 8 s (gas shut at once) and 80 s.
fn tacks(s: f64) -> Instant {
    let tack =
        [(3.0, 1.5), (8.0, 2.5), (80.0, 4.5)].into_iter().any(|(at, long)| (at..at + long).contains(&s));
    let gas = if (8.0..10.5).contains(&s) { 16.0 } else { good(s).gas };
    let degrees_a_s = if (80.0..81.0).contains(&s) { 9.0 } else { good(s).degrees_a_s };
    Instant { burns: good(s).burns || tack, gas, degrees_a_s, ..good(s) }
}
fn crater_fill(s: f64) -> Instant {
    // From 360 degrees on, 2 s down to a half.
    let down = 1.0 - 0.5 * ((s - (TO_S - 1.9)) / 1.9).clamp(0.0, 1.0);
    Instant { amps: 320.0 * down, volts: 31.0 - 12.0 * (1.0 - down), ..good(s) }
}
fn surge(s: f64) -> Instant {
    let open_s = s - (FROM_S - 2.0);
    let gas = good(s).gas * if open_s >= 0.0 { 1.0 + 0.9 * (-open_s / 2.5).exp() } else { 1.0 };
    Instant { gas, ..good(s) }
}
fn slow_meter(s: f64) -> Instant {
    let shut_s = TO_S + 4.0;
    let open_s = FROM_S - 1.2;
    let gas = match s {
        _ if s < open_s => 0.0,
        _ if s < shut_s => 16.0 * lag(s - open_s, 2.0),
        _ => 16.0 * (1.0 - lag(s - shut_s, 2.0)),
    };
    Instant { gas, ..good(s) }
}
fn late_spindle(s: f64) -> Instant {
    let turns = (FROM_S + 0.9..TO_S + 0.6).contains(&s);
    let between = if (5.0..9.0).contains(&s) { -90.0 } else { 0.0 };
    Instant { degrees_a_s: if turns { 9.0 } else { between }, ..good(s) }
}
fn flame(s: f64) -> Instant {
    Instant { work: if (FROM_S - 6.0..FROM_S + 1.0).contains(&s) { 700.0 } else { 150.0 }, ..good(s) }
}
fn by_hand(s: f64) -> Instant {
    let (amps, volts) = match s as u64 {
        0..30 => (320.0, 31.0),
        30..45 => (345.0, 32.3),
        _ => (295.0, 29.8),
    };
    Instant { amps, volts, ..good(s) }
}

/// What the machine does, by time in s.
type Machine = fn(f64) -> Instant;

const HABITS: [(&str, Machine); 8] = [
    ("good", good),
    ("restrikes", restrikes),
    ("tacks", tacks),
    ("surge", surge),
    ("slow meter", slow_meter),
    ("late spindle", late_spindle),
    ("flame", flame),
    ("by hand", by_hand),
];

#[test]
fn habits_raise_nothing() {
    let told = HABITS.into_iter().map(|(name, habit)| (name, watch(procedure(0), habit)));
    let filled = ("crater fill", watch(procedure(3_000_000), crater_fill));
    let loud: Vec<_> = told
        .chain([filled])
        .filter_map(|(name, told)| is_silent_with_one_band(&told).err().map(|what| (name, what)))
        .collect();
    assert!(loud.is_empty(), "{loud:#?}");
}

#[test]
fn tacks_are_told_and_have_no_number() {
    let told = watch(procedure(0), tacks);
    let tacks: Vec<_> =
        told.tacks.iter().map(|(at, long)| (at / 100_000, (long + 50_000) / 100_000)).collect();
    assert_eq!(tacks, [(30, 15), (80, 25), (800, 45)]);
}

#[test]
fn preheat_and_post_flow_are_those_behind_flame_and_slow_meter() {
    let band = &watch(procedure(0), flame).bands[0];
    assert_eq!(band.work_at_start.map(bandward::units::Temperature::to_milli), Some(150_000));
    let band = &watch(procedure(0), slow_meter).bands[0];
    let (before, after) = (band.gas_preflow.unwrap().to_milli(), band.gas_postflow.unwrap().to_milli());
    // The meter passes a tenth of the set flow 0.4 s after the valve, and four fifths of the least 1.1 s after.
    assert!((700..=1200).contains(&before), "{before} ms");
    assert!((4000..=5200).contains(&after), "{after} ms");
}

/// A fault, when it begins, and within how long it must be told, s.
type Fault = (Rule, f64, f64, fn(f64, Instant) -> Instant);

const FAULTS: [Fault; 9] = [
    (Rule::GasLow, 40.0, 2.5, |s, at| Instant { gas: if s >= 40.0 { 0.0 } else { at.gas }, ..at }),
    (Rule::GasLow, FROM_S, 4.0, |_, at| Instant { gas: 0.0, ..at }),
    (Rule::GasPreflow, FROM_S, 4.5, |s, at| Instant { gas: if s < FROM_S { 0.0 } else { at.gas }, ..at }),
    (Rule::TransferLowVoltage, 45.0, 1.0, |s, at| Instant {
        volts: if (45.0..46.0).contains(&s) { 24.0 } else { at.volts },
        ..at
    }),
    (Rule::ArcOutage, 45.0, 0.5, |s, at| Instant { burns: at.burns && !(45.0..45.3).contains(&s), ..at }),
    (Rule::CurrentLow, 45.0, 2.0, |s, at| Instant {
        amps: if (45.0..48.0).contains(&s) { 230.0 } else { at.amps },
        ..at
    }),
    // A flame may play over the cold work.
    (Rule::PreheatLow, FROM_S, 4.0, |_, at| Instant {
        work: if at.work > 600.0 { at.work } else { 60.0 },
        ..at
    }),
    (Rule::PreheatHigh, FROM_S, 4.0, |_, at| Instant { work: 380.0, ..at }),
    (Rule::PolarityWrong, FROM_S, 2.0, |_, at| Instant { amps: -at.amps, volts: -at.volts, ..at }),
];

#[test]
fn faults_beside_the_habits_are_found() {
    for (rule, begins_s, within_s, fault) in FAULTS {
        for (name, habit) in HABITS.into_iter().chain([("crater fill", crater_fill as Machine)]) {
            let told = watch(procedure(3_000_000), |s| fault(s, habit(s)));
            let raised: Vec<_> = told
                .raised()
                .into_iter()
                .filter(|(_, at_s)| *at_s >= begins_s && *at_s < TO_S + 1.0)
                .collect();
            let at_s = raised.iter().find(|(name, _)| *name == rule.name()).map(|(_, at_s)| *at_s);
            let late = if name == "slow meter" { 2.5 } else { 1.0 };
            assert!(
                at_s.is_some_and(|at_s| at_s <= begins_s + within_s + late),
                "{} beside {name}: {:?}",
                rule.name(),
                told.raised()
            );
        }
    }
}

/// Past a full turn, what is low for longer than the crater fill lasts, or comes back, is told with its onset.
#[test]
fn a_crater_fill_hides_no_fault() {
    let low_from = |from_s: f64, to_s: f64| {
        watch(procedure(1_000_000), move |s| {
            let arc = good(s.min(TO_S - 0.1));
            let burns = (FROM_S..68.0).contains(&s);
            let low = (from_s..to_s).contains(&s);
            let gas = if (18.0..75.0).contains(&s) { 16.0 } else { 0.0 };
            Instant {
                burns,
                gas,
                amps: if low { 230.0 } else { 320.0 },
                degrees_a_s: if burns { 9.0 } else { 0.0 },
                ..arc
            }
        })
    };
    // The full turn is done at 60 s.
    for (from_s, to_s, latest_s) in [(62.0, 66.0, 64.2), (62.0, 63.4, 64.2), (58.0, 66.0, 59.8)] {
        let told = low_from(from_s, to_s);
        let at_s = told.at_s(Rule::CurrentLow).unwrap_or_else(|| panic!("{from_s} to {to_s} s is not told"));
        assert!(at_s <= latest_s, "{at_s} s");
        let onset_s =
            told.alarms.iter().find(|alarm| alarm.rule == Rule::CurrentLow).unwrap().onset_us as f64 / 1e6;
        assert!((onset_s - from_s).abs() < 0.7, "onset {onset_s} s");
    }
    // Down to the end: a crater fill.
    assert_eq!(low_from(67.2, 70.0).at_s(Rule::CurrentLow), None);
}

/// An advisory that stood before the full turn neither lets the ramp of a crater fill through as a warning, nor hides a
/// current that is low for longer, or steps down.
#[test]
fn an_advisory_before_a_crater_fill_makes_no_warning_of_it() {
    let mut procedure = procedure(3_000_000);
    let current = limits(280.0, 360.0, Quantity::Current.fraction_bits(), None);
    let recommended = limits(310.0, 340.0, Quantity::Current.fraction_bits(), None).allowed;
    let both = Limits { recommended, ..current };
    procedure = procedure.with_limits(Quantity::Current, both).expect("the ranges are sound");
    let watch_on = |machine: &dyn Fn(f64) -> Instant| watch(procedure.clone(), machine);
    let advised =
        |s: f64, now: Instant| Instant { amps: now.amps * if s > 40.0 { 0.94 } else { 1.0 }, ..now };
    let filled = watch_on(&|s| advised(s, crater_fill(s)));
    let low = |told: &Told| {
        let of = told.alarms.iter().filter(|alarm| alarm.rule == Rule::CurrentLow);
        of.filter(|alarm| alarm.kind != AlarmKind::Cleared).map(|alarm| alarm.severity).collect::<Vec<_>>()
    };
    assert_eq!(low(&filled), [Severity::Advise], "{:?}", filled.alarms);
    let [band] = &filled.bands[..] else { panic!("{} bands", filled.bands.len()) };
    assert!(!band.violated.contains(Rule::CurrentLow) && band.advised.contains(Rule::CurrentLow));
    // Low from the full turn on and to the end, with no ramp: a fault.
    let step = watch_on(&|s| Instant {
        amps: if s > TO_S - 1.5 {
            200.0
        } else if s > 40.0 {
            301.0
        } else {
            320.0
        },
        ..good(s)
    });
    assert_eq!(low(&step), [Severity::Advise, Severity::Warn]);
    // A ramp that began before the full turn, and lies below what is allowed by then, is told at once.
    let early = watch_on(&|s| Instant { amps: 320.0 - 12.0 * (s - 50.0).clamp(0.0, 10.0), ..good(s) });
    assert!(early.at_s(Rule::CurrentLow).is_some_and(|at_s| at_s < 56.0), "{:?}", early.raised());
}

#[test]
fn an_arc_that_stops_for_good_before_a_full_turn_is_broken_off() {
    let told = watch(procedure(0), |s| Instant { burns: (FROM_S..45.0).contains(&s), ..good(s) });
    let [band] = &told.bands[..] else { panic!("{} bands", told.bands.len()) };
    assert_eq!(band.ending, Ending::BrokenOff);
    assert_ne!(band.outcome, bandward::Outcome::Proven);
    assert!(told.at_s(Rule::ArcOutage).is_some_and(|at_s| at_s < 45.5));
}

/// The second band is begun at 350 degrees where 300 are allowed.
#[test]
fn a_hot_start_of_a_later_band_is_found_and_a_flame_is_none() {
    let two = |work: fn(f64) -> f64| {
        watch_for(20_000, procedure(0), move |s| Instant { work: work(s), ..good(s % 100.0) })
    };
    let hot = two(|s| if s < 100.0 { 150.0 } else { 350.0 });
    assert!(hot.at_s(Rule::InterpassHigh).is_some_and(|at_s| (120.0..125.0).contains(&at_s)));
    let flame = two(|s| if (114.0..121.0).contains(&s) { 700.0 } else { 250.0 - s / 2.0 });
    assert_eq!(flame.at_s(Rule::InterpassHigh), None);
    assert_eq!((hot.bands.len(), flame.bands.len()), (2, 2));
}

/// What counts is what stood as the second band was struck, at 120 s, between 100 and 300 degrees: not what stood ten
/// seconds earlier, while the burner was at work or the joint still cooled. Below and above alike.
#[test]
fn the_work_is_judged_by_what_stood_at_the_strike() {
    type Work = fn(f64) -> f64;
    let two = |work: Work| {
        watch_for(20_000, procedure(0), move |s| Instant {
            work: if s < 95.0 { 150.0 } else { work(s) },
            ..good(s % 100.0)
        })
    };
    let (low, high) = (Rule::InterpassLow, Rule::InterpassHigh);
    let held: [(&str, Work); 4] = [
        ("warmed up by 1 K/s", |s| 106.0 - (120.0 - s).max(0.0)),
        ("warmed up by 1 K/s, 5 s before", |s| 103.0 - (115.0 - s).max(0.0)),
        ("cooled down by 1 K/s", |s| 294.0 + (120.0 - s).max(0.0)),
        ("warmed up by 4 K/s, with room", |s| 115.0 - 4.0 * (120.0 - s).max(0.0)),
    ];
    for (name, work) in held {
        let told = two(work);
        assert_eq!((told.at_s(low), told.at_s(high)), (None, None), "{name}");
        assert_eq!(told.bands[1].outcome, bandward::Outcome::Proven, "{name}");
    }
    let broken: [(&str, Rule, Work); 4] = [
        ("still cold", low, |s| 94.0 - (120.0 - s).max(0.0)),
        ("still hot", high, |s| 306.0 + (120.0 - s).max(0.0)),
        ("cold to 120, then warm", low, |s| 80.0 + (s - 120.0).max(0.0)),
        ("grew cold before it", low, |s| 90.0 + (120.0 - s).max(0.0)),
    ];
    for (name, rule, work) in broken {
        assert!(two(work).at_s(rule).is_some_and(|at_s| (120.0..126.0).contains(&at_s)), "{name}");
    }
    // Through the limit by 4 K/s; and what no steel does: hot from ten seconds before until a little after.
    let unclear: [(&str, Work); 3] = [
        ("through the lower limit", |s| 103.0 - 4.0 * (120.0 - s).max(0.0)),
        ("through the upper limit", |s| 297.0 + 4.0 * (120.0 - s).max(0.0)),
        ("leapt up and down", |s| if (110.0..121.5).contains(&s) { 330.0 } else { 250.0 }),
    ];
    for (name, work) in unclear {
        let told = two(work);
        assert_eq!((told.at_s(low), told.at_s(high)), (None, None), "{name}");
        assert_eq!(told.bands[1].outcome, bandward::Outcome::NotProven, "{name}");
    }
}
