//! One alarm, told of a judgement every tenth of a second: what must happen follows from its delays.
#![allow(clippy::expect_used)]

use super::*;

const MS: u32 = 1000;
const RULE: Rule = Rule::VoltageHigh;
const SETTING: AlarmSetting = AlarmSetting {
    on_delay_us: 300 * MS,
    off_delay_us: 500 * MS,
    latched: false,
    re_alarm_us: 0,
    ..RULE.default_setting()
};

/// An alarm that is told of a judgement every 100 ms.
struct Told {
    point: AlarmPoint,
    setting: AlarmSetting,
    rule: Rule,
    now_us: u64,
}

fn told(setting: AlarmSetting) -> Told {
    Told { point: AlarmPoint::new(), setting, rule: RULE, now_us: 1_000_000 }
}
fn judged(level: Option<Severity>, value: i32) -> Judgement {
    Judgement::Judged { level, value, limit: Some(100), since_us: None }
}
const WARN: Option<Severity> = Some(Severity::Warn);
const STOP: Option<Severity> = Some(Severity::Stop);
const ADVISE: Option<Severity> = Some(Severity::Advise);

impl Told {
    fn moment(&self) -> Moment {
        let turned = Some(Degrees::from_bits(self.now_us as i32));
        Moment { now_us: self.now_us, elapsed_us: 100 * MS, position: Position { band: 3, turned } }
    }
    fn take(&mut self, judgement: Judgement) -> Option<AlarmEvent> {
        self.now_us += 100_000;
        let moment = self.moment();
        self.point.update(self.rule, None, &self.setting, judgement, &moment)
    }
    /// The same judgement again and again until something happens: after how many ticks, and what.
    fn until(&mut self, judgement: Judgement) -> Option<(u32, AlarmEvent)> {
        (1..200).find_map(|tick| self.take(judgement).map(|event| (tick, event)))
    }
    fn kinds(&mut self, judgement: Judgement, ticks: u32) -> Option<AlarmKind> {
        let mut last = None;
        for _ in 0..ticks {
            last = self.take(judgement).map(|event| event.kind).or(last);
        }
        last
    }
}

/// Raised when its cause has lasted for the on-delay, cleared when it has been gone for the off-delay: 0.3 s are
/// over with the fourth tick of 0.1 s, 0.5 s with the sixth.
#[test]
fn delays_run_from_the_first_judgement_of_their_kind() {
    let mut told = told(SETTING);
    let (ticks, raised) = told.until(judged(WARN, 120)).expect("raised");
    assert_eq!((ticks, raised.kind, raised.severity), (4, AlarmKind::Raised, Severity::Warn));
    assert_eq!((raised.onset_us, raised.time_us), (1_100_000, 1_400_000));
    assert_eq!(raised.position, Position { band: 3, turned: Some(Degrees::from_bits(1_100_000)) });
    assert_eq!((raised.worst, raised.limit), (120, Some(100)));
    assert_eq!(told.point.active(), WARN);
    let (ticks, cleared) = told.until(judged(None, 90)).expect("cleared");
    assert_eq!((ticks, cleared.kind, cleared.severity), (6, AlarmKind::Cleared, Severity::Warn));
    assert_eq!((cleared.onset_us, cleared.worst), (1_100_000, 120));
    assert!(told.point.stays_at_rest(&judged(None, 90)));
    assert_eq!(told.until(judged(None, 90)), None);
}

#[test]
fn a_cause_that_goes_before_the_delay_is_over_begins_anew() {
    let mut told = told(SETTING);
    assert_eq!(told.kinds(judged(WARN, 120), 3), None);
    assert_eq!(told.kinds(judged(None, 90), 1), None);
    let (ticks, raised) = told.until(judged(WARN, 110)).expect("raised");
    assert_eq!((ticks, raised.onset_us, raised.worst), (4, 1_500_000, 110));
}

#[test]
fn what_is_not_known_changes_nothing_and_what_does_not_apply_is_as_good_as_inside() {
    let mut told = told(SETTING);
    assert_eq!(told.kinds(judged(WARN, 120), 2), None);
    assert_eq!(told.kinds(Judgement::Unknown, 20), None);
    assert_eq!(told.point.level(), WARN);
    assert_eq!(told.kinds(judged(WARN, 120), 2), Some(AlarmKind::Raised));
    assert_eq!(told.kinds(Judgement::Unknown, 20), None, "it stays");
    let (ticks, cleared) = told.until(Judgement::NotApplicable).expect("cleared");
    assert_eq!((ticks, cleared.kind), (6, AlarmKind::Cleared));
}

#[test]
fn the_time_since_a_cause_is_known_counts_for_the_delay() {
    let since =
        |since_us| Judgement::Judged { level: WARN, value: 120, limit: None, since_us: Some(since_us) };
    let mut first = told(SETTING);
    let raised = first.take(since(800_000)).expect("0.3 s are over");
    assert_eq!((raised.kind, raised.onset_us, raised.limit), (AlarmKind::Raised, 800_000, None));
    assert_eq!(told(SETTING).take(since(800_001)), None);
}

/// A worse cause escalates when it alone has lasted for the delay; a milder one does not make it milder.
#[test]
fn it_escalates_and_is_as_bad_as_it_ever_was() {
    let mut told = told(SETTING);
    assert_eq!(told.until(judged(ADVISE, 105)).map(|(_, event)| event.severity), ADVISE);
    let (ticks, worse) = told.until(judged(WARN, 110)).expect("escalated");
    assert_eq!((ticks, worse.kind, worse.severity), (4, AlarmKind::Escalated, Severity::Warn));
    assert_eq!(worse.onset_us, 1_500_000);
    let (ticks, stop) = told.until(judged(STOP, 150)).expect("escalated");
    assert_eq!((ticks, stop.kind, stop.severity), (4, AlarmKind::Escalated, Severity::Stop));
    assert_eq!(told.kinds(judged(ADVISE, 105), 20), None);
    assert_eq!((told.point.active(), told.point.level()), (STOP, ADVISE));
    assert_eq!(told.point.stands(SETTING.on_delay_us), ADVISE, "what it calls for now");
    let (_, cleared) = told.until(judged(None, 90)).expect("cleared");
    assert_eq!((cleared.severity, cleared.worst), (Severity::Stop, 150));
}

/// While a stop is not ripe yet, what is milder has lasted for longer and is told.
#[test]
fn a_worse_cause_lets_the_milder_delay_run_on() {
    let mut told = told(SETTING);
    assert_eq!(told.kinds(judged(ADVISE, 105), 2), None);
    assert_eq!(told.take(judged(STOP, 150)), None);
    let raised = told.take(judged(STOP, 150)).expect("the advice is ripe");
    assert_eq!((raised.kind, raised.severity), (AlarmKind::Raised, Severity::Advise));
    assert_eq!(told.point.stands(SETTING.on_delay_us), ADVISE);
    let (ticks, worse) = told.until(judged(STOP, 150)).expect("the stop is ripe");
    assert_eq!((ticks, worse.severity), (2, Severity::Stop));
    assert_eq!(told.point.stands(SETTING.on_delay_us), STOP);
}

#[test]
fn nothing_stands_before_it_is_raised() {
    let mut told = told(SETTING);
    assert_eq!(told.kinds(judged(WARN, 120), 3), None);
    assert_eq!(told.point.stands(0), None);
    assert_eq!(told.kinds(judged(WARN, 120), 1), Some(AlarmKind::Raised));
    assert_eq!(told.point.stands(SETTING.on_delay_us), WARN);
    assert_eq!(told.point.stands(400 * MS), None, "not for so long");
}

/// The greatest above an upper limit, the least below a lower one, and what is furthest from it where a rule
/// watches neither.
#[test]
fn the_worst_value_is_the_furthest_out() {
    for (rule, values, worst) in [
        (Rule::VoltageHigh, [120, 125, 110], 125),
        (Rule::VoltageLow, [80, 70, 90], 70),
        (Rule::SpindleSlip, [120, 60, 130], 60),
    ] {
        let mut told = Told { rule, ..told(SETTING) };
        for value in values {
            assert_eq!(told.take(judged(WARN, value)), None);
        }
        let raised = told.take(judged(WARN, values[0])).expect("raised");
        assert_eq!(raised.worst, worst, "{rule:?}");
        // Inside again: no worst, whatever it reads.
        assert_eq!(told.kinds(judged(None, if worst < 100 { 0 } else { 1000 }), 3), None);
        let (_, cleared) = told.until(judged(None, 100)).expect("cleared");
        assert_eq!(cleared.worst, worst, "{rule:?}");
    }
}

/// The limit is the one that goes with the worst value.
#[test]
fn a_worse_tier_brings_its_own_limit() {
    let at = |level, value, limit| Judgement::Judged { level, value, limit: Some(limit), since_us: None };
    let mut told = told(SETTING);
    assert_eq!(told.take(at(WARN, 120, 100)), None);
    assert_eq!(told.take(at(STOP, 110, 105)), None, "worse by its tier, though not by its value");
    assert_eq!(told.take(at(WARN, 109, 100)), None, "neither");
    let raised = told.take(at(WARN, 108, 100)).expect("raised");
    assert_eq!((raised.worst, raised.limit), (110, Some(105)));
    // While a stop was called for before, a warning that is no worse changes nothing.
    let again = told.until(judged(None, 0)).expect("cleared").1;
    assert_eq!((again.worst, again.limit), (110, Some(105)));
}

#[test]
fn a_latched_alarm_is_cleared_by_whoever_has_seen_it() {
    let mut told = told(AlarmSetting { latched: true, ..SETTING });
    assert!(told.until(judged(WARN, 120)).is_some());
    assert_eq!(told.kinds(judged(None, 90), 20), None);
    assert!(told.point.wants_attention());
    let moment = told.moment();
    let seen = told.point.acknowledge(RULE, None, &moment).expect("seen");
    assert_eq!((seen.kind, seen.severity), (AlarmKind::Acknowledged, Severity::Warn));
    assert!(told.point.is_acknowledged() && !told.point.wants_attention());
    assert_eq!(told.point.acknowledge(RULE, None, &moment), None, "once");
    assert_eq!(told.take(judged(None, 90)).map(|event| event.kind), Some(AlarmKind::Cleared));
    assert!(!told.point.is_acknowledged());
    assert_eq!(told.point.acknowledge(RULE, None, &moment), None, "nothing is active");
}

/// One that was seen long ago asks again after its time, and again; a worse one at once.
#[test]
fn it_asks_again() {
    let mut told = told(AlarmSetting { re_alarm_us: 1000 * MS, ..SETTING });
    assert!(told.until(judged(ADVISE, 105)).is_some());
    assert_eq!(told.kinds(judged(ADVISE, 105), 30), None, "not seen: it asks already");
    for _ in 0..2 {
        let moment = told.moment();
        assert!(told.point.acknowledge(RULE, None, &moment).is_some());
        let (ticks, again) = told.until(judged(ADVISE, 105)).expect("again");
        assert_eq!((ticks, again.kind), (10, AlarmKind::Repeated));
        assert!(told.point.wants_attention());
    }
    let moment = told.moment();
    assert!(told.point.acknowledge(RULE, None, &moment).is_some());
    assert_eq!(told.until(judged(WARN, 110)).map(|(_, event)| event.kind), Some(AlarmKind::Escalated));
    assert!(told.point.wants_attention());
}

#[test]
fn with_no_time_to_ask_again_it_never_does() {
    let mut told = told(SETTING);
    assert!(told.until(judged(WARN, 120)).is_some());
    let moment = told.moment();
    assert!(told.point.acknowledge(RULE, None, &moment).is_some());
    assert_eq!(told.kinds(judged(WARN, 120), 150), None);
    assert!(told.point.is_acknowledged());
}

#[test]
fn the_shelf_runs_for_its_time_and_is_ended_by_a_stop() {
    let mut told = told(SETTING);
    let moment = told.moment();
    assert_eq!(told.point.shelve(0, RULE, None, &moment), None, "it was not there");
    let put = told.point.shelve(800 * MS, RULE, None, &moment).expect("shelved");
    assert_eq!((put.kind, put.severity), (AlarmKind::Shelved, Severity::Advise));
    assert!(told.point.is_shelved() && !told.point.stays_at_rest(&judged(None, 0)));
    assert_eq!(
        told.until(judged(WARN, 120)).map(|(tick, event)| (tick, event.kind)),
        Some((4, AlarmKind::Raised))
    );
    assert!(!told.point.wants_attention());
    // The shelf stands still in the tick of another event: 3 of its 8 ticks are over.
    let (ticks, back) = told.until(judged(WARN, 120)).expect("unshelved");
    assert_eq!((ticks, back.kind), (5, AlarmKind::Unshelved));
    assert!(told.point.wants_attention());
    let moment = told.moment();
    assert!(told.point.shelve(800 * MS, RULE, None, &moment).is_some());
    let taken = told.point.shelve(0, RULE, None, &moment).expect("taken from the shelf");
    assert_eq!((taken.kind, told.point.is_shelved()), (AlarmKind::Unshelved, false));
    assert!(told.point.shelve(u32::MAX, RULE, None, &moment).is_some());
    assert_eq!(told.until(judged(STOP, 150)).map(|(_, event)| event.kind), Some(AlarmKind::Escalated));
    assert!(!told.point.is_shelved(), "a stop ends it");
    assert_eq!(told.point.shelve(800 * MS, RULE, None, &moment), None, "and is not put away");
    assert!(!told.point.is_shelved());
}

#[test]
fn a_milder_rule_waits_and_then_gives_way() {
    let mut told = told(SETTING);
    assert_eq!(told.point.of_a_milder_rule(), None);
    assert_eq!(told.kinds(judged(STOP, 120), 1), None);
    assert_eq!(told.point.of_a_milder_rule(), Some(Judgement::Unknown));
    assert!(told.until(judged(STOP, 120)).is_some());
    assert_eq!(told.point.of_a_milder_rule(), Some(Judgement::NotApplicable));
    assert_eq!(told.kinds(judged(None, 0), 1), None);
    assert_eq!(told.point.of_a_milder_rule(), Some(Judgement::NotApplicable), "active still");
}

/// A microsecond less than a delay is not the delay: ticks of 0.1 s, and a delay one longer than a whole number of them.
#[test]
fn no_delay_is_over_before_its_last_microsecond() {
    let setting =
        AlarmSetting { on_delay_us: 300_001, off_delay_us: 500_001, re_alarm_us: 1_000_001, ..SETTING };
    let mut told = told(setting);
    assert_eq!(told.until(judged(WARN, 120)).map(|(ticks, _)| ticks), Some(5));
    let moment = told.moment();
    assert!(told.point.acknowledge(RULE, None, &moment).is_some());
    let (ticks, again) = told.until(judged(WARN, 120)).expect("again");
    assert_eq!((ticks, again.kind), (11, AlarmKind::Repeated));
    assert_eq!(told.until(judged(None, 90)).map(|(ticks, _)| ticks), Some(7));
}

#[test]
fn a_microsecond_is_a_time() {
    let mut told = told(AlarmSetting { re_alarm_us: 1, ..SETTING });
    let moment = told.moment();
    let put = told.point.shelve(1, RULE, None, &moment).expect("put away");
    assert_eq!((put.kind, told.point.is_shelved()), (AlarmKind::Shelved, true));
    let back = told.point.shelve(0, RULE, None, &moment).expect("taken back");
    assert_eq!(back.kind, AlarmKind::Unshelved);
    assert!(told.point.shelve(1, RULE, None, &moment).is_some());
    assert_eq!(told.take(judged(None, 0)).map(|event| event.kind), Some(AlarmKind::Unshelved));
    assert!(told.until(judged(STOP, 120)).is_some());
    assert_eq!(told.point.shelve(1, RULE, None, &moment), None, "a stop");
    assert!(told.point.acknowledge(RULE, None, &moment).is_some());
    assert_eq!(told.take(judged(STOP, 120)).map(|event| event.kind), Some(AlarmKind::Repeated));
}

/// Longer than half of what a number holds, and never: the greatest that is acknowledged is one short of "not seen".
#[test]
fn it_asks_again_after_an_hour_and_not_after_never() {
    for (re_alarm_us, asks) in [(3_000_000_000, true), (u32::MAX, false)] {
        let mut told = told(AlarmSetting { re_alarm_us, ..SETTING });
        assert!(told.until(judged(WARN, 120)).is_some());
        let moment = Moment { elapsed_us: 1_000_000_000, ..told.moment() };
        assert!(told.point.acknowledge(RULE, None, &moment).is_some());
        let mut asked = false;
        for _ in 0..6 {
            let event = told.point.update(RULE, None, &told.setting, judged(WARN, 120), &moment);
            asked |= event.is_some_and(|event| event.kind == AlarmKind::Repeated);
        }
        assert_eq!(asked, asks, "{re_alarm_us}");
        assert_eq!(told.point.is_acknowledged(), !asks);
    }
}

/// Where its cause began, as it was first raised: not where it came back, with its first worst value and limit.
#[test]
fn what_comes_back_while_it_is_active_is_the_same_alarm() {
    let mut told = told(SETTING);
    let raised = told.until(judged(WARN, 125)).expect("raised").1;
    assert_eq!(told.kinds(judged(None, 90), 3), None);
    let other = |value| Judgement::Judged { level: WARN, value, limit: Some(99), since_us: None };
    assert_eq!(told.take(other(110)), None, "no worse");
    assert_eq!(told.take(other(125)), None, "as bad");
    let cleared = told.until(judged(None, 90)).expect("cleared").1;
    assert_eq!((cleared.onset_us, cleared.position), (raised.onset_us, raised.position));
    assert_eq!((cleared.worst, cleared.limit), (125, Some(100)));
    let mut low = Told { rule: Rule::VoltageLow, ..told };
    let _ = low.until(judged(WARN, 80));
    let other = |value| Judgement::Judged { level: WARN, value, limit: Some(99), since_us: None };
    assert_eq!(low.take(other(80)), None);
    assert_eq!(low.until(judged(None, 110)).map(|(_, event)| event.limit), Some(Some(100)));
}

/// Without a limit a value is held against nothing, and one as far off on the other side is no worse.
#[test]
fn what_is_not_known_of_an_alarm_is_not_told() {
    let bare = |value| Judgement::Judged { level: WARN, value, limit: None, since_us: None };
    let mut told = Told { rule: Rule::SpindleSlip, ..told(SETTING) };
    let nowhere = Position { band: 2, turned: None };
    for value in [5, -5] {
        let moment = Moment { now_us: 7, elapsed_us: 0, position: nowhere };
        assert_eq!(told.point.update(told.rule, None, &told.setting, bare(value), &moment), None);
    }
    let raised = told.until(bare(3)).expect("raised").1;
    assert_eq!((raised.worst, raised.limit, raised.position), (5, None, nowhere));
}
