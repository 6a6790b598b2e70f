//! One alarm against a model that keeps every tick.
//!
//! Decides: what an alarm owes by its settings: it is raised, or gets worse, in the tick in which its cause has lasted
//! for the on-delay; it is cleared in the tick in which there has been none for the off-delay, a latched one not before
//! it is acknowledged; one that is acknowledged and stays asks again after the re-alarm time; what is put away comes back
//! when its time is over. One event a tick.
//! Assumes: no tick tells since when its cause has lasted.
//! Never: adds up while it goes: every time is summed anew from the ticks that are kept.

use crate::bytes::Bytes;
use bandward::alarms::point::{AlarmPoint, Judgement, Moment};
use bandward::rule::AlarmSetting;
use bandward::{AlarmKind, Position, Rule, Severity};

/// A rule about a range: its alarm has no channel.
const RULE: Rule = Rule::CurrentHigh;
const SEVERITIES: [Severity; 3] = [Severity::Advise, Severity::Warn, Severity::Stop];

/// A tick that was judged.
struct Tick {
    level: Option<Severity>,
    elapsed_us: u64,
}

#[derive(Default)]
struct Model {
    judged: Vec<Tick>,
    active: Option<Severity>,
    /// Time since it was acknowledged, in ticks that asked for nothing else.
    acknowledged_us: Option<u64>,
    shelved_us: u64,
}

impl Model {
    /// For how long ticks have been so, from the second of them on.
    fn lasted_us(&self, is_so: impl Fn(Option<Severity>) -> bool) -> Option<u64> {
        let run: Vec<_> = self.judged.iter().rev().take_while(|tick| is_so(tick.level)).collect();
        let (_, rest) = run.split_last()?;
        Some(rest.iter().map(|tick| tick.elapsed_us).sum())
    }
    fn level(&self) -> Option<Severity> {
        self.judged.last().and_then(|tick| tick.level)
    }
    fn tick(&mut self, setting: &AlarmSetting, judgement: Judgement, elapsed_us: u64) -> Option<AlarmKind> {
        match judgement {
            Judgement::Unknown => {}
            Judgement::NotApplicable => self.judged.push(Tick { level: None, elapsed_us }),
            Judgement::Judged { level, .. } => self.judged.push(Tick { level, elapsed_us }),
        }
        let mut happened = self.of_cause(setting, elapsed_us);
        if happened.is_none() && self.shelved_us > 0 {
            self.shelved_us = self.shelved_us.saturating_sub(elapsed_us);
            happened = (self.shelved_us == 0).then_some(AlarmKind::Unshelved);
        }
        happened
    }
    fn of_cause(&mut self, setting: &AlarmSetting, elapsed_us: u64) -> Option<AlarmKind> {
        let is_ripe = |severity: &Severity| {
            let lasted_us = self.lasted_us(|level| level >= Some(*severity));
            lasted_us.is_some_and(|us| us >= u64::from(setting.on_delay_us))
        };
        let ripe = SEVERITIES.into_iter().rfind(is_ripe);
        if ripe > self.active {
            let kind = if self.active.is_none() { AlarmKind::Raised } else { AlarmKind::Escalated };
            (self.active, self.acknowledged_us) = (ripe, None);
            if ripe == Some(Severity::Stop) {
                self.shelved_us = 0;
            }
            return Some(kind);
        }
        self.active?;
        let quiet_us = self.lasted_us(|level| level.is_none());
        let is_over = quiet_us.is_some_and(|us| us >= u64::from(setting.off_delay_us));
        if is_over && (!setting.latched || self.acknowledged_us.is_some()) {
            (self.active, self.acknowledged_us) = (None, None);
            return Some(AlarmKind::Cleared);
        }
        let since_us = self.acknowledged_us.as_mut().filter(|_| setting.re_alarm_us > 0)?;
        *since_us += elapsed_us;
        if *since_us < u64::from(setting.re_alarm_us) {
            return None;
        }
        self.acknowledged_us = None;
        Some(AlarmKind::Repeated)
    }
    fn acknowledge(&mut self) -> Option<AlarmKind> {
        if self.active.is_none() || self.acknowledged_us.is_some() {
            return None;
        }
        self.acknowledged_us = Some(0);
        Some(AlarmKind::Acknowledged)
    }
    fn shelve(&mut self, for_us: u64) -> Option<AlarmKind> {
        if for_us > 0 && self.active == Some(Severity::Stop) {
            return None;
        }
        let was = std::mem::replace(&mut self.shelved_us, for_us);
        match (was, for_us) {
            (0, 0) => None,
            (_, 0) => Some(AlarmKind::Unshelved),
            _ => Some(AlarmKind::Shelved),
        }
    }
}

/// A time whose sums stay far below 71 minutes, where counters of 32 bits end.
fn time_us(bytes: &mut Bytes<'_>) -> u32 {
    u32::from(bytes.byte() % 32) * bytes.of(&[0, 1, 19_999, 20_000, 40_000, 100_000])
}

/// Settings, then what happens, tick by tick.
pub fn target(bytes: &[u8]) {
    let bytes = &mut Bytes::new(bytes);
    let (on_delay_us, off_delay_us, re_alarm_us) = (time_us(bytes), time_us(bytes), time_us(bytes));
    let latched = bytes.byte() & 1 != 0;
    let severity = Severity::Warn;
    let setting = AlarmSetting { on_delay_us, off_delay_us, re_alarm_us, deadband: 0, latched, severity };
    let (mut point, mut model) = (AlarmPoint::new(), Model::default());
    let mut now_us = 0;
    for _ in 0..120 {
        if bytes.is_empty() {
            break;
        }
        let act = bytes.byte();
        let elapsed_us = bytes.of(&[20_000, 20_000, 1, 19_999, 40_000, 1_000_000]);
        let position = Position { band: 1, turned: None };
        let mut moment = Moment { now_us, elapsed_us: 0, position };
        let (found, expected) = match act % 10 {
            7 => (point.acknowledge(RULE, None, &moment), model.acknowledge()),
            8 => {
                let for_us = time_us(bytes);
                (point.shelve(for_us, RULE, None, &moment), model.shelve(for_us.into()))
            }
            kind => {
                now_us += u64::from(elapsed_us);
                (moment.now_us, moment.elapsed_us) = (now_us, elapsed_us);
                let judged = |level| Judgement::Judged { level, value: 7, limit: Some(5), since_us: None };
                let judgement = match kind {
                    0..=2 => judged(Some(SEVERITIES[usize::from(kind)])),
                    3 | 4 => judged(None),
                    5 => Judgement::NotApplicable,
                    6 => Judgement::Unknown,
                    _ => judged(Some(Severity::Stop)),
                };
                let found = point.update(RULE, None, &setting, judgement, &moment);
                (found, model.tick(&setting, judgement, elapsed_us.into()))
            }
        };
        assert_eq!(found.map(|event| event.kind), expected, "at {now_us} us, act {act}");
        assert_eq!(point.active(), model.active);
        assert_eq!(point.level(), model.level());
        assert_eq!(point.is_acknowledged(), model.acknowledged_us.is_some());
        assert_eq!(point.is_shelved(), model.shelved_us > 0);
        if let Some(event) = found {
            assert_eq!((event.time_us, event.rule, event.channel), (now_us, RULE, None));
            assert!(event.onset_us <= now_us);
        }
    }
}
