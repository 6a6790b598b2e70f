//! One alarm: raised, escalated, acknowledged, cleared, shelved.
//!
//! Decides: when a cause becomes an alarm and when the alarm is over (on-delay, off-delay, latch,
//! re-alarm, shelving), after the lifecycle of IEC 62682 and OPC UA 10000-9.
//! Assumes: it is told of every tick, with the time since the last one.
//! Never: looks at a reading.

use crate::judge::judgement::Position;
pub use crate::judge::judgement::{Judgement, Moment};
use crate::rule::{AlarmSetting, Rule, Severity, Side};
use crate::sample::Channel;
use crate::units::Degrees;

/// What happened to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum AlarmKind {
    /// It became active.
    Raised,
    /// It was active and got worse.
    Escalated,
    /// Its cause is gone (a latched alarm stays until acknowledged).
    Cleared,
    /// A person has seen it.
    Acknowledged,
    /// Acknowledged long ago and still active: it asks for attention again.
    Repeated,
    /// A person put it away for a stated time.
    Shelved,
    /// It is watched again.
    Unshelved,
}

/// A change of one alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AlarmEvent {
    /// When, in microseconds.
    pub time_us: u64,
    /// What happened.
    pub kind: AlarmKind,
    /// The rule.
    pub rule: Rule,
    /// The channel, for rules about one.
    pub channel: Option<Channel>,
    /// The worst severity reached so far.
    pub severity: Severity,
    /// When its cause began, before any on-delay, in microseconds.
    pub onset_us: u64,
    /// Where its cause began.
    pub position: Position,
    /// The worst value so far, raw; see [`Rule::measure`].
    pub worst: i32,
    /// The limit that was passed, raw, if there is one.
    pub limit: Option<i32>,
}

/// Stands for "nothing" where a raw value would fit.
const NOTHING: i32 = i32::MIN;
/// Stands for "not acknowledged".
const NOT_ACKNOWLEDGED: u32 = u32::MAX;

/// The state of one alarm, kept small: a board holds some fifty.
#[derive(Clone, Copy, Debug)]
pub struct AlarmPoint {
    onset_us: u64,
    /// For each severity, how long the cause has called for at least that, µs.
    held_us: [u32; 3],
    quiet_us: u32,
    since_acknowledged_us: u32,
    shelved_left_us: u32,
    onset_turned: i32,
    worst: i32,
    limit: i32,
    onset_band: u16,
    level: Option<Severity>,
    active: Option<Severity>,
}

impl Default for AlarmPoint {
    fn default() -> Self {
        Self::new()
    }
}

impl AlarmPoint {
    /// At rest.
    pub const fn new() -> Self {
        Self {
            onset_us: 0,
            held_us: [0; 3],
            quiet_us: 0,
            since_acknowledged_us: NOT_ACKNOWLEDGED,
            shelved_left_us: 0,
            onset_turned: NOTHING,
            worst: 0,
            limit: NOTHING,
            onset_band: 0,
            level: None,
            active: None,
        }
    }
    /// Severity the last judgement called for.
    #[inline]
    pub const fn level(&self) -> Option<Severity> {
        self.level
    }
    /// The worst severity reached, while active.
    pub const fn active(&self) -> Option<Severity> {
        self.active
    }
    /// Has a person seen it?
    pub const fn is_acknowledged(&self) -> bool {
        self.since_acknowledged_us != NOT_ACKNOWLEDGED
    }
    /// Has a person put it away?
    pub const fn is_shelved(&self) -> bool {
        self.shelved_left_us > 0
    }
    /// Active, not acknowledged, not shelved: a horn may sound.
    pub const fn wants_attention(&self) -> bool {
        self.active.is_some() && !self.is_acknowledged() && !self.is_shelved()
    }
    /// Is it at rest, with nothing to count and nothing that calls for it?
    #[inline]
    pub const fn stays_at_rest(&self, judgement: &Judgement) -> bool {
        let calls = matches!(judgement, Judgement::Judged { level: Some(_), .. });
        self.level.is_none() && self.active.is_none() && self.shelved_left_us == 0 && !calls
    }

    /// What becomes of a milder rule about the same cause: nothing while this alarm is active; it waits
    /// while this one's delay runs, so that a cause that only flickers is told by the milder one.
    pub const fn of_a_milder_rule(&self) -> Option<Judgement> {
        match (self.active, self.level) {
            (Some(_), _) => Some(Judgement::NotApplicable),
            (None, Some(_)) => Some(Judgement::Unknown),
            (None, None) => None,
        }
    }

    /// Takes the judgement of one tick; returns what happened.
    pub fn update(
        &mut self,
        rule: Rule,
        channel: Option<Channel>,
        setting: &AlarmSetting,
        judgement: Judgement,
        moment: &Moment,
    ) -> Option<AlarmEvent> {
        if self.stays_at_rest(&judgement) {
            return None;
        }
        match judgement {
            Judgement::Unknown => {}
            Judgement::NotApplicable => self.take_level(None, None, moment),
            Judgement::Judged { level, value, limit, since_us } => {
                self.note_worst(rule, level, value, limit);
                self.take_level(level, since_us, moment);
            }
        }
        // One event a tick: the shelf runs when nothing else happens.
        let kind = self.advance(setting, moment).or_else(|| self.run_shelf(moment.elapsed_us));
        kind.map(|kind| self.event(kind, rule, channel, moment))
    }

    fn note_worst(&mut self, rule: Rule, level: Option<Severity>, value: i32, limit: Option<i32>) {
        let Some(_) = level else { return };
        // A value that is back within its limit by less than the deadband is no worse than one beyond it.
        let is_worse = match rule.watches() {
            Some((_, Side::High)) => value > self.worst,
            Some((_, Side::Low)) => value < self.worst,
            None => value.abs_diff(limit.unwrap_or(0)) > self.worst.abs_diff(limit.unwrap_or(0)),
        };
        let fresh = self.level.is_none() && self.active.is_none();
        if fresh || level > self.active.max(self.level) || is_worse {
            self.worst = value;
            self.limit = limit.unwrap_or(NOTHING);
        }
    }

    fn take_level(&mut self, level: Option<Severity>, since_us: Option<u64>, moment: &Moment) {
        if level > self.level && level > self.active {
            self.onset_us = since_us.unwrap_or(moment.now_us);
            self.onset_turned = moment.position.turned.map_or(NOTHING, Degrees::to_bits);
            self.onset_band = moment.position.band;
        }
        for (held_us, severity) in
            self.held_us.iter_mut().zip([Severity::Advise, Severity::Warn, Severity::Stop])
        {
            *held_us = if level < Some(severity) {
                0
            } else if let Some(since_us) = since_us {
                u32::try_from(moment.now_us.saturating_sub(since_us)).unwrap_or(u32::MAX)
            } else if self.level < Some(severity) {
                0
            } else {
                held_us.saturating_add(moment.elapsed_us)
            };
        }
        let quiet = level.is_none() && self.level.is_none();
        self.quiet_us = if quiet { self.quiet_us.saturating_add(moment.elapsed_us) } else { 0 };
        self.level = level;
    }

    /// While it is active: the worst severity whose cause has lasted for the on-delay, and lasts.
    pub fn stands(&self, on_delay_us: u32) -> Option<Severity> {
        if self.active.is_some() { self.ripe(on_delay_us) } else { None }
    }

    /// The worst severity whose cause has lasted for the on-delay.
    fn ripe(&self, on_delay_us: u32) -> Option<Severity> {
        let [advise_us, warn_us, stop_us] = self.held_us;
        let is_ripe = |severity, held_us| self.level >= Some(severity) && held_us >= on_delay_us;
        if is_ripe(Severity::Stop, stop_us) {
            Some(Severity::Stop)
        } else if is_ripe(Severity::Warn, warn_us) {
            Some(Severity::Warn)
        } else if is_ripe(Severity::Advise, advise_us) {
            Some(Severity::Advise)
        } else {
            None
        }
    }

    fn advance(&mut self, setting: &AlarmSetting, moment: &Moment) -> Option<AlarmKind> {
        let ripe = self.ripe(setting.on_delay_us);
        if ripe > self.active {
            let kind = if self.active.is_none() { AlarmKind::Raised } else { AlarmKind::Escalated };
            self.active = ripe;
            self.since_acknowledged_us = NOT_ACKNOWLEDGED;
            if matches!(ripe, Some(Severity::Stop)) {
                // What was put away was something milder: a stop ends the shelf, and says so by itself.
                self.shelved_left_us = 0;
            }
            return Some(kind);
        }
        self.active?;
        if self.level.is_none()
            && self.quiet_us >= setting.off_delay_us
            && (!setting.latched || self.is_acknowledged())
        {
            return Some(AlarmKind::Cleared);
        }
        if self.is_acknowledged() && setting.re_alarm_us > 0 {
            self.since_acknowledged_us = self
                .since_acknowledged_us
                .saturating_add(moment.elapsed_us)
                .min(NOT_ACKNOWLEDGED.wrapping_sub(1));
            if self.since_acknowledged_us >= setting.re_alarm_us {
                self.since_acknowledged_us = NOT_ACKNOWLEDGED;
                return Some(AlarmKind::Repeated);
            }
        }
        None
    }

    fn event(
        &mut self,
        kind: AlarmKind,
        rule: Rule,
        channel: Option<Channel>,
        moment: &Moment,
    ) -> AlarmEvent {
        let event = AlarmEvent {
            time_us: moment.now_us,
            kind,
            rule,
            channel,
            severity: self.active.unwrap_or(Severity::Advise),
            onset_us: self.onset_us,
            position: Position {
                band: self.onset_band,
                turned: (self.onset_turned != NOTHING).then(|| Degrees::from_bits(self.onset_turned)),
            },
            worst: self.worst,
            limit: (self.limit != NOTHING).then_some(self.limit),
        };
        if kind == AlarmKind::Cleared {
            self.active = None;
            self.since_acknowledged_us = NOT_ACKNOWLEDGED;
        }
        event
    }

    /// A person has seen it. A latched alarm whose cause is gone clears at the next tick.
    pub fn acknowledge(
        &mut self,
        rule: Rule,
        channel: Option<Channel>,
        moment: &Moment,
    ) -> Option<AlarmEvent> {
        if self.active.is_none() || self.is_acknowledged() {
            return None;
        }
        self.since_acknowledged_us = 0;
        Some(self.event(AlarmKind::Acknowledged, rule, channel, moment))
    }

    /// Puts it away for `for_us` microseconds: it is still judged and recorded, and asks for nothing.
    /// For 0 microseconds: takes it from the shelf. One that stops the weld can be acknowledged, not put away: nothing
    /// happens.
    pub fn shelve(
        &mut self,
        for_us: u32,
        rule: Rule,
        channel: Option<Channel>,
        moment: &Moment,
    ) -> Option<AlarmEvent> {
        if for_us > 0 && matches!(self.active, Some(Severity::Stop)) {
            return None;
        }
        let was_shelved = self.shelved_left_us > 0;
        self.shelved_left_us = for_us;
        let kind = if for_us > 0 { AlarmKind::Shelved } else { AlarmKind::Unshelved };
        (for_us > 0 || was_shelved).then(|| self.event(kind, rule, channel, moment))
    }

    fn run_shelf(&mut self, elapsed_us: u32) -> Option<AlarmKind> {
        let before = self.shelved_left_us;
        self.shelved_left_us = before.saturating_sub(elapsed_us);
        (before > 0 && self.shelved_left_us == 0).then_some(AlarmKind::Unshelved)
    }
}

#[cfg(test)]
mod tests {
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
        let (ticks, worst) = told.until(judged(STOP, 150)).expect("escalated");
        assert_eq!((ticks, worst.kind, worst.severity), (4, AlarmKind::Escalated, Severity::Stop));
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
}
