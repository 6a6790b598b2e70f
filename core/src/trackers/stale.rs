//! For how long the gas meter stood still, against its habit, while no arc burned and it told of a flow.
//!
//! Decides: from when on, and until when, nobody knows whether gas flowed before or after an arc.
//! Assumes: it is told some times a second since when the reading stands still, if oddly.
//! Never: judges what stands still under the arc; that is told of the band.

use crate::trackers::gas::Flowed;

/// The last time without an arc in which the reading stood still.
#[derive(Clone, Copy, Debug)]
#[allow(clippy::struct_field_names, reason = "units stand in names")]
pub(crate) struct Stale {
    /// Since when, for the first time since the last arc, µs.
    from_us: u64,
    /// Until when it was seen to, µs; 0 where it never was.
    until_us: u64,
}

impl Stale {
    /// It never was.
    pub(crate) const NEVER: Self = Self { from_us: 0, until_us: 0 };

    /// Gas is told to flow, no arc has burned since `lit_us`, and the reading has stood still since `since_us`.
    pub(crate) const fn note(&mut self, now_us: u64, lit_us: u64, since_us: u64) {
        if self.until_us <= lit_us {
            self.from_us = since_us;
        }
        self.until_us = now_us;
    }
    /// What flowed before an arc that was struck at `struck_us`, of which only what was seen since is known.
    pub(crate) const fn before(self, flowed: Flowed, struck_us: u64) -> Flowed {
        let since_us = struck_us.saturating_sub(flowed.time_us);
        if self.until_us <= since_us {
            return flowed;
        }
        Flowed { stale_us: self.until_us.saturating_sub(since_us), ..flowed }
    }
    /// What flowed after an arc that ended at `ended_us`, of which only what was seen until then is known.
    pub(crate) const fn after(self, flowed: Flowed, ended_us: u64) -> Flowed {
        if self.until_us <= ended_us {
            return flowed;
        }
        let known_us = self.from_us.saturating_sub(ended_us);
        Flowed { stale_us: flowed.time_us.saturating_sub(known_us), ..flowed }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FLOWED: Flowed = Flowed { time_us: 0, at_least: false, is_lost: false, slack_us: 0, stale_us: 0 };

    /// An arc from 20 s to 50 s. Before it gas flowed for 8 s, after it for 9 s.
    #[test]
    fn only_what_was_seen_to_move_is_known() {
        let mut stale = Stale::NEVER;
        let before = |stale: Stale| stale.before(Flowed { time_us: 8, ..FLOWED }, 20).stale_us;
        let after = |stale: Stale| stale.after(Flowed { time_us: 9, ..FLOWED }, 50).stale_us;
        assert_eq!((before(stale), after(stale)), (0, 0));
        // Before it began to flow for this arc.
        stale.note(12, 5, 6);
        assert_eq!((before(stale), after(stale)), (0, 0));
        for now in 15..18 {
            stale.note(now, 5, 13);
        }
        assert_eq!((before(stale), after(stale)), (5, 0), "it moved for the last 3");
        // It stood since before the arc's end, and again.
        stale.note(51, 50, 48);
        assert_eq!(after(stale), 9);
        let mut stale = Stale { from_us: 3, until_us: 17 };
        stale.note(56, 50, 54);
        stale.note(58, 50, 57);
        assert_eq!(after(stale), 5, "4 were seen before it stood for the first time");
        let mut stale = Stale::NEVER;
        stale.note(70, 50, 65);
        assert_eq!(after(stale), 0, "after the end of what flowed");
    }
}
