//! Bands: begun, settled, closed, handed out.
//!
//! Decides: what is noted of a band as it begins, and when its record goes out.
//! Assumes: the arc tracker tells of every change once.
//! Never: judges.

use super::Monitor;
use super::clock::SLOTS;
use crate::acquisition::TICK_US;
use crate::event::{AlarmEvent, Event, Sink};
use crate::judge::judgement::Moment;
use crate::judge::readings::Reading;
use crate::judge::{BROKEN_OFF, POSTFLOW_PATIENCE_US, proof, ranges};
use crate::record::band::Ending;
use crate::record::bands::{Closing, Outage};
use crate::record::coverage::rate_allows;
use crate::record::early_gas::EarlyGas;
use crate::rule::{Quantity, Rule, Side};
use crate::sample::Channel;
use crate::trackers::arc::{Change, Phase};
use crate::units::{Degrees, Duration};

/// From this slot on what is known once the arc is over is worked out; see `slots`.
const ENDING_FROM: u8 = 29;
const OVERLAP_LONG: u8 = 30;
const AFTER_OVERLAP: u8 = 31;

/// A reading older than this is not taken for the state at the strike, µs.
const STALE_US: u64 = 10_000_000;

/// An arc that goes out before this angle did not close its band; half a sample of turning at either end is not seen.
const WHOLE_TURN: Degrees = Degrees::from_milli(357_000);
/// A tack turns less than this. Common practice, no source.
const TACK_TURNS: Degrees = Degrees::from_milli(20_000);
/// And it burns for less than this, µs. Common practice, no source.
const TACK_BURNS_US: u64 = 5_000_000;
/// An arc that is back sooner was not broken off to strike anew, µs. Common practice, no source.
const AT_ONCE_US: u64 = 1_000_000;
/// A pipe that turned so far from strike to strike turns.
const TURNS: Degrees = Degrees::from_milli(500);

impl Monitor {
    pub(super) fn take_change(&mut self, change: Change, now_us: u64, sink: &mut dyn Sink) {
        self.begin_at_once(sink);
        match change {
            Change::Phase if self.phase() == Phase::Arc => self.settle_strike(now_us),
            Change::Phase if self.phase() == Phase::Outage => {
                self.bands.tally.pause(self.trackers.arc.lit_us());
            }
            Change::None | Change::Phase => {}
            Change::BandBegan => return self.strike(now_us, sink),
            Change::Reignited => self.bands.tally.resume(now_us),
            // What went out before it was a band was a tack.
            Change::Restruck
                if !self.bands.confirmed && self.phase() == Phase::Strike && !self.goes_on(now_us) =>
            {
                self.end_tack(sink);
                return self.strike(now_us, sink);
            }
            Change::SeenAgain => {
                let tally = &mut self.bands.tally;
                tally.skip(now_us.saturating_sub(tally.record.end_us));
                tally.resume(now_us);
                self.trackers.signal.forget_repeats();
            }
            Change::Restruck => {
                // `lit_us` is now; the tally still knows when the arc was last seen.
                let tally = &mut self.bands.tally;
                let lit_us = tally.record.end_us;
                let out_us = self.trackers.arc.seen_out_us().unwrap_or(lit_us).max(lit_us);
                tally.skip(out_us.saturating_sub(lit_us));
                if self.bands.outage.is_none() {
                    let turned = tally.mark_turning();
                    self.bands.outage = Some(Outage { out_us, back_us: now_us, turned });
                }
                let tally = &mut self.bands.tally;
                tally.record.outages = tally.record.outages.saturating_add(1);
                tally.resume(now_us);
                // What stands still while a settled arc is out for a moment stands on.
                if self.phase() != Phase::Arc {
                    self.trackers.signal.forget_repeats();
                } else if !self.bands.settled {
                    self.settle_strike(now_us);
                }
            }
            Change::BandEnded => {
                let is_seen = self.trackers.arc.was_seen_going_out();
                if !self.trackers.electrical.is_empty() {
                    self.take_electrical(now_us);
                }
                self.close(if is_seen { self.ending_of_arc() } else { Ending::DataEnded });
                self.end_tack(sink);
                if !is_seen {
                    self.lose_end();
                }
            }
        }
        self.tell_phase(now_us, sink);
    }

    fn tell_phase(&self, time_us: u64, sink: &mut dyn Sink) {
        let phase = self.phase();
        let band = if phase.is_in_band() { self.bands.tally.record.band } else { self.bands.count };
        sink.event(&Event::Phase { time_us, phase, band });
    }

    /// Does an arc that went out before it was known to be a band go on, where it comes back now? One that comes
    /// back at once while the pipe turns does, and one that comes and goes. Any other was a tack: what comes has to close the
    /// turn by itself.
    fn goes_on(&self, now_us: u64) -> bool {
        let tally = &self.bands.tally;
        let out_us = now_us.saturating_sub(tally.record.end_us);
        let turned = tally.turned(self.trackers.spindle.total());
        let is_at_once = out_us <= AT_ONCE_US && turned.is_none_or(|turned| turned >= TURNS);
        is_at_once || self.trackers.arc.is_restless()
    }

    /// Was the work read lately?
    pub(super) fn is_work_fresh(&self, now_us: u64) -> bool {
        self.acquisition.channels.contains(Channel::Work)
            && self.trackers.signal.missing_since(Channel::Work, now_us, STALE_US).is_none()
    }

    /// The strike has settled: the ranges are judged from here on.
    fn settle_strike(&mut self, now_us: u64) {
        self.take_electrical(now_us);
        self.trackers.clear_means();
        if self.bands.settled {
            return;
        }
        self.bands.settled = true;
        self.trackers.dips.restart(now_us);
        self.bands.tally.count_from(now_us);
    }

    /// A settled arc is a band once it has turned, or burned for long enough; until then it may be a tack.
    pub(super) fn confirm_band(&mut self) {
        let bands = &self.bands;
        if bands.confirmed || !bands.settled || !self.phase().is_in_band() {
            return;
        }
        let turns = bands.tally.turned_at_end() >= Some(TACK_TURNS);
        // One that is out for a moment again and again burns on.
        let burnt_us = bands.tally.burnt_us(self.clock.moment.now_us);
        let burns = burnt_us.saturating_add(self.trackers.arc.moments_us()) >= TACK_BURNS_US;
        if turns || burns {
            self.confirm();
        }
    }

    /// The work after the strike, held against what it was before it.
    pub(super) fn follow_work(&mut self) {
        let sound = !self.channels.unsound().contains(Channel::Work);
        if Channel::Work.is_watched() && sound && self.bands.confirmed && self.trackers.arc.is_settled() {
            let tally = &mut self.bands.tally;
            if let Some(after) = tally.work_after.as_mut() {
                after.follow(self.clock.moment.now_us, tally.record.start_us, &self.trackers.work);
            }
        }
    }

    /// Gas that flowed before the arc and fails under it before the arc is known to be a band: noted until then,
    /// and judged then, though it may be back.
    pub(super) fn follow_early_gas(&mut self, sink: &mut dyn Sink) {
        if self.bands.confirmed {
            if let Some(gas) = self.bands.tally.early_gas.take() {
                self.judge_early_gas(gas, sink);
            }
            return;
        }
        let flowed = self.bands.tally.record.gas_preflow.is_some_and(|time| time > Duration::ZERO);
        let fails = self.trackers.gas.has_fallen() && !self.channels.unsound().contains(Channel::Gas);
        if !self.trackers.arc.burns_or_pauses() || !flowed || !fails {
            return;
        }
        if let Some(flow) = self.trackers.gas_flow.mean() {
            let Moment { now_us, elapsed_us, .. } = self.clock.moment;
            let early_gas = &mut self.bands.tally.early_gas;
            *early_gas = Some(EarlyGas::after(*early_gas, flow, (now_us, elapsed_us)));
        }
    }

    /// What was found of the wire before the arc was known to be a band.
    pub(super) fn tell_early_wire(&mut self, sink: &mut dyn Sink) {
        let time_us = self.clock.moment.now_us;
        while let Some(event) = self.bands.tally.early_wire.take() {
            self.tell(AlarmEvent { time_us, ..event }, true, sink);
        }
    }

    fn confirm(&mut self) {
        self.bands.confirmed = true;
        let tally = &mut self.bands.tally;
        tally.work_at_start(&self.trackers.work);
        tally.work_by_now(&self.trackers.work);
    }

    /// The next slot: a band that was confirmed is counted, and placed.
    pub(super) fn count_confirmed(&mut self) {
        let bands = &self.bands;
        if !bands.confirmed || bands.is_counted() {
            return;
        }
        let now_us = self.clock.moment.now_us;
        self.count_in_group(self.travel(now_us));
        if let Some(carriage) = self.fresh_carriage(now_us) {
            self.place_band(carriage);
        }
    }

    /// An arc that was no band is over: told as a tack, and forgotten.
    fn end_tack(&mut self, sink: &mut dyn Sink) {
        if self.bands.confirmed || self.bands.closing.is_some() {
            return;
        }
        while let Some(event) = self.bands.tally.early_wire.take() {
            self.alarms.forget(event.rule);
        }
        let tally = &mut self.bands.tally;
        let end_us = tally.record.end_us;
        let (time_us, arc_time_us) = (tally.record.start_us, tally.record.arc_time_us);
        tally.clear();
        tally.record.end_us = end_us;
        self.bands.outage = None;
        sink.event(&Event::Tack { time_us, arc_time_us });
    }

    /// How a band came to its end whose arc went out for good.
    fn ending_of_arc(&self) -> Ending {
        let tally = &self.bands.tally;
        let is_seen = !tally.record.start_unseen && !self.channels.unsound().contains(Channel::Spindle);
        // Where an overlap is asked for, that tells of the last degrees.
        let whole = if self.procedure.limits(Quantity::Overlap).is_some() { BROKEN_OFF } else { WHOLE_TURN };
        let turned = tally.turned_at_most(self.acquisition.slack_us());
        let short = turned.is_some_and(|turned| turned < whole);
        if is_seen && short { Ending::BrokenOff } else { Ending::ArcOff }
    }

    /// The arc is out for good. An arc that was not confirmed is no band.
    pub(super) fn close(&mut self, ending: Ending) {
        if !self.bands.confirmed {
            return;
        }
        self.count_confirmed();
        self.bands.confirmed = false;
        let ended_us = self.bands.tally.record.end_us;
        if let Some(touch) = self.bands.outage.take().filter(|outage| outage.is_touch()) {
            // What the wire touched once more as it burned back is no weld: the band was over by then.
            self.bands.tally.end_at_mark(touch.out_us);
        }
        // Do samples come fast enough, and with voltage, to count short circuits?
        if Quantity::ShortCircuitRate.is_watched()
            && self.acquisition.channels.contains(Channel::Voltage)
            && rate_allows(Rule::TransferShortCircuits, &self.procedure, &self.acquisition)
        {
            self.bands.tally.short_circuits = Some(self.trackers.dips.total());
        }
        self.bands.tally.end_turning(self.acquisition.period_us, self.trackers.spindle.resolution());
        self.trackers.signal.end_band(self.bands.tally.record.end_us);
        self.bands.closing = Some(Closing { ended_us, ending, judged: 0, proofs: None, is_cut: false });
    }

    /// The end of a band was not seen: what was laid from there on is not known either.
    fn lose_end(&mut self) {
        if self.bands.closing.is_some() {
            self.coverage.end_unseen(Rule::OverlapShort);
            self.coverage.end_unseen(Rule::GasPostflow);
        }
    }

    /// Ends an open band because no more data will come for it.
    pub(super) fn close_for_want_of_data(&mut self, sink: &mut dyn Sink) {
        self.begin_at_once(sink);
        if self.phase().is_in_band() {
            // An arc that was seen out when the data ended is a band that ended.
            let is_out = self.phase() == Phase::Outage && self.trackers.arc.was_seen_going_out();
            let ending = if is_out { self.ending_of_arc() } else { Ending::DataEnded };
            if !is_out && self.bands.settled && !self.bands.confirmed {
                // Nobody knows that it would have been a tack.
                self.confirm();
                self.tell_early_wire(sink);
            }
            self.take_electrical(self.clock.last_us);
            self.bands.tally.pause(self.trackers.arc.lit_us());
            self.close(ending);
            self.end_tack(sink);
            if ending == Ending::DataEnded {
                self.lose_end();
            }
        }
        self.bands.closing = self.bands.closing.map(|closing| Closing { is_cut: true, ..closing });
        self.judge_ending(sink);
        self.issue_record(sink);
        let was_idle = self.phase() == Phase::Idle;
        self.trackers.arc.reset();
        if !was_idle {
            self.tell_phase(self.clock.last_us, sink);
        }
    }

    /// What is known once the arc is over, a part a slot: post-flow and overlap; then the record goes out.
    pub(super) fn run_ending(&mut self, slot: u8, sink: &mut dyn Sink) {
        self.begin_at_once(sink);
        let Some(closing) = self.bands.closing else {
            // A finished band's alarms stay until the next arc.
            if self.phase().is_in_band() {
                self.hold(Rule::OverlapShort, Reading::NotApplicable, None, sink);
                self.hold(Rule::GasPostflow, Reading::NotApplicable, None, sink);
            }
            // There is nothing for the slots that are left.
            self.clock.slot = SLOTS;
            return;
        };
        match slot {
            ENDING_FROM if closing.proofs.is_none() => self.judge_side(Quantity::Overlap, Side::Low, sink),
            OVERLAP_LONG if closing.proofs.is_none() => self.judge_side(Quantity::Overlap, Side::High, sink),
            ENDING_FROM => {
                // One a tick, so that no sample bears them all, unless samples come more seldom than ticks.
                let is_slow = u64::from(self.acquisition.period_us) >= TICK_US;
                self.prove_on(if is_slow { Rule::COUNT } else { 1 });
            }
            AFTER_OVERLAP if closing.is_proven() => self.issue_record(sink),
            _ if closing.proofs.is_some() => {}
            _ if closing.judged > 0 => self.judge_ending_on(sink),
            AFTER_OVERLAP => self.await_ending(closing, sink),
            _ => {}
        }
    }

    /// Works out the record of the band, and waits for its gas to stop.
    fn await_ending(&mut self, closing: Closing, sink: &mut dyn Sink) {
        if self.bands.tally.work_out(&self.procedure.geometry) {
            return;
        }
        self.judge(Quantity::BandHeight, sink);
        let flowed = self.trackers.gas.after(closing.ended_us, self.clock.moment.now_us);
        let needed = self.procedure.least(Quantity::GasPostflow);
        let enough = needed.is_none_or(|needed| Duration::from_micros(flowed.time_us).to_bits() >= needed);
        if !flowed.at_least || (enough && flowed.time_us >= POSTFLOW_PATIENCE_US) {
            self.judge_ending_on(sink);
        }
    }

    /// Judges all that is known only at the end, with what is known now.
    pub(super) fn judge_ending(&mut self, sink: &mut dyn Sink) {
        while self.bands.closing.is_some_and(|closing| closing.proofs.is_none()) {
            self.judge_ending_on(sink);
        }
    }

    /// Judges the next part of it.
    pub(super) fn judge_ending_on(&mut self, sink: &mut dyn Sink) {
        let Some(closing) = self.bands.closing else { return };
        match closing.judged {
            0 => {
                match ranges::reading(Quantity::GasPostflow, self.view()) {
                    Reading::Value(time) => {
                        self.bands.tally.record.gas_postflow = Some(Duration::from_bits(time));
                    }
                    _ if closing.ending == Ending::SteppedOn => {}
                    _ => self.coverage.end_unseen(Rule::GasPostflow),
                }
                self.judge_side(Quantity::GasPostflow, Side::Low, sink);
            }
            1 => self.judge_side(Quantity::GasPostflow, Side::High, sink),
            2 => self.judge_side(Quantity::Overlap, Side::Low, sink),
            3 => self.judge_side(Quantity::Overlap, Side::High, sink),
            4 => self.judge_side(Quantity::StepOver, Side::Low, sink),
            5 => self.judge_side(Quantity::StepOver, Side::High, sink),
            6 => self.judge_carriage(sink),
            7 => {
                while self.bands.tally.work_out(&self.procedure.geometry) {}
                self.judge_side(Quantity::BandHeight, Side::Low, sink);
            }
            _ => self.judge_side(Quantity::BandHeight, Side::High, sink),
        }
        let judged = closing.judged.saturating_add(1);
        let proofs = (judged > 8).then_some(0);
        self.bands.closing = Some(Closing { judged, proofs, ..closing });
    }

    /// Works out the proofs of the next rules of a band that is over, and with the last of them what it comes to.
    pub(super) fn prove_on(&mut self, count: usize) {
        let Some(closing) = self.bands.closing.filter(|closing| !closing.is_proven()) else { return };
        let done = usize::from(closing.proofs.unwrap_or(0));
        for &rule in Rule::ALL.iter().skip(done).take(count) {
            let proof = proof::of(rule, true, self.view());
            self.bands.tally.record.proof.set(rule, proof);
        }
        let proofs = u8::try_from(done.saturating_add(count)).unwrap_or(u8::MAX);
        let closing = Closing { proofs: Some(proofs), ..closing };
        self.bands.closing = Some(closing);
        if closing.is_proven() {
            let record = &mut self.bands.tally.record;
            record.ending = closing.ending;
            record.work_out_outcome(self.procedure.asks());
        }
    }

    /// Hands out the record of a band that is over.
    pub(super) fn issue_record(&mut self, sink: &mut dyn Sink) {
        self.prove_on(Rule::COUNT);
        let bands = &mut self.bands;
        let Some(closing) = bands.closing.take() else { return };
        bands.previous_carriage.set(bands.tally.carriage.get().or(bands.previous_carriage.get()));
        bands.previous_placed_at.set(bands.tally.placed_at.get());
        bands.note_place();
        if closing.ending == Ending::DataEnded {
            // The next one may be the rest of it.
            bands.lose_last_place();
        }
        let record = &bands.tally.record;
        sink.band(record);
        bands.joint.take_band(record);
        // Whatever rested before an arc that burns by now rested for it.
        if !self.phase().is_in_band() {
            self.trackers.lively.end_band();
        }
    }
}
