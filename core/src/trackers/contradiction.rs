//! Channels that contradict each other.
//!
//! Decides: whether current, voltage or wire feed reads what cannot be beside the others, and since when.
//! Assumes: each is looked at in turn, some times a second.
//! Never: blames a channel for what one channel alone shows.

use crate::procedure::ArcSettings;
use crate::sample::Channel;
use crate::trackers::arc::LOWEST_ARC_VOLTAGE;
use crate::units::{Degrees, Length, Voltage, WireSpeed};

/// An arc with a consumed wire does not burn on below this feed: common practice, no source.
pub(crate) const LEAST_FEED: u32 = WireSpeed::from_milli(300_000).to_bits() as u32;
/// The voltages at which an arc burns: common practice, no source. Open circuits of rectifiers begin above.
pub(crate) const ARC_VOLTAGES: core::ops::RangeInclusive<u32> =
    Voltage::from_milli(15_000).to_bits() as u32..=Voltage::from_milli(34_000).to_bits() as u32;
/// No arc on a wire has this voltage, or an open circuit's that is higher: common practice, no source.
pub(crate) const NO_ARC_VOLTS: u32 = Voltage::from_milli(50_000).to_bits() as u32;
/// A spindle that turns as for welding, raw degrees a second, and a torch that weaves, raw between looks.
pub(crate) const TURNING: i32 = Degrees::from_milli(500).to_bits();
const WEAVING: u32 = Length::from_milli(250).to_bits() as u32;
/// A contradiction that is gone for a shorter time goes on, µs.
const GRACE_US: u64 = 500_000;
/// Times are kept in units of 2^10 µs.
const UNIT_BITS: u32 = 10;

/// Whether an arc burns, as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Burning {
    /// None.
    Out,
    /// It is being struck.
    Struck,
    /// It has settled.
    Settled,
}

/// What the channels show at one look. `last` gives the last reading of a wired channel.
pub(crate) struct Shown<L: Fn(Channel) -> Option<i32>> {
    pub(crate) arc: Burning,
    pub(crate) mean_amps: Option<i32>,
    pub(crate) mean_volts: Option<i32>,
    /// The current moves, and does not go down as that of an arc that goes out.
    pub(crate) amps_live: bool,
    pub(crate) gas_flows: bool,
    pub(crate) turns: Option<i32>,
    pub(crate) last: L,
}

/// Since when a channel contradicts others, and when it last did.
#[derive(Clone, Copy, Debug)]
struct Odd {
    since: u32,
    /// 0: it does not.
    last: u32,
    /// Looks at which it does, less those at which it does not: a moment now and then is none.
    looks: u8,
}

/// It contradicts at so many looks more than it does not.
const LEAST_LOOKS: u8 = 2;

/// Follows what contradicts.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Contradictions {
    current: Odd,
    voltage: Odd,
    wire: Odd,
    torch: i32,
}

impl Odd {
    const NOT: Self = Self { since: 0, last: 0, looks: 0 };

    fn note(&mut self, now_us: u64, odd: bool) {
        let now = ((now_us >> UNIT_BITS) as u32).max(1);
        let quiet_us = u64::from(now.wrapping_sub(self.last)) << UNIT_BITS;
        if odd {
            let since = if self.last == 0 { now } else { self.since };
            *self = Self { since, last: now, looks: self.looks.saturating_add(1) };
        } else if quiet_us >= GRACE_US || self.looks <= 1 {
            *self = Self::NOT;
        } else {
            self.looks = self.looks.saturating_sub(1);
        }
    }
    /// For how long it has been seen to.
    const fn seen_us(self) -> u64 {
        if self.looks < LEAST_LOOKS { 0 } else { (self.last.wrapping_sub(self.since) as u64) << UNIT_BITS }
    }
    fn since_us(self, now_us: u64, least_us: u64) -> Option<u64> {
        let now = ((now_us >> UNIT_BITS) as u32).max(1);
        let lasted_us = u64::from(now.wrapping_sub(self.since)) << UNIT_BITS;
        (self.looks >= LEAST_LOOKS && lasted_us >= least_us).then(|| now_us.saturating_sub(lasted_us))
    }
}

impl Contradictions {
    pub(crate) const fn new() -> Self {
        Self { current: Odd::NOT, voltage: Odd::NOT, wire: Odd::NOT, torch: 0 }
    }
    /// Holds one channel against the others.
    pub(crate) fn look<L: Fn(Channel) -> Option<i32>>(
        &mut self,
        channel: Channel,
        now_us: u64,
        arc: &ArcSettings,
        shown: &Shown<L>,
    ) {
        let last_size = |channel| (shown.last)(channel).map(i32::unsigned_abs);
        let settled = shown.arc == Burning::Settled;
        let live = shown.mean_amps.is_some_and(|amps| amps.saturating_abs() >= arc.current_on.to_bits());
        match channel {
            Channel::Current => {
                let torch = (shown.last)(Channel::Torch).unwrap_or(0);
                let weaves = torch.abs_diff(self.torch) >= WEAVING;
                self.torch = torch;
                let feeds = last_size(Channel::Wire).map(|feed| feed >= LEAST_FEED);
                let turns = shown.turns.is_some_and(|speed| speed >= TURNING);
                let dead = last_size(Channel::Current)
                    .is_some_and(|amps| amps < arc.current_off.to_bits().unsigned_abs());
                let arc_voltage = last_size(Channel::Voltage).is_some_and(|volts| {
                    ARC_VOLTAGES.contains(&volts) && volts < arc.open_circuit.to_bits().unsigned_abs()
                });
                // A pipe may turn on, and a torch weave on, after the arc; a wire that is seen to stand does not weld.
                let welds = shown.gas_flows && feeds.unwrap_or(weaves || turns);
                // A current that runs on beside no voltage and no feed, or one of an open circuit.
                let stale = last_size(Channel::Current)
                    .is_some_and(|amps| amps >= arc.current_on.to_bits().unsigned_abs());
                let no_arc = last_size(Channel::Voltage).is_some_and(|volts| {
                    volts < LOWEST_ARC_VOLTAGE || volts >= arc.open_circuit.to_bits().unsigned_abs()
                });
                let wire_rests = feeds == Some(false);
                let runs_on = stale && no_arc && shown.arc == Burning::Out && wire_rests;
                self.current.note(now_us, dead && arc_voltage && welds || runs_on);
            }
            Channel::Voltage => {
                let volts = shown.mean_volts.map(i32::unsigned_abs).or_else(|| last_size(Channel::Voltage));
                let dead = volts.is_some_and(|volts| volts < LOWEST_ARC_VOLTAGE);
                let feeds = last_size(Channel::Wire).is_some_and(|feed| feed >= LEAST_FEED);
                let open_from = arc.open_circuit.to_bits().unsigned_abs().max(NO_ARC_VOLTS);
                let open = last_size(Channel::Voltage).is_some_and(|volts| volts >= open_from);
                let odd = dead || open && feeds;
                self.voltage.note(now_us, settled && live && shown.amps_live && odd);
            }
            Channel::Wire => {
                let dead = last_size(Channel::Wire).is_some_and(|feed| feed < LEAST_FEED);
                self.wire.note(now_us, settled && live && dead);
            }
            _ => {}
        }
    }
    /// Since when a channel has contradicted others, if for at least `least_us`, µs.
    pub(crate) fn since(&self, channel: Channel, now_us: u64, least_us: u64) -> Option<u64> {
        self.odd(channel).since_us(now_us, least_us)
    }
    /// For how long a channel has been seen to contradict others, µs.
    pub(crate) const fn seen_us(&self, channel: Channel) -> u64 {
        self.odd(channel).seen_us()
    }
    const fn odd(&self, channel: Channel) -> Odd {
        match channel {
            Channel::Current => self.current,
            Channel::Voltage => self.voltage,
            Channel::Wire => self.wire,
            _ => Odd::NOT,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::Procedure;

    const BURNING: (i32, i32, i32) = (250 << 12, 28 << 12, 7_000 << 8);

    /// For how long the channel is held to contradict after ten looks a second at (A, V, mm/min) for 10 s.
    fn lasted_s(channel: Channel, (amps, volts, feed): (i32, i32, i32), gas_flows: bool) -> Option<u64> {
        let (mut contradictions, arc) = (Contradictions::new(), Procedure::new().arc);
        for look in 0..100_u64 {
            let shown = Shown {
                arc: if amps >= arc.current_on.to_bits() { Burning::Settled } else { Burning::Out },
                mean_amps: Some(amps),
                mean_volts: Some(volts),
                amps_live: true,
                gas_flows,
                turns: None,
                last: |channel| match channel {
                    Channel::Current => Some(amps),
                    Channel::Voltage => Some(volts),
                    Channel::Wire => Some(feed),
                    _ => None,
                },
            };
            contradictions.look(channel, look * 100_000, &arc, &shown);
        }
        let since_us = contradictions.since(channel, 9_900_000, 3_000_000)?;
        Some((9_900_000 - since_us) / 1_000_000)
    }

    #[test]
    fn only_what_cannot_be_is_held_against_a_channel() {
        let (amps, volts, feed) = BURNING;
        for channel in [Channel::Current, Channel::Voltage, Channel::Wire] {
            assert_eq!(lasted_s(channel, BURNING, true), None, "{channel:?}");
            assert_eq!(lasted_s(channel, (0, 0, 0), true), None, "{channel:?}, cold");
        }
        assert_eq!(lasted_s(Channel::Wire, (amps, volts, 0), true), Some(9));
        assert_eq!(lasted_s(Channel::Voltage, (amps, 0, feed), true), Some(9));
        assert_eq!(lasted_s(Channel::Current, (0, volts, feed), true), Some(9));
        assert_eq!(lasted_s(Channel::Current, (0, volts, feed), false), None, "no gas: not welding");
        assert_eq!(lasted_s(Channel::Current, (0, volts, 0), true), None, "nothing moves: not welding");
        assert_eq!(lasted_s(Channel::Current, (0, 60 << 12, feed), true), None, "an open circuit");
    }

    #[test]
    fn a_moment_now_and_then_is_none() {
        let mut odd = Odd::NOT;
        for look in 0..200_u64 {
            odd.note(look * 20_000, look.is_multiple_of(15));
            assert_eq!((odd.seen_us(), odd.since_us(look * 20_000, 0)), (0, None), "{look}");
        }
        // Three looks of fifteen are three each time, and not one for as long as there are some.
        let mut odd = Odd::NOT;
        for look in 0..200_u64 {
            odd.note(look * 20_000, look % 15 < 3);
            assert!(odd.seen_us() <= 41_000, "{look}: {}", odd.seen_us());
        }
    }

    #[test]
    fn one_look_of_another_mind_ends_nothing() {
        let mut odd = Odd::NOT;
        for look in 0..100_u64 {
            odd.note(look * 100_000, look % 4 != 0);
        }
        assert!(odd.since_us(9_900_000, 9_000_000).is_some());
        assert!(odd.seen_us() >= 9_500_000);
        odd.note(10_400_000, false);
        assert_eq!(odd.since_us(10_400_000, 0), None);
    }
}
