//! All alarms together: which of them a judgement, a fault of a channel or a person is about.

use super::*;
use crate::alarms::point::AlarmKind;
use crate::event::Sink;
use crate::judge::judgement::Position;
use crate::record::band::BandRecord;
use crate::record::joint::JointRecord;
use crate::rule::AlarmSetting;
use std::vec::Vec;

#[derive(Default)]
struct Heard(Vec<AlarmEvent>);

impl Sink for Heard {
    fn event(&mut self, event: &Event) {
        if let Event::Alarm(alarm) = event {
            self.0.push(*alarm);
        }
    }
    fn band(&mut self, _: &BandRecord) {}
    fn joint(&mut self, _: &JointRecord) {}
}

/// What was heard since the last time: rule, channel, kind.
fn told(heard: &mut Heard) -> Vec<(Rule, Option<Channel>, AlarmKind)> {
    core::mem::take(&mut heard.0).iter().map(|event| (event.rule, event.channel, event.kind)).collect()
}

const fn at(now_us: u64) -> Moment {
    Moment { now_us, elapsed_us: 20_000, position: Position { band: 1, turned: None } }
}
fn judged(level: Option<Severity>) -> Judgement {
    // Its cause began an hour ago: no delay is left.
    Judgement::Judged { level, value: 5, limit: Some(1), since_us: Some(0) }
}
const LATE: Moment = at(3_600_000_000);
const WARN: Option<Severity> = Some(Severity::Warn);
const STOP: Option<Severity> = Some(Severity::Stop);
const ADVISE: Option<Severity> = Some(Severity::Advise);

fn raise(
    alarms: &mut Alarms,
    rule: Rule,
    channel: Option<Channel>,
    level: Option<Severity>,
) -> Option<Taken> {
    alarms.take(rule, channel, judged(level), &Procedure::new(), &LATE)
}

#[test]
fn a_judgement_comes_to_what_it_calls_for_now_and_to_what_happened() {
    let mut alarms = Alarms::new();
    assert!(raise(&mut alarms, Rule::VoltageHigh, None, None).is_none(), "at rest");
    let taken = raise(&mut alarms, Rule::VoltageHigh, None, WARN).unwrap();
    assert!(taken.outside && taken.active);
    assert_eq!((taken.stands, taken.event.map(|event| event.kind)), (WARN, Some(AlarmKind::Raised)));
    // Again: no event, and it stands.
    let taken = raise(&mut alarms, Rule::VoltageHigh, None, WARN).unwrap();
    assert!(taken.outside && taken.active && taken.event.is_none());
    assert_eq!(taken.stands, WARN);
    // What cannot be judged stands for nothing, though the alarm stays.
    let unknown = alarms.take(Rule::VoltageHigh, None, Judgement::Unknown, &Procedure::new(), &LATE);
    assert!(unknown.is_none());
    assert_eq!(alarms.worst_active(), WARN);
    // An advice is not outside what is allowed.
    let taken = raise(&mut alarms, Rule::CurrentHigh, None, ADVISE).unwrap();
    assert!(!taken.outside && taken.active);
    assert_eq!(taken.stands, ADVISE);
    // Nor is it worth a word before its delay is over.
    let young = Judgement::Judged { level: ADVISE, value: 5, limit: Some(1), since_us: None };
    assert!(alarms.take(Rule::CurrentLow, None, young, &Procedure::new(), &LATE).is_none());
    // A warning is outside at once, and not active before its delay is over.
    let young = Judgement::Judged { level: WARN, value: 5, limit: Some(1), since_us: None };
    let taken = alarms.take(Rule::WireFeedHigh, None, young, &Procedure::new(), &LATE).unwrap();
    assert!(taken.outside && !taken.active && taken.stands.is_none() && taken.event.is_none());
}

/// What is known once a band knows no delay.
#[test]
fn a_rule_of_a_moment_has_no_delay() {
    for rule in Rule::ALL.into_iter().filter(|rule| rule.is_of_a_moment() && rule.is_watched()) {
        let young = Judgement::Judged { level: WARN, value: 5, limit: Some(1), since_us: None };
        let setting = AlarmSetting { on_delay_us: 500_000, ..rule.default_setting() };
        let procedure = Procedure::new().with_alarm(rule, setting).unwrap();
        let taken = Alarms::new().take(rule, None, young, &procedure, &LATE).unwrap();
        assert_eq!(taken.event.map(|event| event.kind), Some(AlarmKind::Raised), "{rule:?}");
        assert_eq!(taken.stands, WARN);
    }
}

#[test]
fn a_rule_that_is_forgotten_never_was() {
    let mut alarms = Alarms::new();
    assert!(alarms.is_at_rest(Rule::VoltageHigh));
    assert_eq!(alarms.held_back_by(Rule::VoltageHigh), None);
    let _ = raise(&mut alarms, Rule::VoltageHigh, None, WARN);
    assert_eq!(alarms.level(Rule::VoltageHigh), WARN);
    assert_eq!(alarms.held_back_by(Rule::VoltageHigh), Some(Judgement::NotApplicable));
    assert!(!alarms.is_at_rest(Rule::VoltageHigh) && alarms.is_at_rest(Rule::VoltageLow));
    alarms.forget(Rule::VoltageHigh);
    assert_eq!((alarms.level(Rule::VoltageHigh), alarms.worst_active()), (None, None));
    assert!(alarms.is_at_rest(Rule::VoltageHigh));
    // As all are that start.
    let _ = raise(&mut alarms, Rule::VoltageHigh, None, WARN);
    let _ = raise(&mut alarms, Rule::SignalStuck, Some(Channel::Gas), WARN);
    let _ = alarms.channel_rule(Channel::Work, Some(Rule::SignalRailed), &LATE, &mut Heard::default());
    assert_eq!(alarms.polarity_channel(Some(Channel::Current)), Some(Channel::Current));
    assert_eq!(alarms.active().count(), 2);
    alarms.start();
    assert_eq!(alarms.active().count(), 0);
    let about = alarms.channel_rule(Channel::Work, None, &LATE, &mut Heard::default());
    assert_eq!(about, Some(Rule::SignalMissing));
    let _ = raise(&mut alarms, Rule::PolarityWrong, None, STOP);
    assert_eq!(alarms.active().next().map(|alarm| alarm.channel), Some(None));
}

/// The channel found wrong when it was raised, until it is over.
#[test]
fn the_alarm_of_the_polarity_keeps_its_channel() {
    let mut alarms = Alarms::new();
    assert_eq!(alarms.polarity_channel(None), None);
    assert_eq!(alarms.polarity_channel(Some(Channel::Current)), Some(Channel::Current));
    assert_eq!(alarms.polarity_channel(Some(Channel::Voltage)), Some(Channel::Voltage), "not raised yet");
    let _ = raise(&mut alarms, Rule::PolarityWrong, None, STOP);
    let _ = raise(&mut alarms, Rule::VoltageHigh, None, WARN);
    assert_eq!(alarms.polarity_channel(Some(Channel::Current)), Some(Channel::Voltage));
    let channels: Vec<_> = alarms.active().map(|alarm| (alarm.rule, alarm.channel)).collect();
    assert!(channels.contains(&(Rule::PolarityWrong, Some(Channel::Voltage))), "{channels:?}");
    assert!(channels.contains(&(Rule::VoltageHigh, None)), "{channels:?}");
    assert_eq!(channels.len(), 2);
    let mut heard = Heard::default();
    alarms.acknowledge(&LATE, &mut heard);
    let mut seen = told(&mut heard);
    seen.sort_by_key(|(rule, ..)| *rule as u8);
    let mut expected = [
        (Rule::PolarityWrong, Some(Channel::Voltage), AlarmKind::Acknowledged),
        (Rule::VoltageHigh, None, AlarmKind::Acknowledged),
    ];
    expected.sort_by_key(|(rule, ..)| *rule as u8);
    assert_eq!(seen, expected);
}

/// A channel has one alarm: an active one ends before the one about another fault begins.
#[test]
fn a_channel_has_one_alarm_for_one_fault_at_a_time() {
    let (mut alarms, mut heard) = (Alarms::new(), Heard::default());
    let mut about = |alarms: &mut Alarms, found| alarms.channel_rule(Channel::Gas, found, &LATE, &mut heard);
    assert_eq!(about(&mut alarms, None), Some(Rule::SignalMissing));
    assert_eq!(about(&mut alarms, Some(Rule::SignalStuck)), Some(Rule::SignalStuck));
    assert_eq!(about(&mut alarms, None), Some(Rule::SignalStuck));
    let _ = raise(&mut alarms, Rule::SignalStuck, Some(Channel::Gas), WARN);
    assert_eq!(about(&mut alarms, Some(Rule::SignalRailed)), Some(Rule::SignalStuck), "active still");
    let over = alarms.take(
        Rule::SignalStuck,
        Some(Channel::Gas),
        Judgement::NotApplicable,
        &Procedure::new(),
        &Moment { elapsed_us: u32::MAX, ..LATE },
    );
    assert!(over.is_none());
    let long = Moment { elapsed_us: u32::MAX, ..LATE };
    let over = alarms.take(
        Rule::SignalStuck,
        Some(Channel::Gas),
        Judgement::NotApplicable,
        &Procedure::new(),
        &long,
    );
    assert_eq!(over.and_then(|over| over.event).map(|event| event.kind), Some(AlarmKind::Cleared));
    // Put away: the next fault is not, and that is said once.
    let (mut heard, rule) = (Heard::default(), Rule::SignalRailed);
    let _ = raise(&mut alarms, Rule::SignalStuck, Some(Channel::Gas), WARN);
    alarms.shelve(Rule::SignalStuck, 100_000_000, &LATE, &mut heard);
    assert_eq!(told(&mut heard), [(Rule::SignalStuck, Some(Channel::Gas), AlarmKind::Shelved)]);
    for _ in 0..2 {
        let nothing = Judgement::NotApplicable;
        let _ = alarms.take(
            Rule::SignalStuck,
            Some(Channel::Gas),
            nothing,
            &Procedure::new(),
            &Moment { elapsed_us: 50_000_000, ..LATE },
        );
    }
    assert_eq!(alarms.worst_active(), None);
    alarms.shelve(Rule::SignalStuck, 100_000_000, &LATE, &mut heard);
    assert_eq!(told(&mut heard), [], "nothing is active to be put away");
    assert_eq!(alarms.channel_rule(Channel::Gas, Some(rule), &LATE, &mut heard), Some(rule));
    let _ = raise(&mut alarms, rule, Some(Channel::Gas), WARN);
    assert_eq!(alarms.worst_unacknowledged(), WARN);
}

#[test]
fn a_shelf_ends_with_the_fault_it_was_for() {
    let (mut alarms, mut heard) = (Alarms::new(), Heard::default());
    let _ = alarms.channel_rule(Channel::Gas, Some(Rule::SignalStuck), &LATE, &mut heard);
    let _ = raise(&mut alarms, Rule::SignalStuck, Some(Channel::Gas), WARN);
    alarms.shelve(Rule::SignalStuck, u32::MAX, &LATE, &mut heard);
    assert_eq!(told(&mut heard).len(), 1);
    for _ in 0..2 {
        let _ = alarms.take(
            Rule::SignalStuck,
            Some(Channel::Gas),
            Judgement::NotApplicable,
            &Procedure::new(),
            &Moment { elapsed_us: 1_000_000_000, ..LATE },
        );
    }
    assert_eq!(
        alarms.channel_rule(Channel::Gas, Some(Rule::SignalStuck), &LATE, &mut heard),
        Some(Rule::SignalStuck)
    );
    assert_eq!(told(&mut heard), [], "the same fault");
    let _ = alarms.channel_rule(Channel::Gas, Some(Rule::SignalRailed), &LATE, &mut heard);
    assert_eq!(told(&mut heard), [(Rule::SignalStuck, Some(Channel::Gas), AlarmKind::Unshelved)]);
}

/// A rule about the weld is put away whether it is active or not, one about a channel where it is; no other.
#[test]
fn the_rule_that_is_meant_is_put_away() {
    let (mut alarms, mut heard) = (Alarms::new(), Heard::default());
    alarms.shelve(Rule::VoltageHigh, 1_000_000, &LATE, &mut heard);
    assert_eq!(told(&mut heard), [(Rule::VoltageHigh, None, AlarmKind::Shelved)]);
    for channel in [Channel::Gas, Channel::Work] {
        let _ = alarms.channel_rule(channel, Some(Rule::SignalStuck), &LATE, &mut heard);
    }
    let _ = alarms.channel_rule(Channel::Wire, Some(Rule::SignalRailed), &LATE, &mut heard);
    for (channel, rule) in [(Channel::Gas, Rule::SignalStuck), (Channel::Wire, Rule::SignalRailed)] {
        let _ = raise(&mut alarms, rule, Some(channel), WARN);
    }
    alarms.shelve(Rule::SignalStuck, 1_000_000, &LATE, &mut heard);
    assert_eq!(told(&mut heard), [(Rule::SignalStuck, Some(Channel::Gas), AlarmKind::Shelved)]);
    let _ = raise(&mut alarms, Rule::VoltageHigh, None, WARN);
    let shelved: Vec<_> = alarms.active().map(|alarm| (alarm.rule, alarm.shelved)).collect();
    for (rule, is_shelved) in
        [(Rule::VoltageHigh, true), (Rule::SignalStuck, true), (Rule::SignalRailed, false)]
    {
        assert!(shelved.contains(&(rule, is_shelved)), "{shelved:?}");
    }
}

#[test]
fn the_worst_is_the_worst_of_all_that_ask_for_attention() {
    let (mut alarms, mut heard) = (Alarms::new(), Heard::default());
    assert_eq!((alarms.worst_active(), alarms.worst_unacknowledged()), (None, None));
    let _ = raise(&mut alarms, Rule::VoltageHigh, None, ADVISE);
    let _ = raise(&mut alarms, Rule::CurrentHigh, None, STOP);
    let _ = raise(&mut alarms, Rule::SignalMissing, Some(Channel::Gas), WARN);
    assert_eq!((alarms.worst_active(), alarms.worst_unacknowledged()), (STOP, STOP));
    alarms.acknowledge(&LATE, &mut heard);
    let mut seen = told(&mut heard);
    seen.sort_by_key(|(rule, ..)| *rule as u8);
    assert_eq!(seen.len(), 3);
    assert!(seen.contains(&(Rule::SignalMissing, Some(Channel::Gas), AlarmKind::Acknowledged)));
    assert_eq!((alarms.worst_active(), alarms.worst_unacknowledged()), (STOP, None));
    let _ = raise(&mut alarms, Rule::WireFeedHigh, None, WARN);
    assert_eq!(alarms.worst_unacknowledged(), WARN);
    let seen: Vec<_> =
        alarms.active().map(|alarm| (alarm.rule, alarm.severity, alarm.acknowledged)).collect();
    assert_eq!(seen.len(), 4);
    for one in [
        (Rule::VoltageHigh, Severity::Advise, true),
        (Rule::CurrentHigh, Severity::Stop, true),
        (Rule::SignalMissing, Severity::Warn, true),
        (Rule::WireFeedHigh, Severity::Warn, false),
    ] {
        assert!(seen.contains(&one), "{seen:?}");
    }
}

/// Each rule about the weld has an alarm of its own, and so has late data.
#[test]
fn no_two_rules_share_an_alarm() {
    for rule in Rule::ALL.into_iter().filter(|rule| rule.is_watched() && !rule.is_about_a_channel()) {
        let mut alarms = Alarms::new();
        assert!(raise(&mut alarms, rule, None, WARN).is_some(), "{rule:?}");
        let active: Vec<_> = alarms.active().map(|alarm| (alarm.rule, alarm.channel)).collect();
        assert_eq!(active, [(rule, None)]);
    }
    for channel in Channel::ALL {
        let mut alarms = Alarms::new();
        assert!(raise(&mut alarms, Rule::SignalMissing, Some(channel), WARN).is_some());
        let active: Vec<_> = alarms.active().map(|alarm| (alarm.rule, alarm.channel)).collect();
        assert_eq!(active, [(Rule::SignalMissing, Some(channel))]);
    }
    assert!(raise(&mut Alarms::new(), Rule::SignalMissing, None, WARN).is_none(), "of no channel");
}
