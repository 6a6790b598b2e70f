//! What the watcher does at the word of the service.
//!
//! Decides: how each order is followed and answered.
//! Assumes: the service asked for no change and no bench test while an arc burned, as far as it could see.
//! Never: energises the relay at the word of host or controller, or changes the procedure while an arc burns; does a press
//! of a moment that is over.

use super::Hardware;
use super::between::{Answer, Block, Order, Word};
use super::watcher::Watcher;
use bandward::link::{BoardFaults, LONGEST_PIECE, Refusal};
use bandward::monitor::Plan;
use bandward::record::stamp::Serial;

/// What an order can bring: for every alarm there is two events, and three records.
const ROOM: (usize, usize) = (160, 3);

impl<H: Hardware> Watcher<H> {
    /// Follows the order that waits longest, if there is one and room for what comes of it; true if it did.
    #[inline(never)]
    pub(super) fn take_an_order(&mut self) -> bool {
        let (words, records) = match self.above.orders.peek() {
            Some(Order::Tell { .. }) => (0, 0),
            _ => ROOM,
        };
        if !self.watch.mouth.has_room_for(words, records) {
            return false;
        }
        let may_change = self.is_change_due && !self.does_any_arc_burn();
        let gives_up_a_watch = may_change || matches!(self.above.orders.peek(), Some(Order::BenchStart(_)));
        if gives_up_a_watch && self.end_joint_under_way() {
            // The rest waits for another sample.
            return true;
        }
        if may_change {
            self.is_change_due = false;
            self.change();
            return true;
        }
        let Some(order) = self.above.orders.dequeue() else { return false };
        if let Some(answer) = self.follow(&order) {
            self.watch.mouth.say(Word::Answer(answer));
        }
        true
    }
    fn follow(&mut self, order: &Order) -> Option<Answer> {
        match *order {
            // Alarms may have come since that nobody saw who pressed.
            Order::Acknowledge { asked_us, .. }
            | Order::MarkJoint { asked_us, .. }
            | Order::SetDate { asked_us, .. }
            | Order::NameJoint { asked_us, .. }
                if self.watch.mouth.signs.is_late(asked_us) =>
            {
                None
            }
            Order::Acknowledge { is_answered, .. } => {
                self.is_new = false;
                self.watch.eyes.annunciator.acknowledge();
                self.monitor.acknowledge(self.readings.time_us, &mut self.watch);
                self.look_at_faults();
                is_answered.then_some(Answer::Acknowledged)
            }
            Order::MarkJoint { is_answered, .. } => {
                self.monitor.mark_joint(self.readings.time_us, &mut self.watch);
                is_answered.then_some(Answer::Ready)
            }
            Order::SetDate { utc_s, .. } => Some(self.set_date(utc_s)),
            Order::NameJoint { serial, .. } => Some(self.name_joint(serial)),
            Order::Shelve { rule, for_us } => {
                self.monitor.shelve(rule, for_us, &mut self.watch);
                Some(Answer::Ready)
            }
            Order::BenchStart(ref plan) => Some(self.start_bench(plan)),
            Order::BenchSample(ref sample) => {
                if let Some(taken) = self.bench {
                    self.judge_of_bench(sample);
                    self.bench = Some(taken.saturating_add(1));
                }
                None
            }
            Order::BenchTaken { is_whole } => Some(match self.bench {
                _ if !is_whole => Answer::Refused(Refusal::Malformed),
                Some(samples) => Answer::Taken { samples },
                None => Answer::Refused(Refusal::NoBenchTest),
            }),
            Order::BenchEnd => {
                let Some(samples) = self.bench else { return Some(Answer::Refused(Refusal::NoBenchTest)) };
                self.monitor.finish(&mut self.watch);
                self.watch_inputs();
                Some(Answer::BenchDone { samples })
            }
            Order::BenchLost => {
                if self.bench.is_some() {
                    self.watch_inputs();
                }
                None
            }
            Order::ReadBlackBox { from } => Some(self.read_black_box(from)),
            Order::ReleaseBlackBox => {
                self.watch.black_box.release();
                Some(Answer::Released)
            }
            Order::Change => {
                self.is_change_due = true;
                None
            }
            Order::Tell { asked_us } => {
                self.watch.eyes.telling.tell_the_cell(asked_us);
                None
            }
            Order::Journal { is_failing, has_lost } => {
                self.is_journal_failing = is_failing;
                if has_lost {
                    self.note(BoardFaults { journal: true, ..BoardFaults::default() });
                }
                self.look_at_faults();
                None
            }
        }
    }
    fn set_date(&mut self, utc_s: u32) -> Answer {
        // After a start or a bench test the time is not that of the samples to come.
        // Nor is it one to count by while the clock lies, and what is counted from then would stay wrong.
        let faults = self.watch.eyes.input_watch.faults();
        if self.readings.present().is_empty() || faults.bad_clock || faults.wrong_rate {
            return Answer::Refused(Refusal::NoSample);
        }
        let is_bench = self.bench.is_some();
        self.watch.eyes.stamping.set_date(utc_s, self.readings.time_us, is_bench);
        Answer::Ready
    }
    fn name_joint(&mut self, serial: Option<Serial>) -> Answer {
        // Whoever marked a joint speaks of that one, and it has not begun.
        let Some(joint) = self.monitor.next_joint() else { return Answer::Refused(Refusal::ArcBurning) };
        self.watch.eyes.stamping.name(joint, serial);
        Answer::Ready
    }
    pub(super) fn does_any_arc_burn(&self) -> bool {
        self.watch.burning || self.arc_sense.may_burn()
    }
    fn start_bench(&mut self, plan: &Plan) -> Answer {
        if self.does_any_arc_burn() {
            return Answer::Refused(Refusal::ArcBurning);
        }
        if self.bench.is_none() {
            self.is_box_of_bench = !self.watch.black_box.is_frozen();
        } else if self.is_box_of_bench {
            self.watch.black_box.release();
        }
        self.watch_by(plan, true);
        self.bench = Some(0);
        Answer::Ready
    }
    /// Before a watch is given up: what was laid of its joint is told and kept. True if there was anything.
    fn end_joint_under_way(&mut self) -> bool {
        let ends = self.bench.is_none() && self.monitor.has_joint_under_way() && !self.does_any_arc_burn();
        if ends {
            self.monitor.finish(&mut self.watch);
        }
        ends
    }
    #[inline(never)]
    fn change(&mut self) {
        self.is_procedure_bad = false;
        self.watch.eyes.annunciator.forget_bad_configuration();
        self.watch_by_change();
        self.look_at_faults();
        self.watch.mouth.say(Word::InForce);
    }
    fn read_black_box(&mut self, from: u32) -> Answer {
        if self.does_any_arc_burn() {
            return Answer::Refused(Refusal::ArcBurning);
        }
        let Some((number, held)) = self.watch.black_box.block_from(from) else { return Answer::NoBlock };
        let mut block = Block { number, bytes: [0; LONGEST_PIECE], used: held.len() };
        for (slot, byte) in block.bytes.iter_mut().zip(held) {
            *slot = *byte;
        }
        match self.above.blocks.enqueue(block) {
            Ok(()) => Answer::Block,
            Err(_) => Answer::NoBlock,
        }
    }
}
