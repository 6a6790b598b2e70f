//! How long a rule's cause lasted at a time while nothing was wrong.
//!
//! Decides: what is one excursion of good welding.
//! Assumes: the judgements of one rule with one setting, in order.
//! Never: looks at a delay. An excursion as long as the on-delay is a false alarm; how much shorter the
//! longest one is tells how far a setting is from its next.

use bandward::Severity;
use bandward::alarms::point::{Judgement, Moment};

/// The excursion that lasts, and the longest so far.
#[derive(Clone, Copy, Debug, Default)]
pub struct Excursion {
    held_us: Option<u64>,
    /// It began while something was wrong, and may be its consequence.
    is_excused: bool,
    longest_us: Option<u64>,
}

impl Excursion {
    /// Takes a judgement. What calls for less than `severity` counts as inside; `is_sound` tells whether
    /// nothing was wrong at the moment.
    ///
    /// Time is counted as an alarm counts its on-delay.
    pub fn take(
        &mut self,
        judgement: &Judgement,
        moment: &Moment,
        severity: Severity,
        is_sound: impl FnOnce() -> bool,
    ) {
        let since_us = match judgement {
            Judgement::Unknown => return,
            Judgement::Judged { level, since_us, .. } if *level >= Some(severity) => *since_us,
            _ => {
                (self.held_us, self.is_excused) = (None, false);
                return;
            }
        };
        let counted_us = self.held_us.map_or(0, |held_us| held_us + u64::from(moment.elapsed_us));
        let held_us = since_us.map_or(counted_us, |since_us| moment.now_us.saturating_sub(since_us));
        self.held_us = Some(held_us);
        self.is_excused |= !is_sound();
        if !self.is_excused {
            self.longest_us = self.longest_us.max(self.held_us);
        }
    }
    /// The longest, µs; none where the cause was never there.
    pub const fn longest_us(&self) -> Option<u64> {
        self.longest_us
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bandward::Position;

    fn longest_us(calls: &[(u64, Option<Severity>)], sound_from_us: u64) -> Option<u64> {
        let mut excursion = Excursion::default();
        let mut last_us = 0;
        for &(now_us, level) in calls {
            let judgement = Judgement::Judged { level, value: 0, limit: None, since_us: None };
            let elapsed_us = (now_us - last_us) as u32;
            let moment = Moment { now_us, elapsed_us, position: Position { band: 0, turned: None } };
            excursion.take(&judgement, &moment, Severity::Warn, || now_us >= sound_from_us);
            last_us = now_us;
        }
        excursion.longest_us()
    }

    #[test]
    fn the_longest_of_several_counts_from_its_first_tick() {
        let (warn, advise) = (Some(Severity::Warn), Some(Severity::Advise));
        let calls = [(10, None), (20, warn), (30, None), (40, warn), (55, warn), (60, warn), (70, advise)];
        assert_eq!(longest_us(&calls, 0), Some(20));
        assert_eq!(longest_us(&calls[..2], 0), Some(0));
        assert_eq!(longest_us(&calls[..1], 0), None);
    }

    #[test]
    fn what_began_with_a_fault_is_no_excursion_of_good_welding() {
        let warn = Some(Severity::Warn);
        let calls = [(10, warn), (20, warn), (30, warn), (40, None), (50, warn), (55, warn)];
        assert_eq!(longest_us(&calls, 15), Some(5));
        assert_eq!(longest_us(&calls, 55), None);
    }
}
