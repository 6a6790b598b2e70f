//! One instant of the weld, with its own time.
//!
//! Decides: which channels there are and how a reading is stored.
//! Assumes: readings are calibrated, in the unit of their channel.
//! Never: invents a reading: an absent one stays absent.

use crate::units::{Angle, Current, FlowRate, Length, Temperature, Voltage, WireSpeed};

/// A measured channel.
///
/// ```
/// use bandward::Channel;
///
/// assert_eq!(Channel::Gas.name(), "gas");
/// assert_eq!(Channel::ALL.len(), Channel::COUNT);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Channel {
    /// Welding current, A; positive when the electrode is positive.
    Current,
    /// Arc voltage, V; positive when the electrode is positive.
    Voltage,
    /// Shielding gas flow, L/min.
    Gas,
    /// Torch position across the band, mm.
    Torch,
    /// Spindle angle, wrapping.
    Spindle,
    /// Wire feed speed, mm/min.
    Wire,
    /// Torch coolant flow, L/min.
    Coolant,
    /// Work temperature beside the band, °C.
    Work,
    /// Carriage position along the joint, mm.
    Carriage,
}

impl Channel {
    /// How many channels there are.
    pub const COUNT: usize = 9;
    /// All of them, in order.
    pub const ALL: [Self; Self::COUNT] = [
        Self::Current,
        Self::Voltage,
        Self::Gas,
        Self::Torch,
        Self::Spindle,
        Self::Wire,
        Self::Coolant,
        Self::Work,
        Self::Carriage,
    ];
    /// The name used in layouts and messages.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Current => "current",
            Self::Voltage => "voltage",
            Self::Gas => "gas",
            Self::Torch => "torch",
            Self::Spindle => "spindle",
            Self::Wire => "wire",
            Self::Coolant => "coolant",
            Self::Work => "work",
            Self::Carriage => "carriage",
        }
    }
    /// Fraction bits of the raw value (32, a full turn, for the spindle).
    pub const fn fraction_bits(self) -> u32 {
        match self {
            Self::Current => Current::FRACTION_BITS,
            Self::Voltage => Voltage::FRACTION_BITS,
            Self::Gas | Self::Coolant => FlowRate::FRACTION_BITS,
            Self::Torch | Self::Carriage => Length::FRACTION_BITS,
            Self::Spindle => 32,
            Self::Wire => WireSpeed::FRACTION_BITS,
            Self::Work => Temperature::FRACTION_BITS,
        }
    }
    const fn bit(self) -> u16 {
        1_u16.wrapping_shl(self as u32)
    }
}

/// A set of channels.
///
/// ```
/// use bandward::{Channel, sample::ChannelSet};
///
/// let wired = ChannelSet::ELECTRICAL.with(Channel::Gas);
/// assert!(wired.contains(Channel::Gas) && !wired.contains(Channel::Work));
/// assert_eq!(wired.iter().count(), 3);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(transparent))]
pub struct ChannelSet(u16);

impl ChannelSet {
    /// No channel.
    pub const EMPTY: Self = Self(0);
    /// Every channel.
    pub const ALL: Self = Self(1_u16.wrapping_shl(Channel::COUNT as u32).wrapping_sub(1));
    /// Current and voltage.
    pub const ELECTRICAL: Self = Self::EMPTY.with(Channel::Current).with(Channel::Voltage);
    /// With `channel` in it.
    #[must_use]
    pub const fn with(self, channel: Channel) -> Self {
        Self(self.0 | channel.bit())
    }
    /// With `channel` taken out.
    #[must_use]
    pub const fn without(self, channel: Channel) -> Self {
        Self(self.0 & !channel.bit())
    }
    /// Is `channel` in it?
    pub const fn contains(self, channel: Channel) -> bool {
        self.0 & channel.bit() != 0
    }
    /// Are all of `other` in it?
    pub const fn contains_all(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }
    /// Those in either set.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
    /// Those in both sets.
    #[must_use]
    pub const fn intersection(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }
    /// Those in this set and not in the other.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }
    /// Is it empty?
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }
    /// The channels in it, in order.
    pub fn iter(self) -> impl Iterator<Item = Channel> {
        Channel::ALL.into_iter().filter(move |&channel| self.contains(channel))
    }
    /// The first channel in it.
    #[inline]
    pub fn first(self) -> Option<Channel> {
        Channel::ALL.get(self.0.trailing_zeros() as usize).copied()
    }
    /// From a bit mask, lowest bit the first channel; unknown bits are dropped.
    pub const fn from_bits(bits: u16) -> Self {
        Self(bits & Self::ALL.0)
    }
    /// As a bit mask, lowest bit the first channel.
    pub const fn to_bits(self) -> u16 {
        self.0
    }
}

/// No channel: how long before this sample the last one was read is not known. Among the channels, so that a plain sample
/// is told from all others by one comparison.
const UNKNOWN_WAIT: u16 = 1 << 15;

/// One instant: a time and up to one reading a channel.
///
/// ```
/// use bandward::{Channel, Sample, units::{Current, Voltage}};
///
/// let sample = Sample::at(1_000).current(Current::amps(320)).voltage(Voltage::from_milli(31_500));
/// assert_eq!(sample.raw(Channel::Current), Some(Current::amps(320).to_bits()));
/// assert_eq!(sample.raw(Channel::Gas), None); // absent, not zero
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Sample {
    /// Time in microseconds, on any steady clock.
    pub time_us: u64,
    /// With [`UNKNOWN_WAIT`] in it or not.
    present: ChannelSet,
    readings: [i32; Channel::COUNT],
}

impl Sample {
    /// A sample at `time_us` microseconds with no reading.
    pub const fn at(time_us: u64) -> Self {
        Self { time_us, present: ChannelSet::EMPTY, readings: [0; Channel::COUNT] }
    }
    /// Current and voltage, raw, and nothing else, as most samples of a board are.
    ///
    /// ```
    /// use bandward::{Channel, Sample};
    ///
    /// let sample = Sample::electrical(1_000, 320 << 12, 31 << 12);
    /// assert_eq!(sample, Sample::at(1_000).with_raw(Channel::Current, 320 << 12).with_raw(Channel::Voltage, 31 << 12));
    /// ```
    #[inline]
    pub const fn electrical(time_us: u64, amps: i32, volts: i32) -> Self {
        Self { time_us, present: ChannelSet::ELECTRICAL, readings: [amps, volts, 0, 0, 0, 0, 0, 0, 0] }
    }
    /// With the raw reading of a channel set (see [`Channel::fraction_bits`]).
    #[must_use]
    #[inline]
    pub fn with_raw(mut self, channel: Channel, raw: i32) -> Self {
        if let Some(slot) = self.readings.get_mut(channel as usize) {
            *slot = raw;
            self.present = self.present.with(channel);
        }
        self
    }
    /// With the reading of a channel taken out.
    #[must_use]
    pub fn without(mut self, channel: Channel) -> Self {
        if let Some(slot) = self.readings.get_mut(channel as usize) {
            *slot = 0;
            self.present = self.present.without(channel);
        }
        self
    }
    /// How long after the sample before it was read is not known, whatever their times say: a clock stood between them,
    /// or rows that came at one time are missing. Nothing is worked out across.
    ///
    /// ```
    /// use bandward::{Sample, sample::ChannelSet};
    ///
    /// let sample = Sample::at(1_000).after_unknown_wait();
    /// assert!(sample.is_after_unknown_wait() && !Sample::at(1_000).is_after_unknown_wait());
    /// assert_eq!(sample.present(), ChannelSet::EMPTY);
    /// ```
    #[must_use]
    pub const fn after_unknown_wait(mut self) -> Self {
        self.present = ChannelSet(self.present.0 | UNKNOWN_WAIT);
        self
    }
    /// See [`Self::after_unknown_wait`].
    pub const fn is_after_unknown_wait(&self) -> bool {
        self.present.0 & UNKNOWN_WAIT != 0
    }
    /// Are these channels present and no other, after a known wait?
    #[inline]
    pub(crate) const fn is_just(&self, channels: ChannelSet) -> bool {
        self.present.0 == channels.0
    }
    /// With the time and the readings of a newer sample in place of its own; channels that one has not stay as they are.
    ///
    /// ```
    /// use bandward::{Channel, Sample};
    ///
    /// let mut newest = Sample::at(1_000).with_raw(Channel::Current, 1).with_raw(Channel::Gas, 2);
    /// newest.update(&Sample::at(2_000).with_raw(Channel::Current, 3));
    /// assert_eq!(newest, Sample::at(2_000).with_raw(Channel::Current, 3).with_raw(Channel::Gas, 2));
    /// ```
    pub fn update(&mut self, newer: &Self) {
        self.time_us = newer.time_us;
        let mut rest = newer.present();
        self.present = self.present.union(rest);
        if rest == ChannelSet::ELECTRICAL {
            // As nearly always on a board.
            let ([amps, volts, ..], [newer_amps, newer_volts, ..]) = (&mut self.readings, &newer.readings);
            (*amps, *volts) = (*newer_amps, *newer_volts);
            return;
        }
        while let Some(channel) = rest.first() {
            rest = rest.without(channel);
            if let Some(slot) = self.readings.get_mut(channel as usize) {
                *slot = newer.reading(channel);
            }
        }
    }
    /// The raw reading of a channel, if present.
    #[inline]
    pub fn raw(&self, channel: Channel) -> Option<i32> {
        if self.present.contains(channel) { self.readings.get(channel as usize).copied() } else { None }
    }
    /// The raw reading of a channel; 0 where there is none, so look at [`Self::present`] first.
    #[inline]
    pub fn reading(&self, channel: Channel) -> i32 {
        self.readings.get(channel as usize).copied().unwrap_or(0)
    }
    /// Which channels have a reading.
    pub const fn present(&self) -> ChannelSet {
        self.present.intersection(ChannelSet::ALL)
    }
    /// With welding current.
    #[must_use]
    pub fn current(self, value: Current) -> Self {
        self.with_raw(Channel::Current, value.to_bits())
    }
    /// With arc voltage.
    #[must_use]
    pub fn voltage(self, value: Voltage) -> Self {
        self.with_raw(Channel::Voltage, value.to_bits())
    }
    /// With shielding gas flow.
    #[must_use]
    pub fn gas(self, value: FlowRate) -> Self {
        self.with_raw(Channel::Gas, value.to_bits())
    }
    /// With torch position across the band.
    #[must_use]
    pub fn torch(self, value: Length) -> Self {
        self.with_raw(Channel::Torch, value.to_bits())
    }
    /// With spindle angle.
    #[must_use]
    pub fn spindle(self, value: Angle) -> Self {
        self.with_raw(Channel::Spindle, value.to_bits() as i32)
    }
    /// With wire feed speed.
    #[must_use]
    pub fn wire(self, value: WireSpeed) -> Self {
        self.with_raw(Channel::Wire, value.to_bits())
    }
    /// With coolant flow.
    #[must_use]
    pub fn coolant(self, value: FlowRate) -> Self {
        self.with_raw(Channel::Coolant, value.to_bits())
    }
    /// With work temperature.
    #[must_use]
    pub fn work(self, value: Temperature) -> Self {
        self.with_raw(Channel::Work, value.to_bits())
    }
    /// With carriage position.
    #[must_use]
    pub fn carriage(self, value: Length) -> Self {
        self.with_raw(Channel::Carriage, value.to_bits())
    }
}
