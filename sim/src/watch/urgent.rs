//! When a state is worth telling again.
//!
//! Decides: at once where the verdict, an alarm, the phase or the link has changed; else after a time.
//! Assumes: it is asked at every look.

use super::tone::Tone;
use super::view::View;
use bandward::{ActiveAlarm, Phase};
use std::time::{Duration, Instant};

/// What makes a state go out at once.
#[derive(Clone, Debug, PartialEq)]
struct Urgent(&'static str, Tone, Vec<ActiveAlarm>, Phase, bool, bool);

/// What was told last, and when.
#[derive(Clone, Debug)]
pub struct Pace {
    every: Duration,
    last: Option<(Instant, Urgent)>,
}

impl Pace {
    /// So often where nothing has changed much.
    pub const fn every(every: Duration) -> Self {
        Self { every, last: None }
    }
    /// Is it time to tell? Then it counts as told.
    pub fn is_due(&mut self, view: &View, now: Instant) -> bool {
        let verdict = view.verdict();
        let urgent =
            Urgent(verdict.word, verdict.tone, view.alarms.clone(), view.phase, view.is_old(), view.is_over);
        let is_due = self
            .last
            .as_ref()
            .is_none_or(|(at, before)| *before != urgent || now.saturating_duration_since(*at) >= self.every);
        if is_due {
            self.last = Some((now, urgent));
        }
        is_due
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::quantity::UnitSystem;

    #[test]
    fn what_has_changed_goes_out_at_once_and_the_rest_after_a_time() {
        let (mut view, start) = (View::new(String::new(), UnitSystem::Metric, ""), Instant::now());
        let mut pace = Pace::every(Duration::from_secs(1));
        assert!(pace.is_due(&view, start));
        assert!(!pace.is_due(&view, start + Duration::from_millis(999)));
        view.phase = Phase::Arc;
        assert!(pace.is_due(&view, start + Duration::from_millis(999)));
        assert!(!pace.is_due(&view, start + Duration::from_millis(1998)));
        assert!(pace.is_due(&view, start + Duration::from_millis(1999)));
    }
}
