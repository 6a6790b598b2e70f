//! What is added up while a band is open.
//!
//! Decides: how samples become the numbers of a band record.
//! Assumes: it is told of samples with the arc burning, and of nothing else.
//! Never: judges.

use crate::band::{BandRecord, Ending, Spread, WireFeedSource};
use crate::heat;
use crate::procedure::Geometry;
use crate::rule::Rule;
use crate::sample::Channel;
use crate::spindle;
use crate::statistics::{Block, Moments, clamp_to_i32};
use crate::transfer::rate_per_second;
use crate::units::{
    Current, Degrees, Duration, EventRate, FlowRate, Length, Power, Temperature, Voltage, WeaveRate,
    WireSpeed, turns_to_degrees,
};
use crate::weave;

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
    last_lit_us: Option<u64>,
    weave_rates: Moments,
    weave_cycles: u64,
    weave_time_us: u64,
    weave_width: Block,
    pub(crate) weave_centre_start: Option<i32>,
    turning: Option<Turning>,
    pub(crate) short_circuits: Option<u32>,
    pub(crate) carriage: Option<i32>,
}

impl Tally {
    /// A band that starts now.
    pub(crate) fn begin(band: u16, start_us: u64, start_unseen: bool) -> Self {
        let record = BandRecord { band, start_us, end_us: start_us, start_unseen, ..BandRecord::default() };
        Self { record, ..Self::default() }
    }

    /// Takes a sample with the arc burning; `reading` gives the usable raw readings.
    #[inline]
    pub(crate) fn add(&mut self, now_us: u64, gap_us: u32, reading: impl Fn(Channel) -> Option<i32>) {
        let record = &mut self.record;
        record.samples = record.samples.saturating_add(1);
        record.end_us = now_us;
        if let Some(last_us) = self.last_lit_us {
            let elapsed_us = now_us.saturating_sub(last_us).min(u64::from(gap_us));
            record.arc_time_us = record.arc_time_us.saturating_add(elapsed_us);
        }
        self.last_lit_us = Some(now_us);
        let (current, voltage) = (reading(Channel::Current), reading(Channel::Voltage));
        if let Some(amps) = current {
            self.current.push(amps);
        }
        if let Some(volts) = voltage {
            self.voltage.push(volts);
        }
        if let (Some(amps), Some(volts)) = (current, voltage) {
            let product = i64::from(amps).wrapping_mul(i64::from(volts));
            self.power = self.power.wrapping_add(i128::from(product));
            self.power_count = self.power_count.saturating_add(1);
        }
        if let Some(flow) = reading(Channel::Gas) {
            self.gas.push(flow);
        }
        if let Some(feed) = reading(Channel::Wire) {
            self.wire.push(feed);
        }
        if let Some(flow) = reading(Channel::Coolant) {
            let flow = FlowRate::from_bits(flow);
            let minimum = self.record.coolant_minimum.map_or(flow, |minimum| minimum.min(flow));
            self.record.coolant_minimum = Some(minimum);
        }
    }

    /// The arc went out: time until it is back is not arc time.
    pub(crate) fn pause(&mut self) {
        self.last_lit_us = None;
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
    /// Takes the weave rate and width of the last cycles.
    pub(crate) fn weave(&mut self, rate: Option<i32>, width: Option<i32>, drift: Option<i32>) {
        if let Some(rate) = rate {
            self.weave_rates.push(rate);
        }
        if let Some(width) = width {
            self.weave_width.push(width);
        }
        if let Some(drift) = drift {
            let drift = Length::from_bits(drift);
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
        let mean = self.power.saturating_add(half).checked_div(i128::from(self.power_count) << 16)?;
        Some(Power::from_bits(clamp_to_i32(i64::try_from(mean).unwrap_or(i64::MAX))))
    }

    fn wire_feed(&self, geometry: &Geometry) -> Option<(WireSpeed, WireFeedSource)> {
        if let Some(mean) = self.wire.mean() {
            return Some((WireSpeed::from_bits(mean), WireFeedSource::Measured));
        }
        let current = Current::from_bits(self.current.mean()?);
        let estimate = heat::wire_feed_from_current(current, geometry.stick_out?, geometry.wire_diameter?)?;
        Some((estimate, WireFeedSource::EstimatedFromCurrent))
    }

    /// The finished record.
    pub(crate) fn finish(&self, geometry: &Geometry, ending: Ending) -> BandRecord {
        let mut record = self.record;
        record.ending = ending;
        record.current = spread(&self.current, Current::from_bits);
        record.voltage = spread(&self.voltage, Voltage::from_bits);
        record.gas = spread(&self.gas, FlowRate::from_bits);
        record.arc_power = self.arc_power();
        record.weave_rate = spread(&self.weave_rates, WeaveRate::from_bits).map(|over_windows| {
            let mean = weave::rate_per_minute(self.weave_cycles, self.weave_time_us);
            Spread { mean: mean.map_or(over_windows.mean, WeaveRate::from_bits), ..over_windows }
        });
        record.weave_width = self.weave_width.mean().map(Length::from_bits);
        record.turned = self.turned_at_end();
        record.turn_time = self.turn_time();
        record.overlap = self.overlap().map(Degrees::from_bits);
        record.short_circuits = self
            .short_circuits
            .and_then(|count| rate_per_second(u64::from(count), record.arc_time_us))
            .map(EventRate::from_bits);
        let feed = self.wire_feed(geometry);
        record.wire_feed = feed.map(|(speed, _)| speed);
        record.wire_feed_source = feed.map(|(_, source)| source);
        let speed = geometry
            .outside_diameter
            .zip(record.turn_time)
            .and_then(|(diameter, time)| heat::surface_speed(diameter, time));
        record.arc_energy =
            record.arc_power.zip(speed).and_then(|(power, speed)| heat::arc_energy(power, speed));
        record.band_height = (|| {
            heat::band_height(
                record.wire_feed?,
                geometry.wire_diameter?,
                geometry.deposition_efficiency_milli,
                speed?,
                geometry.band_width.or(record.weave_width)?,
            )
        })();
        record
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
