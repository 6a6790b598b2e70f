//! What is added up while a band is open.
//!
//! Decides: how samples become the numbers of a band record.
//! Assumes: it is told of samples with the arc burning, and of nothing else.
//! Never: judges.

use crate::heat;
use crate::procedure::Geometry;
use crate::record::band::{BandRecord, Spread, WireFeedSource};
use crate::record::crater_fill::CraterFill;
use crate::record::early_gas::EarlyGas;
use crate::record::early_wire::EarlyWire;
use crate::record::places::Stand;
use crate::record::preflow::Preflow;
use crate::record::proof::Judged;
use crate::record::turning::{Ends, Turning};
use crate::record::work_after::WorkAfter;
use crate::rule::Rule;
use crate::statistics::{Block, Moments, clamp_to_i32};
use crate::trackers::electrical::ElectricalSums;
use crate::trackers::transfer::rate_per_second;
use crate::trackers::work::{Before, LEAP};
use crate::trackers::{WorkTracker, weave};
use crate::units::{
    Current, Degrees, Duration, EventRate, FlowRate, Length, Power, SurfaceSpeed, Temperature, Voltage,
    WeaveRate, WireSpeed,
};
use crate::watched::{HEAT, MOTION, Only};

const FULL_TURN: Degrees = Degrees::from_milli(360_000);

/// Which band of which joint.
#[derive(Clone, Copy, Debug)]
pub(crate) struct BandPlace {
    pub(crate) joint: u16,
    pub(crate) band: u16,
    pub(crate) group: u8,
    pub(crate) opens_group: bool,
}

/// The sums of one open band.
#[derive(Clone, Debug)]
pub(crate) struct Tally {
    pub(crate) record: BandRecord,
    pub(crate) judged: Judged,
    /// Time in which the arc burned on both sides and nothing was seen, µs.
    pub(crate) unseen_us: u64,
    current: Moments,
    voltage: Moments,
    gas: Moments,
    power: i128,
    power_count: u32,
    wire: Block,
    lit_since_us: Option<u64>,
    /// The next quantity to be worked out when the band is over.
    stage: u8,
    weave_rates: Only<Moments, MOTION>,
    weave_cycles: Only<u64, MOTION>,
    weave_time_us: Only<u64, MOTION>,
    weave_width: Only<Block, MOTION>,
    /// The first width that was known was that of the cycles since so long before it, µs.
    pub(crate) width_looked_back_us: Only<u64, MOTION>,
    /// Where the centre of the weave was at the start, and four cycles later: it may have moved while it was first
    /// looked at.
    pub(crate) weave_centre_start: Only<Option<(i32, i32)>, MOTION>,
    pub(crate) weave_centre: Only<Block, MOTION>,
    turning: Only<Option<Turning>, MOTION>,
    /// Time between samples, µs; zero until the arc is over.
    period_us: u32,
    /// By how much the difference of two angles may be wrong, 2^-32 turn.
    angle_error: Only<u32, MOTION>,
    /// Short circuits counted, where they are, over the time in which the arc was settled.
    pub(crate) short_circuits: Option<u32>,
    counted_from_us: u64,
    /// Where the carriage was when it had come to where the band is laid, raw.
    pub(crate) carriage: Only<Option<i32>, MOTION>,
    /// And where it stood from then on, unless it creeps on all the time.
    pub(crate) stand: Only<Stand, MOTION>,
    /// The angle of the band at which it had come there.
    pub(crate) placed_at: Only<Option<Degrees>, MOTION>,
    /// The work was read lately as the arc was struck.
    pub(crate) is_work_fresh: Only<bool, HEAT>,
    /// The work as the arc was struck.
    pub(crate) work_before: Only<Option<Before>, HEAT>,
    /// The reading fell after the strike as no steel does: the lowest by then, raw.
    pub(crate) work_fell_to: Only<Option<i32>, HEAT>,
    pub(crate) work_after: Only<WorkAfter, HEAT>,
    /// The carriage creeps on all the time.
    pub(crate) creeps: Only<bool, MOTION>,
    /// The angle at which the carriage had left that place.
    pub(crate) left_at: Only<Option<Degrees>, MOTION>,
    /// When the carriage was last near where the band was placed, µs.
    pub(crate) near_us: Only<u64, MOTION>,
    /// Where the carriage came to after a step under the arc, and when, µs.
    pub(crate) came_to: Only<Option<(i32, u64)>, MOTION>,
    surface_speed: Only<Option<SurfaceSpeed>, MOTION>,
    pub(crate) crater_fill: Only<CraterFill, MOTION>,
    /// Gas that failed before the band was known to be one.
    pub(crate) early_gas: Option<EarlyGas>,
    pub(crate) early_wire: EarlyWire,
    pub(crate) preflow: Preflow,
    /// Time in which the weave was known no longer, µs.
    pub(crate) weave_lost_us: Only<u64, MOTION>,
    /// The torch was last read too seldom for the width of its weave.
    pub(crate) weave_is_coarse: Only<bool, MOTION>,
}

impl Tally {
    /// Nothing yet.
    pub(crate) const fn empty() -> Self {
        Self {
            record: BandRecord::empty(),
            judged: Judged::empty(),
            unseen_us: 0,
            current: Moments::EMPTY,
            voltage: Moments::EMPTY,
            gas: Moments::EMPTY,
            power: 0,
            power_count: 0,
            wire: Block::EMPTY,
            lit_since_us: None,
            stage: 0,
            weave_rates: Only::new(Moments::EMPTY),
            weave_cycles: Only::new(0),
            weave_time_us: Only::new(0),
            weave_width: Only::new(Block::EMPTY),
            width_looked_back_us: Only::new(0),
            weave_centre_start: Only::new(None),
            weave_centre: Only::new(Block::EMPTY),
            turning: Only::new(None),
            period_us: 0,
            angle_error: Only::new(0),
            short_circuits: None,
            counted_from_us: 0,
            carriage: Only::new(None),
            stand: Only::new(Stand::empty()),
            placed_at: Only::new(None),
            is_work_fresh: Only::new(false),
            work_before: Only::new(None),
            work_fell_to: Only::new(None),
            work_after: Only::new(WorkAfter::empty()),
            creeps: Only::new(false),
            left_at: Only::new(None),
            near_us: Only::new(0),
            came_to: Only::new(None),
            surface_speed: Only::new(None),
            crater_fill: Only::new(CraterFill::empty()),
            early_gas: None,
            early_wire: EarlyWire::EMPTY,
            preflow: Preflow::UNKNOWN,
            weave_lost_us: Only::new(0),
            weave_is_coarse: Only::new(false),
        }
    }
}

impl Tally {
    /// A band starts now, cleared before.
    pub(crate) fn begin(&mut self, place: BandPlace, start_us: u64, start_unseen: bool) {
        let BandPlace { joint, band, group, opens_group } = place;
        let record = &mut self.record;
        (record.joint, record.band, record.group, record.opens_group) = (joint, band, group, opens_group);
        (record.start_us, record.end_us, record.start_unseen) = (start_us, start_us, start_unseen);
    }

    /// No band is open; in place, for it is large.
    pub(crate) fn clear(&mut self) {
        self.clear_sums();
        self.clear_record();
    }
    /// The record is of no band.
    #[inline(never)]
    pub(crate) fn clear_record(&mut self) {
        self.record = BandRecord::empty();
    }
    /// All but the record.
    #[inline(never)]
    pub(crate) fn clear_sums(&mut self) {
        // Named one by one, so that none is forgotten: all at once would pass over the stack.
        let Self {
            record: _,
            judged,
            unseen_us,
            current,
            voltage,
            gas,
            power,
            power_count,
            wire,
            lit_since_us,
            stage,
            weave_rates,
            weave_cycles,
            weave_time_us,
            weave_width,
            width_looked_back_us,
            weave_centre_start,
            weave_centre,
            turning,
            period_us,
            angle_error,
            short_circuits,
            counted_from_us,
            carriage,
            stand,
            placed_at,
            is_work_fresh,
            work_before,
            work_fell_to,
            work_after,
            creeps,
            left_at,
            near_us,
            came_to,
            surface_speed,
            crater_fill,
            early_gas,
            early_wire,
            preflow,
            weave_lost_us,
            weave_is_coarse,
        } = self;
        *judged = Judged::empty();
        *unseen_us = 0;
        *current = Moments::EMPTY;
        *voltage = Moments::EMPTY;
        *gas = Moments::EMPTY;
        *power = 0;
        *power_count = 0;
        *wire = Block::EMPTY;
        *lit_since_us = None;
        *stage = 0;
        weave_rates.set(Moments::EMPTY);
        weave_cycles.set(0);
        weave_time_us.set(0);
        weave_width.set(Block::EMPTY);
        width_looked_back_us.set(0);
        weave_centre_start.set(None);
        weave_centre.set(Block::EMPTY);
        turning.set(None);
        *period_us = 0;
        angle_error.set(0);
        *short_circuits = None;
        *counted_from_us = 0;
        carriage.set(None);
        stand.set(Stand::empty());
        placed_at.set(None);
        is_work_fresh.set(false);
        work_before.set(None);
        work_fell_to.set(None);
        work_after.set(WorkAfter::empty());
        creeps.set(false);
        left_at.set(None);
        near_us.set(0);
        came_to.set(None);
        surface_speed.set(None);
        crater_fill.set(CraterFill::empty());
        *early_gas = None;
        *early_wire = EarlyWire::EMPTY;
        *preflow = Preflow::UNKNOWN;
        weave_lost_us.set(0);
        weave_is_coarse.set(false);
    }
    /// The arc burns from here on.
    pub(crate) fn resume(&mut self, now_us: u64) {
        self.lit_since_us = Some(now_us);
    }
    /// Time in which nothing was seen of the arc is not arc time.
    pub(crate) fn skip(&mut self, unseen_us: u64) {
        self.lit_since_us = self.lit_since_us.map(|since_us| since_us.saturating_add(unseen_us));
        self.unseen_us = self.unseen_us.saturating_add(unseen_us);
    }
    /// Time the arc has burned so far, holes in the data taken out, µs.
    pub(crate) fn burnt_us(&self, now_us: u64) -> u64 {
        let burning_us = self.lit_since_us.map_or(0, |since_us| now_us.saturating_sub(since_us));
        self.record.arc_time_us.saturating_add(burning_us)
    }
    /// Short circuits are counted from here on.
    pub(crate) fn count_from(&mut self, now_us: u64) {
        self.counted_from_us = self.burnt_us(now_us);
    }
    /// The arc was last seen at `lit_us`: time until it is back is not arc time.
    pub(crate) fn pause(&mut self, lit_us: u64) {
        self.record.end_us = lit_us;
        if let Some(since_us) = self.lit_since_us.take() {
            let burnt_us = lit_us.saturating_sub(since_us);
            self.record.arc_time_us = self.record.arc_time_us.saturating_add(burnt_us);
        }
    }
    /// Takes the sums of the last samples with the arc burning.
    pub(crate) fn add(&mut self, sums: &ElectricalSums) {
        self.record.samples = self.record.samples.saturating_add(sums.samples);
        self.current.merge(&sums.current);
        self.voltage.merge(&sums.voltage);
        self.power = self.power.wrapping_add(i128::from(sums.power));
        self.power_count = self.power_count.saturating_add(sums.power_count);
    }
    /// Takes a gas flow under the arc.
    pub(crate) fn gas(&mut self, flow: i32) {
        self.gas.push(flow);
    }
    /// Takes a wire feed under the arc.
    pub(crate) fn wire(&mut self, feed: i32) {
        self.wire.push(feed);
    }
    /// Takes a coolant flow under the arc.
    pub(crate) fn coolant(&mut self, flow: i32) {
        let flow = FlowRate::from_bits(flow);
        let minimum = self.record.coolant_minimum.map_or(flow, |minimum| minimum.min(flow));
        self.record.coolant_minimum = Some(minimum);
    }

    /// Takes the unwrapped spindle angle (2^-32 turn) at a sample with the arc burning.
    #[inline]
    pub(crate) fn turn(&mut self, now_us: u64, total: i64) {
        match self.turning.as_mut() {
            Some(Some(turning)) => turning.push(now_us, total),
            Some(turning) => *turning = Some(Turning::begin(now_us, total)),
            None => {}
        }
    }
    /// How far the pipe turned since the last angle is lost: where that was one of this band, so is how far it turned
    /// in it. Was it?
    pub(crate) fn lose_turning(&mut self) -> bool {
        let Some(Some(turning)) = self.turning.as_mut() else { return false };
        turning.lose();
        true
    }
    /// Notes where the arc went out; the angle of the band there.
    pub(crate) fn mark_turning(&mut self) -> Option<Degrees> {
        let turning = self.turning.as_mut()?.as_mut()?;
        turning.mark();
        turning.turned_at_last()
    }
    /// The band was over where the arc went out that was marked, at `out_us`.
    pub(crate) fn end_at_mark(&mut self, out_us: u64) {
        self.record.end_us = out_us;
        if let Some(Some(turning)) = self.turning.as_mut() {
            turning.back_to_mark();
        }
    }
    /// The arc is over: samples came every `period_us`, and the difference of two angles may be wrong by
    /// `error` (2^-32 turn; absent where nothing moved).
    pub(crate) fn end_turning(&mut self, period_us: u32, error: Option<u32>) {
        self.period_us = period_us;
        self.angle_error.set(error.unwrap_or(u32::MAX));
    }

    /// Angle turned under the arc; may exceed a turn.
    pub(crate) fn turned(&self, total: i64) -> Option<Degrees> {
        self.turning.as_ref()?.as_ref().map(|turning| turning.turned(total))
    }

    /// Angle turned when the arc was last seen; absent where the reading never moved.
    pub(crate) fn turned_at_end(&self) -> Option<Degrees> {
        self.turning.as_ref()?.as_ref().and_then(Turning::turned_at_last)
    }
    /// The most that it may have turned under the arc, which began and ended within `slack_us` of the samples that show it.
    pub(crate) fn turned_at_most(&self, slack_us: u32) -> Option<Degrees> {
        self.turning.as_ref()?.as_ref().and_then(|turning| turning.turned_at_most(slack_us))
    }

    /// Complete weave cycles seen under the arc of this band.
    pub(crate) fn weave_cycles(&self) -> u64 {
        // Each is counted upward and downward.
        self.weave_cycles.get() / 2
    }
    /// Takes a completed weave cycle.
    pub(crate) fn weave_cycle(&mut self, period_us: u64) {
        self.weave_cycles.set(self.weave_cycles.get().saturating_add(1));
        self.weave_time_us.set(self.weave_time_us.get().saturating_add(period_us));
    }
    /// Takes the weave rate of the last cycles.
    pub(crate) fn weave_rate(&mut self, rate: Option<i32>) {
        if let Some((rate, rates)) = rate.zip(self.weave_rates.as_mut()) {
            rates.push(rate);
        }
    }
    /// Takes the weave width, and how far back the cycles lie that show it, µs.
    pub(crate) fn weave_width(&mut self, width: Option<i32>, looked_back_us: u64) {
        if let Some((width, widths)) = width.zip(self.weave_width.as_mut()) {
            widths.push(width);
            self.width_looked_back_us.set(self.width_looked_back_us.get().max(looked_back_us));
        }
    }
    /// Where the band was laid, raw.
    pub(crate) fn place(&self) -> Option<i32> {
        self.stand.as_ref()?.mean().filter(|_| !self.creeps.get()).or(self.carriage.get())
    }
    /// Takes how far the weave centre is from where it was.
    pub(crate) fn weave_drift(&mut self, drift: Option<i32>) {
        if let Some(drift) = drift.map(Length::from_bits) {
            let largest = self.record.weave_centre_drift.map_or(drift, |largest| largest.max(drift));
            self.record.weave_centre_drift = Some(largest);
        }
    }

    /// Notes that a rule's value was outside its allowed range.
    pub(crate) fn outside(&mut self, rule: Rule, elapsed_us: u32) {
        let outside_us = &mut self.record.outside_us;
        outside_us.set(rule, outside_us.get(rule).saturating_add(elapsed_us));
    }

    /// What the pipe turned under an arc of which both ends were seen.
    fn turning_to_the_end(&self) -> Option<(&Turning, Ends)> {
        let ends = Ends {
            first_us: self.record.start_us,
            last_us: self.record.end_us,
            period_us: self.period_us,
            error: self.angle_error.get(),
        };
        let both_seen = self.period_us > 0 && !self.record.start_unseen;
        Some((self.turning.as_ref()?.as_ref().filter(|_| both_seen)?, ends))
    }
    /// Angle turned while the arc burned, within a degree; absent where that cannot be told.
    fn turned_under_arc(&self) -> Option<Degrees> {
        let (turning, ends) = self.turning_to_the_end()?;
        turning.turned_under_arc(ends)
    }
    /// Between which values the overlap lies, raw, where it is not known to a degree.
    pub(crate) fn overlap_bounds(&self) -> Option<(i32, i32)> {
        let (turning, ends) = self.turning_to_the_end()?;
        let (least, most) = turning.turned_bounds(ends)?;
        let past = |turned: Degrees| turned.saturating_sub(FULL_TURN).to_bits();
        Some((past(least), past(most)))
    }
    /// The overlap past one turn, raw [`Degrees`], within a degree; absent where that cannot be told.
    pub(crate) fn overlap(&self) -> Option<i32> {
        Some(self.turned_under_arc()?.saturating_sub(FULL_TURN).to_bits())
    }

    /// Mean time of a turn.
    fn turn_time(&self) -> Option<Duration> {
        let turning = self.turning.as_ref()?.as_ref().filter(|_| self.period_us > 0)?;
        turning.turn_time(self.angle_error.get()).map(Duration::from_bits)
    }

    fn arc_power(&self) -> Option<Power> {
        // 12 + 12 fraction bits down to 8. The mean of the products, not the product of the means.
        let half = i128::from(self.power_count) << 15;
        let sum = i64::try_from(self.power.saturating_add(half) >> 16).unwrap_or(i64::MAX);
        let mean = sum.checked_div_euclid(i64::from(self.power_count))?;
        Some(Power::from_bits(clamp_to_i32(mean)))
    }

    fn wire_feed(&self, geometry: &Geometry) -> Option<(WireSpeed, WireFeedSource)> {
        if let Some(mean) = self.wire.mean() {
            return Some((WireSpeed::from_bits(mean), WireFeedSource::Measured));
        }
        let current = Current::from_bits(self.current.mean()?);
        let estimate = heat::wire_feed_from_current(current, geometry.stick_out?, geometry.wire_diameter?)?;
        Some((estimate, WireFeedSource::EstimatedFromCurrent))
    }

    /// Works out the next quantity of a band that is over; false when all are done. One a step, so
    /// that no sample bears them all.
    pub(crate) fn work_out(&mut self, geometry: &Geometry) -> bool {
        match self.stage {
            0 => self.record.current = spread(&self.current, Current::from_bits),
            1 => self.record.voltage = spread(&self.voltage, Voltage::from_bits),
            2 => self.record.gas = spread(&self.gas, FlowRate::from_bits),
            3 => self.record.weave_rate = self.weave_rates(),
            4 => {
                self.record.arc_power = self.arc_power();
                self.record.weave_width = self.weave_width.get().mean().map(Length::from_bits);
            }
            5 => {
                self.record.turned = self.turned_under_arc().or(self.turned_at_end());
                self.record.overlap = self.overlap().map(Degrees::from_bits);
                self.record.turn_time = self.turn_time();
            }
            6 => {
                let counted_us = self.record.arc_time_us.saturating_sub(self.counted_from_us);
                let rate =
                    self.short_circuits.and_then(|count| rate_per_second(u64::from(count), counted_us));
                self.record.short_circuits = rate.map(EventRate::from_bits);
            }
            7 => {
                let feed = self.wire_feed(geometry);
                self.record.wire_feed = feed.map(|(speed, _)| speed);
                self.record.wire_feed_source = feed.map(|(_, source)| source);
            }
            8 => self.surface_speed.set(self.surface_speed(geometry)),
            9 => {
                self.record.arc_energy = self
                    .record
                    .arc_power
                    .zip(self.surface_speed.get())
                    .and_then(|(power, speed)| heat::arc_energy(power, speed));
            }
            10 => self.record.band_height = self.band_height(geometry),
            _ => return false,
        }
        self.stage = self.stage.saturating_add(1);
        true
    }

    fn weave_rates(&self) -> Option<Spread<WeaveRate>> {
        let over_windows = spread(self.weave_rates.as_ref()?, WeaveRate::from_bits)?;
        let mean = weave::rate_per_minute(self.weave_cycles.get(), self.weave_time_us.get());
        Some(Spread { mean: mean.map_or(over_windows.mean, WeaveRate::from_bits), ..over_windows })
    }
    fn surface_speed(&self, geometry: &Geometry) -> Option<SurfaceSpeed> {
        heat::surface_speed(geometry.outside_diameter?, self.record.turn_time?)
    }
    fn band_height(&self, geometry: &Geometry) -> Option<Length> {
        heat::band_height(
            self.record.wire_feed?,
            geometry.wire_diameter?,
            geometry.deposition_efficiency_milli,
            self.surface_speed.get()?,
            geometry.laid_width(self.record.weave_width)?,
        )
    }

    /// Notes the work as the arc was struck, where it was read by then.
    pub(crate) fn work_at_start(&mut self, work: &WorkTracker) {
        let before = if self.is_work_fresh.get() { work.before(self.record.start_us) } else { None };
        self.work_before.set(before);
        self.record.work_at_start = before.map(|before| Temperature::from_bits(before.middle()));
    }
    /// The arc is known to be a band: what was read since the strike counts where it does not fit what was before.
    pub(crate) fn work_by_now(&mut self, work: &WorkTracker) {
        let span = work.span_since(self.record.start_us);
        if let (Some(Some(before)), Some((lowest, highest))) = (self.work_before.as_mut(), span) {
            if before.in_flame {
                // A flame is gone by now.
                before.most = before.most.max(lowest);
            } else if before.least.saturating_sub(lowest) > LEAP {
                self.work_fell_to.set(Some(lowest));
            } else if highest.saturating_sub(before.most) > LEAP {
                // Something was over the pyrometer as the arc was struck.
                before.most = highest;
            }
        }
    }
}

fn spread<Q>(moments: &Moments, quantity: impl Fn(i32) -> Q) -> Option<Spread<Q>> {
    Some(Spread {
        mean: quantity(moments.mean()?),
        minimum: quantity(moments.minimum()?),
        maximum: quantity(moments.maximum()?),
        deviation: quantity(moments.deviation()?),
    })
}
