//! What each channel did along a band, in memory that does not grow with the trace.
//!
//! Decides: how a band is cut into stretches, and what is kept of each.
//! Assumes: rows in order of time, with the arc phase the core found for them.
//! Never: keeps rows, or judges anything.
//!
//! A band has at most `STRETCHES` stretches of equal time. When they are full, neighbours are joined
//! two by two and the time of one doubles: a stretch of a joint of two minutes a turn is some three
//! degrees long, whatever the sample rate.

use super::half_cycles::HalfCycles;
use crate::trace::Row;
use bandward::{Channel, Phase};

/// Most stretches a band is cut into.
const STRETCHES: usize = 128;
/// Time of a stretch before any were joined, µs.
const FIRST_WIDTH_US: u64 = 250_000;
/// A voltage below this share of the band's mean is a dip: a bridged arc.
const DIP_SHARE: f64 = 0.6;
/// Readings a stretch needs before their scatter says anything.
const SCATTER_LEAST: u32 = 4;

/// Readings of one channel in one stretch. Sums are of differences from the band's first reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readings {
    count: u32,
    sum: f64,
    squares: f64,
    low: f64,
    high: f64,
}

const NO_READINGS: Readings =
    Readings { count: 0, sum: 0.0, squares: 0.0, low: f64::INFINITY, high: f64::NEG_INFINITY };

impl Readings {
    #[inline]
    fn push(&mut self, difference: f64) {
        self.count += 1;
        self.sum += difference;
        self.squares += difference * difference;
        self.low = if difference < self.low { difference } else { self.low };
        self.high = if difference > self.high { difference } else { self.high };
    }
    fn join(&mut self, other: &Self) {
        self.count += other.count;
        self.sum += other.sum;
        self.squares += other.squares;
        self.low = self.low.min(other.low);
        self.high = self.high.max(other.high);
    }
    fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / f64::from(self.count))
    }
    /// Do they all read the same? Absent for few readings.
    pub fn is_still(&self) -> Option<bool> {
        (self.count >= SCATTER_LEAST).then_some(self.high <= self.low)
    }
    /// From the lowest to the highest.
    pub fn span(&self) -> Option<f64> {
        (self.count > 0).then_some(self.high - self.low)
    }
    /// Mean square deviation; absent for few readings, or for readings that stand still.
    pub fn variance(&self) -> Option<f64> {
        let count = f64::from(self.count);
        let moved = self.count >= SCATTER_LEAST && self.high > self.low;
        moved.then(|| ((self.squares - self.sum * self.sum / count) / (count - 1.0)).max(0.0))
    }
}

/// A piece of a band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// First row, µs.
    pub from_us: u64,
    /// Last row, µs.
    pub to_us: u64,
    /// Angle turned since the band began at the first row, degrees; absent without a spindle reading.
    pub from_deg: Option<f64>,
    /// The same at the last row.
    pub to_deg: Option<f64>,
    /// Rows with a voltage reading, and how many of them were dips.
    pub voltages: (u32, u32),
    /// Weave half cycles completed of which the time is known, and the time they took, µs.
    pub half_cycles: (u32, u64),
    /// Weave half cycles completed, and their widths together, mm.
    pub widths: (u32, f64),
    /// At the last row, time since the weave crossed its centre, µs.
    pub uncrossed_us: Option<u64>,
    readings: [Readings; Channel::COUNT],
}

impl Stretch {
    fn at(time_us: u64, turned: Option<f64>) -> Self {
        Self {
            from_us: time_us,
            to_us: time_us,
            from_deg: turned,
            to_deg: turned,
            voltages: (0, 0),
            half_cycles: (0, 0),
            widths: (0, 0.0),
            uncrossed_us: None,
            readings: [NO_READINGS; Channel::COUNT],
        }
    }
    fn join(&mut self, other: &Self) {
        self.to_us = other.to_us;
        self.from_deg = self.from_deg.or(other.from_deg);
        self.to_deg = other.to_deg.or(self.to_deg);
        self.voltages = (self.voltages.0 + other.voltages.0, self.voltages.1 + other.voltages.1);
        self.half_cycles =
            (self.half_cycles.0 + other.half_cycles.0, self.half_cycles.1 + other.half_cycles.1);
        self.widths = (self.widths.0 + other.widths.0, self.widths.1 + other.widths.1);
        self.uncrossed_us = other.uncrossed_us;
        for (mine, others) in self.readings.iter_mut().zip(&other.readings) {
            mine.join(others);
        }
    }
    /// What was read of a channel.
    pub fn of(&self, channel: Channel) -> &Readings {
        &self.readings[channel as usize]
    }
}

/// The lowest and the highest that was read of a channel while it moved: a reading that is unlike the one before
/// and the one after. What stands still says nothing of what there is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Live {
    /// The lowest.
    pub low: f64,
    /// The highest.
    pub high: f64,
    /// The bits of the one before the last, and of the last; [`NO_READING`] where there is none.
    last: [u64; 2],
}

/// The bits of NaN: no reading that counts has them.
const NO_READING: u64 = f64::NAN.to_bits();

impl Live {
    /// Nothing was read.
    pub const NOTHING: Self = Self { low: f64::INFINITY, high: f64::NEG_INFINITY, last: [NO_READING; 2] };

    #[inline]
    fn push(&mut self, value: f64) {
        let ([before, last], now) = (self.last, value.to_bits());
        self.last = [last, now];
        // Of NaN no comparison holds.
        let alone = if last != before && last != now { f64::from_bits(last) } else { f64::NAN };
        self.low = if alone < self.low { alone } else { self.low };
        self.high = if alone > self.high { alone } else { self.high };
    }
}

/// One band from strike to end.
#[derive(Clone, Debug, PartialEq)]
pub struct BandHistory {
    /// The band, from 1.
    pub band: u16,
    /// Its stretches in order of time; outages are left out.
    pub stretches: Vec<Stretch>,
    width_us: u64,
    /// First reading of each channel; sums are held against it.
    first: [Option<f64>; Channel::COUNT],
    voltage: (f64, f64),
    spindle: Option<f64>,
    turned: f64,
    weave: HalfCycles,
}

impl BandHistory {
    fn new(band: u16) -> Self {
        Self {
            band,
            stretches: Vec::with_capacity(STRETCHES),
            width_us: FIRST_WIDTH_US,
            first: [None; Channel::COUNT],
            voltage: (0.0, 0.0),
            spindle: None,
            turned: 0.0,
            weave: HalfCycles::new(),
        }
    }

    /// Mean of a channel over a stretch, in the unit of the channel; current and voltage without sign.
    pub fn mean(&self, stretch: &Stretch, channel: Channel) -> Option<f64> {
        let value = self.first[channel as usize]? + stretch.of(channel).mean()?;
        Some(if matches!(channel, Channel::Current | Channel::Voltage) { value.abs() } else { value })
    }
    /// The angle of the spindle, degrees, where the band has turned so far.
    pub fn on_the_pipe_deg(&self, turned_deg: f64) -> f64 {
        let start = self.first[Channel::Spindle as usize].unwrap_or(0.0);
        if self.turned < 0.0 { start - turned_deg } else { start + turned_deg }
    }
    /// The angle turned since the band began at a time, or at the nearest time of the band, degrees. While the arc is out
    /// the pipe may turn on: evenly, from where it went out to where it was struck again.
    pub fn turned_at(&self, time_us: u64) -> Option<f64> {
        let begun = self.stretches.partition_point(|stretch| stretch.from_us <= time_us);
        let stretch = self.stretches.get(begun.saturating_sub(1))?;
        let next = self.stretches.get(begun).filter(|_| time_us > stretch.to_us);
        let again = next.and_then(|next| Some((next.from_us, next.from_deg?)));
        let (from, to) = stretch.from_deg.zip(stretch.to_deg)?;
        let ((from_us, from), (to_us, to)) = match again {
            Some(again) => ((stretch.to_us, to), again),
            None => ((stretch.from_us, from), (stretch.to_us, to)),
        };
        let lasted_us = to_us.saturating_sub(from_us).max(1) as f64;
        let share = time_us.saturating_sub(from_us) as f64 / lasted_us;
        Some(from + (to - from) * share.min(1.0))
    }
    /// The pipe turned to here; either way round, wrapping at 360 or running on.
    fn turn(&mut self, angle: Option<f64>) -> Option<f64> {
        if let (Some(angle), Some(before)) = (angle, self.spindle) {
            let moved = angle - before + 180.0;
            // Nearly always it is within a turn already; the remainder is a call.
            let moved = if (0.0..360.0).contains(&moved) { moved } else { moved.rem_euclid(360.0) };
            self.turned += moved - 180.0;
        }
        self.spindle = angle.or(self.spindle);
        self.spindle.map(|_| self.turned.abs())
    }

    fn observe(&mut self, row: &Row, burning: bool) {
        let turned = self.turn(row.get(Channel::Spindle));
        if !burning {
            self.weave.interrupt();
            return;
        }
        self.make_room(row.time_us, turned);
        let Some(stretch) = self.stretches.last_mut() else { return };
        stretch.to_us = row.time_us;
        stretch.from_deg = stretch.from_deg.or(turned);
        stretch.to_deg = turned.or(stretch.to_deg);
        for channel in Channel::ALL {
            let index = channel as usize;
            let Some(value) = row.values[index].filter(|value| value.is_finite()) else { continue };
            let difference = value - *self.first[index].get_or_insert(value);
            stretch.readings[index].push(difference);
        }
        if let Some(position) = row.get(Channel::Torch)
            && let Some(half) = self.weave.push(row.time_us, position)
        {
            stretch.widths = (stretch.widths.0 + 1, stretch.widths.1 + half.width_mm);
            if let Some(lasted_us) = half.lasted_us {
                stretch.half_cycles = (stretch.half_cycles.0 + 1, stretch.half_cycles.1 + lasted_us);
            }
        }
        stretch.uncrossed_us = self.weave.since_us(row.time_us);
        if let Some(volts) = row.get(Channel::Voltage).map(f64::abs).filter(|volts| volts.is_finite()) {
            let (count, sum) = (self.voltage.0 + 1.0, self.voltage.1 + volts);
            self.voltage = (count, sum);
            stretch.voltages.0 += 1;
            stretch.voltages.1 += u32::from(volts * count < DIP_SHARE * sum);
        }
    }

    fn make_room(&mut self, time_us: u64, turned: Option<f64>) {
        let last = self.stretches.last();
        if last.is_some_and(|last| time_us.saturating_sub(last.from_us) < self.width_us) {
            return;
        }
        if self.stretches.len() == STRETCHES {
            self.width_us *= 2;
            for index in 0..STRETCHES / 2 {
                let mut joined = self.stretches[2 * index];
                joined.join(&self.stretches[2 * index + 1]);
                self.stretches[index] = joined;
            }
            self.stretches.truncate(STRETCHES / 2);
        }
        self.stretches.push(Stretch::at(time_us, turned));
    }
}

/// Follows every band of a trace.
#[derive(Clone, Debug)]
pub struct BandHistories {
    bands: Vec<BandHistory>,
    /// Between bands, and in them.
    live: [Live; Channel::COUNT],
    /// No band is open.
    is_between: bool,
}

impl Default for BandHistories {
    fn default() -> Self {
        Self { bands: Vec::new(), live: [Live::NOTHING; Channel::COUNT], is_between: true }
    }
}

impl BandHistories {
    /// Takes a row, in the phase and band the core found for it.
    #[inline]
    pub fn observe(&mut self, row: &Row, phase: Phase, band: u16) {
        for (live, value) in self.live.iter_mut().zip(&row.values) {
            if let Some(value) = value.filter(|value| value.is_finite()) {
                live.push(value);
            }
        }
        if !phase.is_in_band() {
            self.is_between = true;
            return;
        }
        let is_new = self.bands.last().is_none_or(|course| course.band != band);
        if is_new || self.is_between {
            // Who comes back to the same band was a tack before.
            self.bands.retain(|course| course.band != band);
            self.bands.push(BandHistory::new(band));
            self.is_between = false;
        }
        if let Some(course) = self.bands.last_mut() {
            course.observe(row, phase == Phase::Arc);
        }
    }
    /// The bands so far, and what was read of each channel while it moved, in and between them.
    pub fn into_bands(self) -> (Vec<BandHistory>, [Live; Channel::COUNT]) {
        (self.bands, self.live)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(rows: u64, period_us: u64) -> BandHistory {
        let mut courses = BandHistories::default();
        for index in 0..rows {
            let angle = (350.0 + index as f64 * 0.5).rem_euclid(360.0);
            let amps = 300.0 + if index % 2 == 0 { 1.0 } else { -1.0 };
            let row = Row::at(index * period_us).with(Channel::Spindle, angle).with(Channel::Current, amps);
            courses.observe(&row, Phase::Arc, 1);
        }
        courses.into_bands().0.remove(0)
    }

    #[test]
    fn memory_stays_flat_and_nothing_is_lost_by_joining() {
        for rows in [10, 1000, 3000, 200_000] {
            let course = seen(rows, 20_000);
            assert!(course.stretches.len() <= STRETCHES);
            let count: u32 = course.stretches.iter().map(|stretch| stretch.of(Channel::Current).count).sum();
            assert_eq!(u64::from(count), rows);
            let last = course.stretches.last().expect("there is one");
            assert_eq!((course.stretches[0].from_us, last.to_us), (0, (rows - 1) * 20_000));
            assert!((last.to_deg.expect("turned") - (rows - 1) as f64 * 0.5).abs() < 1e-6);
            // Half a degree a row, at a row as between two.
            for (time_us, degrees) in [(0, 0.0), ((rows - 1) * 20_000, (rows - 1) as f64 * 0.5)] {
                assert!((course.turned_at(time_us).expect("turned") - degrees).abs() < 1e-6);
            }
            let middle = course.turned_at(rows * 10_000).expect("turned");
            assert!((middle - rows as f64 * 0.25).abs() <= 0.75, "{middle} of {rows}");
            assert!((course.mean(last, Channel::Current).expect("read") - 300.0).abs() <= 1.0);
        }
    }

    /// A degree a second; out from 10 to 13 s.
    #[test]
    fn a_pipe_that_turns_on_while_the_arc_is_out_is_followed() {
        let mut courses = BandHistories::default();
        for second in 0..20_u32 {
            let phase = if (10..13).contains(&second) { Phase::Outage } else { Phase::Arc };
            let row = Row::at(u64::from(second) * 1_000_000).with(Channel::Spindle, f64::from(second));
            courses.observe(&row, phase, 1);
        }
        let (bands, _) = courses.into_bands();
        for (time_us, degrees) in
            [(9_000_000, 9.0), (9_500_000, 9.5), (12_000_000, 12.0), (13_000_000, 13.0), (30_000_000, 19.0)]
        {
            let turned = bands[0].turned_at(time_us).expect("turned");
            assert!((turned - degrees).abs() < 1e-6, "{time_us}: {turned}");
        }
    }

    /// A tack is no part of the band that is laid after it.
    #[test]
    fn a_tack_is_forgotten_and_what_stands_still_is_not_live() {
        let mut courses = BandHistories::default();
        let phases = [(0..50, Phase::Arc), (50..90, Phase::Idle), (90..400, Phase::Arc)];
        for (index, phase) in phases.into_iter().flat_map(|(rows, phase)| rows.map(move |row| (row, phase))) {
            let volts = if index < 200 { 30.0 + f64::from(index % 7) } else { 60.0 };
            let row = Row::at(u64::from(index as u32) * 20_000).with(Channel::Voltage, volts);
            courses.observe(&row, phase, 1);
        }
        let (bands, live) = courses.into_bands();
        assert_eq!((bands.len(), bands[0].stretches[0].from_us), (1, 90 * 20_000));
        let volts = live[Channel::Voltage as usize];
        assert_eq!((volts.low, volts.high), (30.0, 36.0));
    }

    /// A square wave of 1 A either way has a mean square of 1.
    #[test]
    fn scatter_is_that_of_a_square_wave() {
        let course = seen(200_000, 20_000);
        let square = course.stretches[3].of(Channel::Current).variance().expect("moves");
        assert!((square - 1.0).abs() < 1e-2);
    }
}
