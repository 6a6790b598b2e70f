//! The work of a tick, in slots that run one a sample.
//!
//! Decides: what is done in which slot; and what a reading or a fault does to the band, the coverage and
//! the alarms: this is the one place where a judgement is acted on.
//! Assumes: it is asked to run slots until all are done, before the next tick begins.
//! Never: decides what a quantity reads: that is judging.

use super::Monitor;
use super::clock::SLOTS;
use crate::acquisition::TICK_US;
use crate::event::Sink;
use crate::judge::envelope::{self, Tiers};
use crate::judge::judgement::{Judgement, Moment};
use crate::judge::readings::Reading;
use crate::judge::{faults, ranges};
use crate::procedure::Range;
use crate::record::crater_fill::CraterFill;
use crate::record::early_gas::EarlyGas;
use crate::record::early_wire::EarlyWire;
use crate::record::proof::Why;
use crate::rule::{Quantity, Rule, Severity, Side};
use crate::sample::Channel;
use crate::trackers::arc::Phase;
use crate::trackers::spindle::Motion;
use crate::units::Length;

/// May a slot change the phase, the means, or the channels that are believed? What is done once the arc is over does
/// not.
pub(super) const fn may_change_what_is_plain(slot: u8) -> bool {
    matches!(slot, 0 | 23 | 28)
}

/// Does a slot do nothing but judge a quantity?
const fn only_judges(slot: u8) -> bool {
    matches!(slot, 1 | 3 | 10 | 11 | 15 | 16 | 20 | 24 | 26)
}

/// The quantity that each slot judges, where this build watches it.
const JUDGED: [Option<Quantity>; SLOTS as usize] = judged();

#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)] // evaluated when it is built
const fn judged() -> [Option<Quantity>; SLOTS as usize] {
    let mut judged = [None; SLOTS as usize];
    let mut at = 0;
    while at < Quantity::COUNT {
        let quantity = Quantity::ALL[at];
        if let Some(slot) = quantity.slot() {
            assert!(judged[slot as usize].is_none(), "two quantities in one slot: give one of them another");
            if quantity.is_watched() {
                judged[slot as usize] = Some(quantity);
            }
        }
        at += 1;
    }
    judged
}

/// A weave centre that is off by more than half a millimetre moved, raw.
const MOVED: u32 = Length::from_milli(500).to_bits().unsigned_abs();

impl Monitor {
    pub(super) fn run_slots(&mut self, count: u8, sink: &mut dyn Sink) {
        for _ in 0..count {
            if self.clock.slot >= SLOTS {
                return;
            }
            self.run_slot(self.clock.slot, sink);
            self.clock.slot = self.clock.slot.saturating_add(1);
        }
    }

    fn run_slot(&mut self, slot: u8, sink: &mut dyn Sink) {
        if !only_judges(slot) {
            self.run_larger_slot(slot, sink);
        }
        if let Some(&Some(quantity)) = JUDGED.get(usize::from(slot)) {
            self.judge(quantity, sink);
        }
    }

    /// What a slot does beside judging a quantity, before it.
    #[inline(never)]
    fn run_larger_slot(&mut self, slot: u8, sink: &mut dyn Sink) {
        let now_us = self.clock.moment.now_us;
        match slot {
            0 => self.take_electrical(now_us),
            2 => self.judge_voltage(sink),
            4 => self.trackers.close_dips(now_us),
            5 => self.trackers.close_flows(now_us),
            6 => self.follow_early_gas(sink),
            7 => self.confirm_band(),
            8 => self.count_confirmed(),
            9 => {
                if self.bands.confirmed {
                    self.tell_early_wire(sink);
                }
            }
            12 => self.trackers.close_torch(now_us),
            13 => self.trackers.weave.settle_end(),
            14 => {
                if let Some(period_us) = self.trackers.settle_torch() {
                    self.bands.tally.weave_cycle(period_us);
                }
            }
            17 => {
                if Channel::Torch.is_watched() {
                    self.settle_weave_centre();
                    self.follow_weave();
                }
            }
            18 => self.trackers.spindle.tick(now_us.saturating_add(u64::from(self.acquisition.period_us))),
            19 => self.trackers.spindle.settle(),
            21 => {
                if Channel::Spindle.is_watched() {
                    let stood_us = self.stood_short_since();
                    self.judge_turning(Rule::SpindleSlip, Motion::Slipping, stood_us, sink);
                    let late_us = self.stood_since();
                    self.judge_turning(Rule::SpindleStall, Motion::Stalled, late_us, sink);
                }
            }
            22 => {
                self.judge_outage(sink);
                self.judge_polarity(sink);
            }
            23 => self.judge_channels(sink),
            25 => {
                if Quantity::BandHeight.is_watched() {
                    let height_now = ranges::height_bounds(self.view());
                    self.bands.height_now.set(height_now);
                }
            }
            27 => {
                if Channel::Spindle.is_watched() {
                    self.judge_direction(sink);
                }
            }
            28 => {
                self.follow_work();
                self.follow_joint(sink);
            }
            _ => self.run_ending(slot, sink),
        }
    }

    /// Reads a quantity, adds it to the band, and holds it against its ranges.
    pub(super) fn judge(&mut self, quantity: Quantity, sink: &mut dyn Sink) {
        self.judge_by(quantity, quantity.rules(), sink);
    }
    /// As [`Self::judge`], against one end of its ranges alone: where no sample is to bear both.
    #[inline]
    pub(super) fn judge_side(&mut self, quantity: Quantity, side: Side, sink: &mut dyn Sink) {
        if quantity.is_watched() {
            self.judge_by(quantity, [quantity.rule(side), None], sink);
        }
    }
    #[inline(never)]
    fn judge_by(&mut self, quantity: Quantity, rules: [Option<Rule>; 2], sink: &mut dyn Sink) {
        let reading = ranges::reading(quantity, self.view());
        self.note(quantity, reading);
        if let Reading::Value(value) = reading
            && !ranges::differs_by_rule(quantity)
            && self.is_inside(quantity, value)
            && rules.into_iter().flatten().all(|rule| self.is_at_rest(rule))
        {
            let since_us = self.judged_of_the_whole(quantity);
            let found = Judgement::Judged { level: None, value, limit: None, since_us };
            for rule in rules.into_iter().flatten() {
                if self.coverage.watched.contains(rule) {
                    sink.found(rule, &found, &self.clock.moment);
                    self.note_judged(rule);
                }
            }
            return;
        }
        for rule in rules.into_iter().flatten() {
            self.hold(rule, ranges::reading_for(rule, reading, self.view()), None, sink);
        }
    }
    fn judge_voltage(&mut self, sink: &mut dyn Sink) {
        let short = ranges::voltage_now(self.view());
        let long = ranges::reading(Quantity::Voltage, self.view());
        self.note(Quantity::Voltage, long);
        self.hold(Rule::TransferLowVoltage, short, None, sink);
        self.hold(Rule::VoltageHigh, long, None, sink);
        // A voltage under its floor is not also called low, unless it only flickers under it.
        let instead = self.alarms.held_back_by(Rule::TransferLowVoltage);
        self.hold(Rule::VoltageLow, long, instead, sink);
    }
    fn note(&mut self, quantity: Quantity, reading: Reading) {
        self.readings.set(quantity, reading);
        if let Reading::Value(value) = reading
            && self.weave_is_followed
        {
            match quantity {
                // What is read while the arc is out, be it for a moment, is judged and not measured.
                Quantity::WeaveRate | Quantity::WeaveWidth | Quantity::WeaveCentreDrift
                    if self.phase() == Phase::Outage => {}
                Quantity::WeaveRate => self.bands.tally.weave_rate(Some(value)),
                // A bound that decides is no width.
                Quantity::WeaveWidth => {
                    let weave = &self.trackers.weave;
                    self.bands.tally.weave_width(weave.width(), weave.looked_back_us());
                }
                Quantity::WeaveCentreDrift => self.bands.tally.weave_drift(Some(value)),
                _ => {}
            }
        }
    }
    /// Where the band started: over its own first cycles, not those of a parked torch, and again over the next four.
    fn settle_weave_centre(&mut self) {
        let tally = &mut self.bands.tally;
        let (start, cycles) = (tally.weave_centre_start.get(), tally.weave_cycles());
        if self.trackers.arc.is_settled()
            && (start.is_none() && cycles >= 4 || cycles == 8)
            && !self.channels.unsound().contains(Channel::Torch)
            && let Some(centre) = self.trackers.weave.settled_centre()
        {
            let first = start.map_or(centre, |(first, _)| first);
            let again = if first.abs_diff(centre) > MOVED { centre } else { first };
            tally.weave_centre_start.set(Some((first, again)));
        }
        if self.phase() == Phase::Arc
            && let (Reading::Value(_), Some(centre)) = (
                ranges::reading(Quantity::WeaveCentreDrift, self.view()),
                self.trackers.weave.settled_centre(),
            )
            && let Some(centres) = self.bands.tally.weave_centre.as_mut()
        {
            centres.push(centre);
        }
    }
    /// A weave that was known and is lost was not judged meanwhile; and how finely it is read.
    fn follow_weave(&mut self) {
        let (weave, tally) = (&self.trackers.weave, &mut self.bands.tally);
        if !self.trackers.arc.is_settled() {
            return;
        }
        if weave.is_known() {
            tally.weave_is_coarse.set(weave.is_too_coarse());
        }
        if tally.weave_centre_start.get().is_some() && weave.settled_centre().is_none() {
            let elapsed_us = u64::from(self.clock.moment.elapsed_us);
            tally.weave_lost_us.set(tally.weave_lost_us.get().saturating_add(elapsed_us));
        }
    }
    /// A band that is over was laid in one place, or the carriage left it: further than the weave centre went,
    /// which was judged by then.
    pub(super) fn judge_carriage(&mut self, sink: &mut dyn Sink) {
        // Without an angle, or where the start was not seen, a step is no step: what moved so far may be the next band.
        let least_step = self.procedure.least_step();
        let tally = &self.bands.tally;
        let is_angle_known = tally.turned_at_end().is_some() && !tally.record.start_unseen;
        let is_of_the_band = |moved: &i32| is_angle_known || least_step.is_none_or(|step| *moved < step >> 1);
        let moved = self.bands.moved().filter(is_of_the_band);
        let record = &self.bands.tally.record;
        let is_news = !record.violated.contains(Rule::WeaveCentreDrift)
            && moved > record.weave_centre_drift.map(Length::to_bits);
        let reading = Reading::when(moved.is_some(), moved);
        self.note(Quantity::WeaveCentreDrift, reading);
        if is_news {
            self.hold(Rule::WeaveCentreDrift, reading, None, sink);
        }
    }
    /// A rule was judged at this tick.
    pub(super) fn note_judged(&mut self, rule: Rule) {
        self.coverage.judged(rule);
        if self.trackers.arc.phase().is_in_band() || self.bands.closing.is_some() {
            self.bands.tally.judged.judged(rule, self.clock.moment.elapsed_us);
        }
    }
    /// The channels, one a tick in turn where ticks come fast, all of them where they do not.
    fn judge_channels(&mut self, sink: &mut dyn Sink) {
        self.trackers.signal.tick(self.clock.moment.now_us, self.acquisition.period_us);
        self.coverage.judged(Rule::SignalLate);
        let late_us = self.clock.late_since_us.take();
        let judgement = faults::late(late_us, self.view());
        self.apply(Rule::SignalLate, None, judgement, sink);
        let all_at_once = u64::from(self.acquisition.period_us) >= TICK_US;
        loop {
            let (channel, is_last) = self.channels.next(&self.clock.moment, &self.acquisition);
            if let Some(channel) = channel {
                self.judge_channel(channel, sink);
            }
            if is_last || !all_at_once {
                return;
            }
        }
    }
    fn judge_channel(&mut self, channel: Channel, sink: &mut dyn Sink) {
        let settled = self.trackers.arc.is_settled();
        let moment = self.channels.moment();
        self.coverage.judged(Rule::SignalRailed);
        self.coverage.judged(Rule::SignalMissing);
        self.coverage.judged(Rule::SignalImplausible);
        if settled && crate::sample::ChannelSet::ELECTRICAL.contains(channel) {
            self.coverage.judged(Rule::SignalStuck);
        }
        // What was read after the arc was not read under it.
        let under_arc = self.trackers.arc.phase() == Phase::Arc;
        let times_us = (moment.now_us, self.trackers.arc.lit_us());
        self.trackers.signal.note_slow(channel, times_us, under_arc);
        self.trackers.compare(channel, moment.now_us, &self.procedure.arc, self.acquisition.channels);
        let signal = &self.trackers.signal;
        let fault = self.channels.look(channel, &self.trackers, &self.procedure, &self.acquisition);
        let found = fault.map(|fault| fault.rule);
        let Some(rule) = self.alarms.channel_rule(channel, found, &moment, sink) else { return };
        // Another fault than the alarm is about: that alarm ends before the other begins.
        let judgement = match fault {
            Some(fault) if fault.rule == rule => {
                fault.judgement(channel, &moment, signal, (&self.procedure, &self.acquisition))
            }
            _ => Judgement::NotApplicable,
        };
        self.settle(rule, Some(channel), judgement, &moment, sink);
    }

    fn is_inside(&self, quantity: Quantity, value: i32) -> bool {
        self.procedure.limits(quantity).is_some_and(|limits| envelope::is_inside(value, limits))
    }
    /// Is nothing to come of a value inside its ranges, as nearly always?
    fn is_at_rest(&self, rule: Rule) -> bool {
        self.alarms.is_at_rest(rule) && !self.may_fill_crater(rule)
    }

    /// Holds a reading against the ranges of the quantity that the rule watches. `instead` is what becomes
    /// of the rule behind a graver one.
    #[inline(never)]
    pub(super) fn hold(
        &mut self,
        rule: Rule,
        reading: Reading,
        instead: Option<Judgement>,
        sink: &mut dyn Sink,
    ) {
        if !self.coverage.watched.contains(rule) {
            return;
        }
        let Some((quantity, side)) = rule.watches() else { return };
        let found = match reading {
            Reading::NotApplicable => self.unless_interrupted(rule, Judgement::NotApplicable),
            Reading::Lost => Judgement::Unknown,
            Reading::Value(value) => {
                let since_us = self.judged_of_the_whole(quantity);
                Judgement::Judged { level: None, value, limit: None, since_us }
            }
        };
        let moment = self.clock.moment;
        sink.found(rule, &found, &moment);
        if instead.is_none() && self.is_at_rest(rule) {
            match reading {
                Reading::NotApplicable => return,
                Reading::Value(value) if self.is_inside(quantity, value) => {
                    self.note_judged(rule);
                    return;
                }
                _ => {}
            }
        }
        let judgement = match reading {
            Reading::NotApplicable => found,
            Reading::Lost => {
                self.lose(rule);
                found
            }
            Reading::Value(value) => {
                let Some(limits) = self.procedure.limits(quantity) else { return };
                let setting = self.procedure.alarm(rule);
                let previous = self.alarms.level(rule);
                let standing = envelope::stand(value, limits, side, &setting, Tiers::of(rule), previous);
                let is_mildly_beyond =
                    setting.severity < Severity::Warn && is_beyond(value, limits.allowed, side);
                self.note_judged(rule);
                let since_us = self.judged_of_the_whole(quantity);
                if is_mildly_beyond {
                    self.note_mildly_broken(rule, setting.on_delay_us);
                }
                Judgement::Judged { level: standing.level, value, limit: standing.limit, since_us }
            }
        };
        let judgement = self.after_crater_fill(rule, judgement);
        self.settle(rule, None, instead.unwrap_or(judgement), &moment, sink);
    }
    /// Is the arc of a band out, or struck again, or does its current fall away? What was wrong by then is as it was until it
    /// is judged again, or the band is over. The end of a crater fill is the end of what fell with it.
    #[inline(never)]
    fn is_interrupted(&self, rule: Rule) -> bool {
        let is_out = matches!(self.trackers.arc.phase(), Phase::Outage | Phase::Strike);
        let sinks = rule == Rule::TransferLowVoltage && self.trackers.sinks && self.trackers.arc.is_settled();
        self.bands.confirmed && (is_out || sinks) && !self.may_fill_crater(rule)
    }
    /// A judgement, but for what is as it was until it is judged again.
    #[inline]
    pub(super) fn unless_interrupted(&self, rule: Rule, judgement: Judgement) -> Judgement {
        match judgement {
            Judgement::NotApplicable if self.is_interrupted(rule) => Judgement::Unknown,
            judgement => judgement,
        }
    }
    /// Gas that failed right after the strike, for long enough.
    pub(super) fn judge_early_gas(&mut self, gas: EarlyGas, sink: &mut dyn Sink) {
        let (rule, side) = (Rule::GasLow, Side::Low);
        let setting = self.procedure.alarm(rule);
        if !self.coverage.watched.contains(rule) || gas.time_us < setting.on_delay_us {
            return;
        }
        let Some(limits) = self.procedure.limits(Quantity::GasFlow) else { return };
        let standing = envelope::stand(gas.least, limits, side, &setting, Tiers::of(rule), None);
        let judgement = Judgement::Judged {
            level: standing.level,
            value: gas.least,
            limit: standing.limit,
            since_us: Some(gas.since_us),
        };
        self.apply(rule, None, judgement, sink);
    }
    /// A value is outside its allowed range, which the procedure only advises of: after the on-delay, all in all,
    /// the limit is broken all the same.
    fn note_mildly_broken(&mut self, rule: Rule, on_delay_us: u32) {
        if !self.trackers.arc.phase().is_in_band() && self.bands.closing.is_none() {
            return;
        }
        let tally = &mut self.bands.tally;
        tally.outside(rule, self.clock.moment.elapsed_us);
        if rule.is_of_a_moment() || tally.record.outside_us.get(rule) >= on_delay_us {
            tally.record.violated = tally.record.violated.with(rule);
            tally.record.advised = tally.record.advised.without(rule);
        }
    }
    /// May what a rule watches fall as the crater is filled?
    fn may_fill_crater(&self, rule: Rule) -> bool {
        Channel::Spindle.is_watched()
            && self.clock.moment.position.turned >= Some(ranges::FULL_TURN)
            && self.procedure.arc.crater_fill_us > 0
            && CraterFill::concerns(rule)
    }
    /// What becomes of a judgement past a full turn, where the procedure gives a crater fill.
    fn after_crater_fill(&mut self, rule: Rule, judgement: Judgement) -> Judgement {
        if !self.may_fill_crater(rule) {
            return judgement;
        }
        let longest_us = self.procedure.arc.crater_fill_us;
        let stands = self.alarms.level(rule);
        let now_us = self.clock.moment.now_us;
        let on_delay_us = self.procedure.alarm(rule).on_delay_us;
        let Some(crater_fill) = self.bands.tally.crater_fill.as_mut() else { return judgement };
        crater_fill.take(rule, judgement, stands, now_us, (longest_us, on_delay_us))
    }
    /// Since when a value holds that stands for a whole band and is known only at its end.
    fn judged_of_the_whole(&self, quantity: Quantity) -> Option<u64> {
        let of_the_whole = matches!(quantity, Quantity::BandHeight | Quantity::WeaveCentreDrift);
        let is_over = of_the_whole && self.bands.closing.is_some();
        is_over.then_some(self.bands.tally.record.start_us)
    }
    /// A rule applies and cannot be judged: a channel is lost, or a mean is not known yet after a strike.
    pub(super) fn lose(&mut self, rule: Rule) {
        let lost = rule.needs().intersection(self.channels.unsound());
        if !lost.is_empty() {
            self.bands.tally.judged.hindered(rule, Why::ChannelLost);
        }
        self.coverage.lost(lost);
    }
    pub(super) fn apply(
        &mut self,
        rule: Rule,
        channel: Option<Channel>,
        judgement: Judgement,
        sink: &mut dyn Sink,
    ) {
        let moment = self.clock.moment;
        sink.found(rule, &judgement, &moment);
        self.settle(rule, channel, judgement, &moment, sink);
    }
    /// Hands a judgement to its alarm, and what comes of it to the band and the sink.
    #[inline(never)]
    fn settle(
        &mut self,
        rule: Rule,
        channel: Option<Channel>,
        judgement: Judgement,
        moment: &Moment,
        sink: &mut dyn Sink,
    ) {
        let Some(taken) = self.alarms.take(rule, channel, judgement, &self.procedure, moment) else { return };
        let in_band = self.trackers.arc.phase().is_in_band() || self.bands.closing.is_some();
        if in_band {
            self.note_standing(rule, &taken, moment.elapsed_us);
        }
        let Some(event) = taken.event else { return };
        let is_early = self.trackers.arc.phase().is_in_band() && !self.bands.confirmed;
        if is_early && EarlyWire::concerns(rule) {
            if event.severity < Severity::Stop {
                if let Some(event) = self.bands.tally.early_wire.note(event) {
                    self.tell(event, in_band, sink);
                }
                return;
            }
            self.tell_early_wire(sink);
        }
        self.tell(event, in_band, sink);
    }
}

/// Is a value outside this end of a range?
fn is_beyond(value: i32, range: Option<Range>, side: Side) -> bool {
    range.is_some_and(|range| match side {
        Side::Low => value < range.low,
        Side::High => value > range.high,
    })
}
