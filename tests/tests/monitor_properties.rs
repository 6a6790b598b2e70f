//! Nothing whatever makes the monitor panic or tell nonsense; how a trace is cut makes no difference.

use bandward::delta::{Decoder, Encoder, LONGEST_SAMPLE};
use bandward::procedure::{
    AlarmSetting, ArcSettings, Geometry, JointPlan, Limits, Polarity, Range, Rotation,
};
use bandward::record::joint::Shortfall;
use bandward::sample::ChannelSet;
use bandward::units::{Current, Length, Temperature, Voltage};
use bandward::{
    Acquisition, AlarmKind, Channel, Event, Monitor, Outcome, Procedure, Quantity, Rule, Sample, Severity,
    SoundProcedure,
};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::replay::sound;
use bandward_tests::heard::Heard;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;
use std::collections::BTreeMap;
use std::path::Path;

/// What happens next.
#[derive(Clone, Debug)]
enum Step {
    /// The clock goes on and some channels read something.
    Read {
        wait: Wait,
        readings: Vec<(Channel, i32)>,
        times: u8,
    },
    Acknowledge,
    Shelve(Rule, u32),
    MarkJoint,
}

#[derive(Clone, Copy, Debug)]
enum Wait {
    On(u64),
    Back(u64),
    To(u64),
}

fn raw() -> impl Strategy<Value = i32> {
    prop_oneof![
        2 => any::<i32>(),
        1 => select(vec![i32::MIN, i32::MIN + 1, -1, 0, 1, i32::MAX - 1, i32::MAX]),
        3 => -300 * 4096..300 * 4096_i32,
    ]
}

/// Mostly an arc that burns, so that every tracker is reached; else anything.
fn readings() -> impl Strategy<Value = Vec<(Channel, i32)>> {
    let wild = || vec((select(Channel::ALL.to_vec()), raw()), 0..9);
    let lit =
        (200 * 4096..300 * 4096_i32, 20 * 4096..36 * 4096_i32, wild()).prop_map(|(amps, volts, mut rest)| {
            rest.retain(|(channel, _)| *channel > Channel::Voltage);
            rest.extend([(Channel::Current, amps), (Channel::Voltage, volts)]);
            rest
        });
    prop_oneof![2 => lit, 1 => wild()]
}

fn step() -> impl Strategy<Value = Step> {
    let wait = prop_oneof![
        8 => (0..200_000_u64).prop_map(Wait::On),
        2 => (0..100_000_000_u64).prop_map(Wait::On),
        1 => any::<u64>().prop_map(Wait::Back),
        1 => select(vec![0, 1, u64::MAX - 1, u64::MAX]).prop_map(Wait::To),
    ];
    let read =
        (wait, readings(), 1..40_u8).prop_map(|(wait, readings, times)| Step::Read { wait, readings, times });
    prop_oneof![
        20 => read,
        1 => Just(Step::Acknowledge),
        1 => Just(Step::MarkJoint),
        1 => (select(Rule::ALL.to_vec()), any::<u32>()).prop_map(|(rule, for_us)| Step::Shelve(rule, for_us)),
    ]
}

fn range() -> impl Strategy<Value = Range> {
    (raw(), raw()).prop_map(|(one, other)| Range { low: one.min(other), high: one.max(other) })
}

fn limits() -> impl Strategy<Value = Limits> {
    (proptest::option::of(range()), proptest::option::of(range()), proptest::option::of(raw()))
        .prop_map(|(recommended, allowed, floor)| Limits { recommended, allowed, floor })
}

fn setting() -> impl Strategy<Value = AlarmSetting> {
    let delay = || prop_oneof![Just(0), 0..3_000_000_u32, any::<u32>()];
    let severity = select(vec![Severity::Advise, Severity::Warn, Severity::Stop]);
    (delay(), delay(), delay(), 0..i32::MAX, any::<bool>(), severity).prop_map(
        |(on_delay_us, off_delay_us, re_alarm_us, deadband, latched, severity)| AlarmSetting {
            on_delay_us,
            off_delay_us,
            re_alarm_us,
            deadband: if deadband % 2 == 0 { deadband / 4096 } else { deadband },
            latched,
            severity,
        },
    )
}

prop_compose! {
    /// Any procedure at all that is sound.
    fn procedure()(
        limits in vec((select(Quantity::ALL.to_vec()), limits()), 0..15),
        settings in vec((select(Rule::ALL.to_vec()), setting()), 0..31),
        polarity in proptest::option::of(select(vec![Polarity::ElectrodePositive, Polarity::ElectrodeNegative])),
        lengths in proptest::array::uniform4(proptest::option::of(raw().prop_map(Length::from_bits))),
        deposition_efficiency_milli in 1..=1000_u16,
        run_out in raw().prop_map(Length::from_bits),
        until in raw().prop_map(Temperature::from_bits),
        joint in joint_plan(),
        waived in vec(select(Quantity::ALL.to_vec()), 0..4),
        arc in proptest::option::of((raw(), raw(), raw(), any::<[u32; 3]>())),
    ) -> Procedure {
        let mut procedure = Procedure::new();
        for (quantity, limits) in limits {
            procedure = procedure.clone().with_limits(quantity, limits).unwrap_or(procedure);
        }
        for (rule, setting) in settings {
            procedure = procedure.with_alarm(rule, setting).expect("no negative deadband");
        }
        procedure.polarity = polarity;
        procedure.cooling_until = procedure.limits(Quantity::Cooling).map(|_| until);
        for quantity in waived {
            procedure = procedure.judged_where_possible(quantity);
        }
        procedure.joint = joint;
        let positive = |length: Length| Length::from_bits(length.to_bits().saturating_abs().max(1));
        let [outside_diameter, wire_diameter, stick_out, band_width] = lengths;
        procedure.geometry = Geometry {
            outside_diameter: outside_diameter.map(positive),
            wire_diameter: wire_diameter.map(positive),
            deposition_efficiency_milli,
            stick_out,
            band_width: band_width.map(positive),
            run_out,
        };
        if let Some((one, other, open, [strike_us, outage_join_us, gap_join_us])) = arc {
            let (one, other) = (one.saturating_abs().max(1), other.saturating_abs().max(1));
            let off = one.min(other).min(i32::MAX - 1);
            procedure.arc = ArcSettings {
                crater_fill_us: 4_000_000,
                current_on: Current::from_bits(one.max(other).max(off + 1)),
                current_off: Current::from_bits(off),
                open_circuit: Voltage::from_bits(open),
                strike_us,
                outage_join_us,
                gap_join_us,
            };
        }
        procedure
    }
}

fn rotation() -> impl Strategy<Value = Option<Rotation>> {
    proptest::option::of(select(vec![Rotation::Clockwise, Rotation::CounterClockwise]))
}

prop_compose! {
    fn joint_plan()(
        groups in prop_oneof![Just([0; 4]), any::<[u8; 4]>()],
        bands in prop_oneof![Just(0), 1..4_u16, any::<u16>()],
        rotation in rotation(),
        beyond in proptest::option::of((1..i32::MAX).prop_map(Length::from_bits)),
        ends_with_arc_off_us in proptest::option::of(prop_oneof![0..5_000_000_u32, any::<u32>()]),
    ) -> JointPlan {
        let in_groups = groups.iter().map(|&bands| u16::from(bands)).sum();
        let bands = if in_groups > 0 { in_groups } else { bands };
        JointPlan { bands, groups, rotation, ends_with_carriage_beyond: beyond, ends_with_arc_off_us }
    }
}

fn acquisition() -> impl Strategy<Value = Acquisition> {
    let period = prop_oneof![Just(20_u32), Just(20_000), Just(5_000_000), any::<u32>()];
    let tolerance = prop_oneof![Just(0_u32), Just(500_000), Just(20_000_000), any::<u32>()];
    let channels = prop_oneof![Just(ChannelSet::ALL), any::<u16>().prop_map(ChannelSet::from_bits)];
    let counts = proptest::option::of(any::<u32>());
    let sensors = vec((select(Channel::ALL.to_vec()), range()), 0..4);
    (period, tolerance, channels, rotation(), counts, sensors).prop_map(
        |(period_us, gap_tolerance_us, channels, spindle_sense, spindle_counts, sensors)| {
            let usual = Acquisition::every(period_us, channels);
            let plain = Acquisition { gap_tolerance_us, spindle_sense, spindle_counts, ..usual };
            sensors.into_iter().fold(plain, |plain, (channel, range)| plain.with_sensor_range(channel, range))
        },
    )
}

fn run(procedure: &SoundProcedure, acquisition: Acquisition, steps: &[Step]) -> (Heard, Monitor) {
    let mut monitor = Monitor::new(procedure, acquisition);
    let heard = run_on(&mut monitor, steps);
    (heard, monitor)
}

fn run_on(monitor: &mut Monitor, steps: &[Step]) -> Heard {
    let (mut heard, mut now_us) = (Heard::default(), 0_u64);
    for step in steps {
        match step {
            Step::Acknowledge => monitor.acknowledge(now_us, &mut heard),
            Step::MarkJoint => monitor.mark_joint(now_us, &mut heard),
            Step::Shelve(rule, for_us) => monitor.shelve(*rule, *for_us, &mut heard),
            Step::Read { wait, readings, times } => {
                for time in 0..*times {
                    now_us = match *wait {
                        Wait::On(us) => now_us.saturating_add(us),
                        Wait::Back(us) => now_us.saturating_sub(us),
                        Wait::To(us) => us,
                    };
                    let moved = |raw: i32| raw.wrapping_add(i32::from(time % 3));
                    let sample = readings.iter().fold(Sample::at(now_us), |sample, &(channel, raw)| {
                        sample.with_raw(channel, moved(raw))
                    });
                    monitor.step(&sample, &mut heard);
                }
            }
        }
    }
    monitor.finish(&mut heard);
    heard
}

/// What may be known of one alarm from its events alone.
#[derive(Clone, Copy, Debug, Default)]
struct Life {
    active: Option<Severity>,
    acknowledged: bool,
    shelved: bool,
}

/// Walks through the lives of all alarms; gives the worst that is still active.
fn check_lives(events: &[Event]) -> Option<Severity> {
    let mut lives = BTreeMap::<(Rule, Option<Channel>), Life>::new();
    for event in events {
        let Event::Alarm(alarm) = event else { continue };
        // The channel of a rule that is not about one is a detail of its message.
        let channel = alarm.channel.filter(|_| alarm.rule.is_about_a_channel());
        let life = lives.entry((alarm.rule, channel)).or_default();
        match alarm.kind {
            AlarmKind::Raised => {
                assert!(life.active.is_none(), "raised twice: {alarm:?}");
                let shelved = life.shelved && alarm.severity < Severity::Stop;
                *life = Life { active: Some(alarm.severity), acknowledged: false, shelved };
            }
            AlarmKind::Escalated => {
                assert!(life.active.is_some() && life.active < Some(alarm.severity), "{life:?} {alarm:?}");
                let shelved = life.shelved && alarm.severity < Severity::Stop;
                *life = Life { active: Some(alarm.severity), acknowledged: false, shelved };
            }
            AlarmKind::Cleared => {
                assert_eq!(life.active, Some(alarm.severity), "cleared, not raised: {alarm:?}");
                *life = Life { active: None, acknowledged: false, ..*life };
            }
            AlarmKind::Acknowledged => {
                assert!(life.active.is_some() && !life.acknowledged, "{life:?} {alarm:?}");
                life.acknowledged = true;
            }
            AlarmKind::Repeated => {
                assert!(life.active.is_some() && life.acknowledged, "{life:?} {alarm:?}");
                life.acknowledged = false;
            }
            AlarmKind::Shelved => {
                assert!(life.active < Some(Severity::Stop), "a stop is not put away: {alarm:?}");
                life.shelved = true;
            }
            AlarmKind::Unshelved => {
                assert!(life.shelved, "{life:?} {alarm:?}");
                life.shelved = false;
            }
        }
    }
    lives.values().filter_map(|life| life.active).max()
}

/// Bands and joints are counted without a hole, and no joint is better than what it is made of.
fn check_joints(heard: &Heard, asks: bool) {
    let mut bands = heard.bands.iter();
    for (joint, number) in heard.joints.iter().zip(1..) {
        assert_eq!(joint.joint, number);
        let of_it: Vec<_> = bands.by_ref().take(usize::from(joint.bands)).collect();
        for (band, number) in of_it.iter().zip(1..) {
            assert_eq!((band.joint, band.band), (joint.joint, number));
            assert!(band.outcome <= joint.outcome, "{band:?} {joint:?}");
            assert_eq!(band.outcome == Outcome::Broken, !band.broken().is_empty());
            let is_open = !band.not_proven().is_empty() || band.start_unseen;
            assert!(band.outcome != Outcome::Proven || !is_open, "{band:?}");
        }
        assert_eq!(of_it.len(), usize::from(joint.bands));
        assert!(!asks || joint.outcome != Outcome::NotAsked, "{joint:?}");
        let is_whole = joint.shortfalls.is_empty() && joint.not_proven.is_empty() && joint.broken.is_empty();
        assert!(joint.outcome != Outcome::Proven || is_whole, "{joint:?}");
        assert_eq!(joint.bands == 0, joint.shortfalls.contains(Shortfall::NoBand));
    }
    assert_eq!(bands.next(), None, "every band belongs to a joint that was done");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// No samples, times, limits or settings make it panic; every alarm lives a life in order; bands
    /// come in order.
    #[test]
    fn nothing_whatever_breaks_it(
        procedure in procedure(),
        acquisition in acquisition(),
        steps in vec(step(), 1..60),
    ) {
        let asks = procedure.asks();
        let (heard, monitor) = run(&sound(&procedure), acquisition, &steps);
        prop_assert_eq!(check_lives(&heard.events), monitor.worst_active());
        for rule in Rule::ALL {
            let _ = monitor.not_judged(rule);
        }
        check_joints(&heard, asks);
        for band in &heard.bands {
            prop_assert!(band.start_us <= band.end_us);
            prop_assert!(band.arc_time_us <= band.end_us - band.start_us);
            if let Some(current) = band.current {
                prop_assert!(current.minimum <= current.mean && current.mean <= current.maximum);
            }
            prop_assert!(band.violated.iter().all(|rule| !band.advised.contains(rule)));
        }
    }

    /// Started in place after whatever it watched before, it says what a new one says.
    #[test]
    fn nothing_is_left_of_an_earlier_watch(
        before in (procedure(), acquisition(), vec(step(), 1..40)),
        after in (procedure(), acquisition(), vec(step(), 1..40)),
    ) {
        let mut monitor = Monitor::new(&sound(&before.0), before.1);
        run_on(&mut monitor, &before.2);
        monitor.start(&sound(&after.0), after.1);
        let (fresh, _) = run(&sound(&after.0), after.1, &after.2);
        prop_assert_eq!(bytes(&run_on(&mut monitor, &after.2)), bytes(&fresh));
    }

    /// A procedure that came over a wire as other bytes than were sent: it is found unsound, or does no harm.
    #[test]
    fn a_procedure_of_changed_bytes_does_not_break_it(
        procedure in procedure(),
        changes in vec((any::<proptest::sample::Index>(), any::<u8>()), 1..20),
        steps in vec(step(), 1..30),
    ) {
        let mut bytes = postcard::to_allocvec(&procedure).unwrap();
        for (place, byte) in changes {
            *place.get_mut(&mut bytes) = byte;
        }
        let changed = postcard::from_bytes::<Procedure>(&bytes).ok().map(SoundProcedure::try_from);
        if let Some(Ok(changed)) = changed {
            let acquisition = Acquisition { gap_tolerance_us: 500_000, ..Acquisition::every(20_000, ChannelSet::ALL) };
            let (heard, monitor) = run(&changed, acquisition, &steps);
            prop_assert_eq!(check_lives(&heard.events), monitor.worst_active());
        }
    }
}

/// All state lies in the value itself: the core has no allocator to take more from. Its size is that of
/// a few thousand readings of nothing: it cannot hold a trace.
#[test]
fn the_state_has_a_fixed_small_size() {
    assert!(size_of::<Monitor>() < 16 * 1024, "{} bytes", size_of::<Monitor>());
}

/// Everything that was told, as bytes.
fn bytes(heard: &Heard) -> Vec<u8> {
    let mut bytes = Vec::new();
    for event in &heard.events {
        bytes.extend(postcard::to_allocvec(event).unwrap());
    }
    for band in &heard.bands {
        bytes.extend(postcard::to_allocvec(band).unwrap());
    }
    for joint in &heard.joints {
        bytes.extend(postcard::to_allocvec(joint).unwrap());
    }
    bytes
}

/// A made joint with a fault, as samples.
fn joint(rule: Rule) -> (Procedure, Acquisition, Vec<Sample>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/procedures/quick-joint.toml");
    let file = ProcedureFile::read(&path).expect("the procedure is sound");
    let good = Scenario::good(Targets::of_file(&file), 50.0);
    let scenario = good.with_default_fault(rule, 3).expect("a fault is made for the rule");
    let samples = scenario.rows().map(|row| row.to_sample()).collect();
    let acquisition =
        Acquisition { gap_tolerance_us: 250_000, ..Acquisition::every(20_000, scenario.channels) };
    (file.procedure, acquisition, samples)
}

/// Sends samples as delta blocks and back.
fn over_the_wire(samples: &[Sample]) -> Vec<Sample> {
    let (mut encoder, mut used) = (Encoder::new(), 0);
    let mut block = vec![0; samples.len() * LONGEST_SAMPLE];
    for sample in samples {
        used += encoder.push(sample, &mut block[used..]).expect("there is room");
    }
    Decoder::new(&block[..used]).map(|sample| sample.expect("as it was sent")).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Cut anywhere, sent as postcard or as delta blocks, the monitor put aside and taken up between:
    /// the same events and records, byte for byte.
    #[test]
    fn cutting_a_trace_makes_no_difference(
        rule in select(vec![Rule::ArcOutage, Rule::SignalLate, Rule::SpindleSlip, Rule::GasPostflow]),
        cuts in vec(1..3000_usize, 1..40),
    ) {
        let (procedure, acquisition, samples) = joint(rule);
        let mut whole = Heard::default();
        let mut monitor = Monitor::new(&sound(&procedure), acquisition);
        for sample in &samples {
 monitor.step(sample, &mut whole);
 }
        monitor.finish(&mut whole);
        prop_assert!(whole.bands.len() >= 2 && whole.raised_s(rule).is_some());

        let mut pieces = Heard::default();
        let mut monitor = Monitor::new(&sound(&procedure), acquisition);
        let (mut rest, mut cuts) = (&samples[..], cuts.into_iter().cycle());
        while !rest.is_empty() {
            let length = cuts.next().unwrap().min(rest.len());
            let (piece, after) = rest.split_at(length);
            rest = after;
            let sent: Vec<Sample> = if length % 2 == 0 {
                postcard::from_bytes(&postcard::to_allocvec(piece).unwrap()).unwrap()
            } else {
                over_the_wire(piece)
            };
            for sample in &sent {
 monitor.step(sample, &mut pieces);
 }
            monitor = monitor.clone();
        }
        monitor.finish(&mut pieces);
        prop_assert_eq!(bytes(&whole), bytes(&pieces));
    }
}
