//! Whether the arc burns, and which phase of a band the weld is in.
//!
//! Decides: lit or not, and the phase; a band is one arc-on stretch, joined over short outages.
//! Assumes: samples come in order of time.
//! Never: judges a value against a range.

use crate::procedure::ArcSettings;

/// Where the weld is between cold and cold.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Phase {
    /// No arc, no gas.
    #[default]
    Idle,
    /// Gas flows before the arc.
    PreFlow,
    /// The arc was just struck: ranges are not judged yet.
    Strike,
    /// The arc burns.
    Arc,
    /// The arc is out and may come back within the same band.
    Outage,
    /// The band is over and gas still flows.
    PostFlow,
}

impl Phase {
    /// Is a band open?
    pub const fn is_in_band(self) -> bool {
        matches!(self, Self::Strike | Self::Arc | Self::Outage)
    }
}

/// What a sample changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// Nothing.
    None,
    /// Only the phase.
    Phase,
    /// A band began with this sample.
    BandBegan,
    /// The arc came back at once while it was being struck: that is no outage.
    Reignited,
    /// The arc came back after an outage.
    Restruck,
    /// It burns after a time without readings that did not show it out: nobody knows whether it went out.
    SeenAgain,
    /// The band ended: its last instant of arc lies `outage_join_us` back.
    BandEnded,
}

/// A voltage (without sign) below which, lacking a current reading, no arc burns: 8 V, raw.
/// Common practice, no source.
pub(crate) const LOWEST_ARC_VOLTAGE: u32 = 8 << 12;
/// A short circuit of the metal transfer, with its low voltage, lasts no longer, µs.
/// Common practice, no source.
const SHORT_CIRCUIT_US: u64 = 10_000;
/// Without voltage and feed for so long there is no arc, µs.
const NO_ARC_US: u64 = 100_000;
/// An arc may go out for this long, and is the same when it comes back, µs. Common practice, no source.
const REIGNITION_US: u64 = 100_000;
/// So often in one strike. Common practice, no source: three, and one that samples make two of.
const MOST_REIGNITIONS: u8 = 4;
/// An arc that is struck again and again needs no more time to settle once it has burned for so long, and twice the time of
/// a strike, without having settled, µs. Common practice, no source.
const RESTLESS_US: u64 = 5_000_000;
/// Without any reading, the last finding holds for this long.
const HOLD_US: u64 = 500_000;

/// Follows the arc.
#[derive(Clone, Debug)]
pub struct ArcTracker {
    settings: ArcSettings,
    hold_us: u64,
    period_us: u64,
    phase: Phase,
    lit: bool,
    /// Raw; zero, which is no arc, before the first.
    last_current: i32,
    current_since_us: u64,
    /// The last sample in which [`Self::burns_on`] sufficed.
    plain_us: u64,
    sure_us: u64,
    /// When the voltage was last not too low for an arc.
    not_low_us: u64,
    struck_us: u64,
    lit_us: u64,
    /// The last sample with a reading that tells of the arc, and since when such readings show it out.
    read_us: u64,
    seen_out_us: Option<u64>,
    /// So long before the last sample that [`Self::observe`] took there was no such reading, µs.
    blind_us: u64,
    /// The arc went out before its strike had settled.
    out_in_strike: bool,
    /// It burns, or is out for no longer than it may be and be the same.
    settled: bool,
    reignitions: u8,
    /// For how long it burned, or was out for a moment, in the strikes of this band before they had settled, µs.
    unsettled_us: u64,
    /// For how long it was out in this band, a moment each time, µs.
    moments_us: u64,
}

impl ArcTracker {
    /// Cold. `period_us` is the nominal time between samples.
    pub const fn new(settings: ArcSettings, period_us: u32) -> Self {
        let period_us = period_us as u64;
        let two_us = period_us.saturating_mul(2);
        Self {
            settings,
            hold_us: if two_us > HOLD_US { two_us } else { HOLD_US },
            period_us,
            phase: Phase::Idle,
            lit: false,
            last_current: 0,
            current_since_us: 0,
            plain_us: 0,
            sure_us: 0,
            not_low_us: 0,
            struck_us: 0,
            lit_us: 0,
            read_us: 0,
            seen_out_us: None,
            blind_us: 0,
            out_in_strike: false,
            settled: false,
            reignitions: 0,
            unsettled_us: 0,
            moments_us: 0,
        }
    }
    /// The phase.
    pub const fn phase(&self) -> Phase {
        self.phase
    }
    /// Does the arc burn in the last sample?
    pub const fn is_lit(&self) -> bool {
        self.lit
    }
    /// Does it burn, or is it out for a moment once it has settled?
    pub(crate) const fn burns_or_pauses(&self) -> bool {
        self.lit || self.settled
    }
    /// For how long it was out in this band, a moment each time, µs.
    pub(crate) const fn moments_us(&self) -> u64 {
        self.moments_us
    }
    /// Is it settled? One that is out for a moment still is: what is judged again and again would never be, were it out
    /// each time.
    pub(crate) const fn is_settled(&self) -> bool {
        self.settled
    }
    /// The last instant the arc burned, µs.
    pub fn lit_us(&self) -> u64 {
        self.lit_us.max(self.plain_us)
    }
    /// Since when readings show the arc out, or showed it when it was out last, µs; none where it burned when it was last
    /// seen.
    pub const fn seen_out_us(&self) -> Option<u64> {
        self.seen_out_us
    }
    /// Was it seen to go out, when it did last, and not found out after a time without readings?
    pub fn was_seen_going_out(&self) -> bool {
        self.seen_out_us.is_some_and(|seen_us| seen_us <= self.lit_us())
    }
    /// Was there no reading for longer than the last one holds, before the last sample that [`Self::observe`] took?
    pub const fn was_blind(&self) -> bool {
        self.blind_us > self.hold_us
    }
    /// Cold again, after a hole in the data.
    pub fn reset(&mut self) {
        let (hold_us, period_us) = (self.hold_us, self.period_us);
        *self = Self { hold_us, period_us, ..Self::new(self.settings, 0) };
    }

    /// Fast path: current in a closed circuit, in a settled arc, and nothing changes.
    /// False when [`Self::observe`] must look closer.
    #[inline]
    pub fn burns_on(&mut self, now_us: u64, current: i32, voltage: i32) -> bool {
        let volts = voltage.unsigned_abs();
        let burns = current.unsigned_abs() >= self.settings.current_off.to_bits() as u32
            && volts >= LOWEST_ARC_VOLTAGE
            && volts < self.settings.open_circuit.to_bits() as u32
            && self.phase as u8 == Phase::Arc as u8;
        if burns {
            self.note_burning(now_us, current);
        }
        burns
    }
    /// Notes a sample of which it is known that [`Self::burns_on`] would find it burning.
    #[inline]
    pub fn note_burning(&mut self, now_us: u64, current: i32) {
        self.last_current = current;
        self.plain_us = now_us;
    }

    /// Is it out between bands, was it seen to be, and does the phase agree with the gas, so that nothing changes with a
    /// sample without a current to strike at and without a voltage of an arc, but the times that
    /// [`Self::note_resting`] keeps?
    pub(crate) const fn rests(&self, gas_flows: bool) -> bool {
        let is_between = match self.phase {
            Phase::Idle => !gas_flows,
            Phase::PreFlow | Phase::PostFlow => gas_flows,
            Phase::Strike | Phase::Arc | Phase::Outage => false,
        };
        is_between && !self.lit && self.seen_out_us.is_some()
    }
    /// Below this size no current strikes an arc that is out, raw.
    pub(crate) const fn strikes_from(&self) -> u32 {
        self.settings.current_on.to_bits() as u32
    }
    /// Notes such a sample.
    #[inline]
    pub(crate) fn note_resting(&mut self, now_us: u64, current: i32) {
        self.note_current(now_us, current);
        self.read_us = now_us;
    }

    /// Takes the raw current and voltage of a sample, whether gas flows, whether the wire is known to rest, and whether
    /// the strike may settle with this sample.
    #[inline]
    pub fn observe(
        &mut self,
        now_us: u64,
        current: Option<i32>,
        voltage: Option<i32>,
        gas_flows: bool,
        wire_rests: bool,
        may_settle: bool,
    ) -> Change {
        // Asked for in an outage, and in a strike, alone.
        let is_asked = matches!(self.phase, Phase::Outage | Phase::Strike);
        let out_us = if is_asked { now_us.saturating_sub(self.lit_us()) } else { 0 };
        self.blind_us = now_us.saturating_sub(self.read_us.max(self.plain_us));
        let is_read = current.is_some() || voltage.is_some();
        let was_lit = self.lit;
        self.lit = self.burns(now_us, current, voltage, wire_rests);
        if self.lit {
            self.lit_us = now_us;
            let is_back = self.phase == Phase::Outage && out_us <= REIGNITION_US;
            if is_back {
                self.moments_us = self.moments_us.saturating_add(out_us);
            }
            if was_lit && self.phase == Phase::Strike || is_back && self.out_in_strike {
                self.unsettled_us = self.unsettled_us.saturating_add(out_us);
            }
        }
        if was_lit && !self.lit {
            self.seen_out_us = None;
        }
        if is_read {
            self.read_us = now_us;
            if !self.lit && self.seen_out_us.is_none() {
                // Where it was out in the dark nobody knows since when.
                self.seen_out_us = Some(if self.was_blind() { now_us } else { self.lit_us() });
            }
        }
        let (next, change) = self.next(now_us, out_us, gas_flows, may_settle);
        match change {
            Change::BandBegan => {
                (self.struck_us, self.reignitions) = (now_us, 0);
                (self.unsettled_us, self.moments_us) = (0, 0);
            }
            // Out for a moment again and again it is the same strike all the same, and settles with it.
            Change::Restruck if self.out_in_strike && out_us <= self.briefly_us() => self.reignitions = 0,
            Change::Restruck | Change::SeenAgain => (self.struck_us, self.reignitions) = (now_us, 0),
            Change::Reignited => self.reignitions = self.reignitions.saturating_add(1),
            Change::Phase if next == Phase::Outage => self.out_in_strike = self.phase == Phase::Strike,
            _ => {}
        }
        self.phase = next;
        let is_out_a_moment =
            || next == Phase::Outage && now_us.saturating_sub(self.lit_us()) <= REIGNITION_US;
        self.settled = next == Phase::Arc || !self.out_in_strike && is_out_a_moment();
        change
    }

    fn burns(&mut self, now_us: u64, current: Option<i32>, voltage: Option<i32>, wire_rests: bool) -> bool {
        let open_from = self.settings.open_circuit.to_bits() as u32;
        let open = voltage.is_some_and(|volts| volts.unsigned_abs() >= open_from);
        let low = voltage.is_some_and(|volts| volts.unsigned_abs() < LOWEST_ARC_VOLTAGE);
        if !low {
            self.not_low_us = now_us;
        }
        // Neither voltage nor feed: a current beside them is its meter's.
        let no_arc = wire_rests && (open || now_us.saturating_sub(self.not_low_us) > NO_ARC_US);
        let sure = match (current, voltage) {
            (Some(amps), _) => self.is_live(now_us, amps, open, low) && !no_arc,
            (None, Some(_)) => !open && !low,
            (None, None) => false,
        };
        if sure {
            self.sure_us = now_us;
        }
        let doubtful_us = now_us.saturating_sub(self.sure_us.max(self.plain_us));
        let holds = match (current, voltage) {
            (Some(_), _) => false,
            (None, Some(_)) => low && doubtful_us <= SHORT_CIRCUIT_US,
            (None, None) => doubtful_us <= self.hold_us,
        };
        sure || self.lit && holds
    }

    /// Is the current one of an arc? One that stands still to the last bit beside an open circuit, or
    /// beside no voltage for longer than a short circuit, is a meter that froze when the arc went out.
    fn is_live(&mut self, now_us: u64, amps: i32, open: bool, low: bool) -> bool {
        let threshold = if self.lit { self.settings.current_off } else { self.settings.current_on };
        let stands = self.note_current(now_us, amps);
        let since_us = self.current_since_us.max(self.plain_us);
        let long = now_us.saturating_sub(since_us) > SHORT_CIRCUIT_US;
        let frozen = stands && (open || low && long);
        amps.unsigned_abs() >= threshold.to_bits() as u32 && !frozen
    }

    /// Does the current stand where it stood in the last sample?
    fn note_current(&mut self, now_us: u64, amps: i32) -> bool {
        let stands = self.last_current == amps;
        if !stands {
            self.last_current = amps;
            self.current_since_us = now_us;
        }
        stands
    }

    /// Is it struck again and again, for too short to settle?
    pub(crate) fn is_restless(&self) -> bool {
        let strike_us = u64::from(self.settings.strike_us);
        self.unsettled_us >= RESTLESS_US.saturating_add(strike_us.saturating_mul(2))
    }

    /// An arc that is back within this is the one that was out, µs.
    const fn briefly_us(&self) -> u64 {
        // It went out and came back somewhere between two samples.
        REIGNITION_US.saturating_add(self.period_us.saturating_mul(5) >> 1)
    }

    /// The one place where the phase changes.
    fn next(&self, now_us: u64, out_us: u64, gas_flows: bool, may_settle: bool) -> (Phase, Change) {
        // Worked out where they are asked for: between bands, in a fourth of all samples, none is.
        let has_settled = || now_us.saturating_sub(self.struck_us) >= u64::from(self.settings.strike_us);
        let settled = || may_settle && (has_settled() || self.is_restless());
        let is_brief = || out_us <= self.briefly_us();
        let reignites = || self.out_in_strike && is_brief() && self.reignitions < MOST_REIGNITIONS;
        // Without readings too: what other channels do after a band that may be over is not held against it.
        let given_up = || now_us.saturating_sub(self.lit_us()) >= u64::from(self.settings.outage_join_us);
        match (self.phase, self.lit) {
            (Phase::Idle | Phase::PreFlow | Phase::PostFlow, true) => (Phase::Strike, Change::BandBegan),
            (Phase::Idle, false) if gas_flows => (Phase::PreFlow, Change::Phase),
            (Phase::PreFlow | Phase::PostFlow, false) if !gas_flows => (Phase::Idle, Change::Phase),
            (Phase::Strike, true) if settled() => (Phase::Arc, Change::Phase),
            (Phase::Strike | Phase::Arc, false) => (Phase::Outage, Change::Phase),
            // It never burns for two samples: then it settles as it is.
            (Phase::Outage, true) if self.out_in_strike && is_brief() && may_settle && self.is_restless() => {
                (Phase::Arc, Change::Restruck)
            }
            (Phase::Outage, true) if reignites() => (Phase::Strike, Change::Reignited),
            (Phase::Outage, true) if self.seen_out_us.is_none() => (Phase::Strike, Change::SeenAgain),
            // A settled arc that was out for a moment has not to settle again.
            (Phase::Outage, true) if !self.out_in_strike && is_brief() => (Phase::Arc, Change::Restruck),
            (Phase::Outage, true) => (Phase::Strike, Change::Restruck),
            (Phase::Outage, false) if given_up() && gas_flows => (Phase::PostFlow, Change::BandEnded),
            (Phase::Outage, false) if given_up() => (Phase::Idle, Change::BandEnded),
            (phase, _) => (phase, Change::None),
        }
    }
}

#[cfg(test)]
mod tests;
