//! Everything together: one call a sample.
//!
//! Decides: what is looked at when. Every sample is checked and added up; every tick (20 ms, or
//! every sample when they come slower) the windows close and the rules are judged. The work of a tick
//! is cut into slots that run one a sample, so that no single sample bears all of it.
//! Assumes: nothing of the samples; out of order, absent and absurd ones are findings.
//! Never: reads a clock, allocates, or fails.

mod plain;

use self::plain::Plain;
use crate::alarm::{AlarmPoint, Moment};
use crate::arc::{ArcTracker, Change, Phase};
use crate::band::Ending;
use crate::electrical::{ElectricalSums, LongMean, short_mean};
use crate::event::{AlarmEvent, Event, Position, Sink};
use crate::gas::GasTracker;
use crate::judge::{self, SLOTS};
use crate::procedure::Procedure;
use crate::rule::{Quantity, Rule, RuleSet, Severity};
use crate::sample::{Channel, ChannelSet, Sample};
use crate::signal::SignalCheck;
use crate::spindle::SpindleTracker;
use crate::statistics::{Block, RollingMean};
use crate::tally::Tally;
use crate::transfer::{self, DipCounter};
use crate::units::{Angle, Duration, FlowRate, Length};
use crate::weave::{self, WeaveTracker};
use serde::{Deserialize, Serialize};

/// Length of a tick where samples come fast enough, µs.
pub const TICK_US: u64 = 20_000;
/// This many samples in a row from the past mean that the clock was set back.
const CLOCK_SET_BACK: u8 = 8;
/// A reading older than this is not taken for the state at the strike, µs.
const STALE_US: u64 = 10_000_000;
/// Weave rates are expected up to this where the procedure gives no range, in cycles a minute.
const FASTEST_WEAVE: u32 = 140;

/// How the samples come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acquisition {
    /// Nominal time between samples, µs: 20 to 5,000,000; held at the ends of that range.
    pub period_us: u32,
    /// A longer wait than this between two samples is a finding, µs.
    pub gap_tolerance_us: u32,
    /// Channels that are wired and should give readings.
    pub channels: ChannelSet,
}

/// Why a rule is not judged, or was not for a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum NotJudged {
    /// The procedure gives no range for it.
    NoRange,
    /// A channel it needs is not wired.
    NoChannel(Channel),
    /// It needs at least this sample rate.
    RateTooLow {
        /// Needed rate, thousandths of a hertz.
        needed_mhz: u32,
    },
    /// A channel it needs was lost for a time.
    ChannelLost(Channel),
    /// The arc already burned in the first sample, or in the first after a hole in the data.
    StartUnseen,
    /// The data ended before it could be judged.
    EndUnseen,
    /// It never applied: there was no arc, or no second band.
    NeverApplied,
}

/// Rules with one alarm each: all before [`Rule::SignalStuck`], and [`Rule::SignalLate`].
pub(crate) const RULE_POINTS: usize = Rule::COUNT - 3;
const START: Moment = Moment { now_us: 0, elapsed_us: 0, position: Position { band: 0, turned: None } };

/// A band that is over and waits for its gas post-flow to be known.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Closing {
    pub(crate) ended_us: u64,
    pub(crate) ending: Ending,
}

/// Watches one machine.
///
/// Its size is fixed; see `size_of::<Monitor>()`.
// Each of its flags is one plain fact, not a state in disguise.
#[allow(clippy::struct_excessive_bools)]
#[derive(Clone, Debug)]
pub struct Monitor {
    pub(crate) procedure: Procedure,
    pub(crate) acquisition: Acquisition,
    pub(crate) signal: SignalCheck,
    pub(crate) arc: ArcTracker,
    pub(crate) electrical: ElectricalSums,
    pub(crate) voltage_now: RollingMean<10>,
    pub(crate) voltage: LongMean<5>,
    pub(crate) current: LongMean<5>,
    pub(crate) gas_sums: Block,
    pub(crate) gas_flow: LongMean<5>,
    pub(crate) coolant_sums: Block,
    pub(crate) coolant_flow: LongMean<5>,
    pub(crate) dips: DipCounter<10>,
    pub(crate) weave: WeaveTracker<9>,
    torch: Block,
    torch_delays_us: u64,
    torch_start_us: u64,
    torch_seen_us: u64,
    pub(crate) spindle: SpindleTracker<8, 9>,
    pub(crate) gas: GasTracker,
    pub(crate) tally: Tally,
    pub(crate) closing: Option<Closing>,
    /// One alarm a rule, but for those about a channel.
    pub(crate) points: [AlarmPoint; RULE_POINTS],
    /// One alarm a channel, and the rule it is about now.
    pub(crate) channel_points: [(Rule, AlarmPoint); Channel::COUNT],
    /// Rules that can be judged with this procedure and these channels.
    pub(crate) watched: RuleSet,
    /// Do samples come fast enough to follow the weave?
    pub(crate) weave_is_followed: bool,
    pub(crate) stuck: ChannelSet,
    /// The channel whose sign was found wrong.
    pub(crate) wrong_pole: Option<Channel>,
    /// Channels that are stuck, railed or missing.
    pub(crate) unsound: ChannelSet,
    /// The moment of the round in which the channels are looked at in turn, and the next channel.
    pub(crate) round: Moment,
    pub(crate) next_channel: u8,
    pub(crate) lost: ChannelSet,
    pub(crate) judged: RuleSet,
    pub(crate) end_unseen: RuleSet,
    start_unseen: bool,
    bands: u16,
    confirmed: bool,
    pub(crate) previous_carriage: Option<i32>,
    /// The last outage that came back, not yet judged: when it began.
    pub(crate) outage_since_us: Option<u64>,
    /// The last late sample, not yet judged: since when there was none.
    pub(crate) late_since_us: Option<u64>,
    /// What was just before this sample is not known: it is the first, or a hole lies before it.
    unseen_before: bool,
    last_us: u64,
    from_the_past: u8,
    gaps: u32,
    out_of_order: u32,
    /// The sample at this time or later is the last of its tick.
    tick_due_us: u64,
    pub(crate) moment: Moment,
    slot: u8,
    slots_a_step: u8,
    plain: Plain,
}

impl Monitor {
    /// Starts watching.
    pub fn new(procedure: Procedure, acquisition: Acquisition) -> Self {
        let acquisition =
            Acquisition { period_us: acquisition.period_us.clamp(20, 5_000_000), ..acquisition };
        let gas_flows_from = procedure
            .limits(Quantity::GasFlow)
            .and_then(|limits| limits.allowed)
            .filter(|range| range.low > 0)
            .map_or(FlowRate::from_milli(3000).to_bits(), |range| range.low >> 1);
        // Enough slots a sample that a tick is done before the next one.
        let samples_a_tick = TICK_US.checked_div(u64::from(acquisition.period_us)).unwrap_or(1).max(1);
        let slots_a_step = u64::from(SLOTS).div_ceil(samples_a_tick);
        let mut monitor = Self {
            arc: ArcTracker::new(procedure.arc, acquisition.period_us),
            procedure,
            acquisition,
            signal: SignalCheck::new(acquisition.channels),
            electrical: ElectricalSums::default(),
            voltage_now: short_mean(),
            voltage: LongMean::new(),
            current: LongMean::new(),
            gas_sums: Block::EMPTY,
            gas_flow: LongMean::new(),
            coolant_sums: Block::EMPTY,
            coolant_flow: LongMean::new(),
            dips: DipCounter::new(),
            weave: WeaveTracker::new(),
            torch: Block::EMPTY,
            torch_delays_us: 0,
            torch_start_us: 0,
            torch_seen_us: 0,
            spindle: SpindleTracker::new(),
            gas: GasTracker::new(gas_flows_from),
            tally: Tally::default(),
            closing: None,
            points: [AlarmPoint::new(); RULE_POINTS],
            channel_points: [(Rule::SignalMissing, AlarmPoint::new()); Channel::COUNT],
            watched: RuleSet::EMPTY,
            weave_is_followed: false,
            stuck: ChannelSet::EMPTY,
            wrong_pole: None,
            unsound: ChannelSet::EMPTY,
            round: START,
            next_channel: 0,
            lost: ChannelSet::EMPTY,
            judged: RuleSet::EMPTY,
            end_unseen: RuleSet::EMPTY,
            start_unseen: false,
            bands: 0,
            confirmed: false,
            previous_carriage: None,
            outage_since_us: None,
            late_since_us: None,
            unseen_before: true,
            last_us: 0,
            from_the_past: 0,
            gaps: 0,
            out_of_order: 0,
            tick_due_us: 0,
            moment: START,
            slot: SLOTS,
            slots_a_step: u8::try_from(slots_a_step).unwrap_or(SLOTS),
            plain: Plain::NEVER,
        };
        monitor.weave_is_followed = judge::rate_allows(Rule::WeaveRateLow, &monitor);
        for rule in Rule::ALL {
            if monitor.cannot_judge(rule).is_none() {
                monitor.watched = monitor.watched.with(rule);
            }
        }
        monitor
    }
    /// The procedure it watches by.
    pub fn procedure(&self) -> &Procedure {
        &self.procedure
    }
    /// The arc phase.
    pub fn phase(&self) -> Phase {
        self.arc.phase()
    }
    /// How often two samples were further apart than the tolerance.
    pub fn gaps(&self) -> u32 {
        self.gaps
    }
    /// How many samples came from the past and were left out.
    pub fn out_of_order(&self) -> u32 {
        self.out_of_order
    }

    /// Takes one sample; never fails: what it finds goes to `sink`.
    #[inline]
    pub fn step(&mut self, sample: &Sample, sink: &mut dyn Sink) {
        if !self.step_plainly(sample) {
            self.step_closely(sample, sink);
        } else if self.slot < SLOTS || sample.time_us >= self.tick_due_us {
            self.judge_on(sample.time_us, sink);
        }
    }

    /// Takes the sample if it is plain: nothing but sums changes.
    #[inline]
    fn step_plainly(&mut self, sample: &Sample) -> bool {
        let now_us = sample.time_us;
        let wait_us = now_us.wrapping_sub(self.last_us);
        let Some((amps, volts)) = self.plain.readings(sample) else { return false };
        if wait_us > u64::from(self.acquisition.gap_tolerance_us) || self.electrical.is_full() {
            return false;
        }
        self.last_us = now_us;
        self.signal.note_electrical();
        self.arc.note_burning(now_us, amps);
        self.electrical.push_plain(amps, volts);
        true
    }

    /// Takes any sample.
    #[inline(never)]
    fn step_closely(&mut self, sample: &Sample, sink: &mut dyn Sink) {
        let now_us = sample.time_us;
        let wait_us = now_us.wrapping_sub(self.last_us);
        let unusual = wait_us > u64::from(self.acquisition.gap_tolerance_us) || now_us < self.last_us;
        if (unusual || self.unseen_before) && !self.accept_time(now_us, sink) {
            self.plain = Plain::NEVER;
            return;
        }
        self.last_us = now_us;
        self.from_the_past = 0;
        if self.electrical.is_full() {
            self.take_electrical(now_us);
        }
        let observed = self.signal.observe(sample, self.procedure.sensor_ranges());
        let mut usable = observed;
        if !self.stuck.is_empty() {
            self.signal.release(self.stuck, sample);
            usable = observed.minus(self.stuck);
        }
        let (amps, volts) = (sample.reading(Channel::Current), sample.reading(Channel::Voltage));
        if usable.contains(Channel::Gas) {
            self.gas.push(now_us, sample.reading(Channel::Gas));
        }
        if usable.contains_all(ChannelSet::ELECTRICAL) && self.arc.burns_on(now_us, amps, volts) {
            self.dips.push(now_us, volts);
            self.electrical.push(Some(amps), Some(volts));
        } else {
            self.look_closer(sample, observed, usable, sink);
        }
        let slow = usable.minus(ChannelSet::ELECTRICAL);
        if !slow.is_empty() {
            self.take_slow(now_us, slow, sample);
        }
        self.judge_on(now_us, sink);
    }

    /// Goes on with the judging of the last tick, or begins that of the next, and works out what a
    /// plain sample is from here on.
    #[inline(never)]
    fn judge_on(&mut self, now_us: u64, sink: &mut dyn Sink) {
        if now_us >= self.tick_due_us {
            self.tick(now_us, sink);
        } else {
            self.run_slots(self.slots_a_step, sink);
        }
        self.plain = Plain::of(self);
    }

    /// Whether the arc burns is not plain, or something may change with it. `observed` are the channels
    /// with a reading, `usable` those of them that are not stuck.
    fn look_closer(
        &mut self,
        sample: &Sample,
        observed: ChannelSet,
        usable: ChannelSet,
        sink: &mut dyn Sink,
    ) {
        let now_us = sample.time_us;
        let reading = |set: ChannelSet, channel| set.contains(channel).then(|| sample.reading(channel));
        // Where only stuck readings are left, they still tell best whether the arc burns.
        let telling = if usable.intersection(ChannelSet::ELECTRICAL).is_empty() { observed } else { usable };
        let (amps, volts) = (reading(telling, Channel::Current), reading(telling, Channel::Voltage));
        let change = self.arc.observe(now_us, amps, volts, self.gas.flows());
        if change != Change::None {
            self.take_change(change, now_us, sink);
        }
        self.unseen_before = false;
        let (current, voltage) = (reading(usable, Channel::Current), reading(usable, Channel::Voltage));
        if self.arc.is_lit() {
            if let Some(volts) = voltage {
                self.dips.push(now_us, volts);
            }
            self.electrical.push(current, voltage);
        }
    }

    fn take_slow(&mut self, now_us: u64, slow: ChannelSet, sample: &Sample) {
        let reading = |channel| slow.contains(channel).then(|| sample.reading(channel));
        let lit = self.arc.is_lit();
        if let Some(flow) = reading(Channel::Gas) {
            self.gas_sums.push(flow);
            if lit {
                self.tally.gas(flow);
            }
        }
        if let Some(flow) = reading(Channel::Coolant) {
            self.coolant_sums.push(flow);
            if lit {
                self.tally.coolant(flow);
            }
        }
        if let Some(feed) = reading(Channel::Wire).filter(|_| lit) {
            self.tally.wire(feed);
        }
        if let Some(position) = reading(Channel::Torch) {
            self.take_torch(now_us, position);
        }
        if let Some(angle) = reading(Channel::Spindle) {
            self.spindle.push(now_us, Angle::from_bits(angle as u32));
            if lit {
                self.tally.turn(now_us, self.spindle.total());
            }
        }
    }

    /// Adds the sums of the last samples to the band and the windows.
    pub(crate) fn take_electrical(&mut self, now_us: u64) {
        let sums = self.electrical.take();
        self.tally.add(&sums);
        self.signal.note_under_arc(Channel::Current, now_us, &sums.current);
        self.signal.note_under_arc(Channel::Voltage, now_us, &sums.voltage);
        self.voltage_now.push(now_us, sums.voltage.block());
        self.voltage.push(now_us, sums.voltage.block());
        self.current.push(now_us, sums.current.block());
    }

    /// Ends the watch: closes an open band with the last sample.
    pub fn finish(&mut self, sink: &mut dyn Sink) {
        self.run_slots(SLOTS, sink);
        self.close_for_want_of_data(sink);
        self.plain = Plain::NEVER;
    }

    fn accept_time(&mut self, now_us: u64, sink: &mut dyn Sink) -> bool {
        if self.unseen_before {
            self.start_clock(now_us);
        }
        if now_us < self.last_us {
            self.out_of_order = self.out_of_order.saturating_add(1);
            self.from_the_past = self.from_the_past.saturating_add(1);
            self.note_late();
            if self.from_the_past < CLOCK_SET_BACK {
                return false;
            }
            // The clock was set back: what was open ends with the last sample of the old time.
            self.run_slots(SLOTS, sink);
            self.close_for_want_of_data(sink);
            self.start_clock(now_us);
        }
        let gap_us = now_us.saturating_sub(self.last_us);
        if gap_us > u64::from(self.acquisition.gap_tolerance_us) {
            self.gaps = self.gaps.saturating_add(1);
            self.note_late();
            self.weave.clear();
            self.torch = Block::EMPTY;
            self.spindle.forget_speed();
            if gap_us > u64::from(self.procedure.arc.gap_join_us) {
                self.run_slots(SLOTS, sink);
                self.close_for_want_of_data(sink);
                self.unseen_before = true;
                self.gas.forget();
            } else {
                self.tally.skip(gap_us.saturating_sub(u64::from(self.acquisition.gap_tolerance_us)));
            }
        }
        true
    }

    /// When the tick that starts at `now_us` has its last sample.
    fn due_after(&self, now_us: u64) -> u64 {
        let wait_us = TICK_US.saturating_sub(u64::from(self.acquisition.period_us));
        now_us.saturating_add(wait_us.max(1))
    }

    fn note_late(&mut self) {
        // Between bands a late sample harms nothing.
        if self.arc.phase().is_in_band() && self.late_since_us.is_none() {
            self.late_since_us = Some(self.last_us);
        }
    }

    fn start_clock(&mut self, now_us: u64) {
        self.unseen_before = true;
        self.last_us = now_us;
        self.tick_due_us = self.due_after(now_us);
        self.moment.now_us = now_us;
        self.torch_seen_us = now_us;
        self.signal.start(now_us);
        self.weave.clear();
        self.spindle.forget_speed();
        self.dips.restart(now_us);
        self.gas.forget();
        self.gas_flow.clear();
        self.coolant_flow.clear();
        // Times of an older clock may lie ahead.
        self.late_since_us = self.late_since_us.map(|since_us| since_us.min(now_us));
        self.outage_since_us = self.outage_since_us.map(|since_us| since_us.min(now_us));
    }

    fn take_torch(&mut self, now_us: u64, position: i32) {
        if self.torch.count() == 0 {
            self.torch_start_us = now_us;
            self.torch_delays_us = 0;
        }
        self.torch.push(position);
        self.torch_delays_us =
            self.torch_delays_us.saturating_add(now_us.saturating_sub(self.torch_start_us));
        self.torch_seen_us = now_us;
    }

    fn take_change(&mut self, change: Change, now_us: u64, sink: &mut dyn Sink) {
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

    /// The lower end of the allowed range of a quantity, else of the recommended one.
    pub(crate) fn least(&self, quantity: Quantity) -> Option<i32> {
        let limits = self.procedure.limits(quantity)?;
        limits.allowed.or(limits.recommended).map(|range| range.low)
    }

    fn tick(&mut self, now_us: u64, sink: &mut dyn Sink) {
        self.run_slots(SLOTS, sink);
        let elapsed_us = now_us.saturating_sub(self.moment.now_us);
        let (band, turned) = if self.arc.phase().is_in_band() {
            (self.tally.record.band, self.tally.turned(self.spindle.total()))
        } else if self.closing.is_some() {
            (self.tally.record.band, self.tally.turned_at_end())
        } else {
            (self.bands, None)
        };
        self.moment = Moment {
            now_us,
            elapsed_us: self.counted_us(elapsed_us, TICK_US),
            position: Position { band, turned },
        };
        let aligned_us = self.tick_due_us.saturating_add(TICK_US);
        self.tick_due_us = if aligned_us > now_us { aligned_us } else { self.due_after(now_us) };
        self.slot = 0;
        self.run_slots(self.slots_a_step, sink);
    }

    /// How much of a wait counts towards a delay: no more than may pass without a gap, but always
    /// the `regular_us` that pass where nothing is late.
    pub(crate) fn counted_us(&self, elapsed_us: u64, regular_us: u64) -> u32 {
        let at_most_us = u64::from(self.acquisition.gap_tolerance_us).max(regular_us);
        u32::try_from(elapsed_us.min(at_most_us)).unwrap_or(u32::MAX)
    }

    pub(crate) fn tick_weave(&mut self, now_us: u64) {
        let Some(position) = self.torch.mean() else {
            if now_us.saturating_sub(self.torch_seen_us) > 1_000_000 {
                self.weave.clear();
            }
            return;
        };
        let delay_us = self.torch_delays_us.checked_div(u64::from(self.torch.count())).unwrap_or(0);
        self.torch = Block::EMPTY;
        let crossing = self.weave.push(self.torch_start_us.saturating_add(delay_us), position);
        if let Some(period_us) = crossing.and_then(|crossing| crossing.period_us)
            && self.arc.is_lit()
            && self.weave.is_known()
        {
            self.tally.weave_cycle(period_us);
        }
    }

    fn run_slots(&mut self, count: u8, sink: &mut dyn Sink) {
        for _ in 0..count {
            if self.slot >= SLOTS {
                return;
            }
            judge::run_slot(self, self.slot, sink);
            self.slot = self.slot.saturating_add(1);
        }
    }

    /// Ends an open band because no more data will come for it.
    fn close_for_want_of_data(&mut self, sink: &mut dyn Sink) {
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

    /// Acknowledges every active alarm: horns fall silent, lamps stay while the alarms do.
    pub fn acknowledge(&mut self, time_us: u64, sink: &mut dyn Sink) {
        let moment = Moment { now_us: time_us, ..self.moment };
        self.tell_every_alarm(sink, |rule, channel, point| point.acknowledge(rule, channel, &moment));
    }
    /// Puts a rule away for `for_us` microseconds (at most 71 minutes; 0 takes it back), counted in
    /// samples' time; a rule about channels only for the channels with such an alarm now.
    pub fn shelve(&mut self, rule: Rule, for_us: u32, sink: &mut dyn Sink) {
        let moment = self.moment;
        self.tell_every_alarm(sink, |each, channel, point| {
            let meant = each == rule && (!rule.is_about_a_channel() || point.active().is_some());
            meant.then(|| point.shelve(for_us, rule, channel, &moment)).flatten()
        });
    }
    fn tell_every_alarm(
        &mut self,
        sink: &mut dyn Sink,
        mut tell: impl FnMut(Rule, Option<Channel>, &mut AlarmPoint) -> Option<AlarmEvent>,
    ) {
        for rule in Rule::ALL {
            let channel = self.wrong_pole.filter(|_| rule == Rule::PolarityWrong);
            if let Some(point) = self.point_mut(rule, None)
                && let Some(event) = tell(rule, channel, point)
            {
                sink.event(&Event::Alarm(event));
            }
        }
        for (channel, (rule, point)) in Channel::ALL.into_iter().zip(&mut self.channel_points) {
            if let Some(event) = tell(*rule, Some(channel), point) {
                sink.event(&Event::Alarm(event));
            }
        }
    }
    /// The alarm of a rule, or of a channel for rules about one.
    pub(crate) fn point_mut(&mut self, rule: Rule, channel: Option<Channel>) -> Option<&mut AlarmPoint> {
        if rule == Rule::SignalLate {
            self.points.last_mut()
        } else if rule.is_about_a_channel() {
            self.channel_points.get_mut(channel? as usize).map(|(_, point)| point)
        } else {
            self.points.get_mut(rule as usize)
        }
    }
    fn all_points(&self) -> impl Iterator<Item = &AlarmPoint> {
        self.points.iter().chain(self.channel_points.iter().map(|(_, point)| point))
    }
    /// The worst severity of all active alarms.
    pub fn worst_active(&self) -> Option<Severity> {
        self.all_points().filter_map(AlarmPoint::active).max()
    }
    /// The worst severity of all alarms that nobody has acknowledged or shelved: sound a horn.
    pub fn worst_unacknowledged(&self) -> Option<Severity> {
        self.all_points().filter(|point| point.wants_attention()).filter_map(AlarmPoint::active).max()
    }

    /// Why a rule is not judged, or was not for a time.
    pub fn not_judged(&self, rule: Rule) -> Option<NotJudged> {
        if let Some(reason) = self.cannot_judge(rule) {
            return Some(reason);
        }
        if let Some(channel) = self.lost.intersection(rule.needs()).iter().next() {
            return Some(NotJudged::ChannelLost(channel));
        }
        if self.judged.contains(rule) {
            return None;
        }
        match rule {
            Rule::GasPreflow | Rule::PreheatLow | Rule::InterpassHigh if self.start_unseen => {
                Some(NotJudged::StartUnseen)
            }
            _ if self.end_unseen.contains(rule) => Some(NotJudged::EndUnseen),
            _ => Some(NotJudged::NeverApplied),
        }
    }

    /// Why a rule can never be judged with this procedure and these channels.
    pub(crate) fn cannot_judge(&self, rule: Rule) -> Option<NotJudged> {
        let channels = self.acquisition.channels;
        if let Some((quantity, side)) = rule.watches() {
            let limits = self.procedure.limits(quantity);
            let setting = self.procedure.alarm(rule);
            let tiers = crate::envelope::Tiers::of(rule);
            if !limits.is_some_and(|limits| crate::envelope::has_limit(limits, side, &setting, tiers)) {
                return Some(NotJudged::NoRange);
            }
        }
        if rule == Rule::PolarityWrong && self.procedure.polarity.is_none() {
            return Some(NotJudged::NoRange);
        }
        if channels.intersection(ChannelSet::ELECTRICAL).is_empty()
            && !rule.is_about_a_channel()
            && rule != Rule::SignalLate
        {
            return Some(NotJudged::NoChannel(Channel::Current));
        }
        if let Some(channel) = rule.needs().minus(channels).iter().next() {
            return Some(NotJudged::NoChannel(channel));
        }
        let needed_mhz = self.needed_rate_mhz(rule);
        (!judge::rate_allows(rule, self)).then_some(NotJudged::RateTooLow { needed_mhz })
    }

    /// The sample rate a rule needs, thousandths of a hertz; 0: any.
    pub(crate) fn needed_rate_mhz(&self, rule: Rule) -> u32 {
        match rule {
            Rule::TransferShortCircuits => transfer::NEEDED_RATE_MHZ,
            Rule::SpindleSlip | Rule::SpindleStall => crate::spindle::NEEDED_RATE_MHZ,
            Rule::WeaveRateLow
            | Rule::WeaveRateHigh
            | Rule::WeaveWidthLow
            | Rule::WeaveWidthHigh
            | Rule::WeaveCentreDrift => {
                let fastest = self
                    .procedure
                    .limits(Quantity::WeaveRate)
                    .and_then(|limits| limits.allowed)
                    .filter(|range| range.high != i32::MAX)
                    .and_then(|range| u32::try_from(range.high >> 12).ok())
                    .unwrap_or(FASTEST_WEAVE);
                // Cycles a minute to thousandths of a hertz: 1000 / 60.
                fastest.saturating_mul(weave::SAMPLES_PER_CYCLE).saturating_mul(50) / 3
            }
            _ => 0,
        }
    }
}
