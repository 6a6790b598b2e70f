//! The verdict for the lamp and the state of the board, worked out over some samples: each takes as long as many.
//!
//! Decides: when they are worked out, and what belongs to a state.
//! Assumes: [`Telling::look_at_time`] is told of a judged sample as soon as [`Telling::nothing_for_us`] is over,
//! [`Telling::look_at_inputs`] of those of the inputs in a bench test.
//! Never: does more than one part at a time.

use super::Hardware;
use super::between::{Snapshot, Word};
use super::watcher::{Eyes, Watcher};
use bandward::link::{Counts, MOST_ALARMS, Telemetry};
use bandward::monitor::SoFarInParts;
use bandward::sample::ChannelSet;
use bandward::{Quantity, Sample, SoFar};

/// The lamp follows the verdict this often, µs: it is worked out from every rule.
const VERDICT_EVERY_US: u64 = 100_000;
/// The state is told no more often, µs, whatever the integrator asks: the service has more to do.
const LEAST_TELEMETRY_US: u32 = 10_000;
/// Readings that one part takes.
const READINGS_A_PART: usize = 4;

/// What is worked out, and how far it is.
pub(super) struct Telling {
    every_us: u64,
    told_us: u64,
    verdict_us: u64,
    /// The verdict is due, or being worked out.
    is_due: bool,
    /// The state is due, for the host or for the controller of the cell.
    is_for_host: bool,
    is_for_cell: bool,
    asked_us: u32,
    /// In a bench test: since when, by the time of the inputs, no state was due.
    quiet_since_us: Option<u64>,
    parts: SoFarInParts,
    so_far: Option<SoFar>,
    judged: [Option<i32>; Quantity::COUNT],
    /// Readings of them that were taken.
    taken: usize,
}

impl Telling {
    /// Nothing is due yet: [`Self::begin`] says how often the state is.
    pub(super) const fn new() -> Self {
        Self {
            every_us: LEAST_TELEMETRY_US as u64,
            told_us: 0,
            verdict_us: 0,
            is_due: false,
            is_for_host: false,
            is_for_cell: false,
            parts: SoFarInParts::NONE,
            asked_us: 0,
            quiet_since_us: None,
            so_far: None,
            judged: [None; _],
            taken: 0,
        }
    }
    pub(super) fn begin(&mut self, every_us: u32) {
        self.every_us = u64::from(every_us.max(LEAST_TELEMETRY_US));
    }
    /// The state of another watch is told as soon as it can be.
    pub(super) fn begin_watch(&mut self) {
        (self.told_us, self.verdict_us, self.quiet_since_us) = (0, 0, None);
        self.anew();
    }
    /// What was worked out so far is of the past.
    fn anew(&mut self) {
        (self.parts, self.so_far, self.taken) = (SoFarInParts::NONE, None, 0);
    }
    pub(super) fn tell_the_cell(&mut self, asked_us: u32) {
        (self.is_for_cell, self.asked_us) = (true, asked_us);
        self.anew();
    }
    /// Is something due at this time?
    pub(super) fn look_at_time(&mut self, now_us: u64) {
        if now_us.wrapping_sub(self.verdict_us) >= VERDICT_EVERY_US {
            (self.verdict_us, self.is_due) = (now_us, true);
        }
        if now_us.wrapping_sub(self.told_us) >= self.every_us {
            (self.told_us, self.is_for_host, self.quiet_since_us) = (now_us, true, None);
        }
    }
    /// In a bench test, whose samples may not come: is the state due at this time of the inputs?
    pub(super) fn look_at_inputs(&mut self, input_us: u64, judged_us: u64) {
        let since_us = *self.quiet_since_us.get_or_insert(input_us);
        if input_us.wrapping_sub(since_us) >= self.every_us {
            (self.told_us, self.is_for_host, self.quiet_since_us) = (judged_us, true, None);
        }
    }
    /// For how long nothing will be due, from this time on, µs.
    pub(super) fn nothing_for_us(&self, now_us: u64) -> u64 {
        let verdict_in_us = VERDICT_EVERY_US.saturating_sub(now_us.wrapping_sub(self.verdict_us));
        self.every_us.saturating_sub(now_us.wrapping_sub(self.told_us)).min(verdict_in_us)
    }
    /// Is anything due, whether it can be told or not?
    pub(super) const fn is_under_way(&self) -> bool {
        self.is_due || self.is_for_host || self.is_for_cell
    }
}

impl<H: Hardware> Watcher<H> {
    pub(super) fn is_telling(&self) -> bool {
        self.watch.eyes.telling.is_due || self.can_tell_state()
    }
    /// Is the state due, and has the service taken the one before?
    fn can_tell_state(&self) -> bool {
        let Telling { is_for_host, is_for_cell, .. } = self.watch.eyes.telling;
        is_for_host && self.above.snapshots.ready() || is_for_cell && self.above.of_cell.ready()
    }
    /// The next part.
    #[inline(never)]
    pub(super) fn go_on_telling(&mut self) {
        let can_tell_state = self.can_tell_state();
        let Eyes { telling, annunciator, .. } = &mut *self.watch.eyes;
        let Some(so_far) = telling.so_far.filter(|_| can_tell_state) else {
            telling.taken = 0;
            telling.so_far = self.monitor.so_far_in_parts(&mut telling.parts);
            if let Some(so_far) = telling.so_far {
                // The lamp follows in its own time, whoever asks for a state.
                if core::mem::take(&mut telling.is_due) {
                    annunciator.verdict(&so_far);
                }
            }
            return;
        };
        if telling.taken < Quantity::COUNT {
            let quantities = Quantity::ALL.iter().zip(&mut telling.judged);
            for (&quantity, slot) in quantities.skip(telling.taken).take(READINGS_A_PART) {
                *slot = self.monitor.reading(quantity);
            }
            telling.taken = telling.taken.saturating_add(READINGS_A_PART);
            return;
        }
        self.take_snapshot(so_far);
    }
    fn take_snapshot(&mut self, so_far: SoFar) {
        let mut alarms = [None; MOST_ALARMS];
        for (slot, alarm) in alarms.iter_mut().zip(self.monitor.active_alarms()) {
            *slot = Some(alarm);
        }
        // A reading of a channel that was lost is none: those of a bench test are its own.
        let silent = if self.bench.is_none() {
            self.watch.eyes.input_watch.faults().silent
        } else {
            ChannelSet::EMPTY
        };
        let readings = silent.iter().fold(self.readings, Sample::without);
        let outputs = self.outputs();
        let Eyes { telling, annunciator, .. } = &mut *self.watch.eyes;
        let snapshot = Snapshot {
            telemetry: Telemetry {
                readings,
                judged: telling.judged,
                phase: self.monitor.phase(),
                position: self.monitor.position(),
                alarms,
                returned: annunciator.returned(),
                faults: annunciator.faults(),
                is_bench: self.bench.is_some(),
                so_far,
                outputs,
                counts: Counts::default(),
                dropped: 0,
                black_box_frozen: self.watch.black_box.is_frozen(),
            },
            shown: annunciator.shown(),
            samples: self.samples,
            asked_us: telling.asked_us,
        };
        telling.anew();
        if telling.is_for_cell && self.above.of_cell.enqueue(snapshot).is_ok() {
            telling.is_for_cell = false;
        }
        if telling.is_for_host && self.above.snapshots.enqueue(snapshot).is_ok() {
            telling.is_for_host = false;
            // After all that it follows from.
            self.watch.mouth.say(Word::Snapshot);
        }
    }
}
