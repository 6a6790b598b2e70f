//! The timeline of one alarm.
//!
//! Source: OPC UA 10000-9 (alarms and conditions), annex B.1.5, which draws a value against its limit
//! with on-delay, off-delay, deadband, acknowledgement and re-alarm time; the steps below follow the
//! drawing. Latching and shelving: the lifecycle of IEC 62682 (from memory).

use bandward::alarms::point::{AlarmPoint, Judgement, Moment};
use bandward::event::Position;
use bandward::judge::envelope::{self, Tiers};
use bandward::procedure::{AlarmSetting, Limits, Range};
use bandward::rule::Side;
use bandward::{AlarmEvent, AlarmKind, Procedure, Quantity, Rule, Sample, Severity};
use bandward_tests::heard::{Heard, acquisition, arc, watch};

const TICK_US: u32 = 10_000;
const LIMIT: i32 = 100;
const SETTING: AlarmSetting = AlarmSetting {
    on_delay_us: 500_000,
    off_delay_us: 1_000_000,
    re_alarm_us: 3_000_000,
    deadband: 10,
    latched: false,
    severity: Severity::Warn,
};

/// A value held against a high limit of 100, every 10 ms.
struct Line {
    point: AlarmPoint,
    setting: AlarmSetting,
    now_us: u64,
}

impl Line {
    fn new(setting: AlarmSetting) -> Self {
        Self { point: AlarmPoint::default(), setting, now_us: 0 }
    }
    fn moment(&self) -> Moment {
        Moment { now_us: self.now_us, elapsed_us: TICK_US, position: Position { band: 1, turned: None } }
    }
    /// Holds `value` for `ms`; gives what happened and when, ms from the start of the stretch.
    fn hold(&mut self, value: i32, ms: u64) -> Vec<(AlarmKind, u64)> {
        let limits =
            Limits { recommended: None, allowed: Some(Range { low: i32::MIN, high: LIMIT }), floor: None };
        let start_us = self.now_us;
        let mut happened = Vec::new();
        while self.now_us < start_us + ms * 1000 {
            self.now_us += u64::from(TICK_US);
            let previous = self.point.level();
            let standing =
                envelope::stand(value, &limits, Side::High, &self.setting, Tiers::Ranges, previous);
            let judgement =
                Judgement::Judged { level: standing.level, value, limit: standing.limit, since_us: None };
            let event = self.point.update(Rule::VoltageHigh, None, &self.setting, judgement, &self.moment());
            happened.extend(event.map(|event| (event.kind, (event.time_us - start_us) / 1000)));
        }
        happened
    }
    fn acknowledge(&mut self) -> Option<AlarmKind> {
        self.point.acknowledge(Rule::VoltageHigh, None, &self.moment()).map(|event| event.kind)
    }
}

/// Exactly one thing happened, within two ticks of `at_ms`.
#[track_caller]
fn one(happened: &[(AlarmKind, u64)], kind: AlarmKind, at_ms: u64) {
    let [(what, when_ms)] = *happened else { panic!("{happened:?}, expected {kind:?} at {at_ms} ms") };
    assert_eq!(what, kind);
    assert!((at_ms..=at_ms + 20).contains(&when_ms), "{kind:?} at {when_ms} ms, expected {at_ms} ms");
}

#[test]
fn the_timeline_of_the_standard() {
    let mut line = Line::new(SETTING);
    assert_eq!(line.hold(50, 2000), [], "in the normal range");
    assert_eq!(line.hold(150, 450), [], "a spike shorter than the on-delay");
    assert_eq!(line.hold(50, 1000), []);
    one(&line.hold(150, 2000), AlarmKind::Raised, 500);
    assert_eq!(line.hold(95, 5000), [], "below the limit and inside the deadband it stays active");
    assert_eq!(line.hold(50, 900), [], "a drop shorter than the off-delay");
    assert_eq!(line.hold(150, 1000), [], "still the same alarm");
    assert!(line.point.wants_attention());
    assert_eq!(line.acknowledge(), Some(AlarmKind::Acknowledged));
    assert_eq!(line.acknowledge(), None, "acknowledged once");
    assert!(!line.point.wants_attention());
    assert_eq!(line.point.active(), Some(Severity::Warn), "acknowledged and active");
    one(&line.hold(150, 3500), AlarmKind::Repeated, 3000);
    assert!(line.point.wants_attention(), "the re-alarm time brings it back, not acknowledged");
    assert_eq!(line.acknowledge(), Some(AlarmKind::Acknowledged));
    one(&line.hold(50, 1500), AlarmKind::Cleared, 1000);
    assert_eq!(line.point.active(), None);
    one(&line.hold(150, 600), AlarmKind::Raised, 500);
    assert!(line.point.wants_attention(), "a new alarm, whatever was acknowledged before");
}

#[test]
fn a_latched_alarm_waits_for_its_acknowledgement() {
    let mut line = Line::new(AlarmSetting { latched: true, re_alarm_us: 0, ..SETTING });
    one(&line.hold(150, 1000), AlarmKind::Raised, 500);
    assert_eq!(line.hold(50, 10_000), [], "its cause is gone, and it stays");
    assert_eq!(line.point.active(), Some(Severity::Warn));
    line.acknowledge();
    one(&line.hold(50, 1000), AlarmKind::Cleared, 10);
}

#[test]
fn a_shelved_alarm_is_judged_and_asks_for_nothing() {
    let mut line = Line::new(AlarmSetting { re_alarm_us: 0, ..SETTING });
    let moment = line.moment();
    let shelved = line.point.shelve(2_000_000, Rule::VoltageHigh, None, &moment).unwrap();
    assert_eq!(shelved.kind, AlarmKind::Shelved);
    one(&line.hold(150, 1900), AlarmKind::Raised, 500);
    assert!(!line.point.wants_attention());
    one(&line.hold(150, 500), AlarmKind::Unshelved, 100);
    assert!(line.point.wants_attention());
    let moment = line.moment();
    line.point.shelve(2_000_000, Rule::VoltageHigh, None, &moment);
    let back = line.point.shelve(0, Rule::VoltageHigh, None, &moment).unwrap();
    assert_eq!(back.kind, AlarmKind::Unshelved);
    assert!(line.point.wants_attention());
}

/// A stop is for the person at the torch, whoever put a milder alarm of the same rule away before: common practice, no
/// source.
#[test]
fn a_stop_is_not_put_away() {
    let mut line = Line::new(AlarmSetting { re_alarm_us: 0, ..SETTING });
    let mut moment = line.moment();
    line.point.shelve(60_000_000, Rule::VoltageHigh, None, &moment);
    let stop = Judgement::Judged { level: Some(Severity::Stop), value: 150, limit: None, since_us: None };
    let mut heard = Vec::new();
    for _ in 0..100 {
        moment = Moment { now_us: moment.now_us + 10_000, elapsed_us: 10_000, ..moment };
        heard.extend(line.point.update(Rule::VoltageHigh, None, &SETTING, stop, &moment));
    }
    assert!(
        matches!(heard[..], [AlarmEvent { kind: AlarmKind::Raised, severity: Severity::Stop, .. }]),
        "{heard:?}"
    );
    assert!(line.point.wants_attention(), "what was put away before is back");
    assert_eq!(line.point.shelve(60_000_000, Rule::VoltageHigh, None, &moment), None);
    assert!(line.point.wants_attention());
    line.point.acknowledge(Rule::VoltageHigh, None, &moment);
    assert!(!line.point.wants_attention(), "acknowledged it can be");
}

#[test]
fn what_happens_as_the_shelf_ends_is_not_lost() {
    let mut line = Line::new(AlarmSetting { on_delay_us: 0, off_delay_us: 0, ..SETTING });
    let moment = line.moment();
    line.point.shelve(20_000, Rule::VoltageHigh, None, &moment);
    assert_eq!(line.hold(50, 10), []);
    one(&line.hold(150, 10), AlarmKind::Raised, 10);
    one(&line.hold(150, 10), AlarmKind::Unshelved, 10);
}

/// The timeline once more with a voltage that a whole monitor watches: 0.3 V of deadband, 0.5 s to
/// raise, 1 s to clear, a mean over a second in between.
#[test]
fn a_monitor_keeps_the_timeline() {
    let volts = |value: f64| (value * 4096.0) as i32;
    let limits = Limits {
        recommended: None,
        allowed: Some(Range { low: volts(26.0), high: volts(30.0) }),
        floor: None,
    };
    let procedure = Procedure::new().with_limits(Quantity::Voltage, limits).unwrap();
    let level = |s: f64| match s {
        _ if (10.0..10.3).contains(&s) => 32.0,
        _ if (20.0..25.0).contains(&s) => 32.0,
        // Inside by less than the deadband.
        _ if (25.0..30.0).contains(&s) => 29.85,
        _ => 28.0,
    };
    let samples = (0..2000).map(|index| {
        let sample = Sample::at(index * 20_000);
        arc(sample, 250.0, level(sample.time_us as f64 / 1e6))
    });
    let wired = acquisition(20_000, &[bandward::Channel::Current, bandward::Channel::Voltage]);
    let (heard, _): (Heard, _) = watch(procedure, wired, samples);
    let told = heard.alarms(Rule::VoltageHigh);
    assert_eq!(
        told.iter().map(|event| event.kind).collect::<Vec<_>>(),
        [AlarmKind::Raised, AlarmKind::Cleared]
    );
    // The mean over a second is above 30 V half a second after the step, and back inside by the
    // deadband 0.9 s after the last one.
    let at_s = |index: usize| told[index].time_us as f64 / 1e6;
    assert!((21.0..21.2).contains(&at_s(0)), "raised at {} s", at_s(0));
    assert!((31.0..32.2).contains(&at_s(1)), "cleared at {} s", at_s(1));
}
