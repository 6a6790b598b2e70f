//! Sensor faults: stuck, railed, missing; and single readings that leap.
//!
//! Decides: which readings can be used, and which channels are at fault.
//! Assumes: stillness is held against the habit of the channel (see `Stillness`). A torch, a spindle
//! and a carriage that stand still are told by rules of their own (weave, stall, step-over), since their
//! readings stand still honestly when they do.
//! Never: repairs a reading.

use crate::procedure::Range;
use crate::sample::{Channel, ChannelSet, Sample};
use crate::statistics::Gather;
use crate::trackers::leaps::{Leaps, Reach};
use crate::trackers::stillness::Stillness;
use crate::trackers::waits::Waits;
use crate::units::{FlowRate, Temperature, bits_to_milli};
use crate::watched;

/// Channels whose stillness is watched, where this build watches them, in the order of their records: current and voltage
/// first.
const MOVING: [Channel; 6] =
    [Channel::Current, Channel::Voltage, Channel::Gas, Channel::Wire, Channel::Coolant, Channel::Work];
const WATCHED: [Channel; watched::count_of(&MOVING)] = watched::here(&MOVING);
/// Slow meters may rest for so long, and the work for longer, µs.
const SLOW_REST_US: u64 = 20_000_000;
const WORK_REST_US: u64 = 60_000_000;
/// The work is read finely in steps of half a degree, raw.
const WORK_STEP: u32 = Temperature::from_milli(500).to_bits().unsigned_abs();
/// A fine reading that never moved at all is stuck after this long, µs.
const NEVER_MOVED_US: u64 = 30_000_000;

/// Watches the readings of all channels.
#[derive(Clone, Debug)]
pub struct SignalCheck {
    wired: ChannelSet,
    seen: ChannelSet,
    ever_seen: ChannelSet,
    /// Seen by the clock there is.
    timed: ChannelSet,
    railed: ChannelSet,
    seen_us: [u64; Channel::WATCHED],
    waits: Waits,
    last: [i32; Channel::WATCHED],
    /// Channels with a reading that their stillness has not been told of.
    fresh: ChannelSet,
    leaps: Leaps,
    /// The last angle is one after a leap that stayed.
    angle_leapt: bool,
    still: [Stillness; WATCHED.len()],
}

impl SignalCheck {
    /// Watches the `wired` channels.
    pub const fn new(wired: ChannelSet) -> Self {
        Self {
            wired,
            seen: ChannelSet::EMPTY,
            ever_seen: ChannelSet::EMPTY,
            timed: ChannelSet::EMPTY,
            railed: ChannelSet::EMPTY,
            seen_us: [0; Channel::WATCHED],
            waits: Waits::NONE,
            last: [0; Channel::WATCHED],
            fresh: ChannelSet::EMPTY,
            leaps: Leaps::new(),
            angle_leapt: false,
            still: [Stillness::EMPTY; WATCHED.len()],
        }
    }
    /// Starts all waits at `now_us`.
    pub fn start(&mut self, now_us: u64) {
        (self.seen_us, self.timed) = ([now_us; Channel::WATCHED], ChannelSet::EMPTY);
        self.leaps.forget();
        self.forget_repeats();
    }
    /// A band begins: spikes are counted anew.
    pub(crate) fn begin_band(&mut self, now_us: u64) {
        self.leaps.begin_band();
        for still in &mut self.still {
            still.begin_band(now_us);
        }
    }
    /// From here on what is not seen of a channel is counted for a band.
    pub(crate) const fn begin_waits(&mut self) {
        self.waits.begin_band();
    }
    /// For how long, all in all, one of these channels was not seen in the band, µs.
    pub(crate) fn unseen_us(&self, channels: ChannelSet) -> u64 {
        channels.iter().fold(0, |sum: u64, channel| sum.saturating_add(self.waits.unseen_us(channel)))
    }
    /// For how long no channel at all was seen, or less, µs.
    pub(crate) fn nothing_seen_us(&self) -> u64 {
        self.wired.iter().map(|channel| self.waits.unseen_us(channel)).min().unwrap_or(0)
    }
    /// The band is over since then.
    pub(crate) fn end_band(&mut self, ended_us: u64) {
        self.waits.end_band();
        for still in &mut self.still {
            still.end_band(ended_us);
        }
    }
    /// Those `among` the channels of the band that stood still once for far longer than ever else in it, and those that never
    /// moved though they must: a voltage, for an arc moves it however coarsely it is read, and a flow that is read
    /// finely. The work, whose temperature counts before the arc, as the band began.
    pub(crate) fn stood_oddly(&self, among: ChannelSet) -> ChannelSet {
        let watched = WATCHED.into_iter().zip(&self.still).filter(|(channel, _)| among.contains(*channel));
        let odd = watched.filter(|(channel, still)| match channel {
            // A thermometer of whole degrees rests as honestly as it steps.
            Channel::Work => {
                still.is_read_in(WORK_STEP) && (still.stood_oddly_before() || still.stood_oddly())
            }
            Channel::Current => still.stood_oddly() || still.stood_for_half(),
            Channel::Voltage => still.stood_oddly() || still.was_flat(),
            Channel::Gas | Channel::Coolant => {
                let is_fine = still.is_seen_fine() || is_fine(*channel, still.stood_at());
                still.flow_stood_oddly() || still.was_flat() && is_fine
            }
            _ => still.flow_stood_oddly(),
        });
        odd.fold(ChannelSet::EMPTY, |odd, (channel, _)| odd.with(channel))
    }
    /// Does the channel spike again and again in this band?
    pub(crate) fn spikes(&self, channel: Channel) -> bool {
        self.leaps.spikes(channel)
    }
    /// A wait longer than the tolerance lies behind.
    pub fn after_gap(&mut self) {
        self.leaps.forget();
    }
    /// Starts counting equal readings anew: called as the arc starts, since a meter may well stand
    /// still without an arc.
    pub fn forget_repeats(&mut self) {
        for still in &mut self.still {
            still.forget_repeats();
        }
    }
    /// Takes a sample; returns the channels whose reading can be used. `ranges` is what the sensors
    /// can show; a slow channel's leap is held back only where it `may_wait`.
    #[inline]
    pub fn observe(
        &mut self,
        sample: &Sample,
        ranges: &[Range; Channel::COUNT],
        may_wait: bool,
    ) -> ChannelSet {
        let present = sample.present().intersection(self.wired);
        self.seen = self.seen.union(present);
        let [current, voltage, ..] = ranges;
        let mut usable = present;
        if is_beyond(sample.reading(Channel::Current), *current) {
            usable = usable.without(Channel::Current);
        }
        if is_beyond(sample.reading(Channel::Voltage), *voltage) {
            usable = usable.without(Channel::Voltage);
        }
        let others = present.minus(ChannelSet::ELECTRICAL);
        let mut held = ChannelSet::EMPTY;
        if !others.is_empty() {
            let (railed, leapt) = self.look_at_others(sample, ranges, others, may_wait);
            usable = usable.minus(railed);
            held = leapt;
        }
        if usable != present || !self.railed.is_empty() {
            self.note_railed(sample, present, usable);
        }
        usable.minus(held)
    }

    /// Looks at the channels that do not come with every sample; returns those that are railed, and
    /// those whose reading leaps and is held back.
    fn look_at_others(
        &mut self,
        sample: &Sample,
        ranges: &[Range; Channel::COUNT],
        others: ChannelSet,
        may_wait: bool,
    ) -> (ChannelSet, ChannelSet) {
        let (mut railed, mut held) = (ChannelSet::EMPTY, ChannelSet::EMPTY);
        let mut left = others;
        while let Some(channel) = left.first() {
            left = left.without(channel);
            let raw = sample.reading(channel);
            let beyond = ranges.get(channel as usize).is_some_and(|&range| is_beyond(raw, range));
            // An angle has no end of its range to be at.
            if beyond && channel as u8 != Channel::Spindle as u8 {
                railed = railed.with(channel);
                continue;
            }
            let index = channel.place();
            let (Some(last), Some(&seen_us)) = (self.last.get_mut(index), self.seen_us.get(index)) else {
                continue;
            };
            let waited_us = sample.time_us.saturating_sub(seen_us);
            let leaps = self.leaps.holds(channel, raw, *last, waited_us);
            // From the end of its range a reading comes back by a leap.
            if leaps && may_wait && !self.railed.contains(channel) {
                held = held.with(channel);
            } else {
                *last = raw;
                if channel as u8 == Channel::Spindle as u8 {
                    self.angle_leapt = self.leaps.stays(channel);
                }
            }
        }
        self.leaps.know(others.minus(railed));
        (railed, held)
    }

    /// Which of current and voltage, read under a settled arc, leap and are to be held back.
    pub(crate) fn leaping(
        &mut self,
        now_us: u64,
        readings: (Option<i32>, Option<i32>),
        mean_volts: i32,
        reach: (Reach, u32),
        period_us: u32,
    ) -> ChannelSet {
        self.leaps.electrical(now_us, readings, mean_volts, reach, period_us)
    }
    /// Is the last angle one after a leap that stayed?
    pub(crate) const fn angle_leapt(&self) -> bool {
        self.angle_leapt
    }
    /// Is no reading of current or voltage held back?
    pub(crate) const fn is_calm(&self) -> bool {
        self.leaps.is_calm()
    }
    /// Keeps current and voltage of a sample that is not one of a plain arc.
    pub(crate) fn note_odd(&mut self, amps: Option<i32>, volts: Option<i32>) {
        let [last_amps, last_volts, ..] = &mut self.last;
        *last_amps = amps.unwrap_or(*last_amps);
        *last_volts = volts.unwrap_or(*last_volts);
    }

    fn note_railed(&mut self, sample: &Sample, present: ChannelSet, usable: ChannelSet) {
        let railed = present.minus(usable);
        for channel in railed.iter() {
            if let Some(last) = self.last.get_mut(channel.place()) {
                *last = sample.reading(channel);
            }
            if !self.railed.contains(channel) {
                self.leaps.count_spike(channel);
            }
        }
        self.railed = self.railed.minus(present).union(railed);
    }

    /// Notes the channels seen since the last call as seen at `now_us`; samples come every `period_us`.
    pub fn tick(&mut self, now_us: u64, period_us: u32) {
        for (channel, seen_us) in Channel::HERE.into_iter().zip(&mut self.seen_us) {
            if self.seen.contains(channel) {
                let waited_us = now_us.saturating_sub(*seen_us);
                *seen_us = now_us;
                if self.timed.contains(channel)
                    && self.waits.note(channel, waited_us, u64::from(period_us))
                    && let Some(still) = place(channel).and_then(|place| self.still.get_mut(place))
                {
                    still.skip(now_us, waited_us);
                }
            }
        }
        self.fresh = self.fresh.union(self.seen);
        (self.ever_seen, self.timed) = (self.ever_seen.union(self.seen), self.timed.union(self.seen));
        self.seen = ChannelSet::EMPTY;
    }

    /// Takes what current or voltage was under the arc, `settled` or just struck, up to `now_us`:
    /// readings that stood still have one value for their least and their greatest.
    pub fn note_under_arc(&mut self, channel: Channel, now_us: u64, gathered: &Gather, settled: bool) {
        let Some(extremes) = gathered.extremes() else { return };
        if let Some(last) = self.last.get_mut(channel.place()) {
            *last = extremes.1;
        }
        if let Some(still) = self.still.get_mut(channel as usize) {
            still.take((now_us, now_us), extremes, gathered.count(), settled);
        }
    }
    /// Takes the last reading of a slow channel, where there is one since the last call; the arc was last seen burning at
    /// `lit_us`.
    pub fn note_slow(&mut self, channel: Channel, (now_us, lit_us): (u64, u64), settled: bool) {
        if ChannelSet::ELECTRICAL.contains(channel) || !self.fresh.contains(channel) {
            return;
        }
        self.fresh = self.fresh.without(channel);
        let last = self.last(channel);
        if let Some(still) = place(channel).and_then(|place| self.still.get_mut(place)) {
            still.take((now_us, lit_us), (last, last), 1, settled);
        }
    }
    /// Lets go of stuck channels whose reading moves again in this sample.
    pub fn release(&mut self, stuck: ChannelSet, sample: &Sample) {
        for (channel, still) in WATCHED.into_iter().zip(&mut self.still) {
            let present = sample.present().contains(channel) && stuck.contains(channel);
            if present && sample.reading(channel) != still.value() {
                still.forget_repeats();
            }
        }
    }

    /// Takes sound readings of current and voltage.
    #[inline]
    pub fn note_electrical(&mut self) {
        self.seen = self.seen.union(ChannelSet::ELECTRICAL);
    }
    /// Is any channel's last reading at or beyond the end of its sensor's range?
    pub const fn is_any_railed(&self) -> bool {
        !self.railed.is_empty()
    }
    /// Is its last reading at or beyond the end of the sensor's range?
    pub const fn is_railed(&self, channel: Channel) -> bool {
        self.railed.contains(channel)
    }
    /// The last reading (of current and voltage: about the last).
    pub fn last(&self, channel: Channel) -> i32 {
        self.last.get(channel.place()).copied().unwrap_or(0)
    }
    /// The end of the sensor's range nearest to the last reading.
    pub fn rail(&self, channel: Channel, range: Range) -> i32 {
        let last = self.last(channel);
        if last.abs_diff(range.low) < last.abs_diff(range.high) { range.low } else { range.high }
    }
    /// Does the reading change from time to time, as far as it is known?
    pub(crate) fn moves(&self, channel: Channel) -> bool {
        place(channel).and_then(|place| self.still.get(place)).is_some_and(Stillness::moves)
    }
    /// Since when the reading has stood still against its habit, if for at least `least_us` (slow meters:
    /// longer) and long enough to be sure, µs.
    pub fn stuck_since(&self, channel: Channel, now_us: u64, least_us: u64) -> Option<u64> {
        let still = self.still.get(place(channel)?)?;
        let rest_us = match channel {
            Channel::Current | Channel::Voltage => 0,
            Channel::Work => WORK_REST_US,
            _ => SLOW_REST_US,
        };
        let least_us = least_us.max(rest_us);
        still.stuck_since(now_us, least_us).or_else(|| {
            let never_us = least_us.max(NEVER_MOVED_US).max(rest_us.saturating_mul(3));
            // A pump may well be as steady as that; whether its meter is alive is asked of the proof.
            let must_move = channel as u8 != Channel::Coolant as u8 && is_fine(channel, still.value());
            still.never_moved_since(now_us, never_us).filter(|_| must_move)
        })
    }
    /// Since when a fine reading has stood still against its habit, if for at least `least_us`, µs: not for long
    /// enough that its meter must be dead, and for too long to be taken for a measured one.
    pub(crate) fn stands_since(&self, channel: Channel, now_us: u64, least_us: u64) -> Option<u64> {
        self.still.get(place(channel)?)?.stuck_since(now_us, least_us)
    }
    /// Since when the reading has stood still though it moves all the time under an arc, be it without one, and until when it
    /// is to have stood under one, µs.
    pub(crate) fn freezes_since(&self, channel: Channel, now_us: u64) -> Option<(u64, u64)> {
        self.still.get(place(channel)?)?.freezes_since(now_us)
    }
    /// For how long it had stood still as the band began, though it moves all the time under the arc: and went on to, or
    /// `moves_without` one, µs.
    pub(crate) fn hung_before_us(&self, channel: Channel, moves_without: bool) -> u64 {
        let still = place(channel).and_then(|place| self.still.get(place));
        still.map_or(0, |still| still.hung_before_us(moves_without))
    }
    /// The smallest difference seen between two of its readings, raw; 0: none yet.
    pub(crate) fn step(&self, channel: Channel) -> u32 {
        place(channel).and_then(|place| self.still.get(place)).map_or(0, Stillness::step)
    }
    /// Has it read the same for as long as it was looked at?
    pub(crate) fn never_moved(&self, channel: Channel) -> bool {
        place(channel).and_then(|place| self.still.get(place)).is_some_and(Stillness::never_moved)
    }
    /// Has there been a reading of it?
    pub(crate) fn is_seen(&self, channel: Channel) -> bool {
        self.ever_seen.contains(channel)
    }
    /// Since when there has been no reading of a wired channel, if for at least `least_us`, µs.
    pub fn missing_since(&self, channel: Channel, now_us: u64, least_us: u64) -> Option<u64> {
        let seen_us = *self.seen_us.get(channel.place())?;
        let silent_us = now_us.saturating_sub(seen_us);
        (self.wired.contains(channel) && silent_us >= least_us).then_some(seen_us)
    }
}

#[inline]
const fn is_beyond(raw: i32, range: Range) -> bool {
    raw <= range.low || raw >= range.high
}

/// Where the stillness of a channel is kept.
fn place(channel: Channel) -> Option<usize> {
    WATCHED.iter().position(|&watched| watched as u8 == channel as u8)
}

/// Does the value itself show that its channel is read finer than a coarse meter does? Such a meter
/// shows full steps of 0.05 V, 0.5 A, 0.1 L/min or 1 ft3/h.
fn is_fine(channel: Channel, raw: i32) -> bool {
    let milli = bits_to_milli(raw, channel.fraction_bits());
    let off = |step: i64| {
        milli.checked_rem(step).is_some_and(|rest| rest.abs().min(step.saturating_sub(rest.abs())) > 1)
    };
    match channel {
        Channel::Voltage => off(50),
        Channel::Current => off(500),
        Channel::Gas => off(100) && !is_on_cubic_feet(raw),
        Channel::Coolant => off(100) && !is_on_tenths_of_a_gallon(milli),
        _ => false,
    }
}

/// Is it a full number of tenths of a US gallon a minute (3.785411784 L, exact definition), raw thousandths?
fn is_on_tenths_of_a_gallon(milli: i64) -> bool {
    // In units of 10^-6 L/min, with two thousandths of tolerance.
    let rest = milli.saturating_mul(1000).checked_rem(378_541).unwrap_or(0).abs();
    rest.min(378_541_i64.saturating_sub(rest)) <= 2_000
}

/// Is it a full number of cubic feet an hour (28.316847 L, exact definition of the foot)?
fn is_on_cubic_feet(raw: i32) -> bool {
    // 28.316847 / 60 L/min, in millionths of a raw unit.
    const STEP: i64 = 28_316_847_i64.wrapping_shl(FlowRate::FRACTION_BITS) / 60;
    let micro = i64::from(raw).saturating_mul(1_000_000);
    let rest = micro.checked_rem(STEP).unwrap_or(0).abs();
    rest.min(STEP.saturating_sub(rest)) <= 1_500_000
}

#[cfg(test)]
mod tests;
