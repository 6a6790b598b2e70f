//! How fast a joint cools after its last band, held against the formula of Newton's law of cooling.
//!
//! T = Ta + (T0 - Ta) exp(-t / tau) (Newton 1701, as in any heat transfer text); the mean of it over a minute is its
//! integral over that minute. What is hidden or spoilt of it is so here; the joints are `plain_joint`'s.

use bandward::procedure::{JointPlan, Limits, Range};
use bandward::record::proof::{Proof, Why};
use bandward::rule::{Quantity, Rule};
use bandward::units::Temperature;
use bandward::{AlarmKind, Channel, JointRecord, Outcome, Procedure, Sample, Severity};
use bandward_tests::heard::{Heard, acquisition, raw, watch, with};
use bandward_tests::plain_joint::{INTERPASS_C, PlainJoint};
use std::process::Command;

const AIR_C: f64 = 20.0;
const UNTIL_C: f64 = 200.0;
/// After the arc, s, before anything is judged.
const SETTLES_S: f64 = 300.0;

/// The joint `since_s` after its last band.
fn newton(since_s: f64, tau_h: f64) -> f64 {
    AIR_C + (INTERPASS_C - AIR_C) * (-since_s / 3600.0 / tau_h).exp()
}

/// The fall of the mean over a minute in ten minutes, from five minutes after the arc on, degC/h: the fastest of an
/// exponential, its first.
fn by_hand(tau_h: f64) -> f64 {
    let tau_s = 3600.0 * tau_h;
    let minute = tau_s / 60.0 * (1.0 - (-60.0 / tau_s).exp());
    let mean_from = |from_s: f64| (newton(from_s, tau_h) - AIR_C) * minute;
    6.0 * (mean_from(SETTLES_S) - mean_from(SETTLES_S + 600.0))
}

fn asking(most_c_per_h: f64) -> Procedure {
    let high = raw(most_c_per_h, Quantity::Cooling.fraction_bits());
    let limits = Limits { recommended: None, allowed: Some(Range { low: i32::MIN, high }), floor: None };
    let mut procedure = Procedure::new().with_limits(Quantity::Cooling, limits).expect("a limit");
    procedure.cooling_until = Some(Temperature::from_milli((UNTIL_C * 1000.0) as i64));
    procedure.joint.bands = 2;
    procedure
}

/// Two bands and then `goes_on_s` of cooling.
fn joint(rate_hz: f64, goes_on_s: f64, cools: fn(f64) -> f64) -> PlainJoint {
    PlainJoint { rate_hz, goes_on_s, cools, ..PlainJoint::PLAIN }
}

fn slow(rate_hz: f64) -> PlainJoint {
    joint(rate_hz, 3.0 * 3600.0, |since_s| newton(since_s, 8.0))
}

fn fast(rate_hz: f64) -> PlainJoint {
    joint(rate_hz, 3600.0, |since_s| newton(since_s, 2.0))
}

fn see(procedure: Procedure, joint: PlainJoint, spoil: impl Fn(f64, Sample) -> Option<Sample>) -> Heard {
    let ended_s = joint.ends_at_s();
    let samples = joint.samples().filter_map(|sample| spoil(sample.time_us as f64 / 1e6 - ended_s, sample));
    watch(procedure, acquisition((1e6 / joint.rate_hz) as u32, &Channel::ALL), samples).0
}

/// As it comes; of the form of what spoils a sample.
#[allow(clippy::unnecessary_wraps)]
fn whole(_: f64, sample: Sample) -> Option<Sample> {
    Some(sample)
}

fn only(heard: &Heard) -> JointRecord {
    let [joint] = heard.joints[..] else { panic!("{} joints", heard.joints.len()) };
    joint
}

fn fastest(joint: &JointRecord) -> f64 {
    joint.fastest_cooling.map_or(f64::NAN, |rate| rate.to_milli() as f64 / 1000.0)
}

#[test]
fn the_figure_is_that_of_the_formula_at_every_rate() {
    for (tau_h, at) in [(8.0, slow as fn(f64) -> PlainJoint), (2.0, fast)] {
        for rate_hz in [1.0, 10.0, 50.0] {
            let joint = only(&see(asking(50.0), at(rate_hz), whole));
            let (told, known) = (fastest(&joint), by_hand(tau_h));
            // A second more or less of the start, and a bit of a mean: a two-thousandth.
            assert!((told / known - 1.0).abs() < 5e-4, "{tau_h} h, {rate_hz} Hz: {told}, by hand {known}");
        }
    }
}

#[test]
fn a_slow_joint_is_proven_and_a_fast_one_broken_and_told_as_it_cools() {
    for rate_hz in [1.0, 10.0, 50.0] {
        let heard = see(asking(50.0), slow(rate_hz), whole);
        let joint = only(&heard);
        assert_eq!((joint.outcome, joint.cooling), (Outcome::Proven, Proof::Held { judged_percent: 100 }));
        assert!(heard.alarms(Rule::CoolingFast).is_empty());

        let heard = see(asking(50.0), fast(rate_hz), whole);
        let joint = only(&heard);
        assert_eq!(joint.outcome, Outcome::Broken);
        assert!(joint.broken.contains(Rule::CoolingFast));
        assert!(heard.bands.iter().all(|band| band.outcome == Outcome::Proven), "no band is to blame");
        let told_s = heard.raised_s(Rule::CoolingFast).expect("told") - fast(rate_hz).ends_at_s();
        // It loses 50/6 K within some five minutes: told long before it is cold.
        assert!((SETTLES_S + 60.0..SETTLES_S + 660.0).contains(&told_s), "{told_s} s");
    }
}

/// Straight falls that reach the end of the limit, 50 K below, sooner than in ten minutes: the rate is the rate.
#[test]
fn a_joint_that_is_soon_cold_did_not_cool_slowly() {
    let cools: [fn(f64) -> f64; 4] = [
        |since_s| INTERPASS_C - (since_s - SETTLES_S).max(0.0) * 400.0 / 3600.0,
        |since_s| INTERPASS_C - (since_s - SETTLES_S).max(0.0) * 600.0 / 3600.0,
        |since_s| INTERPASS_C - (since_s - SETTLES_S).max(0.0) * 1000.0 / 3600.0,
        |since_s| INTERPASS_C - (since_s - SETTLES_S).max(0.0) * 2000.0 / 3600.0,
    ];
    for (per_h, cools) in [400.0, 600.0, 1000.0, 2000.0].into_iter().zip(cools) {
        let joint = only(&see(asking(300.0), joint(10.0, 3600.0, cools), whole));
        assert_eq!(
            (joint.outcome, joint.broken.contains(Rule::CoolingFast)),
            (Outcome::Broken, true),
            "{per_h}"
        );
        let told = fastest(&joint);
        assert!((told / per_h - 1.0).abs() < 0.02, "{told} of {per_h}");
    }
}

/// What is heated again cools again: below the end of the limit, or before it, at 1000 degC/h where 300 are allowed;
/// slowly it is held. A quench that begins with the watch is seen as well.
#[test]
fn a_joint_that_is_heated_again_is_judged_from_there() {
    /// Slowly down to `low_c` by 3000 s, up to 280 degC in 5 minutes, and on at `per_h`.
    fn again(since_s: f64, low_c: f64, per_h: f64) -> f64 {
        match since_s {
            0.0..SETTLES_S => INTERPASS_C,
            SETTLES_S..3000.0 => INTERPASS_C - (INTERPASS_C - low_c) * (since_s - SETTLES_S) / 2700.0,
            3000.0..3300.0 => low_c + (280.0 - low_c) * (since_s - 3000.0) / 300.0,
            _ => (280.0 - per_h / 3600.0 * (since_s - 3300.0)).max(AIR_C),
        }
    }
    type Course = (fn(f64) -> f64, f64, Outcome);
    let cools: [Course; 4] = [
        (|since_s| again(since_s, 190.0, 1000.0), 1000.0, Outcome::Broken),
        (|since_s| again(since_s, 215.0, 1000.0), 1000.0, Outcome::Broken),
        (|since_s| again(since_s, 190.0, 200.0), 200.0, Outcome::Proven),
        (|since_s| again(since_s, 215.0, 200.0), 200.0, Outcome::Proven),
    ];
    for (cools, per_h, outcome) in cools {
        let joint = only(&see(asking(300.0), joint(1.0, 3.0 * 3600.0, cools), whole));
        assert_eq!(joint.outcome, outcome, "{per_h}: {joint:?}");
        // The mean of the minute in which it is hottest is a little lower than its peak.
        assert!((0.75..=1.02).contains(&(fastest(&joint) / per_h)), "{} of {per_h}", fastest(&joint));
    }
    // Hot again, and not seen down to the end: not proven.
    let cut = joint(1.0, 3600.0, |since_s| again(since_s, 190.0, 100.0));
    assert_eq!(only(&see(asking(300.0), cut, whole)).cooling.why(), Some(Why::EndUnseen));
    // 40 K in the first half minute of the watch, and all but still from then on.
    let quench = |since_s: f64| {
        250.0 - (since_s - SETTLES_S - 10.0).clamp(0.0, 30.0) * 4.0 / 3.0 - since_s / 3600.0 * 20.0
    };
    let heard = see(asking(230.0), joint(1.0, 3.0 * 3600.0, quench), whole);
    assert_eq!(only(&heard).outcome, Outcome::Broken, "{}", fastest(&only(&heard)));
}

/// A fall of the first five minutes by more than the limit allows in ten is no proof, wherever in them it is: water right
/// after the arc, or a plunge later on. What is less is not told from heat that spreads in the wall.
#[test]
fn a_plunge_in_the_first_minutes_is_not_proven() {
    type Cools = fn(f64) -> f64;
    /// By so many K in 20 s, from `at_s` on; then 20 K an hour.
    fn plunged(since_s: f64, at_s: f64, by_k: f64) -> f64 {
        380.0 - (since_s - at_s).clamp(0.0, 20.0) / 20.0 * by_k - since_s / 3600.0 * 20.0
    }
    // 300 degC/h are 50 K in ten minutes; the even fall adds 1.7 K in the five.
    let cools: [(Cools, Option<Why>); 5] = [
        (|since_s| plunged(since_s, 15.0, 130.0), Some(Why::FellEarly)),
        (|since_s| plunged(since_s, 60.0, 130.0), Some(Why::FellEarly)),
        (|since_s| plunged(since_s, 270.0, 130.0), Some(Why::FellEarly)),
        (|since_s| plunged(since_s, 150.0, 51.0), Some(Why::FellEarly)),
        (|since_s| plunged(since_s, 150.0, 46.0), None),
    ];
    for (at, (cools, why)) in cools.into_iter().enumerate() {
        for rate_hz in [0.5, 1.0, 10.0] {
            let joint = only(&see(asking(300.0), joint(rate_hz, 9.0 * 3600.0, cools), whole));
            assert_eq!(joint.cooling.why(), why, "{at}, {rate_hz} Hz: {joint:?}");
            let outcome = if why.is_some() { Outcome::NotProven } else { Outcome::Proven };
            assert_eq!(joint.outcome, outcome, "{at}, {rate_hz} Hz");
        }
    }
    // Nobody saw the first minutes: what was not seen is not proven.
    let blind = |since_s: f64, sample: Sample| (!(60.0..200.0).contains(&since_s)).then_some(sample);
    assert_eq!(only(&see(asking(50.0), slow(1.0), blind)).cooling.why(), Some(Why::Gap));
}

/// Noise of 2 K, from a fixed row of numbers: the sum of four even ones, which has a standard deviation of 1.
fn noise(time_us: u64) -> f64 {
    let mut state = time_us.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    let mut even = || {
        state ^= state >> 29;
        state = state.wrapping_mul(0xBF58_476D_1CE4_E5B9);
        state ^= state >> 32;
        state as f64 / u64::MAX as f64 - 0.5
    };
    3.0_f64.sqrt() * (even() + even() + even() + even())
}

#[test]
fn a_noise_of_two_kelvin_does_not_raise_it() {
    for rate_hz in [1.0, 10.0] {
        let noisy = |_: f64, sample: Sample| {
            let read = f64::from(sample.reading(Channel::Work)) / 4096.0;
            Some(with(sample, Channel::Work, read + 2.0 * noise(sample.time_us)))
        };
        // 5.9 h: 37 degC/h of the 50 allowed.
        let even = joint(rate_hz, 3.0 * 3600.0, |since_s| newton(since_s, 5.9));
        let heard = see(asking(50.0), even, noisy);
        let joint = only(&heard);
        assert_eq!(joint.outcome, Outcome::Proven, "{joint:?}");
        assert!((fastest(&joint) - by_hand(5.9)).abs() < 9.0, "{rate_hz} Hz: {}", fastest(&joint));
        // And a joint that is clearly too fast is found all the same.
        assert_eq!(only(&see(asking(50.0), fast(rate_hz), noisy)).outcome, Outcome::Broken);
    }
}

#[test]
fn one_raw_step_either_side_of_the_limit() {
    let joint = only(&see(asking(500.0), fast(1.0), whole));
    let reached = joint.fastest_cooling.expect("watched").to_bits();
    for (high, outcome) in [(reached, Outcome::Proven), (reached - 1, Outcome::Broken)] {
        let limits = Limits { recommended: None, allowed: Some(Range { low: i32::MIN, high }), floor: None };
        let procedure = asking(1.0).with_limits(Quantity::Cooling, limits).expect("a limit");
        assert_eq!(only(&see(procedure, fast(1.0), whole)).outcome, outcome, "{high}");
    }
}

#[test]
fn what_is_not_seen_down_to_the_end_is_not_proven_and_says_why() {
    let at = |from_s: f64, to_s: f64, change: fn(Sample) -> Option<Sample>| {
        move |since_s: f64, sample: Sample| {
            if (from_s..to_s).contains(&since_s) { change(sample) } else { Some(sample) }
        }
    };
    let ever = f64::INFINITY;
    let blind = |sample: Sample| {
        let kept = sample.present().iter().filter(|&channel| channel != Channel::Work);
        Some(kept.fold(Sample::at(sample.time_us), |kept, channel| {
            kept.with_raw(channel, sample.reading(channel))
        }))
    };
    let why = |spoil: &dyn Fn(f64, Sample) -> Option<Sample>| {
        let heard = see(asking(50.0), slow(1.0), spoil);
        let joint = only(&heard);
        assert_eq!(joint.outcome, Outcome::NotProven, "{joint:?}");
        assert!(heard.alarms(Rule::CoolingFast).is_empty());
        joint.cooling.why()
    };
    // The log ends while it is warm; within the first minutes; or never saw more than the weld.
    for from_s in [3600.0, 400.0, 20.0] {
        assert_eq!(why(&at(from_s, ever, |_| None)), Some(Why::EndUnseen), "{from_s} s");
    }
    // A hole, and a pyrometer without a reading, for two minutes; for half a minute neither costs anything.
    assert_eq!(why(&at(3600.0, 3720.0, |_| None)), Some(Why::Gap));
    assert_eq!(why(&at(3600.0, 3780.0, blind)), Some(Why::ChannelLost));
    assert_eq!(only(&see(asking(50.0), slow(1.0), at(3600.0, 3630.0, blind))).outcome, Outcome::Proven);
    for from_s in [3590.0, 3600.0, 3620.0, 3640.0] {
        assert_eq!(why(&at(from_s, from_s + 70.0, blind)), Some(Why::ChannelLost), "70 s from {from_s} s");
    }
    // It dies: at its last reading, or at nought.
    let dead = |sample| Some(with(sample, Channel::Work, 225.0));
    assert_eq!(why(&at(3000.0, ever, dead)), Some(Why::ChannelLost), "it leaps there, and stands");
    assert_eq!(
        why(&at(3000.0, ever, |sample| Some(with(sample, Channel::Work, 0.0)))),
        Some(Why::ChannelLost)
    );
    // A hand before it for some seconds leaves it.
    let hand = at(3000.0, 3008.0, |sample| Some(with(sample, Channel::Work, 40.0)));
    assert_eq!(only(&see(asking(50.0), slow(1.0), hand)).outcome, Outcome::Proven);
}

#[test]
fn a_pyrometer_that_does_not_reach_so_low_proves_nothing() {
    let mut wired = acquisition(1_000_000, &Channel::ALL);
    let raw = |celsius: f64| (celsius * 4096.0) as i32;
    wired.sensor_ranges[Channel::Work as usize] = Range { low: raw(210.0), high: raw(1000.0) };
    let blind_below = slow(1.0).samples().map(|sample| {
        let read = sample.reading(Channel::Work).max(raw(210.0));
        sample.with_raw(Channel::Work, read)
    });
    let joint = only(&watch(asking(50.0), wired, blind_below).0);
    assert_eq!((joint.outcome, joint.cooling.why()), (Outcome::NotProven, Some(Why::ChannelLost)));
}

#[test]
fn a_joint_that_was_never_seen_above_the_end_proves_nothing() {
    let cold = joint(1.0, 3600.0, |_| UNTIL_C - 5.0);
    assert_eq!(only(&see(asking(50.0), cold, whole)).cooling.why(), Some(Why::Unsettled));
}

#[test]
fn between_bands_nothing_is_cooling_and_what_the_last_band_did_is_known_at_the_end() {
    let mut procedure = asking(50.0);
    procedure.joint = JointPlan::NONE;
    // How many bands there are is not known: told as the joint ends.
    let heard = see(procedure.clone(), fast(1.0), whole);
    assert_eq!(only(&heard).outcome, Outcome::Broken);
    let told_s = heard.raised_s(Rule::CoolingFast).expect("told");
    assert!(told_s > fast(1.0).ends_at_s() + 3500.0, "{told_s} s");
    assert_eq!(only(&see(procedure, slow(1.0), whole)).outcome, Outcome::Proven);
    // Of three bands two are laid: the joint waits for the third, and does not cool yet.
    let mut three = asking(50.0);
    three.joint.bands = 3;
    let heard = see(three, fast(1.0), whole);
    assert!(heard.alarms(Rule::CoolingFast).is_empty());
    assert_eq!(only(&heard).cooling.why(), Some(Why::EndUnseen));
}

#[test]
fn a_joint_that_is_done_by_its_arc_is_watched_on_while_it_cools_and_ends_with_the_next_arc() {
    let mut procedure = asking(50.0);
    procedure.joint.ends_with_arc_off_us = Some(60_000_000);
    let heard = see(procedure.clone(), slow(1.0), whole);
    let joint = only(&heard);
    assert_eq!(joint.outcome, Outcome::Proven);
    // 8 h ln(230/180) after the arc it is down to the end of the limit; a mean over a minute is half a minute late.
    let down_s = 8.0 * 3600.0 * (230.0_f64 / 180.0).ln();
    let ended_s = joint.end_us as f64 / 1e6 - slow(1.0).ends_at_s();
    assert!((down_s + 30.0..down_s + 95.0).contains(&ended_s), "{ended_s} s, by hand {down_s}");
    // Without the limit it ends after the minute.
    let mut unlimited = Procedure::new();
    unlimited.joint = procedure.joint;
    let heard = see(unlimited, slow(1.0), whole);
    assert!((heard.joints[0].end_us as f64 / 1e6 - slow(1.0).ends_at_s() - 60.0).abs() < 3.0);
    // The next joint comes half an hour later.
    let first: Vec<_> = joint_of_30_min().collect();
    let from_us = first.last().expect("samples").time_us + 1_000_000;
    let second = slow(1.0).samples().map(|mut sample| {
        sample.time_us += from_us;
        sample
    });
    let heard = watch(procedure, acquisition(1_000_000, &Channel::ALL), first.into_iter().chain(second)).0;
    let found: Vec<_> =
        heard.joints.iter().map(|joint| (joint.bands, joint.outcome, joint.cooling.why())).collect();
    let cut = (2, Outcome::NotProven, Some(Why::EndUnseen));
    assert_eq!(found, [cut, (2, Outcome::Proven, None)]);
}

fn joint_of_30_min() -> impl Iterator<Item = Sample> {
    joint(1.0, 1800.0, |since_s| newton(since_s, 8.0)).samples()
}

#[test]
fn it_can_stop_or_only_advise_and_is_broken_all_the_same() {
    for severity in [Severity::Advise, Severity::Warn, Severity::Stop] {
        let procedure = asking(50.0);
        let setting = bandward::procedure::AlarmSetting { severity, ..procedure.alarm(Rule::CoolingFast) };
        let heard =
            see(procedure.with_alarm(Rule::CoolingFast, setting).expect("a setting"), fast(1.0), whole);
        let raised = heard.alarms(Rule::CoolingFast);
        let worst = raised.iter().find(|alarm| alarm.kind == AlarmKind::Raised).map(|alarm| alarm.severity);
        assert_eq!((worst, only(&heard).outcome), (Some(severity), Outcome::Broken));
    }
}

#[test]
fn where_the_trace_allows_it_costs_no_proof_and_is_broken_all_the_same() {
    let waived = || asking(50.0).judged_where_possible(Quantity::Cooling);
    let short = joint(1.0, 30.0, |_| INTERPASS_C);
    let joint = only(&see(waived(), short, whole));
    assert_eq!(joint.outcome, Outcome::Proven);
    assert!(matches!(joint.cooling, Proof::NotProven { waived: true, why: Why::EndUnseen, .. }));
    assert_eq!(only(&see(waived(), fast(1.0), whole)).outcome, Outcome::Broken);
}

#[test]
fn a_limit_and_its_end_go_together() {
    use bandward::SoundProcedure;
    let mut without = asking(50.0);
    without.cooling_until = None;
    assert!(SoundProcedure::try_from(without).is_err());
    let mut alone = Procedure::new();
    alone.cooling_until = Some(Temperature::ZERO);
    assert!(SoundProcedure::try_from(alone).is_err());
    let parse = |text: &str| bandward_sim::input::procedure_file::ProcedureFile::parse("x", text);
    assert!(parse("[cooling]\nallowed = \"at most 50 degC/h\"\n").is_err());
    assert!(parse("[cooling]\nuntil = \"150 degC\"\n").is_err());
    assert!(parse("[cooling]\nallowed = [\"10 degC/h\", \"50 degC/h\"]\nuntil = \"150 degC\"\n").is_err());
    for written in ["50 degC/h", "50 K/h", "90 degF/h", "50 degC per hour", "8.333333333 K in 10 min"] {
        let text = format!("[cooling]\nallowed = \"at most {written}\"\nuntil = \"302 degF\"\n");
        let procedure = parse(&text).unwrap_or_else(|errors| panic!("{errors}")).procedure;
        let high =
            procedure.limits(Quantity::Cooling).and_then(|limits| limits.allowed).map(|range| range.high);
        assert_eq!((high, procedure.cooling_until), (Some(50 << 12), Some(Temperature::from_milli(150_000))));
    }
}

/// A scenario of the program's own process, and what the program says of it: self-consistency, no outside check. Even
/// under a blanket the heat of the bands runs off along the pipe: a limit below some 230 degC/h none could keep.
#[test]
fn a_made_joint_is_proven_under_its_blanket_and_broken_in_the_wind() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    std::fs::write(
        path("p.toml"),
        "[joint]\nbands = 2\n[cooling]\nallowed = \"at most 300 degC/h\"\nuntil = \"200 degC\"\n",
    )
    .expect("written");
    let said = |around: &str, lead_out: &str| {
        let text = format!(
            "[scenario]\nname = \"x\"\nprocedure = \"p.toml\"\nsample_rate = \"1 Hz\"\n[joint]\npreheat = \"250 degC\"\n\
             [time]\nlead_out = \"{lead_out}\"\n[cooling]\n{around}\n"
        );
        std::fs::write(path("s.toml"), text).expect("written");
        let made = Command::new(bandward_tests::program::path())
            .args(["synth", "s.toml", "-o", "t.csv"])
            .current_dir(folder.path())
            .output()
            .expect("runs");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        bandward_tests::said::Said::of(&path("t.csv"), &path("p.toml"))
    };
    let covered = said("blanket = \"50 mm\"", "6 h");
    assert_eq!((covered.exit, covered.outcome()), (Some(0), "proven"), "{}", covered.json["joints"]);
    assert_eq!(covered.json["joints"][0]["cooling"]["outcome"], "held");
    let windy = said("wind = \"5 m/s\"", "1 h");
    assert_eq!((windy.exit, windy.outcome()), (Some(1), "broken"));
    assert_eq!(windy.json["joints"][0]["broken"], serde_json::json!(["cooling-fast"]));
    assert!(windy.list("findings").any(|finding| finding["cause"] == "cooled-uncovered"), "{}", windy.json);
    let cut = said("blanket = \"50 mm\"", "20 min");
    assert_eq!((cut.exit, cut.outcome()), (Some(3), "not proven"));
    assert_eq!(cut.json["joints"][0]["cooling"]["reason"], "the data end before it could be seen");
}
