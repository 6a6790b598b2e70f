//! What is done with every sample: the watcher, for the interrupt of the sample timer.
//!
//! Decides: which samples are judged, and what the monitor's words do to the outputs and the black box.
//! Assumes: it is interrupted by nothing that touches it, and may interrupt the service anywhere.
//! Never: waits for the service; touches the line or the flash; makes bytes of what is said; feeds the watchdog while
//! the relay cannot be released: a reset releases it.

use super::between::{Above, Mouth, Word};
use super::stamping::Stamping;
use super::telling::Telling;
use super::{BoxOfSamples, Hardware};
use crate::input_watch::{ArcSense, InputWatch};
use crate::outputs::{Annunciator, BLINK_US, Levels, Pins, Watchdog};
use bandward::event::{Event, Sink};
use bandward::flash::journal::Kept;
use bandward::link::{BoardFaults, Lamp, Outputs};
use bandward::monitor::Plan;
use bandward::record::stamp::Stamp;
use bandward::sample::ChannelSet;
use bandward::{
    Acquisition, AlarmKind, BandRecord, JointRecord, Monitor, Phase, Procedure, Sample, Severity,
};

/// Samples that come no faster leave time for all that is to be done, µs.
const UNHURRIED_US: u32 = 1_000;
/// What can wait for a sample that bears little waits for so many at most; for one without slow channels twice as long.
const MOST_PUT_OFF: u8 = 64;

/// The drivers that the watcher has.
pub(super) struct Drivers<H: Hardware> {
    pub(super) pins: Pins<H::Relay, H::Lamp, H::Horn>,
    pub(super) watchdog: H::Watchdog,
}

/// Judges samples and drives the outputs.
#[allow(clippy::struct_excessive_bools)] // each is a state of its own
pub struct Watcher<H: Hardware> {
    pub(super) monitor: H::Place<Monitor>,
    pub(super) watch: Watch<H>,
    pub(super) arc_sense: ArcSense,
    drivers: Drivers<H>,
    /// What the pins were driven for, and from which time on.
    driven: Option<(Outputs, u64)>,
    /// What the pin of the relay was to be when it refused.
    refused: Option<bool>,
    /// A sample of the inputs has come since the start.
    has_inputs: bool,
    /// No sample of the inputs was judged, and nobody has acknowledged, since the start.
    pub(super) is_new: bool,
    pub(super) above: Above,
    /// Of the procedure in force, on the board's own inputs.
    plan: Plan,
    period_us: u32,
    channels: ChannelSet,
    /// A change waits for the arc to go out.
    pub(super) is_change_due: bool,
    /// Samples judged in the bench test under way.
    pub(super) bench: Option<u32>,
    /// The black box was empty when the bench test began: what is in it is the test's.
    pub(super) is_box_of_bench: bool,
    pub(super) readings: Sample,
    pub(super) samples: u32,
    /// Nothing is due by the time from then on, and for so long, µs: one look at every sample.
    quiet_from_us: u64,
    quiet_for_us: u64,
    told_faults: BoardFaults,
    pub(super) is_procedure_bad: bool,
    pub(super) is_journal_failing: bool,
    put_off: u8,
}

/// What looks at the inputs, and what is shown of all.
pub struct Eyes {
    pub(super) input_watch: InputWatch,
    pub(super) annunciator: Annunciator,
    pub(super) telling: Telling,
    pub(super) stamping: Stamping,
}

impl Eyes {
    /// Nothing was seen yet.
    pub const fn new() -> Self {
        Self {
            input_watch: InputWatch::resting(),
            annunciator: Annunciator::new(),
            telling: Telling::new(),
            stamping: Stamping::new(),
        }
    }
}

impl Eyes {
    /// Begins to look, in place.
    pub(super) fn begin(&mut self, configuration: &super::Configuration) {
        self.input_watch.begin(configuration.acquisition, configuration.silence_us);
        self.telling.begin(configuration.telemetry_us);
    }
}

impl Default for Eyes {
    fn default() -> Self {
        Self::new()
    }
}

/// What the monitor tells, as it tells it.
pub(super) struct Watch<H: Hardware> {
    pub(super) mouth: Mouth,
    pub(super) eyes: H::Place<Eyes>,
    pub(super) black_box: H::Place<BoxOfSamples>,
    /// By the monitor, on whatever samples it is shown.
    pub(super) burning: bool,
    /// There was no room for a record.
    has_lost_record: bool,
    /// Something is left to be done beside the next sample, or may have to be: nearly always nothing is. Whoever adds what
    /// changes the outputs or the signs, or is to be done beside the samples, sets it there.
    is_open: bool,
}

impl<H: Hardware> Watch<H> {
    #[inline(always)]
    #[allow(clippy::inline_always)]
    fn keep(&mut self, record: &Kept, stamp: Stamp) {
        self.has_lost_record |= !self.mouth.hand_over(record, stamp);
    }
}

impl<H: Hardware> Sink for Watch<H> {
    fn event(&mut self, event: &Event) {
        self.is_open = true;
        match event {
            Event::Tack { .. } => {}
            Event::Phase { phase, .. } => {
                self.burning = matches!(phase, Phase::Strike | Phase::Arc | Phase::Outage);
            }
            Event::Alarm(alarm) => {
                self.eyes.annunciator.take(alarm);
                let worse = matches!(alarm.kind, AlarmKind::Raised | AlarmKind::Escalated);
                if worse && alarm.severity == Severity::Stop {
                    self.black_box.freeze();
                }
            }
        }
        self.mouth.say(Word::Event(*event));
    }
    fn band(&mut self, record: &BandRecord) {
        let is_bench = self.eyes.annunciator.is_bench();
        let stamp = self.eyes.stamping.stamp(record.joint, record.start_us, is_bench);
        if is_bench {
            self.keep(&Kept::BenchBand(*record), stamp);
        } else {
            self.keep(&Kept::Band(*record), stamp);
        }
    }
    fn joint(&mut self, record: &JointRecord) {
        self.is_open = true;
        self.eyes.annunciator.joint_done(record);
        let is_bench = self.eyes.annunciator.is_bench();
        let stamp = self.eyes.stamping.stamp(record.joint, record.start_us, is_bench);
        self.eyes.stamping.end_joint(record.joint);
        if is_bench {
            self.keep(&Kept::BenchJoint(*record), stamp);
        } else {
            self.keep(&Kept::Joint(*record), stamp);
        }
    }
}

impl<H: Hardware> Watcher<H> {
    /// Watches by what was begun in its place, and keeps the relay released until the first sample is judged.
    #[inline(never)]
    pub(super) fn new(
        (monitor, black_box, eyes): (H::Place<Monitor>, H::Place<BoxOfSamples>, H::Place<Eyes>),
        drivers: Drivers<H>,
        above: (Mouth, Above),
        plan: Plan,
        acquisition: Acquisition,
    ) -> Self {
        let (mouth, above) = above;
        Self {
            monitor,
            watch: Watch { mouth, eyes, black_box, burning: false, has_lost_record: false, is_open: true },
            arc_sense: ArcSense::default(),
            drivers,
            driven: None,
            refused: None,
            has_inputs: false,
            is_new: true,
            above,
            plan,
            period_us: acquisition.period_us,
            channels: acquisition.channels,
            is_change_due: false,
            bench: None,
            is_box_of_bench: false,
            readings: Sample::at(0),
            samples: 0,
            quiet_from_us: 0,
            quiet_for_us: 0,
            told_faults: BoardFaults::default(),
            is_procedure_bad: false,
            is_journal_failing: false,
            put_off: 0,
        }
    }
    /// Says at once what is wrong from the start.
    pub(super) fn begin(&mut self, is_procedure_bad: bool, is_journal_failing: bool) {
        (self.is_procedure_bad, self.is_journal_failing) = (is_procedure_bad, is_journal_failing);
        let watchdog_reset = self.drivers.watchdog.caused_reset();
        self.note(BoardFaults { watchdog_reset, ..BoardFaults::default() });
        self.look_at_faults();
        self.drive();
    }
    /// Judges a sample from the inputs, and does a bounded part of what else is to be done. `late` says that it could
    /// not be taken in its time.
    #[inline(never)]
    pub fn sample(&mut self, sample: &Sample, late: bool) {
        self.feed();
        // Where nothing was left before this sample, whatever comes up with it can wait for the next.
        let was_at_work = !self.watch.is_open || self.monitor.is_at_work();
        self.take_input(sample, late);
        if self.watch.is_open || self.above.orders.ready() {
            self.do_the_rest(sample, was_at_work);
        } else {
            self.watch.mouth.signs.count(self.samples);
        }
    }
    /// All but the taking of a sample: orders, what is told, outputs and signs.
    #[inline(never)]
    fn do_the_rest(&mut self, sample: &Sample, was_at_work: bool) {
        if self.has_more_to_do() && self.has_time(sample, was_at_work) {
            self.do_more();
        }
        self.show();
    }
    /// Drives the outputs and shows the signs; and finds whether that can rest, and for how long.
    fn show(&mut self) {
        let is_driven = self.drive();
        self.show_signs();
        let now_us = self.readings.time_us;
        // A pin that refused, or does so no more, changes what is to be driven next.
        let is_settled = is_driven && !self.watch.eyes.annunciator.is_stale();
        self.watch.is_open = !is_settled || self.is_change_due || self.watch.eyes.telling.is_under_way();
        let blinks_in_us = match self.driven {
            Some((Outputs { lamp: Lamp::Slow, .. }, from_us)) => {
                BLINK_US.saturating_sub(now_us.wrapping_sub(from_us))
            }
            _ => BLINK_US,
        };
        (self.quiet_from_us, self.quiet_for_us) =
            (now_us, self.watch.eyes.telling.nothing_for_us(now_us).min(blinks_in_us));
    }
    /// Does all that is to be done beside the samples: for a board whose samples come seldom, or not at all. Not while
    /// the service is interrupted by samples.
    pub fn attend(&mut self) {
        if self.bench.is_some() || !self.has_inputs {
            // A board without inputs takes no samples of its own; the relay is released.
            self.feed();
        }
        for _ in 0..ORDERS_A_CALL {
            if !self.take_an_order() {
                break;
            }
        }
        while self.is_telling() {
            self.go_on_telling();
        }
        self.show();
    }
    /// Is something to be done beside the samples?
    pub fn has_more_to_do(&self) -> bool {
        self.above.orders.ready() || self.is_change_due || self.is_telling()
    }
    /// One part of it, or all where the samples leave time for that.
    #[inline(never)]
    fn do_more(&mut self) {
        if !self.take_an_order() && self.is_telling() {
            self.go_on_telling();
        }
        while self.period_us >= UNHURRIED_US && self.is_telling() {
            self.go_on_telling();
        }
    }
    /// Does this sample bear so little that more may be done with it?
    fn has_time(&mut self, sample: &Sample, was_at_work: bool) -> bool {
        let is_slow = !sample.present().minus(ChannelSet::ELECTRICAL).is_empty();
        let is_light = !was_at_work && !self.monitor.is_at_work() && !is_slow;
        let most = if is_slow { 2 * MOST_PUT_OFF } else { MOST_PUT_OFF };
        let is_now = is_light || self.period_us >= UNHURRIED_US || self.put_off >= most;
        self.put_off = if is_now { 0 } else { self.put_off.saturating_add(1) };
        is_now
    }
    /// What it drives. A relay whose pin refuses is told as it was, and where nobody knows as energised.
    pub fn outputs(&self) -> Outputs {
        let outputs = self.watch.eyes.annunciator.outputs();
        let was_energised = self.driven.is_none_or(|(driven, _)| driven.relay_energised);
        let relay_energised = if self.refused.is_some() { was_energised } else { outputs.relay_energised };
        Outputs { relay_energised, ..outputs }
    }
    /// What is wrong with the board itself.
    pub fn faults(&self) -> BoardFaults {
        self.watch.eyes.annunciator.faults()
    }
    /// The procedure in force.
    pub fn procedure(&self) -> &Procedure {
        self.monitor.procedure()
    }
    /// Takes a sample from the inputs.
    fn take_input(&mut self, sample: &Sample, late: bool) {
        self.has_inputs = true;
        let is_usual = self.watch.eyes.input_watch.take_usual(sample);
        if (!is_usual || late) && !self.take_unusual(sample, is_usual, late) {
            if self.arc_sense.glimpse(sample, &self.monitor.procedure().arc, self.channels) {
                self.show_signs();
            }
            return;
        }
        if self.arc_sense.take(sample, &self.monitor.procedure().arc, self.channels) {
            self.watch.is_open = true;
        }
        if self.bench.is_some() {
            self.watch.eyes.telling.look_at_inputs(sample.time_us, self.readings.time_us);
            self.watch.is_open = true;
            self.guard_bench();
        }
        if self.bench.is_none() {
            if core::mem::take(&mut self.is_new) {
                // Power that comes back must not by itself let the weld go on: as IEC 60204-1 has it, from memory.
                self.note(BoardFaults { started: true, ..BoardFaults::default() });
                self.look_at_faults();
            }
            self.judge(sample);
        }
    }
    /// Looks closely at a sample that is not usual, or came late; true if it is to be judged.
    #[inline(never)]
    fn take_unusual(&mut self, sample: &Sample, is_usual: bool, late: bool) -> bool {
        let is_trusted = is_usual || self.watch.eyes.input_watch.take_closely(sample);
        if late {
            self.note(BoardFaults { missed_deadline: true, ..BoardFaults::default() });
        }
        if self.watch.eyes.input_watch.take_news() || late {
            self.look_at_faults();
        }
        is_trusted
    }
    /// A fault that was there for a moment.
    pub(super) fn note(&mut self, fault: BoardFaults) {
        self.watch.eyes.annunciator.take_moment(fault);
        self.watch.is_open = true;
    }
    /// Tells the faults of the board where they changed.
    #[inline(never)]
    pub(super) fn look_at_faults(&mut self) {
        let present = BoardFaults {
            bad_configuration: self.is_procedure_bad,
            journal: self.is_journal_failing,
            relay: self.refused.is_some(),
            ..self.watch.eyes.input_watch.faults()
        };
        self.watch.eyes.annunciator.take_faults(present);
        if present.bad_clock || present.wrong_rate {
            self.watch.eyes.stamping.forget_date();
        }
        self.watch.is_open = true;
        if core::mem::take(&mut self.watch.has_lost_record) {
            self.note(BoardFaults { journal: true, ..BoardFaults::default() });
        }
        let faults = self.watch.eyes.annunciator.faults();
        if faults != self.told_faults {
            self.told_faults = faults;
            self.watch.mouth.say(Word::Faults(faults));
        }
    }
    /// Ends a bench test during which somebody welds.
    fn guard_bench(&mut self) {
        if self.arc_sense.burns() {
            self.note(BoardFaults { unwatched_arc: true, ..BoardFaults::default() });
            self.watch.mouth.say(Word::BenchBroken);
            self.watch_inputs();
            self.look_at_faults();
        }
    }
    /// Inlined where samples of the inputs come: a call costs each of them a dozen instructions.
    #[inline(always)]
    #[allow(clippy::inline_always)]
    fn judge(&mut self, sample: &Sample) {
        self.watch.black_box.record(sample);
        self.monitor.step(sample, &mut self.watch);
        if self.watch.has_lost_record {
            self.look_at_faults();
        }
        if self.watch.eyes.annunciator.judged() {
            self.watch.is_open = true;
        }
        self.samples = self.samples.wrapping_add(1);
        self.readings.update(sample);
        if sample.time_us.wrapping_sub(self.quiet_from_us) >= self.quiet_for_us {
            self.watch.eyes.telling.look_at_time(sample.time_us);
            self.watch.is_open = true;
        }
    }
    #[inline(never)]
    pub(super) fn judge_of_bench(&mut self, sample: &Sample) {
        self.judge(sample);
    }
    fn feed(&mut self) {
        if !matches!(self.refused, Some(false)) {
            self.drivers.watchdog.feed();
        }
    }
    /// True if the pins are as they must be.
    fn drive(&mut self) -> bool {
        self.watch.eyes.annunciator.work_out();
        let (outputs, now_us) = (self.watch.eyes.annunciator.outputs(), self.readings.time_us);
        self.is_driven(outputs, now_us) || self.drive_pins(outputs, now_us)
    }
    fn is_driven(&self, outputs: Outputs, now_us: u64) -> bool {
        self.refused.is_none()
            && self.driven.is_some_and(|(driven, from_us)| {
                driven == outputs && (outputs.lamp != Lamp::Slow || now_us.wrapping_sub(from_us) < BLINK_US)
            })
    }
    #[inline(never)]
    fn drive_pins(&mut self, outputs: Outputs, now_us: u64) -> bool {
        let levels = Levels::at(outputs, now_us);
        let driven = self.drivers.pins.drive(levels);
        let refused = (!driven.relay).then_some(levels.relay);
        if refused != self.refused {
            self.refused = refused;
            self.look_at_faults();
        }
        if driven.all {
            self.driven = Some((outputs, now_us - now_us % BLINK_US));
        }
        driven.all
    }
    fn show_signs(&self) {
        let signs = self.watch.mouth.signs;
        signs.set(self.watch.burning, self.arc_sense.may_burn(), self.bench.is_some(), self.samples);
    }
    /// Watches the inputs again after a bench test, by the same procedure.
    pub(super) fn watch_inputs(&mut self) {
        let plan = self.plan;
        self.end_bench();
        self.watch_by(&plan, false);
    }
    /// Watches the inputs by the procedure that waits for it.
    pub(super) fn watch_by_change(&mut self) {
        self.end_bench();
        // Read where it lies: it is large.
        if let Some(change) = self.above.changes.peek() {
            self.plan = change.plan;
            self.monitor.start_by(&change.procedure, &change.plan);
        }
        let _ = self.above.changes.dequeue();
        self.begin_watch(false);
    }
    /// What a bench test froze is no record of the machine.
    fn end_bench(&mut self) {
        if self.bench.take().is_some() && self.is_box_of_bench {
            self.watch.black_box.release();
        }
    }
    /// Watches anew by the same procedure.
    pub(super) fn watch_by(&mut self, plan: &Plan, is_bench: bool) {
        self.monitor.restart_by(plan);
        self.begin_watch(is_bench);
    }
    /// Alarms and readings of the old watch are gone, what holds the relay and a frozen black box stay.
    fn begin_watch(&mut self, is_bench: bool) {
        self.readings = Sample::at(self.readings.time_us);
        self.watch.eyes.annunciator.begin_watch(is_bench);
        if !self.watch.black_box.is_frozen() {
            self.watch.black_box.release();
        }
        self.watch.burning = false;
        (self.watch.is_open, self.quiet_for_us) = (true, 0);
        self.watch.mouth.say(Word::WatchBegun);
        self.watch.eyes.telling.begin_watch();
        self.watch.eyes.stamping.begin_watch();
    }
}

/// Orders that one call of [`Watcher::attend`] follows.
const ORDERS_A_CALL: usize = 8;
