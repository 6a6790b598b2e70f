//! Two bands one after the other, over a step under one arc, a pause or a tack: what is wrong while the one goes over into
//! the other costs every band in which it is wrong, and no other. Made traces: self-consistency.

use bandward::procedure::{JointPlan, Limits, Range};
use bandward::record::proof::{Proof, Why};
use bandward::{AlarmKind, Channel, Event, Outcome, Procedure, Quantity, Rule, Sample, Severity};
use bandward_sim::process::random::Noise;
use bandward_tests::heard::{Heard, acquisition, raw, watch, with};
use proptest::prelude::*;
use std::ops::Range as Span;

/// Degrees a second: a turn in 80 s.
const TURNS_DEG_S: f64 = 4.5;
const STRIKE_S: f64 = 10.0;
const PREFLOW_S: f64 = 2.0;
const POSTFLOW_S: f64 = 6.0;

/// How one band goes over into the next.
#[derive(Clone, Copy, Debug)]
enum Over {
    /// The carriage steps while the arc burns.
    Step,
    /// The arc is out for so long, s.
    Pause(f64),
    /// It is out for 12 s, in which an arc burns for so long, until so long before the strike, s.
    Tack(f64, f64),
}

/// Two bands that overlap by so many degrees each.
#[derive(Clone, Copy, Debug)]
struct Plan {
    over: Over,
    overlap_deg: [f64; 2],
}

impl Plan {
    const fn new(over: Over) -> Self {
        Self { over, overlap_deg: [10.0, 10.0] }
    }
    /// When the arc burns in the bands.
    fn bands(&self) -> [Span<f64>; 2] {
        let [one, two] = self.overlap_deg.map(|overlap| (360.0 + overlap) / TURNS_DEG_S);
        let pause_s = match self.over {
            Over::Step => 0.0,
            Over::Pause(pause_s) => pause_s,
            Over::Tack(..) => 12.0,
        };
        let next_s = STRIKE_S + one + pause_s;
        [STRIKE_S..STRIKE_S + one, next_s..next_s + two]
    }
    fn is_lit(&self, s: f64) -> bool {
        let [one, two] = self.bands();
        let tack = match self.over {
            Over::Tack(lasts_s, before_s) => two.start - before_s - lasts_s..two.start - before_s,
            Over::Step | Over::Pause(_) => 0.0..0.0,
        };
        [one, two, tack].iter().any(|span| span.contains(&s))
    }
    /// Does the valve stand open?
    fn gas_flows(&self, s: f64) -> bool {
        self.bands().iter().any(|band| (band.start - PREFLOW_S..band.end + POSTFLOW_S).contains(&s))
    }
    fn value(&self, channel: Channel, s: f64, noise: &mut Noise) -> f64 {
        let [one, _] = self.bands();
        let lit = self.is_lit(s);
        match channel {
            Channel::Current if lit => 280.0 + 4.0 * noise.normal(),
            Channel::Voltage if lit => 29.0 + 0.3 * noise.normal(),
            Channel::Current | Channel::Voltage => 0.05 * noise.normal().abs(),
            Channel::Gas if self.gas_flows(s) => 17.0 + 0.15 * noise.normal(),
            Channel::Torch => 12.5 * (s * 8.0).sin() + 0.02 * noise.normal(),
            Channel::Spindle => TURNS_DEG_S * s + 0.02 * noise.normal(),
            Channel::Wire if lit => 7000.0 + 40.0 * noise.normal(),
            Channel::Coolant => 6.0 + 0.05 * noise.normal(),
            Channel::Work => 150.0 + 0.3 * (s - STRIKE_S).clamp(0.0, 200.0) + 0.3 * noise.normal(),
            // Half of a step lies on either side of the end of the band; after a pause it is all beyond.
            Channel::Carriage => {
                let from_s = if matches!(self.over, Over::Step) { one.end - 0.25 } else { one.end + 0.1 };
                100.0 + 23.0 * ((s - from_s) / 0.5).clamp(0.0, 1.0)
            }
            Channel::Gas | Channel::Wire => 0.0,
        }
    }
    /// 50 samples a second; `change` makes another value of what a channel reads, or none.
    fn see_by(&self, asked: Procedure, change: impl FnMut(Channel, f64, f64) -> Option<f64>) -> Heard {
        watch(asked, acquisition(20_000, &Channel::ALL), self.samples(change)).0
    }
    fn samples(&self, mut change: impl FnMut(Channel, f64, f64) -> Option<f64>) -> Vec<Sample> {
        let mut noise = Noise::new(3, 0);
        let [_, two] = self.bands();
        let samples = (0..((two.end + 12.0) * 50.0) as u64).map(|index| {
            let s = index as f64 / 50.0;
            Channel::ALL.into_iter().fold(Sample::at(index * 20_000), |sample, channel| {
                let shown = self.value(channel, s, &mut noise);
                change(channel, s, shown).map_or(sample, |shown| with(sample, channel, shown))
            })
        });
        samples.collect()
    }
    fn see(&self, change: impl FnMut(Channel, f64, f64) -> Option<f64>) -> Heard {
        self.see_by(procedure(), change)
    }
}

fn with_limits(asked: Procedure, quantity: Quantity, low: f64, high: f64) -> Procedure {
    let [low, high] = [low, high].map(|value| raw(value, quantity.fraction_bits()));
    let limits = Limits { recommended: None, allowed: Some(Range { low, high }), floor: None };
    asked.with_limits(quantity, limits).expect("a range")
}

fn procedure() -> Procedure {
    let wanted = [
        (Quantity::Current, 250.0, 310.0),
        (Quantity::Voltage, 27.0, 31.0),
        (Quantity::GasFlow, 15.0, 19.0),
        (Quantity::GasPreflow, 0.5, 8.0),
        (Quantity::WireFeed, 6500.0, 7500.0),
        (Quantity::CoolantFlow, 5.0, 8.0),
        (Quantity::StepOver, 22.0, 24.0),
        (Quantity::Overlap, 3.0, 25.0),
        (Quantity::WeaveWidth, 22.0, 28.0),
        (Quantity::WeaveRate, 60.0, 100.0),
        (Quantity::WeaveCentreDrift, 0.0, 2.0),
    ];
    let mut asked = wanted
        .into_iter()
        .fold(Procedure::new(), |asked, (quantity, low, high)| with_limits(asked, quantity, low, high));
    asked.joint = JointPlan { bands: 2, ..JointPlan::NONE };
    asked
}

/// What may fail: by how much of what is shown, and whose alarm it is.
const FAULTS: [(Channel, f64, Rule); 6] = [
    (Channel::Gas, 0.7, Rule::GasLow),
    (Channel::Current, 1.16, Rule::CurrentHigh),
    (Channel::Voltage, 0.9, Rule::VoltageLow),
    (Channel::Wire, 0.88, Rule::WireFeedLow),
    (Channel::Coolant, 0.2, Rule::CoolantLow),
    (Channel::Coolant, 1.5, Rule::CoolantHigh),
];

fn fails(
    (channel, share, _): (Channel, f64, Rule),
    when: Span<f64>,
) -> impl FnMut(Channel, f64, f64) -> Option<f64> {
    move |which, s, shown| {
        let is_wrong = which == channel && when.contains(&s);
        Some(if is_wrong { share * shown } else { shown })
    }
}

fn outcomes(heard: &Heard) -> Vec<Outcome> {
    heard.bands.iter().map(|band| band.outcome).collect()
}

fn proofs(heard: &Heard, rule: Rule) -> Vec<Proof> {
    heard.bands.iter().map(|band| band.proof.get(rule)).collect()
}

/// Every limit of every band that is not held, and the alarms.
fn told(heard: &Heard) -> String {
    let bands = heard.bands.iter().map(|band| {
        let is_open = |proof: Proof| matches!(proof.outcome(), Outcome::NotProven | Outcome::Broken);
        let open: Vec<_> = band.proof.iter().filter(|(_, proof)| is_open(*proof)).collect();
        format!("{:?} {:?} {open:?}", band.outcome, band.violated)
    });
    let raised = heard.events.iter().filter_map(|event| match event {
        Event::Alarm(alarm) if alarm.kind == AlarmKind::Raised => Some((alarm.rule, alarm.time_us)),
        _ => None,
    });
    format!("{:?} {:?}", bands.collect::<Vec<_>>(), raised.collect::<Vec<_>>())
}

#[test]
fn two_sound_bands_are_proven_however_the_one_goes_over_into_the_other() {
    for over in [Over::Step, Over::Pause(20.0), Over::Pause(3.2), Over::Tack(1.0, 2.0)] {
        let heard = Plan::new(over).see(|_, _, shown| Some(shown));
        assert_eq!(outcomes(&heard), [Outcome::Proven; 2], "{over:?}: {}", told(&heard));
    }
}

#[test]
fn what_fails_before_a_step_and_through_the_next_band_breaks_both() {
    let plan = Plan::new(Over::Step);
    let [one, two] = plan.bands();
    for fault in FAULTS {
        let heard = plan.see(fails(fault, one.end - 8.0..two.end));
        let rule = fault.2;
        let is_broken = proofs(&heard, rule).iter().all(|proof| matches!(proof, Proof::Broken { .. }));
        assert!(is_broken && heard.bands.len() == 2, "{rule:?}: {}", told(&heard));
        // And one that is over before the step breaks the first alone.
        let heard = plan.see(fails(fault, one.end - 20.0..one.end - 8.0));
        assert_eq!(outcomes(&heard), [Outcome::Broken, Outcome::Proven], "{rule:?}: {}", told(&heard));
    }
}

#[test]
fn coolant_that_fails_before_a_tack_breaks_the_band_that_is_struck_next() {
    for (lasts_s, before_s) in [(0.3, 1.0), (1.0, 2.0), (2.4, 2.9), (0.3, 3.0)] {
        let plan = Plan::new(Over::Tack(lasts_s, before_s));
        let [_, two] = plan.bands();
        for fault in [FAULTS[4], FAULTS[5]] {
            let heard = plan.see(fails(fault, two.start - 8.0..two.end));
            let of = format!("{lasts_s} {before_s}: {}", told(&heard));
            assert_eq!(outcomes(&heard), [Outcome::Proven, Outcome::Broken], "{of}");
            assert!(heard.bands[1].violated.contains(fault.2), "{of}");
            // Back in time it breaks nothing.
            let heard = plan.see(fails(fault, two.start - 8.0..two.start - 1.0));
            assert_eq!(heard.bands[1].outcome, Outcome::Proven, "{of}");
        }
    }
}

#[test]
fn an_overlap_that_ends_with_a_step_is_judged() {
    // The step is seen as it is half done: half a second, and what the least step is less than the step.
    for (overlap_deg, rule) in
        [(1.0, Some(Rule::OverlapShort)), (40.0, Some(Rule::OverlapLong)), (10.0, None)]
    {
        for band in [0, 1] {
            let mut plan = Plan::new(Over::Step);
            plan.overlap_deg[band] = overlap_deg;
            let heard = plan.see(|_, _, shown| Some(shown));
            let broken: Vec<_> = heard.bands.iter().map(|band| band.broken().iter().next()).collect();
            let mut expected = [None; 2];
            expected[band] = rule;
            assert_eq!(broken, expected, "{overlap_deg} in {band}: {}", told(&heard));
        }
    }
}

#[test]
fn cells_that_are_empty_again_and_again_are_not_proven_and_a_short_gap_is() {
    let plan = Plan::new(Over::Pause(20.0));
    let [one, _] = plan.bands();
    let rules = [
        (Channel::Gas, Rule::GasLow),
        (Channel::Current, Rule::CurrentHigh),
        (Channel::Voltage, Rule::VoltageLow),
        (Channel::Wire, Rule::WireFeedLow),
        (Channel::Coolant, Rule::CoolantLow),
    ];
    for (channel, rule) in rules {
        // In what is not seen the reading is far off.
        let is_gone = |s: f64, of_s: f64| (s - one.start) % of_s > of_s - 0.9 && (30.0..60.0).contains(&s);
        for of_s in [2.0, 5.0] {
            let heard = plan.see(|which, s, shown| (which != channel || !is_gone(s, of_s)).then_some(shown));
            let Proof::NotProven { judged_percent, why, .. } = proofs(&heard, rule)[0] else {
                panic!("{channel:?} {of_s}: {}", told(&heard))
            };
            assert_eq!(why, Why::ChannelLost, "{channel:?} {of_s}: {}", told(&heard));
            // 15 gaps of 0.9 s in 82 s, or 6; coolant is judged for some seconds beyond the arc.
            let seen = if of_s < 3.0 { 88 } else { 97 };
            assert!(judged_percent <= seen, "{channel:?} {of_s}: {judged_percent}");
        }
        let once =
            plan.see(|which, s, shown| (which != channel || !(40.0..40.8).contains(&s)).then_some(shown));
        assert_eq!(outcomes(&once), [Outcome::Proven; 2], "{channel:?}: {}", told(&once));
    }
    // A channel that is always read as seldom as that has no gaps.
    let seldom = plan.see(|which, s, shown| {
        let is_read = ((s * 50.0).round() as u64).is_multiple_of(20);
        (which != Channel::Coolant || is_read).then_some(shown)
    });
    assert_eq!(outcomes(&seldom), [Outcome::Proven; 2], "{}", told(&seldom));
}

#[test]
fn rows_lost_for_seconds_are_a_hole_and_no_dead_meter() {
    let plan = Plan::new(Over::Pause(20.0));
    for lost_s in [2.0, 3.0, 5.0] {
        let mut noise = Noise::new(3, 0);
        let samples = (0..9000_u64).filter_map(|index| {
            let s = index as f64 / 50.0;
            let sample = Channel::ALL.into_iter().fold(Sample::at(index * 20_000), |sample, channel| {
                with(sample, channel, plan.value(channel, s, &mut noise))
            });
            (!(40.0..40.0 + lost_s).contains(&s)).then_some(sample)
        });
        let heard = watch(procedure(), acquisition(20_000, &Channel::ALL), samples.collect::<Vec<_>>()).0;
        let whys: Vec<_> = heard.bands[0].proof.iter().filter_map(|(_, proof)| proof.why()).collect();
        assert!(!whys.is_empty() && whys.iter().all(|why| *why == Why::Gap), "{lost_s}: {}", told(&heard));
    }
}

#[test]
fn a_torch_that_leaps_aside_for_seconds_is_never_proven_however_far() {
    let plan = Plan::new(Over::Pause(20.0));
    for aside_mm in [3.0, 5.0, 8.0, 12.0, 16.0, 30.0] {
        for lasts_s in [2.0, 3.0, 3.5, 5.0] {
            let heard = plan.see(|which, s, shown| {
                let is_aside = which == Channel::Torch && (50.0..50.0 + lasts_s).contains(&s);
                Some(if is_aside { shown + aside_mm } else { shown })
            });
            assert!(heard.bands[0].outcome >= Outcome::NotProven, "{aside_mm} {lasts_s}: {}", told(&heard));
            assert_eq!(heard.bands[1].outcome, Outcome::Proven, "{aside_mm} {lasts_s}: {}", told(&heard));
        }
    }
}

/// A meter of first order that lags by `lag_s`, after a valve that stands open as `open` says.
fn lagging(lag_s: f64, open: impl Fn(f64) -> bool) -> impl FnMut(Channel, f64, f64) -> Option<f64> {
    let (mut read, mut noise) = (0.0, Noise::new(5, 0));
    move |which, s, shown| {
        if which != Channel::Gas {
            return Some(shown);
        }
        read += (f64::from(u8::from(open(s))) * 17.0 - read) * (1.0 - (-0.02 / lag_s).exp());
        Some((read + 0.05 * noise.normal()).max(0.0))
    }
}

/// The truth is when the valve opened; nothing is older than the arc before.
#[test]
fn a_preflow_is_no_longer_than_the_pause_before_the_arc() {
    for lag_s in [0.3, 1.0, 2.0] {
        for shut_s in [0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0] {
            for open_s in [1.0, 2.5, 5.0] {
                let plan = Plan::new(Over::Pause(shut_s + open_s + 1.5));
                let [one, two] = plan.bands();
                let shut = one.end + 1.5..one.end + 1.5 + shut_s;
                let heard = plan.see(lagging(lag_s, |s| {
                    (one.start - 2.0..two.end + 6.0).contains(&s) && !shut.contains(&s)
                }));
                let told = format!("{lag_s} {shut_s} {open_s}: {}", told(&heard));
                let band = &heard.bands[1];
                // Nothing here is over 8 s, but for the one that was left on for longer.
                assert!(!band.violated.contains(Rule::GasPreflowLong), "{told}");
                assert!(!band.violated.contains(Rule::GasPreflow), "{told}");
                let pause_s = two.start - one.end;
                let counted_s = band.gas_preflow.map(|time| time.to_milli() as f64 / 1e3);
                assert!(counted_s.is_none_or(|counted_s| counted_s <= pause_s + 0.1), "{counted_s:?} {told}");
            }
        }
    }
}

#[test]
fn gas_that_is_left_on_for_longer_than_a_preflow_may_last_is_not_proven() {
    for (pause_s, is_proven) in [(4.0, true), (6.0, true), (7.8, true), (8.5, false), (15.0, false)] {
        let plan = Plan::new(Over::Pause(pause_s));
        let [one, two] = plan.bands();
        let heard = plan.see(lagging(0.3, |s| (one.start - 2.0..two.end + 6.0).contains(&s)));
        let proof = proofs(&heard, Rule::GasPreflowLong)[1];
        let why = (!is_proven).then_some(Why::FlowedBefore);
        assert_eq!(proof.why(), why, "{pause_s}: {}", told(&heard));
        assert!(
            matches!(proofs(&heard, Rule::GasPreflow)[1], Proof::Held { .. }),
            "{pause_s}: {}",
            told(&heard)
        );
    }
}

#[test]
fn gas_that_flows_as_the_data_begin_is_too_long_only_where_what_was_seen_is() {
    let plan = Plan::new(Over::Pause(20.0));
    let [one, _] = plan.bands();
    for (lead_s, expected) in [(4.0, None), (6.0, None), (9.0, Some(Rule::GasPreflowLong))] {
        let from = ((one.start - lead_s) * 50.0) as u64;
        let mut noise = Noise::new(3, 0);
        let mut gas = lagging(0.3, |s| s < one.start || plan.gas_flows(s));
        // The meter has settled by the first row.
        (0..100).for_each(|_| _ = gas(Channel::Gas, 0.0, 0.0));
        let samples: Vec<_> = (from..9000)
            .map(|index| {
                let s = index as f64 / 50.0;
                Channel::ALL.into_iter().fold(Sample::at(index * 20_000), |sample, channel| {
                    let shown = plan.value(channel, s, &mut noise);
                    gas(channel, s, shown).map_or(sample, |shown| with(sample, channel, shown))
                })
            })
            .collect();
        let heard = watch(procedure(), acquisition(20_000, &Channel::ALL), samples).0;
        let proof = proofs(&heard, Rule::GasPreflowLong)[0];
        assert_eq!(heard.bands[0].broken().iter().next(), expected, "{lead_s}: {}", told(&heard));
        assert_eq!(
            proof.why(),
            expected.is_none().then_some(Why::FlowedBefore),
            "{lead_s}: {}",
            told(&heard)
        );
    }
}

/// When alarms of a rule stood that break a limit, s.
fn stood(heard: &Heard, rule: Rule) -> Vec<Span<f64>> {
    let (mut spans, mut since_s) = (Vec::new(), None);
    for alarm in heard.alarms(rule) {
        let time_s = alarm.time_us as f64 / 1e6;
        match alarm.kind {
            AlarmKind::Raised | AlarmKind::Escalated if alarm.severity >= Severity::Warn => {
                since_s = since_s.or(Some(time_s));
            }
            AlarmKind::Cleared => spans.extend(since_s.take().map(|since_s| since_s..time_s)),
            _ => {}
        }
    }
    spans.extend(since_s.map(|since_s| since_s..f64::INFINITY));
    spans
}

fn common_s(spans: [&Span<f64>; 3]) -> f64 {
    let from_s = spans.iter().map(|span| span.start).fold(f64::MIN, f64::max);
    let to_s = spans.iter().map(|span| span.end).fold(f64::MAX, f64::min);
    (to_s - from_s).max(0.0)
}

fn overs() -> impl Strategy<Value = Over> {
    prop_oneof![
        Just(Over::Step),
        (3.2..12.0).prop_map(Over::Pause),
        (0.3..2.5, 0.3..6.0).prop_map(|(lasts_s, before_s)| Over::Tack(lasts_s, before_s)),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// No band is held in a limit whose alarm stood within it while its value was wrong for as long as the alarm
    /// waits, whatever the order of events; and no band is broken by what was over before it.
    #[test]
    fn no_band_is_held_in_a_limit_whose_alarm_stood_in_it(
        over in overs(), fault in proptest::sample::select(FAULTS.to_vec()), from in 0.0..1.0, lasts_s in 0.5..150.0,
    ) {
        let plan = Plan::new(over);
        let [one, two] = plan.bands();
        let from_s = one.start - 8.0 + from * (two.end - one.start);
        let when = from_s..from_s + lasts_s;
        let heard = plan.see(fails(fault, when.clone()));
        let rule = fault.2;
        let waits_s = f64::from(rule.default_setting().on_delay_us) / 1e6 + 1.5;
        prop_assert_eq!(heard.bands.len(), 2, "{}", told(&heard));
        for (band, span) in heard.bands.iter().zip([one, two]) {
            let proof = band.proof.get(rule);
            for alarm in stood(&heard, rule) {
                let lasted_s = common_s([&span, &when, &alarm]);
                prop_assert!(
                    lasted_s < waits_s || matches!(proof, Proof::Broken { .. }),
                    "{:?} {:?} {:?} {}: {:?} {}", over, rule, when, lasted_s, proof, told(&heard)
                );
            }
            // A band is open until its arc is known to be out; a mean looks back.
            let open = span.start - 1.0..span.end + 4.0;
            let is_touched = common_s([&open, &when, &(0.0..f64::MAX)]) > 0.0;
            prop_assert!(
                is_touched || !matches!(proof, Proof::Broken { .. }),
                "{:?} {:?} {:?}: {:?} {}", over, rule, when, proof, told(&heard)
            );
        }
    }
}

/// Where the pipe stands for two seconds in the second band under one arc, it is told as in any other.
#[test]
fn a_pipe_that_stands_after_a_step_is_told() {
    let plan = Plan::new(Over::Step);
    for (band, from_s) in plan.bands().into_iter().zip([20.0, 20.0]) {
        for stood_s in [1.4, 2.0, 2.4] {
            let start_s = band.start + from_s;
            let stands = |s: f64| TURNS_DEG_S * (s - start_s).clamp(0.0, stood_s);
            let heard = plan.see(|channel, s, shown| {
                Some(shown - if channel == Channel::Spindle { stands(s) } else { 0.0 })
            });
            let told = [Rule::SpindleStall, Rule::SpindleSlip];
            assert!(
                told.iter().any(|&rule| !heard.alarms(rule).is_empty()),
                "{stood_s} s from {start_s} s on"
            );
        }
    }
}

/// Where rows are missing while the carriage steps, nobody knows when it did: no overlap is told, neither short nor long.
#[test]
fn a_step_in_a_hole_proves_and_breaks_no_overlap() {
    let plan = Plan::new(Over::Step);
    let [one, _] = plan.bands();
    for hole_s in [2.0, 4.0, 6.0] {
        let hole = one.end - hole_s / 2.0..one.end + hole_s / 2.0;
        let mut samples = plan.samples(|_, _, shown| Some(shown));
        samples.retain(|sample| !hole.contains(&(sample.time_us as f64 / 1e6)));
        let heard = watch(procedure(), acquisition(20_000, &Channel::ALL), samples).0;
        assert_eq!(heard.bands.len(), 2, "{hole_s} s");
        for band in &heard.bands {
            for rule in [Rule::OverlapShort, Rule::OverlapLong] {
                let proof = band.proof.get(rule);
                assert!(
                    matches!(proof, Proof::NotProven { .. }),
                    "{hole_s} s, band {}: {proof:?}",
                    band.band
                );
            }
        }
    }
}

/// A step whose band began in a hole longer than any band is joined over is a step all the same.
#[test]
fn a_step_after_a_long_hole_ends_the_band() {
    let plan = Plan::new(Over::Step);
    let [one, two] = plan.bands();
    let hole = one.start + 20.0..one.start + 40.0;
    let mut samples = plan.samples(|_, _, shown| Some(shown));
    samples.retain(|sample| !hole.contains(&(sample.time_us as f64 / 1e6)));
    let heard = watch(procedure(), acquisition(20_000, &Channel::ALL), samples).0;
    let last = heard.bands.last().expect("the second band");
    assert!((last.start_us as f64 / 1e6 - two.start).abs() < 0.5, "{} us", last.start_us);
    assert!(matches!(last.proof.get(Rule::OverlapLong), Proof::Held { .. }), "{:?}", last.proof);
}

/// Without the carriage, or without the angle, nobody knows how many bands lie under one arc: none of them is broken.
#[test]
fn bands_under_one_arc_that_cannot_be_told_apart_are_not_broken() {
    let plan = Plan::new(Over::Step);
    for lost in [Channel::Carriage, Channel::Spindle] {
        let wired: Vec<_> = Channel::ALL.into_iter().filter(|&channel| channel != lost).collect();
        let samples = plan.samples(|channel, _, shown| (channel != lost).then_some(shown));
        let heard = watch(procedure(), acquisition(20_000, &wired), samples).0;
        for band in &heard.bands {
            assert_eq!(band.outcome, Outcome::NotProven, "without {lost:?}: {:?}", band.violated);
        }
    }
}

/// A pipe that stands past 350 degrees, where a band may end, and then turns on under the arc did not end its band.
#[test]
fn a_pipe_that_stands_by_the_tie_in_and_turns_on_is_told() {
    for over in [Over::Step, Over::Pause(20.0)] {
        let plan = Plan { over, overlap_deg: [20.0, 20.0] };
        for (band, from_deg) in plan.bands().into_iter().zip([356.0, 362.0]) {
            for stood_s in [1.3, 1.7, 2.1, 2.5, 3.0, 4.0] {
                let start_s = band.start + from_deg / TURNS_DEG_S;
                let stands = |s: f64| TURNS_DEG_S * (s - start_s).clamp(0.0, stood_s);
                let heard = plan.see(|channel, s, shown| {
                    Some(shown - if channel == Channel::Spindle { stands(s) } else { 0.0 })
                });
                let told = [Rule::SpindleStall, Rule::SpindleSlip];
                let is_told = told.iter().any(|&rule| !heard.alarms(rule).is_empty());
                assert!(is_told, "{over:?}: {stood_s} s from {from_deg} degrees on");
            }
        }
    }
}
