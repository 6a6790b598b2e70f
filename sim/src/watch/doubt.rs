//! What a watch of a board saw that leaves nothing proven, whatever the board says of its joints.
//!
//! Decides: which of it counts, and its words. In a bench test the board's inputs are not what is judged.
//! Assumes: it is handed everything that is said.
//! Never: takes back a reason: what was not seen stays unseen. But a procedure that comes mends that there was none.

use super::board_faults;
use crate::link::numbered::runs_in_words;
use bandward::flash::journal::Kept;
use bandward::link::{BoardFaults, Telemetry};
use bandward::rule::RuleSet;
use bandward::{JointRecord, Outcome, Rule};
use std::collections::BTreeSet;
use std::time::Duration;

/// Joints that are named; of more it is told how many.
const LISTED: usize = 6;

/// A reason why what was watched is not proven.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// For machines.
    pub name: &'static str,
    /// For people.
    pub words: String,
}

/// What was seen so far.
// Each of its flags is one plain fact, not a state in disguise.
#[allow(clippy::struct_excessive_bools)]
#[derive(Clone, Debug, Default)]
pub struct Doubts {
    /// The bench test is this watch's own.
    is_bench: bool,
    was_lost: bool,
    /// Faults of the board itself, now or before.
    faults: BoardFaults,
    returned: RuleSet,
    /// Somebody else's bench test was under way.
    was_bench: bool,
    has_started_anew: bool,
    /// An arc burned, or a joint ended, and the procedure in force asked for nothing.
    was_unasked: bool,
    /// The last state of what is watched.
    last: Option<Telemetry>,
    /// Joints whose record came, since their numbers last began anew.
    told: BTreeSet<u16>,
    /// Joints that have ended since then.
    ended: BTreeSet<u16>,
    /// Joints before that ended and whose record did not come.
    untold: BTreeSet<u16>,
    /// Runs of numbers of damaged records in the board's journal.
    damaged: BTreeSet<(u32, u32)>,
}

impl Doubts {
    /// Of a watch that has, or has not, a bench test of its own.
    pub fn new(is_bench: bool) -> Self {
        Self { is_bench, ..Self::default() }
    }
    /// The link is lost.
    pub fn lost(&mut self) {
        self.was_lost = true;
    }
    /// Another procedure is in force: joints are counted anew, and one that was under way has ended.
    pub fn other_procedure(&mut self) {
        if let Some(last) = self.last.take() {
            self.begin_anew(&last);
        }
        self.faults.bad_configuration = false;
    }
    /// Numbers of joints begin anew after this state.
    fn begin_anew(&mut self, last: &Telemetry) {
        if last.so_far.bands > 0 || last.phase.is_in_band() {
            self.ended.insert(last.so_far.joint_number);
        }
        self.untold = self.all_untold();
        self.ended.clear();
        self.told.clear();
    }
    fn all_untold(&self) -> BTreeSet<u16> {
        self.untold.iter().chain(self.ended.difference(&self.told)).copied().collect()
    }
    /// The faults of the board itself changed.
    pub fn faults(&mut self, faults: BoardFaults) {
        // In a bench test the inputs are nobody's concern, nor the time of their samples.
        let counted = if self.is_bench {
            let BoardFaults { bad_configuration, unwatched_arc, .. } = faults;
            BoardFaults { bad_configuration, unwatched_arc, ..BoardFaults::default() }
        } else {
            faults
        };
        self.faults = self.faults.union(counted);
    }
    /// The record of a joint.
    pub fn joint(&mut self, record: &JointRecord) {
        self.told.insert(record.joint);
        self.was_unasked |= record.outcome == Outcome::NotAsked;
    }
    /// A record of a bench test; true where that is this watch's own.
    pub fn bench_record(&mut self, kept: &Kept) -> bool {
        if let (true, Kept::Joint(record)) = (self.is_bench, kept.as_welded()) {
            self.joint(&record);
        }
        self.was_bench |= !self.is_bench;
        self.is_bench
    }
    /// Runs of numbers in the board's journal whose records were damaged.
    pub fn journal_damaged(&mut self, runs: &[(u32, u32)]) {
        self.damaged.extend(runs);
    }
    /// Was one?
    pub fn is_journal_damaged(&self) -> bool {
        !self.damaged.is_empty()
    }
    /// The state of the board.
    pub fn state(&mut self, state: &Telemetry) {
        if state.is_bench != self.is_bench {
            self.was_bench |= state.is_bench;
            return;
        }
        self.faults(state.faults);
        self.was_unasked |= state.phase.is_in_band() && state.so_far.joint == Outcome::NotAsked;
        self.returned = self.returned.union(state.returned);
        let Some(last) = self.last.replace(*state) else { return };
        let (before, now) = (last.so_far.joint_number, state.so_far.joint_number);
        if now < before || state.readings.time_us < last.readings.time_us {
            self.has_started_anew = true;
            self.begin_anew(&last);
        } else {
            // The number goes up with the record of each joint.
            self.ended.extend(before..now);
        }
    }
    /// All reasons, where the joints came to `judged` and the last state is so old; none that is not said.
    pub fn all(&self, judged: Outcome, old: Duration, silence: Duration) -> Vec<Doubt> {
        let mut doubts = Vec::new();
        let mut add = |is_there: bool, name, words: String| {
            if is_there {
                doubts.push(Doubt { name, words });
            }
        };
        add(self.was_lost, "link-lost", "the link to the board was lost".to_owned());
        let is_unheard = self.last.is_none() && (!self.is_bench || judged == Outcome::NotAsked);
        add(is_unheard, "no-state", "the board told no state of what was watched".to_owned());
        if !self.is_bench && self.last.is_some() {
            let words = format!("the board told nothing in the last {} s", old.as_secs());
            add(old > silence, "silent", words);
        }
        add(
            self.was_bench,
            "bench-test",
            "a bench test was under way: the board did not judge its inputs".into(),
        );
        add(self.has_started_anew, "started-anew", "the board started anew, or its time ran back".to_owned());
        let untold = self.all_untold();
        let listed: Vec<_> = untold.iter().take(LISTED).map(u16::to_string).collect();
        let more = match untold.len() - listed.len() {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let words = format!("joint {}{more} ended and no record of it came", listed.join(", "));
        add(!untold.is_empty(), "joint-not-told", words);
        for (name, words) in board_faults::told(&self.faults) {
            add(true, name, words);
        }
        let names = self.returned.iter().map(Rule::name).collect::<Vec<_>>().join(", ");
        add(
            !names.is_empty(),
            "not-acknowledged",
            format!("{names} stopped the weld and was not acknowledged"),
        );
        let is_released = self.last.is_some_and(|last| !last.outputs.relay_energised) && !self.is_bench;
        add(is_released, "relay-released", "the hold relay is released".to_owned());
        let runs: Vec<_> = self.damaged.iter().copied().collect();
        let words = format!("records in the journal were damaged: number {}", runs_in_words(&runs));
        add(self.is_journal_damaged(), "journal-damaged", words);
        let is_unasked = self.was_unasked || judged == Outcome::NotAsked && self.last.is_some();
        let words = "the board had no procedure, or one that limits nothing: not all was judged".to_owned();
        add(is_unasked, "nothing-judged", words);
        doubts
    }
}
