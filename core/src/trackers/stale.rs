//! For how long the gas meter stood still, against its habit, while no arc burned and it told of a flow.
//!
//! Decides: from when on, and until when, nobody knows whether gas flowed before or after an arc.
//! Assumes: it is told some times a second what the meter reads while gas flows and no arc burns, and since when that
//! stands still, if it does so as it never does under an arc.
//! Never: judges what stands still under the arc; that is told of the band. Nor a meter that only an arc makes move, for
//! as long as none burns.

/// So many turns of its reading within so long between two arcs, up and down again by two digits and more, show that it
/// moves all the time without one. A slow wander turns more seldom, or by less.
const LIVELY_TURNS: u8 = 3;
const LIVELY_US: u64 = 4_000_000;

/// What the meter read between the arcs.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stale {
    /// Since when it stood still, for the first time since the last arc, µs.
    from_us: u64,
    /// Until when it was seen to, µs; 0 where it never was.
    until_us: u64,
    /// Since when its turns are counted, µs.
    counted_us: u64,
    /// The reading from which it last turned, or on to which it has gone since.
    crest: i32,
    turns: u8,
    rises: bool,
    is_lively: bool,
}

impl Stale {
    /// It never was.
    pub(crate) const NEVER: Self =
        Self { from_us: 0, until_us: 0, counted_us: 0, crest: 0, turns: 0, rises: true, is_lively: false };

    /// Was it seen to move all the time without an arc?
    pub(crate) const fn is_lively(self) -> bool {
        self.is_lively
    }
    /// Gas is told to flow, by a reading of such steps, and no arc has burned since `lit_us`. Where the reading stands still:
    /// since when, and until when it is to have stood under the arc, lest it be a meter that is quiet without one.
    pub(crate) fn look(
        &mut self,
        (now_us, lit_us): (u64, u64),
        (flow, step): (i32, u32),
        stands_us: Option<(u64, u64)>,
    ) {
        self.count_turns((now_us, lit_us), flow, step.saturating_mul(2));
        let Some((since_us, reaches_us)) = stands_us else { return };
        if !self.is_lively && reaches_us > lit_us {
            return;
        }
        if self.until_us <= lit_us {
            self.from_us = since_us;
        }
        self.until_us = now_us;
    }
    fn count_turns(&mut self, (now_us, lit_us): (u64, u64), flow: i32, swing: u32) {
        if self.counted_us <= lit_us || now_us.saturating_sub(self.counted_us) > LIVELY_US {
            (self.counted_us, self.turns, self.crest) = (now_us, 0, flow);
        }
        let goes_on = (flow > self.crest) == self.rises;
        if goes_on {
            self.crest = flow;
        } else if swing > 0 && flow.abs_diff(self.crest) >= swing {
            (self.crest, self.rises) = (flow, !self.rises);
            self.turns = self.turns.saturating_add(1);
            self.is_lively |= self.turns >= LIVELY_TURNS;
        }
    }
    /// Of what flowed for so long before an arc that was struck then only what was seen since is known: the rest, µs.
    pub(crate) const fn before(self, flowed_us: u64, struck_us: u64) -> u64 {
        self.until_us.saturating_sub(struck_us.saturating_sub(flowed_us))
    }
    /// Of what flowed for so long after an arc that ended then only what was seen until then is known: the rest, µs.
    pub(crate) const fn after(self, flowed_us: u64, ended_us: u64) -> u64 {
        if self.until_us <= ended_us {
            return 0;
        }
        flowed_us.saturating_sub(self.from_us.saturating_sub(ended_us))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A second.
    const S: u64 = 1_000_000;

    fn before(stale: Stale) -> u64 {
        stale.before(8 * S, 20 * S) / S
    }
    fn after(stale: Stale) -> u64 {
        stale.after(9 * S, 50 * S) / S
    }

    /// An arc from 20 s to 50 s. Before it gas flowed for 8 s, after it for 9 s; the meter moves without an arc.
    #[test]
    fn only_what_was_seen_to_move_is_known() {
        let lively = Stale { is_lively: true, ..Stale::NEVER };
        let mut stale = lively;
        assert_eq!((before(stale), after(stale)), (0, 0));
        // Before it began to flow for this arc.
        stale.look((12 * S, 5 * S), (9, 1), Some((6 * S, 7 * S)));
        assert_eq!((before(stale), after(stale)), (0, 0));
        for now in 15..18 {
            stale.look((now * S, 5 * S), (9, 1), Some((13 * S, 14 * S)));
        }
        assert_eq!((before(stale), after(stale)), (5, 0), "it moved for the last 3");
        // It stood since before the arc's end, and again.
        stale.look((51 * S, 50 * S), (9, 1), Some((48 * S, 49 * S)));
        assert_eq!(after(stale), 9);
        let mut stale = Stale { from_us: 3 * S, until_us: 17 * S, ..lively };
        stale.look((56 * S, 50 * S), (9, 1), Some((54 * S, 55 * S)));
        stale.look((58 * S, 50 * S), (9, 1), Some((57 * S, 58 * S)));
        assert_eq!(after(stale), 5, "4 were seen before it stood for the first time");
        let mut stale = lively;
        stale.look((70 * S, 50 * S), (9, 1), Some((65 * S, 66 * S)));
        assert_eq!(after(stale), 0, "after the end of what flowed");
        stale.look((70 * S, 50 * S), (9, 1), None);
        assert_eq!(after(stale), 0);
    }

    /// One that only an arc makes move is quiet without one, and is not under it.
    #[test]
    fn a_quiet_meter_is_stale_where_it_stood_under_the_arc() {
        for (reaches_us, stale_s) in [(50 * S + 1, 0), (50 * S, 9), (49 * S, 9)] {
            let mut stale = Stale::NEVER;
            stale.look((53 * S, 50 * S), (9, 1), Some((48 * S, reaches_us)));
            assert_eq!(after(stale), stale_s, "{reaches_us}");
        }
    }

    #[test]
    fn a_meter_that_moves_up_and_down_without_an_arc_is_lively() {
        let read = |every_us: u64, readings: &[(u64, i32)]| {
            let mut stale = Stale::NEVER;
            for (index, &(lit_us, flow)) in (1..).zip(readings) {
                stale.look((60 * S + index * every_us, lit_us), (flow, 1), None);
            }
            stale.is_lively
        };
        let noise = [5, 7, 5, 7, 5, 7].map(|flow| (1, flow));
        assert!(read(S / 7, &noise));
        assert!(!read(S / 7, &noise[..4]), "too few");
        assert!(!read(2 * S, &noise), "too seldom");
        assert!(!read(S / 7, &[5, 6, 5, 6, 5, 6, 5].map(|flow| (1, flow))), "by one digit");
        assert!(!read(S / 7, &[1, 3, 5, 7, 9, 11, 13].map(|flow| (1, flow))), "a slow meter only rises");
        // A valve that opens and shuts before an arc and after it.
        let valve = [(1, 5), (1, 9), (1, 1), (61 * S, 5), (61 * S, 9), (61 * S, 1)];
        assert!(!read(S / 2, &valve));
    }
}
