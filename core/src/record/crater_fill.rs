//! Crater fill: the ramp down at the end of a band, past a full turn.
//!
//! Decides: how long a reading that falls below its range past a full turn waits before it is told. If the arc
//! goes out meanwhile it was crater fill; if the reading comes back, or stays low for longer than the
//! procedure's crater fill lasts, it is told with the time at which it began.
//! Assumes: it is asked at every tick, and only past a full turn.
//! Never: holds back what began before the full turn, or anything for longer than the procedure gives.

use crate::judge::judgement::Judgement;
use crate::rule::{Rule, Severity};

/// A reading that waits.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    since_us: u64,
    /// When it was last below its range.
    low_us: u64,
    level: Severity,
    worst: i32,
    limit: Option<i32>,
}

/// The readings that fall in a crater fill.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct CraterFill([Option<Waiting>; 4]);

impl CraterFill {
    /// The place of a rule that crater fill would break.
    const fn place(rule: Rule) -> Option<usize> {
        match rule {
            Rule::TransferLowVoltage => Some(0),
            Rule::VoltageLow => Some(1),
            Rule::CurrentLow => Some(2),
            Rule::WireFeedLow => Some(3),
            _ => None,
        }
    }
    /// Could crater fill break it?
    pub(crate) const fn concerns(rule: Rule) -> bool {
        Self::place(rule).is_some()
    }
    /// What becomes of `found`. `was_low` before the full turn: then nothing is held back. A crater fill lasts
    /// `longest_us` at most; what came back sooner than `on_delay_us` is not told.
    pub(crate) fn take(
        &mut self,
        rule: Rule,
        found: Judgement,
        was_low: bool,
        now_us: u64,
        (longest_us, on_delay_us): (u32, u32),
    ) -> Judgement {
        let Some(slot) = Self::place(rule).and_then(|place| self.0.get_mut(place)) else { return found };
        let Judgement::Judged { level, value, limit, .. } = found else {
            if found == Judgement::NotApplicable {
                *slot = None;
            }
            return found;
        };
        match (level, slot.as_mut()) {
            (Some(_), None) if was_low => found,
            (Some(level), None) => {
                *slot = Some(Waiting { since_us: now_us, low_us: now_us, level, worst: value, limit });
                Judgement::Unknown
            }
            (Some(level), Some(waiting)) => {
                waiting.worst = waiting.worst.min(value);
                waiting.low_us = now_us;
                if level > waiting.level {
                    (waiting.level, waiting.limit) = (level, limit);
                }
                let waits = now_us.saturating_sub(waiting.since_us) < u64::from(longest_us);
                if waits { Judgement::Unknown } else { waiting.tell() }
            }
            // A ramp wavers about the end of the range.
            (None, Some(waiting)) if now_us.saturating_sub(waiting.since_us) < u64::from(longest_us) => {
                Judgement::Unknown
            }
            (None, Some(waiting)) => {
                let lasted_us = waiting.low_us.saturating_sub(waiting.since_us);
                let told = if lasted_us >= u64::from(on_delay_us) { waiting.tell() } else { found };
                *slot = None;
                told
            }
            (None, None) => found,
        }
    }
}

impl Waiting {
    const fn tell(&self) -> Judgement {
        Judgement::Judged {
            level: Some(self.level),
            value: self.worst,
            limit: self.limit,
            since_us: Some(self.since_us),
        }
    }
}
