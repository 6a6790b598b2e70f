//! What is done with every sample.
//!
//! Decides: which samples are judged, and what the monitor's words do to outputs, link and black box.
//! Assumes: the service writes finished records to the flash soon after the arc is out.
//! Never: touches the flash, or waits for the line.

use super::{BENCH_PATIENCE_US, BoxOfSamples, Hardware, Inner};
use crate::link::{Link, QUEUE};
use crate::outputs::{Annunciator, Levels};
use bandward::alarms::ActiveAlarm;
use bandward::event::{Event, Sink};
use bandward::flash::journal::{Journal, Kept};
use bandward::link::{BoardFaults, Counts, MOST_ALARMS, Refusal, Report, Telemetry};
use bandward::{
    Acquisition, AlarmKind, BandRecord, JointRecord, Phase, Quantity, Sample, Severity, SoundProcedure,
};

/// The lamp follows the verdict this often, µs: it is worked out from every rule, too much for every sample.
const VERDICT_EVERY_US: u64 = 100_000;

/// The state is told no more often, µs, whatever the integrator asks: the service has more to do.
const LEAST_TELEMETRY_US: u32 = 10_000;

/// Records that wait for the arc to go out: at most as many bands as are laid without breaking it, and their joint.
pub type Finished = [Option<Kept>; 16];

/// What the monitor tells, as it tells it.
pub(super) struct Watch<H: Hardware> {
    pub(super) link: Link<H::Serial, H::Place<[u8; QUEUE]>>,
    pub(super) annunciator: Annunciator,
    pub(super) black_box: H::Place<BoxOfSamples>,
    /// By the monitor, on whatever samples it is shown.
    pub(super) burning: bool,
    /// Records on their way to the flash, in the order they were made.
    pub(super) finished: H::Place<Finished>,
    /// There was no room for one.
    pub(super) has_lost_record: bool,
}

impl<H: Hardware> Watch<H> {
    fn keep(&mut self, record: &Kept) {
        match self.finished.iter_mut().find(|slot| slot.is_none()) {
            Some(slot) => *slot = Some(*record),
            None => self.has_lost_record = true,
        }
    }
    /// How many records wait.
    pub(super) fn waiting(&self) -> usize {
        self.finished.iter().flatten().count()
    }
    /// The record that waits longest.
    pub(super) fn oldest(&self) -> Option<&Kept> {
        self.finished.first()?.as_ref()
    }
    /// Takes the record that waits longest.
    pub(super) fn take_oldest(&mut self) -> Option<Kept> {
        let oldest = self.finished.first_mut()?.take();
        self.finished.rotate_left(1);
        oldest
    }
}

impl<H: Hardware> Sink for Watch<H> {
    fn event(&mut self, event: &Event) {
        crate::log::event(event);
        match event {
            Event::Tack { .. } => {}
            Event::Phase { phase, .. } => {
                self.burning = matches!(phase, Phase::Strike | Phase::Arc | Phase::Outage);
            }
            Event::Alarm(alarm) => {
                self.annunciator.take(alarm);
                let worse = matches!(alarm.kind, AlarmKind::Raised | AlarmKind::Escalated);
                if worse && alarm.severity == Severity::Stop {
                    self.black_box.freeze();
                }
            }
        }
        self.link.send(&Report::Event(*event));
    }
    fn band(&mut self, record: &BandRecord) {
        crate::log::band(record);
        self.keep(&Kept::Band(*record));
        self.link.send(&Report::Band(*record));
    }
    fn joint(&mut self, record: &JointRecord) {
        crate::log::joint(record);
        self.annunciator.joint_done(record);
        self.keep(&Kept::Joint(*record));
        self.link.send(&Report::Joint(*record));
    }
}

impl<H: Hardware> Inner<H> {
    /// Takes a sample from the inputs.
    pub(super) fn take_input(&mut self, sample: &Sample, late: bool) {
        let is_trusted = self.input_watch.take(sample);
        if late {
            self.note(BoardFaults { missed_deadline: true, ..BoardFaults::default() });
        }
        self.look_at_faults();
        if !is_trusted {
            return;
        }
        let channels = self.configuration.acquisition.channels;
        self.arc_sense.take(sample, &self.monitor.procedure().arc, channels);
        if self.bench.is_some() {
            self.guard_bench(sample.time_us);
        }
        if self.bench.is_none() {
            self.judge(sample);
        }
    }
    /// A fault that was there for a moment.
    fn note(&mut self, fault: BoardFaults) {
        self.watch.annunciator.take_moment(fault);
    }
    /// Tells the faults of the board where they changed.
    pub(super) fn look_at_faults(&mut self) {
        let present = BoardFaults {
            bad_configuration: self.is_procedure_bad,
            journal: self.is_journal_failing,
            ..self.input_watch.faults()
        };
        self.watch.annunciator.take_faults(present);
        let is_erased = self.journal.as_mut().is_some_and(Journal::take_erased);
        if core::mem::take(&mut self.watch.has_lost_record) || is_erased {
            self.note(BoardFaults { journal: true, ..BoardFaults::default() });
        }
        let faults = self.watch.annunciator.faults();
        if faults != self.told_faults {
            self.told_faults = faults;
            self.watch.link.send(&Report::Faults(faults));
        }
    }
    /// Ends a bench test that nobody goes on with, and one during which somebody welds.
    fn guard_bench(&mut self, now_us: u64) {
        if self.arc_sense.burns() {
            self.note(BoardFaults { unwatched_arc: true, ..BoardFaults::default() });
            self.watch.link.send(&Report::Refused(Refusal::ArcBurning));
            self.watch_inputs(None);
            self.look_at_faults();
            return;
        }
        let quiet_us = *self.bench_quiet_us.get_or_insert(now_us);
        if now_us.saturating_sub(quiet_us) >= BENCH_PATIENCE_US {
            self.watch_inputs(None);
        }
    }
    pub(super) fn judge(&mut self, sample: &Sample) {
        self.watch.black_box.record(sample);
        self.monitor.step(sample, &mut self.watch);
        self.watch.annunciator.judged();
        self.samples = self.samples.wrapping_add(1);
        for channel in sample.present().iter() {
            if let Some(raw) = sample.raw(channel) {
                self.readings = self.readings.with_raw(channel, raw);
            }
        }
        self.readings.time_us = sample.time_us;
    }
    /// Tells the host the state, or else works out the verdict for the lamp, where it is time to; true if it did.
    /// Each takes as long as many samples, and waits for the service.
    pub(super) fn tell_what_is_due(&mut self, counts: Counts) -> bool {
        let now_us = self.readings.time_us;
        if self.is_state_due() {
            self.told_us = now_us;
            self.tell(counts);
        } else if self.is_verdict_due() {
            self.verdict_us = now_us;
            self.watch.annunciator.verdict(&self.monitor.so_far());
        } else {
            return false;
        }
        true
    }
    pub(super) fn is_verdict_due(&self) -> bool {
        self.readings.time_us.saturating_sub(self.verdict_us) >= VERDICT_EVERY_US
    }
    pub(super) fn is_state_due(&self) -> bool {
        let every_us = u64::from(self.configuration.telemetry_us.max(LEAST_TELEMETRY_US));
        self.readings.time_us.saturating_sub(self.told_us) >= every_us
    }
    pub(super) fn active_alarms(&self) -> [Option<ActiveAlarm>; MOST_ALARMS] {
        let mut alarms = [None; MOST_ALARMS];
        for (slot, alarm) in alarms.iter_mut().zip(self.monitor.active_alarms()) {
            *slot = Some(alarm);
        }
        alarms
    }
    fn tell(&mut self, counts: Counts) {
        let annunciator = &self.watch.annunciator;
        let telemetry = Telemetry {
            readings: self.readings,
            judged: Quantity::ALL.map(|quantity| self.monitor.reading(quantity)),
            phase: self.monitor.phase(),
            position: self.monitor.position(),
            alarms: self.active_alarms(),
            returned: annunciator.returned(),
            faults: annunciator.faults(),
            is_bench: self.bench.is_some(),
            so_far: self.monitor.so_far(),
            outputs: annunciator.outputs(),
            counts,
            dropped: self.watch.link.dropped(),
            black_box_frozen: self.watch.black_box.is_frozen(),
        };
        self.watch.link.send(&Report::Telemetry(telemetry));
    }
    pub(super) fn drive(&mut self) {
        let levels = Levels::at(self.watch.annunciator.outputs(), self.readings.time_us);
        if self.driven != Some(levels) && self.pins.drive(levels) {
            self.driven = Some(levels);
        }
    }
    /// Watches the inputs anew, by this procedure or else by the same.
    pub(super) fn watch_inputs(&mut self, procedure: Option<&SoundProcedure>) {
        // What a bench test froze is no record of the machine.
        if self.bench.take().is_some() && self.jobs.is_box_of_bench {
            self.watch.black_box.release();
        }
        self.jobs.end_bench();
        self.watch_by(procedure, self.configuration.acquisition, false);
    }
    /// Watches anew; alarms and readings of the old watch are gone, what holds the relay and a frozen black box
    /// stay.
    pub(super) fn watch_by(
        &mut self,
        procedure: Option<&SoundProcedure>,
        acquisition: Acquisition,
        is_bench: bool,
    ) {
        match procedure {
            Some(procedure) => self.monitor.start(procedure, acquisition),
            None => self.monitor.restart(acquisition),
        }
        self.readings = Sample::at(self.readings.time_us);
        self.watch.annunciator.begin_watch(is_bench);
        if !self.watch.black_box.is_frozen() {
            self.watch.black_box.release();
        }
        self.watch.burning = false;
        self.modbus.begin_watch(self.samples);
        self.told_us = 0;
        self.verdict_us = 0;
    }
}
