//! Bands: begun, settled, closed, handed out.
//!
//! Decides: what is noted of a band as it begins, and when its record goes out.
//! Assumes: the arc tracker tells of every change once.
//! Never: judges.

use super::{Closing, Monitor};
use crate::arc::{Change, Phase};
use crate::band::Ending;
use crate::electrical::ElectricalSums;
use crate::event::{Event, Sink};
use crate::judge;
use crate::rule::{Quantity, Rule};
use crate::sample::Channel;
use crate::tally::Tally;
use crate::units::{Duration, Length};

/// A reading older than this is not taken for the state at the strike, µs.
const STALE_US: u64 = 10_000_000;

impl Monitor {
    pub(super) fn take_change(&mut self, change: Change, now_us: u64, sink: &mut dyn Sink) {
        match change {
            Change::Phase if self.arc.phase() == Phase::Arc => self.settle(now_us),
            Change::Phase if self.arc.phase() == Phase::Outage => {
                self.take_electrical(now_us);
                self.tally.pause(self.arc.lit_us());
            }
            Change::None | Change::Phase => {}
            Change::BandBegan => self.begin_band(now_us, sink),
            Change::Restruck => {
                // `lit_us` is now; the tally still knows when the arc was last seen.
                self.outage_since_us = Some(self.tally.record.end_us);
                self.tally.record.outages = self.tally.record.outages.saturating_add(1);
                self.tally.resume(now_us);
                self.signal.forget_repeats();
            }
            Change::BandEnded => self.close(Ending::ArcOff),
        }
        let band = if self.arc.phase().is_in_band() { self.tally.record.band } else { self.bands };
        sink.event(&Event::Phase { time_us: now_us, phase: self.arc.phase(), band });
    }

    fn begin_band(&mut self, now_us: u64, sink: &mut dyn Sink) {
        judge::judge_ending(self, sink);
        self.issue_record(sink);
        self.confirmed = false;
        self.start_unseen |= self.unseen_before;
        self.electrical = ElectricalSums::default();
        self.tally = Tally::begin(self.bands.saturating_add(1), now_us, self.unseen_before);
        self.tally.resume(now_us);
        if self.gas.is_seen() && !self.unseen_before {
            let flowed = self.gas.before(now_us);
            let time = Duration::from_micros(flowed.time_us);
            let needed = self.least(Quantity::GasPreflow);
            // A flow that began before the first sample may have been long enough.
            if !flowed.at_least || needed.is_none_or(|needed| time.to_bits() >= needed) {
                self.tally.record.gas_preflow = Some(time);
            }
        }
        if !self.unseen_before && self.signal.missing_since(Channel::Work, now_us, STALE_US).is_none() {
            let work = self.acquisition.channels.contains(Channel::Work);
            self.tally.work_at_start(work.then(|| self.signal.last(Channel::Work)));
        }
        self.signal.forget_repeats();
    }

    /// The strike has settled: the ranges are judged from here on.
    fn settle(&mut self, now_us: u64) {
        self.take_electrical(now_us);
        self.voltage_now.clear();
        self.voltage.clear();
        self.current.clear();
        if self.confirmed {
            return;
        }
        self.confirmed = true;
        self.bands = self.tally.record.band;
        self.dips.restart(now_us);
        self.tally.count_from(now_us);
        if self.acquisition.channels.contains(Channel::Carriage)
            && self.signal.missing_since(Channel::Carriage, now_us, STALE_US).is_none()
        {
            let carriage = self.signal.last(Channel::Carriage);
            self.tally.carriage = Some(carriage);
            self.tally.record.step_over = self
                .previous_carriage
                .map(|previous| Length::from_bits(carriage.saturating_sub(previous)).magnitude());
        }
    }

    /// The arc is out for good. A strike that never settled is no band.
    fn close(&mut self, ending: Ending) {
        if !self.confirmed {
            return;
        }
        self.confirmed = false;
        if self.rate_counts_dips() {
            self.tally.short_circuits = Some(self.dips.total());
        }
        self.closing = Some(Closing { ended_us: self.tally.record.end_us, ending });
    }

    /// Do samples come fast enough, and with voltage, to count short circuits?
    fn rate_counts_dips(&self) -> bool {
        self.acquisition.channels.contains(Channel::Voltage)
            && judge::rate_allows(Rule::TransferShortCircuits, self)
    }

    /// Ends an open band because no more data will come for it.
    pub(super) fn close_for_want_of_data(&mut self, sink: &mut dyn Sink) {
        if self.arc.phase().is_in_band() {
            // An arc that was out when the data ended is a band that ended.
            let ending = if self.arc.phase() == Phase::Outage { Ending::ArcOff } else { Ending::DataEnded };
            self.take_electrical(self.last_us);
            self.tally.pause(self.arc.lit_us());
            self.close(ending);
            if self.closing.is_some() && ending == Ending::DataEnded {
                self.end_unseen = self.end_unseen.with(Rule::OverlapShort).with(Rule::GasPostflow);
            }
        }
        judge::judge_ending(self, sink);
        self.issue_record(sink);
        self.arc.reset();
    }

    /// Hands out the record of a band that is over.
    pub(crate) fn issue_record(&mut self, sink: &mut dyn Sink) {
        let Some(closing) = self.closing.take() else { return };
        self.previous_carriage = self.tally.carriage.or(self.previous_carriage);
        while self.tally.work_out(&self.procedure.geometry) {}
        self.tally.record.ending = closing.ending;
        sink.band(&self.tally.record);
    }
}
