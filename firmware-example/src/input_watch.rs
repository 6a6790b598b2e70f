//! Whether the samples from the inputs can be trusted: their time, their rate, and that every channel speaks.
//!
//! Decides: which samples are judged. One whose time leaps or runs back is set aside; when a run of them agrees
//! with one another the clock was set, and they are taken.
//! Assumes: it is shown every sample from the inputs, whether an arc burns or not.
//! Never: mends a time or a reading.

use crate::outputs::NO_FAULTS;
use bandward::link::BoardFaults;
use bandward::procedure::ArcSettings;
use bandward::sample::ChannelSet;
use bandward::units::Voltage;
use bandward::{Acquisition, Channel, Sample};

/// The time may stand still for so long by the count of samples, µs.
const STILL_US: u64 = 100_000;
/// A sample is never so far from the one before, µs (or twenty periods, or the tolerance for gaps).
const LEAP_US: u64 = 1_000_000;
/// So many samples in a row that agree with one another mean that the clock was set.
const AGREED: u8 = 8;
/// Channels are looked at for silence this often, µs.
const LOOK_EVERY_US: u64 = 10_000;
/// That may wait for a sample without slow channels, µs.
const MAY_WAIT_US: u64 = 1_000;
/// The rate is looked at over so long, µs, by the time of the samples or by their number, whichever is sooner (a clock
/// that creeps never gets there), and so many samples.
const RATE_WINDOW_US: u32 = 1_000_000;
const RATE_SAMPLES: u32 = 16;

/// Watches the inputs of a board.
#[derive(Clone, Debug)]
pub struct InputWatch {
    acquisition: Acquisition,
    silence_us: u64,
    leap_us: u64,
    /// Time of the last sample that was taken.
    last_us: Option<u64>,
    /// Samples since the time moved.
    still: u64,
    /// Times that disagree with the last one: the newest, and how many agree with it.
    other: Option<(u64, u8)>,
    window_start_us: u64,
    window_samples: u32,
    /// Samples that a window has by the declared period.
    window_declared: u32,
    /// Windows in a row with the wrong rate.
    wrong_windows: u8,
    /// When each channel last gave a reading within its range: the first since they were looked at.
    spoke_us: [u64; Channel::COUNT],
    /// Those that gave none since they were looked at.
    unheard: ChannelSet,
    /// When they are looked at next for silence.
    look_us: u64,
    /// Before this time neither the rate nor the silence of a channel is looked at, and nothing is wrong with the time: of
    /// the next sample no more than its distance counts.
    calm_until_us: u64,
    faults: BoardFaults,
    /// The faults have changed since somebody asked.
    is_news: bool,
}

impl InputWatch {
    /// Of inputs that come so; every wired channel must give a reading within `silence_us`.
    pub fn new(acquisition: Acquisition, silence_us: u32) -> Self {
        let mut watch = Self::resting();
        watch.begin(acquisition, silence_us);
        watch
    }
    /// Watches inputs that come so, in place of none.
    pub fn begin(&mut self, acquisition: Acquisition, silence_us: u32) {
        let period_us = u64::from(acquisition.period_us);
        self.window_declared = RATE_WINDOW_US.div_ceil(acquisition.period_us.max(1));
        self.leap_us = LEAP_US.max(20 * period_us).max(u64::from(acquisition.gap_tolerance_us));
        // A channel may have spoken again until it was looked at.
        self.silence_us = u64::from(silence_us).max(3 * period_us).saturating_add(LOOK_EVERY_US);
        self.acquisition = acquisition;
    }
    /// Watches nothing yet: for a static, where [`Self::begin`] then starts it in place.
    pub const fn resting() -> Self {
        Self {
            acquisition: Acquisition::every(1, ChannelSet::EMPTY),
            silence_us: 0,
            leap_us: 0,
            last_us: None,
            still: 0,
            other: None,
            window_start_us: 0,
            window_samples: 0,
            window_declared: RATE_WINDOW_US,
            wrong_windows: 0,
            spoke_us: [0; Channel::COUNT],
            unheard: ChannelSet::ALL,
            look_us: 0,
            calm_until_us: 0,
            faults: NO_FAULTS,
            is_news: false,
        }
    }
    /// What is wrong now.
    pub const fn faults(&self) -> BoardFaults {
        self.faults
    }
    /// Have the faults changed since this was asked?
    pub const fn take_news(&mut self) -> bool {
        core::mem::replace(&mut self.is_news, false)
    }
    /// Looks at a sample; returns whether it is to be judged.
    pub fn take(&mut self, sample: &Sample) -> bool {
        self.take_usual(sample) || self.take_closely(sample)
    }
    /// Takes a sample that is to be judged and about which nothing is new, as nearly all are: true if it is one. Else it is
    /// still to be taken.
    #[inline]
    pub(crate) fn take_usual(&mut self, sample: &Sample) -> bool {
        let now_us = sample.time_us;
        let Some(last_us) = &mut self.last_us else { return false };
        // One that stands still is further than any, as one that runs back.
        let is_near = now_us.wrapping_sub(*last_us).wrapping_sub(1) < self.leap_us;
        let is_usual = is_near && now_us < self.calm_until_us && self.window_samples < self.window_declared;
        if is_usual {
            *last_us = now_us;
            self.window_samples += 1;
            let heard = sample.present().intersection(self.unheard);
            if !heard.is_empty() {
                self.hear(sample, heard);
            }
        }
        is_usual
    }
    /// Takes any other; returns whether it is to be judged.
    #[inline(never)]
    pub(crate) fn take_closely(&mut self, sample: &Sample) -> bool {
        let is_taken = self.take_time(sample.time_us);
        if is_taken {
            self.look_at_rate(sample.time_us);
            self.look_at_channels(sample);
        }
        let is_calm = self.other.is_none() && self.still == 0 && !self.faults.bad_clock;
        let window_end_us = self.window_start_us.saturating_add(u64::from(RATE_WINDOW_US));
        self.calm_until_us = if is_calm { window_end_us.min(self.look_us) } else { 0 };
        is_taken
    }
    fn take_time(&mut self, now_us: u64) -> bool {
        let Some(last_us) = self.last_us else {
            self.start(now_us);
            return true;
        };
        // One that runs back is further than any.
        if now_us.wrapping_sub(last_us) <= self.leap_us {
            self.other = None;
            self.last_us = Some(now_us);
            if now_us == last_us {
                self.still = self.still.saturating_add(1);
                let stood_us = self.still.saturating_mul(u64::from(self.acquisition.period_us));
                self.find_clock(self.still >= 3 && stood_us >= STILL_US);
            } else {
                self.still = 0;
                self.find_clock(false);
            }
            return true;
        }
        self.find_clock(true);
        let agreed = self.other.map_or(1, |(other_us, agreed)| match now_us.checked_sub(other_us) {
            Some(step_us) if step_us > 0 && step_us <= self.leap_us => agreed.saturating_add(1),
            _ => 1,
        });
        self.other = Some((now_us, agreed));
        if agreed < AGREED {
            return false;
        }
        self.start(now_us);
        true
    }
    fn find_clock(&mut self, is_bad: bool) {
        self.is_news |= self.faults.bad_clock != is_bad;
        self.faults.bad_clock = is_bad;
    }
    fn start(&mut self, now_us: u64) {
        self.last_us = Some(now_us);
        self.still = 0;
        self.other = None;
        (self.window_start_us, self.window_samples, self.wrong_windows) = (now_us, 0, 0);
        self.spoke_us = [now_us; Channel::COUNT];
        self.look_us = now_us;
    }
    /// The mean spacing must be the declared period within a quarter. One window may be wrong: samples were
    /// late, which the monitor tells.
    fn look_at_rate(&mut self, now_us: u64) {
        let elapsed_us = now_us.saturating_sub(self.window_start_us);
        let is_over = elapsed_us >= u64::from(RATE_WINDOW_US) || self.window_samples >= self.window_declared;
        if is_over && self.window_samples >= RATE_SAMPLES {
            let declared_us =
                u64::from(self.window_samples).saturating_mul(u64::from(self.acquisition.period_us));
            let is_wrong = elapsed_us.saturating_mul(4) > declared_us.saturating_mul(5)
                || elapsed_us.saturating_mul(4) < declared_us.saturating_mul(3);
            self.wrong_windows = if is_wrong { self.wrong_windows.saturating_add(1) } else { 0 };
            let is_found = self.wrong_windows >= 2;
            self.is_news |= self.faults.wrong_rate != is_found;
            self.faults.wrong_rate = is_found;
            (self.window_start_us, self.window_samples) = (now_us, 0);
        }
        self.window_samples = self.window_samples.saturating_add(1);
    }
    /// Notes when these channels spoke.
    #[inline(never)]
    fn hear(&mut self, sample: &Sample, mut rest: ChannelSet) {
        while let Some(channel) = rest.first() {
            rest = rest.without(channel);
            let (range, raw) = (self.acquisition.sensor_range(channel), sample.reading(channel));
            let is_sound = channel == Channel::Spindle || raw > range.low && raw < range.high;
            if is_sound && let Some(spoke_us) = self.spoke_us.get_mut(channel as usize) {
                *spoke_us = sample.time_us;
                self.unheard = self.unheard.without(channel);
            }
        }
    }
    fn look_at_channels(&mut self, sample: &Sample) {
        self.hear(sample, sample.present().intersection(self.unheard));
        if sample.time_us < self.look_us {
            return;
        }
        // A sample with slow channels bears enough, where the next comes without.
        let is_slow = !sample.present().minus(ChannelSet::ELECTRICAL).is_empty();
        if is_slow && sample.time_us < self.look_us.saturating_add(MAY_WAIT_US) {
            return;
        }
        self.look_us = sample.time_us.saturating_add(LOOK_EVERY_US);
        // What was silent is so until it is heard, whatever time it is by another clock.
        let still_silent = self.faults.silent.intersection(self.unheard);
        self.unheard = ChannelSet::ALL;
        let is_silent = |channel: &Channel| {
            let spoke_us = self.spoke_us.get(*channel as usize).copied().unwrap_or(0);
            sample.time_us.saturating_sub(spoke_us) > self.silence_us || still_silent.contains(*channel)
        };
        let wired = self.acquisition.channels.iter();
        let silent = wired.filter(is_silent).fold(ChannelSet::EMPTY, ChannelSet::with);
        self.is_news |= self.faults.silent != silent;
        self.faults.silent = silent;
    }
}

/// A current, or a voltage where no current is read, must come again and again for so long to be an arc, µs.
const ARC_LASTS_US: u64 = 20_000;
/// An arc whose current is pulsed shows itself again within so long, µs: 20 pulses a second. Common practice, no source.
const PULSE_US: u64 = 50_000;
/// A reading older than this says nothing any more, µs.
const OLD_US: u64 = 2_000_000;
/// Current and voltage may be read by turns: where the current was not for so long, the voltage tells, µs.
const AMPS_HOLD_US: u64 = 500_000;
/// Without a current this voltage may be an arc; so may the open circuit, which is no time for a test either.
const LIVE_VOLTAGE: Voltage = Voltage::from_milli(10_000);

/// Whether an arc burns, from the readings of the inputs alone. As for the monitor, it is lit at one current and out
/// below another, lower one; the low time of a pulsed current does not put it out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ArcSense {
    since_us: Option<u64>,
    /// The last reading of an arc.
    live_us: u64,
    /// The last reading of the current.
    amps_us: u64,
    burns: bool,
}

impl ArcSense {
    /// Looks at a sample; true if it may burn now and might not before, or the other way round.
    #[inline]
    pub fn take(&mut self, sample: &Sample, arc: &ArcSettings, channels: ChannelSet) -> bool {
        // By a clock that was set back it was a moment ago.
        let is_read = sample.present().contains(Channel::Current);
        self.amps_us = if is_read { sample.time_us } else { self.amps_us.min(sample.time_us) };
        let (raw, on, off) = self.reading(sample, arc, channels);
        let is_above = |least: i32| raw.is_some_and(|raw| raw.unsigned_abs() >= least.unsigned_abs());
        if self.since_us.is_none() {
            let begins = is_above(on);
            if begins {
                (self.since_us, self.live_us) = (Some(sample.time_us), sample.time_us);
            }
            return begins;
        }
        if is_above(off) || is_above(on) {
            self.live_us = sample.time_us;
            if !self.burns {
                self.burns =
                    self.since_us.is_some_and(|us| sample.time_us.saturating_sub(us) >= ARC_LASTS_US);
            }
            return false;
        }
        self.live_us = self.live_us.min(sample.time_us);
        let patience_us = if raw.is_some() { PULSE_US } else { OLD_US };
        let is_over = sample.time_us.saturating_sub(self.live_us) > patience_us;
        if is_over {
            *self = Self { amps_us: self.amps_us, ..Self::default() };
        }
        is_over
    }
    /// Looks at a sample whose time is not believed: an arc is one by any clock. True if it may burn now and might not before.
    pub fn glimpse(&mut self, sample: &Sample, arc: &ArcSettings, channels: ChannelSet) -> bool {
        let (raw, on, _) = self.reading(sample, arc, channels);
        let begins =
            self.since_us.is_none() && raw.is_some_and(|raw| raw.unsigned_abs() >= on.unsigned_abs());
        if begins {
            (self.since_us, self.live_us) = (Some(0), 0);
        }
        begins
    }
    /// What tells of an arc, raw, from where on it does, and below which it is out: the current, and the voltage where that
    /// has not been read for a while.
    #[inline(always)]
    #[allow(clippy::inline_always, reason = "a call costs each sample a dozen instructions")]
    fn reading(&self, sample: &Sample, arc: &ArcSettings, channels: ChannelSet) -> (Option<i32>, i32, i32) {
        let is_read = sample.present().contains(Channel::Current)
            || sample.time_us.saturating_sub(self.amps_us) <= AMPS_HOLD_US;
        if is_read && channels.contains(Channel::Current) {
            (sample.raw(Channel::Current), arc.current_on.to_bits(), arc.current_off.to_bits())
        } else {
            (sample.raw(Channel::Voltage), LIVE_VOLTAGE.to_bits(), LIVE_VOLTAGE.to_bits())
        }
    }
    /// Does it burn?
    pub const fn burns(&self) -> bool {
        self.burns
    }
    /// May it burn: is there a current of an arc, or was there one, were it for one reading, a moment ago?
    pub const fn may_burn(&self) -> bool {
        self.since_us.is_some()
    }
}
