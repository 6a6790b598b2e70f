//! One alarm from its raising to its clearing.
//!
//! Decides: what of the core's events is kept of an alarm.
//! Assumes: events in the order the core sends them.
//! Never: judges; every verdict is the core's.

use crate::raw::{from_raw, value};
use bandward::units::Degrees;
use bandward::{AlarmEvent, AlarmKind, BandRecord, Channel, Rule, Severity};

/// A cause that was judged within this of where it began was judged at once, degrees.
const AT_ONCE_DEG: f64 = 1.0;

/// One alarm from its raising to its clearing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Alarm {
    /// The rule.
    pub rule: Rule,
    /// The channel, for rules about one.
    pub channel: Option<Channel>,
    /// The worst severity it reached.
    pub severity: Severity,
    /// The joint, from 1.
    pub joint: u16,
    /// The band of the joint, from 1; 0 before the first.
    pub band: u16,
    /// When it reached each severity, the mildest first, µs.
    pub reached_us: [Option<u64>; 3],
    /// When its cause began, µs; of the worst severity.
    pub onset_us: u64,
    /// When it was first raised, µs.
    pub raised_us: u64,
    /// When it reached its worst severity, µs.
    pub worst_us: u64,
    /// When it cleared, µs; not before the end of the trace if absent.
    pub cleared_us: Option<u64>,
    /// Angle from the start of the band to where its cause began.
    pub turned: Option<Degrees>,
    /// Angle from the start of the band to where the cause began of what first was worse than advice.
    pub bad_from: Option<Degrees>,
    /// When that was, µs.
    pub bad_onset_us: Option<u64>,
    /// Of gas that came too late: angle from the start of the band to where it had come; known once the joint is done.
    pub gas_came_at: Option<Degrees>,
    /// Angle from the start of the band to where it cleared, or to the end of the band; known once the joint is done.
    pub cleared_at: Option<Degrees>,
    /// The worst value, raw; see [`Rule::measure`].
    pub worst: i32,
    /// The limit that was passed, raw.
    pub limit: Option<i32>,
}

impl Alarm {
    /// The one that begins with this event.
    pub fn raised(event: &AlarmEvent, joint: u16) -> Self {
        Self {
            rule: event.rule,
            channel: event.channel,
            severity: event.severity,
            joint,
            band: event.position.band,
            reached_us: reached([None; 3], event),
            onset_us: event.onset_us,
            raised_us: event.time_us,
            worst_us: event.time_us,
            cleared_us: None,
            turned: event.position.turned,
            bad_from: bad_from(event),
            bad_onset_us: bad_onset_us(event),
            gas_came_at: None,
            cleared_at: None,
            worst: event.worst,
            limit: event.limit,
        }
    }
    /// Is the event about it, as long as it is open?
    pub fn is_about(&self, event: &AlarmEvent) -> bool {
        is_same(self.rule, event.rule, self.channel, event.channel) && self.cleared_us.is_none()
    }
    /// Takes what happened to it.
    pub fn follow(&mut self, event: &AlarmEvent) {
        match event.kind {
            AlarmKind::Escalated => {
                self.severity = event.severity;
                self.onset_us = event.onset_us;
                self.worst_us = event.time_us;
                self.reached_us = reached(self.reached_us, event);
                self.turned = event.position.turned;
                self.bad_from = self.bad_from.or(bad_from(event));
                self.bad_onset_us = self.bad_onset_us.or(bad_onset_us(event));
            }
            AlarmKind::Cleared => self.cleared_us = Some(event.time_us),
            _ => return,
        }
        self.worst = event.worst;
        self.limit = event.limit;
    }
    /// As it stood in a later band, from the start of that one, where it broke a limit there too.
    pub fn stood_in(&self, band: &BandRecord) -> Option<Self> {
        let is_later = self.joint == band.joint && self.band > 0 && self.band < band.band;
        let lasts = self.onset_us <= band.end_us
            && self.cleared_us.is_none_or(|cleared_us| cleared_us > band.start_us);
        let start = band.turned.map(|_| Degrees::ZERO);
        (is_later && lasts && band.violated.contains(self.rule)).then(|| Self {
            band: band.band,
            turned: start,
            bad_from: start.filter(|_| self.severity >= Severity::Warn),
            cleared_at: None,
            ..*self
        })
    }
    /// Puts it where its cause began: the core tells where it first judged it, which may be later by seconds.
    pub fn put_back(&mut self, turned_at: impl Fn(u64) -> Option<Degrees>) {
        let earlier = |told: Option<Degrees>, onset_us: u64| {
            let began = turned_at(onset_us)?;
            told.filter(|told| value(*told) <= value(began) + AT_ONCE_DEG).or_else(|| told.and(Some(began)))
        };
        self.turned = earlier(self.turned, self.onset_us).or(self.turned);
        self.bad_from =
            self.bad_onset_us.and_then(|onset_us| earlier(self.bad_from, onset_us)).or(self.bad_from);
    }
    /// Turn of the band, from 1, and clock degrees from its start, 0 to 360.
    pub fn place(&self) -> Option<(u32, f64)> {
        let degrees = value(self.turned?).max(0.0);
        Some((1 + (degrees / 360.0) as u32, degrees % 360.0))
    }
    /// A raw value of this alarm in its unit.
    pub fn in_unit(&self, raw: i32) -> f64 {
        from_raw(raw, self.rule.measure(self.channel).fraction_bits())
    }
}

/// Are two events about one alarm? A wrong polarity is one whichever pole was found first: put away before
/// that is known it has no channel, and taken back it has one.
pub fn is_same(rule: Rule, other_rule: Rule, channel: Option<Channel>, other: Option<Channel>) -> bool {
    rule == other_rule && (channel == other || rule == Rule::PolarityWrong)
}

/// Where its cause began, of an event that is worse than advice.
fn bad_from(event: &AlarmEvent) -> Option<Degrees> {
    event.position.turned.filter(|_| event.severity >= Severity::Warn)
}

/// When that was.
fn bad_onset_us(event: &AlarmEvent) -> Option<u64> {
    (event.severity >= Severity::Warn).then_some(event.onset_us)
}

/// With the time at which an event brought its severity.
fn reached(mut times_us: [Option<u64>; 3], event: &AlarmEvent) -> [Option<u64>; 3] {
    times_us[event.severity as usize] = Some(event.time_us);
    times_us
}
