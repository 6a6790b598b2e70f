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
mod tests;
