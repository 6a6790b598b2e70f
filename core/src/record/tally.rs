//! What is added up while a band is open.
//!
//! Decides: how samples become the numbers of a band record.
//! Assumes: it is told of samples with the arc burning, and of nothing else.
//! Never: judges.

use crate::heat;
use crate::procedure::Geometry;
use crate::record::band::{BandRecord, Spread, WireFeedSource};
use crate::rule::Rule;
use crate::statistics::{Block, Moments, clamp_to_i32};
use crate::trackers::electrical::ElectricalSums;
use crate::trackers::spindle;
use crate::trackers::transfer::rate_per_second;
use crate::trackers::weave;
use crate::units::{
    Current, Degrees, Duration, EventRate, FlowRate, Length, Power, SurfaceSpeed, Temperature, Voltage,
    WeaveRate, WireSpeed, turns_to_degrees,
};

const TURN: u64 = 1 << 32;

/// The angle turned since the arc started.
#[derive(Clone, Copy, Debug)]
struct Turning {
    start: i64,
    start_us: u64,
    last: i64,
    last_us: u64,
    whole_turns: u64,
    whole_turns_us: u64,
}

/// The sums of one open band.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tally {
    pub(crate) record: BandRecord,
    current: Moments,
    voltage: Moments,
    gas: Moments,
    power: i128,
    power_count: u32,
    wire: Block,
    lit_since_us: Option<u64>,
    /// The next quantity to be worked out when the band is over.
    stage: u8,
    weave_rates: Moments,
    weave_cycles: u64,
    weave_time_us: u64,
    weave_width: Block,
    pub(crate) weave_centre_start: Option<i32>,
    turning: Option<Turning>,
    /// Short circuits counted, where they are, over the time in which the arc was settled.
    pub(crate) short_circuits: Option<u32>,
    counted_from_us: u64,
    pub(crate) carriage: Option<i32>,
    surface_speed: Option<SurfaceSpeed>,
}

impl Tally {
    /// A band that starts now.
    pub(crate) fn begin(band: u16, start_us: u64, start_unseen: bool) -> Self {
        let record = BandRecord { band, start_us, end_us: start_us, start_unseen, ..BandRecord::default() };
        Self { record, ..Self::default() }
    }

    /// The arc burns from here on.
    pub(crate) fn resume(&mut self, now_us: u64) {
        self.lit_since_us = Some(now_us);
    }
    /// Time in which nothing was seen of the arc is not arc time.
    pub(crate) fn skip(&mut self, unseen_us: u64) {
        self.lit_since_us = self.lit_since_us.map(|since_us| since_us.saturating_add(unseen_us));
    }
    /// Short circuits are counted from here on.
    pub(crate) fn count_from(&mut self, now_us: u64) {
        let burnt_us = self.lit_since_us.map_or(0, |since_us| now_us.saturating_sub(since_us));
        self.counted_from_us = self.record.arc_time_us.saturating_add(burnt_us);
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
        let Some(turning) = &mut self.turning else {
            self.turning = Some(Turning {
                start: total,
                start_us: now_us,
                last: total,
                last_us: now_us,
                whole_turns: 0,
                whole_turns_us: now_us,
            });
            return;
        };
        let turned = total.wrapping_sub(turning.start).unsigned_abs();
        let goal = turning.whole_turns.saturating_add(1).saturating_mul(TURN);
        if turned >= goal {
            // The turn was completed between the last sample and this one.
            let before = turning.last.wrapping_sub(turning.start).unsigned_abs();
            let step = turned.saturating_sub(before) >> 8;
            let part = goal.saturating_sub(before) >> 8;
            let gap_us = now_us.saturating_sub(turning.last_us).min(u64::from(u32::MAX));
            let share_us = gap_us.saturating_mul(part).checked_div(step).unwrap_or(0);
            turning.whole_turns = turned >> 32;
            turning.whole_turns_us = turning.last_us.saturating_add(share_us.min(gap_us));
        }
        turning.last = total;
        turning.last_us = now_us;
    }

    /// Angle turned under the arc; may exceed a turn.
    pub(crate) fn turned(&self, total: i64) -> Option<Degrees> {
        self.turning.map(|turning| turns_to_degrees(magnitude(total.wrapping_sub(turning.start))))
    }

    /// Angle turned when the arc was last seen.
    pub(crate) fn turned_at_end(&self) -> Option<Degrees> {
        self.turning.and_then(|turning| self.turned(turning.last))
    }

    /// Complete weave cycles seen under the arc of this band.
    pub(crate) const fn weave_cycles(&self) -> u64 {
        // Each is counted upward and downward.
        self.weave_cycles / 2
    }
    /// Takes a completed weave cycle.
    pub(crate) fn weave_cycle(&mut self, period_us: u64) {
        self.weave_cycles = self.weave_cycles.saturating_add(1);
        self.weave_time_us = self.weave_time_us.saturating_add(period_us);
    }
    /// Takes the weave rate of the last cycles.
    pub(crate) fn weave_rate(&mut self, rate: Option<i32>) {
        if let Some(rate) = rate {
            self.weave_rates.push(rate);
        }
    }
    /// Takes the weave width of the last cycles.
    pub(crate) fn weave_width(&mut self, width: Option<i32>) {
        if let Some(width) = width {
            self.weave_width.push(width);
        }
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
        if let Some(slot) = self.record.outside_us.get_mut(rule as usize) {
            *slot = slot.saturating_add(elapsed_us);
        }
    }
    /// Notes that a rule could not be judged.
    pub(crate) fn not_judged(&mut self, rule: Rule) {
        self.record.not_judged = self.record.not_judged.with(rule);
    }

    /// The overlap past one turn, raw [`Degrees`].
    pub(crate) fn overlap(&self) -> Option<i32> {
        let turning = self.turning?;
        let turned = magnitude(turning.last.wrapping_sub(turning.start));
        Some(turns_to_degrees(turned.saturating_sub(TURN as i64)).to_bits())
    }

    /// Mean time of a turn: of the whole turns where there is one, else scaled from the part.
    fn turn_time(&self) -> Option<Duration> {
        let turning = self.turning?;
        let (end_us, turned) = if turning.whole_turns > 0 {
            (turning.whole_turns_us, (turning.whole_turns << 32) as i64)
        } else {
            (turning.last_us, turning.last.wrapping_sub(turning.start))
        };
        // Less than a hundredth of a turn tells nothing.
        if turned.unsigned_abs() < TURN / 100 {
            return None;
        }
        spindle::turn_time(end_us.saturating_sub(turning.start_us), turned).map(Duration::from_bits)
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
                self.record.weave_width = self.weave_width.mean().map(Length::from_bits);
            }
            5 => {
                self.record.turned = self.turned_at_end();
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
            8 => self.surface_speed = self.surface_speed(geometry),
            9 => {
                self.record.arc_energy = self
                    .record
                    .arc_power
                    .zip(self.surface_speed)
                    .and_then(|(power, speed)| heat::arc_energy(power, speed));
            }
            10 => self.record.band_height = self.band_height(geometry),
            _ => return false,
        }
        self.stage = self.stage.saturating_add(1);
        true
    }

    fn weave_rates(&self) -> Option<Spread<WeaveRate>> {
        let over_windows = spread(&self.weave_rates, WeaveRate::from_bits)?;
        let mean = weave::rate_per_minute(self.weave_cycles, self.weave_time_us);
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
            self.surface_speed?,
            geometry.band_width.or(self.record.weave_width)?,
        )
    }

    /// Notes the work temperature as the arc started.
    pub(crate) fn work_at_start(&mut self, raw: Option<i32>) {
        self.record.work_at_start = raw.map(Temperature::from_bits);
    }
}

fn magnitude(turned: i64) -> i64 {
    turned.saturating_abs()
}

fn spread<Q>(moments: &Moments, quantity: impl Fn(i32) -> Q) -> Option<Spread<Q>> {
    Some(Spread {
        mean: quantity(moments.mean()?),
        minimum: quantity(moments.minimum()?),
        maximum: quantity(moments.maximum()?),
        deviation: quantity(moments.deviation()?),
    })
}
