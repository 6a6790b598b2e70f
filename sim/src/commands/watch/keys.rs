//! Keys that are pressed twice.
//!
//! Decides: how long a second press confirms the first.
//! Assumes: nothing.
//! Never: takes a press of another key in between for a confirmation.

use crate::watch::terminal::Key;
use std::time::{Duration, Instant};

/// How long a second press of a key confirms the first.
const CONFIRM: Duration = Duration::from_secs(12);

/// Which key was pressed last, and when.
#[derive(Default)]
pub(super) struct Keys(Option<(Key, Instant)>);

impl Keys {
    pub(super) fn is_confirmed(&mut self, key: Key, now: Instant) -> bool {
        let before = self.0.replace((key, now));
        before.is_some_and(|(last, at)| last == key && now.saturating_duration_since(at) < CONFIRM)
    }
}
