//! The register map: what stands where.
//!
//! Decides: addresses, scales, and what stands for "not known". [`VERSION`] is raised with every change, and
//! whenever a rule or a quantity is added to the core.
//! Assumes: `MODBUS.md` tells the same, which the tests hold against it.
//! Never: shows a value of samples that are too old, or that was not judged, as a value.

use bandward::alarms::ActiveAlarm;
use bandward::flash::journal::Kept;
use bandward::link::{Counts, Lamp, MOST_ALARMS, Telemetry};
use bandward::rule::RuleSet;
use bandward::sample::ChannelSet;
use bandward::units::{Degrees, FixedPoint};
use bandward::{BandRecord, JointRecord, Outcome, Procedure, Quantity, Severity};
use core::ops::Range;

use super::Tally;

/// Of this map.
pub const VERSION: u16 = 3;
/// In place of an outcome: a bench test made it, whatever it came to.
pub const OF_BENCH_TEST: u16 = 4;
/// A value with a sign that is not known.
pub const NOT_KNOWN: u16 = 0x8000;
/// A number without a sign that is not known.
pub const NO_NUMBER: u16 = 0xffff;

/// State of board, joint and band.
pub const STATE: Range<u16> = 0..24;
/// Sets of rules, four registers each: rule 0 is bit 0 of the first.
pub const RULE_SETS: Range<u16> = 100..116;
/// Active alarms, four registers each.
pub const ALARMS: Range<u16> = 200..200 + REGISTERS_AN_ALARM * MOST_ALARMS as u16;
/// Quantities, eight registers each.
pub const QUANTITIES: Range<u16> = 1000..1000 + REGISTERS_A_QUANTITY * Quantity::COUNT as u16;
/// The last band that ended.
pub const LAST_BAND: Range<u16> = 2000..2000 + BAND_REGISTERS as u16;
/// The last joint that was done.
pub const LAST_JOINT: Range<u16> = 2100..2100 + JOINT_REGISTERS as u16;
/// All of them. What is read at once lies within one.
pub const PARTS: [Range<u16>; 6] = [STATE, RULE_SETS, ALARMS, QUANTITIES, LAST_BAND, LAST_JOINT];

/// Registers of one active alarm.
pub const REGISTERS_AN_ALARM: u16 = 4;
/// Registers of one quantity.
pub const REGISTERS_A_QUANTITY: u16 = 8;
/// Registers of a band.
pub const BAND_REGISTERS: usize = BAND_ENDED + 1;
/// Registers of a joint.
pub const JOINT_REGISTERS: usize = JOINT_ENDED + 1;
/// Discrete inputs.
pub const DISCRETES: u16 = 26;

/// Does all that is asked for lie within this part?
pub(super) fn is_within(part: &Range<u16>, first: u16, count: u16) -> bool {
    part.contains(&first) && u32::from(first) + u32::from(count) <= u32::from(part.end)
}

/// Decimal places of a quantity's registers: a value of 29.1 V with two reads 2910.
pub const fn decimals(quantity: Quantity) -> u32 {
    match quantity {
        Quantity::WireFeed => 0,
        Quantity::Current
        | Quantity::ShortCircuitRate
        | Quantity::WeaveRate
        | Quantity::TurnTime
        | Quantity::Overlap
        | Quantity::Preheat
        | Quantity::Interpass
        | Quantity::Cooling => 1,
        Quantity::Voltage
        | Quantity::GasFlow
        | Quantity::GasPreflow
        | Quantity::GasPostflow
        | Quantity::WeaveWidth
        | Quantity::WeaveCentreDrift
        | Quantity::StepOver
        | Quantity::CoolantFlow => 2,
        Quantity::BandHeight => 3,
    }
}

/// A raw value with so many fraction bits, in decimal places: rounded to nearest, held at 32,767 on both sides.
pub fn scaled(raw: Option<i32>, fraction_bits: u32, decimals: u32) -> u16 {
    let Some(raw) = raw else { return NOT_KNOWN };
    let one = 1_i64.wrapping_shl(fraction_bits);
    let tens = 10_i64.saturating_pow(decimals);
    let magnitude =
        i64::from(raw.unsigned_abs()).saturating_mul(tens).saturating_add(one / 2) >> fraction_bits;
    let held = magnitude.min(i64::from(i16::MAX)) as i16;
    (if raw < 0 { held.wrapping_neg() } else { held }).cast_unsigned()
}

/// A number, held below the one that means "not known".
fn number(value: u64) -> u16 {
    value.min(u64::from(NO_NUMBER - 1)) as u16
}

fn bits_of(rules: RuleSet) -> [u16; 4] {
    let bits = rules.iter().fold(0_u64, |bits, rule| bits | rule.bit());
    [bits, bits >> 16, bits >> 32, bits >> 48].map(|bits| bits as u16)
}

fn bits_of_channels(channels: ChannelSet) -> u16 {
    channels.iter().fold(0, |bits, channel| bits | 1_u16.wrapping_shl(channel as u32))
}

/// The band and the joint that ended last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Last {
    band: [u16; BAND_REGISTERS],
    joint: [u16; JOINT_REGISTERS],
}

impl Last {
    /// None has ended since the start.
    pub const NONE: Self = {
        let mut none = Self { band: [NOT_KNOWN; _], joint: [NOT_KNOWN; _] };
        (none.band[BAND_ENDED], none.joint[JOINT_ENDED]) = (0, 0);
        none
    };
    /// With a record that was made after them.
    #[must_use]
    pub fn with(self, record: &Kept) -> Self {
        let is_bench = record.is_bench();
        match record {
            Kept::Band(band) | Kept::BenchBand(band) => {
                let mut band = band_registers(band, self.band[BAND_ENDED].wrapping_add(1));
                if is_bench {
                    band[OUTCOME] = OF_BENCH_TEST;
                }
                Self { band, ..self }
            }
            Kept::Joint(joint) | Kept::BenchJoint(joint) => {
                let mut joint = joint_registers(joint, self.joint[JOINT_ENDED].wrapping_add(1));
                if is_bench {
                    joint[OUTCOME] = OF_BENCH_TEST;
                }
                Self { joint, ..self }
            }
        }
    }
}

/// The place of the outcome among the registers of a band, and of a joint.
const OUTCOME: usize = 2;
/// The place of how many bands, and joints, have ended since the start.
const BAND_ENDED: usize = 30;
const JOINT_ENDED: usize = 12;

fn band_registers(band: &BandRecord, ended: u16) -> [u16; BAND_REGISTERS] {
    fn of<Unit: FixedPoint>(value: Option<Unit>, quantity: Quantity) -> u16 {
        scaled(value.map(Unit::bits), Unit::FRACTION_BITS, decimals(quantity))
    }
    let [b0, b1, b2, b3] = bits_of(band.broken());
    let [n0, n1, n2, n3] = bits_of(band.not_proven());
    [
        number(band.joint.into()),
        number(band.band.into()),
        band.outcome as u16,
        band.ending as u16,
        number(band.outages.into()),
        number(band.arc_time_us.saturating_add(50_000) / 100_000),
        of(band.current.map(|spread| spread.mean), Quantity::Current),
        of(band.voltage.map(|spread| spread.mean), Quantity::Voltage),
        of(band.short_circuits, Quantity::ShortCircuitRate),
        of(band.gas.map(|spread| spread.mean), Quantity::GasFlow),
        of(band.gas_preflow, Quantity::GasPreflow),
        of(band.gas_postflow, Quantity::GasPostflow),
        of(band.weave_rate.map(|spread| spread.mean), Quantity::WeaveRate),
        of(band.weave_width, Quantity::WeaveWidth),
        of(band.weave_centre_drift, Quantity::WeaveCentreDrift),
        of(band.turn_time, Quantity::TurnTime),
        of(band.step_over, Quantity::StepOver),
        of(band.overlap, Quantity::Overlap),
        of(band.coolant_minimum, Quantity::CoolantFlow),
        of(band.work_at_start, Quantity::Preheat),
        of(band.wire_feed, Quantity::WireFeed),
        of(band.band_height, Quantity::BandHeight),
        b0,
        b1,
        b2,
        b3,
        n0,
        n1,
        n2,
        n3,
        ended,
    ]
}

fn joint_registers(joint: &JointRecord, ended: u16) -> [u16; JOINT_REGISTERS] {
    let cooling = joint.fastest_cooling;
    let [b0, b1, b2, b3] = bits_of(joint.broken);
    let [n0, n1, n2, n3] = bits_of(joint.not_proven);
    [
        number(joint.joint.into()),
        number(joint.bands.into()),
        joint.outcome as u16,
        scaled(cooling.map(FixedPoint::bits), Quantity::Cooling.fraction_bits(), decimals(Quantity::Cooling)),
        b0,
        b1,
        b2,
        b3,
        n0,
        n1,
        n2,
        n3,
        ended,
    ]
}

/// The state of the board at one moment.
pub struct State<'a> {
    /// What the watch has come to.
    pub now: &'a Telemetry,
    /// The procedure in force, for the ranges of quantities.
    pub procedure: &'a Procedure,
    /// The verdict that the lamp shows.
    pub shown: Outcome,
    /// Samples judged since the start; wraps.
    pub samples: u32,
    /// Time since the newest of them, µs; absent before the first of a watch.
    pub age_us: Option<u32>,
    /// What is older says nothing any more, µs.
    pub old_us: u32,
    /// The band and the joint that ended last.
    pub last: Last,
    /// How this port fared.
    pub tally: Tally,
}

impl State<'_> {
    /// Are values of now?
    fn is_current(&self) -> bool {
        self.age_us.is_some_and(|age_us| age_us <= self.old_us)
    }
    fn worst(&self, of: impl Fn(&ActiveAlarm) -> bool) -> u16 {
        let severities = self.now.alarms.iter().flatten().filter(|alarm| of(alarm));
        severities.map(|alarm| alarm.severity as u16 + 1).max().unwrap_or(0)
    }
    /// Frames and reports of the link to the host that were lost.
    fn lost(&self) -> u64 {
        let Counts { garbage, truncated, oversized, missed, .. } = self.now.counts;
        [garbage, truncated, oversized, missed, self.now.dropped].into_iter().map(u64::from).sum()
    }
    fn fault_bits(&self) -> u16 {
        let faults = &self.now.faults;
        let all = [
            faults.bad_configuration,
            faults.missed_deadline,
            faults.watchdog_reset,
            faults.bad_clock,
            faults.wrong_rate,
            faults.silent != ChannelSet::EMPTY,
            faults.unwatched_arc,
            faults.journal,
            faults.relay,
            faults.started,
        ];
        all.into_iter().zip(0..).fold(0, |bits, (is_there, bit)| bits | u16::from(is_there) << bit)
    }
    /// The input register with this address; there is one for each address of [`PARTS`].
    pub fn input(&self, register: u16) -> u16 {
        let place = |part: &Range<u16>| part.contains(&register).then(|| register.wrapping_sub(part.start));
        let found = if let Some(place) = place(&STATE) {
            Some(self.of_state(place))
        } else if let Some(place) = place(&RULE_SETS) {
            let rules = match place / 4 {
                0 => self
                    .now
                    .alarms
                    .iter()
                    .flatten()
                    .fold(RuleSet::EMPTY, |rules, alarm| rules.with(alarm.rule)),
                1 => self.now.returned,
                2 => self.now.so_far.broken_in_joint,
                _ => self.now.so_far.not_proven,
            };
            bits_of(rules).get(usize::from(place % 4)).copied()
        } else if let Some(place) = place(&ALARMS) {
            let alarm = self.now.alarms.get(usize::from(place / REGISTERS_AN_ALARM)).copied().flatten();
            alarm.map(|alarm| of_alarm(alarm, place % REGISTERS_AN_ALARM))
        } else if let Some(place) = place(&QUANTITIES) {
            let quantity = Quantity::ALL.get(usize::from(place / REGISTERS_A_QUANTITY)).copied();
            quantity.map(|quantity| self.of_quantity(quantity, place % REGISTERS_A_QUANTITY))
        } else if let Some(place) = place(&LAST_BAND) {
            self.last.band.get(usize::from(place)).copied()
        } else {
            place(&LAST_JOINT).and_then(|place| self.last.joint.get(usize::from(place)).copied())
        };
        found.unwrap_or(NO_NUMBER)
    }
    fn of_state(&self, place: u16) -> u16 {
        let now = |value: u16| if self.is_current() { value } else { NO_NUMBER };
        match place {
            0 => VERSION,
            1 => match (self.age_us, self.is_current(), self.now.is_bench) {
                (None, _, _) => 0,
                (_, false, _) => 3,
                (_, true, false) => 1,
                (_, true, true) => 2,
            },
            2 => self.age_us.map_or(NO_NUMBER, |age_us| number(u64::from(age_us / 1000))),
            3 => (self.samples >> 16) as u16,
            4 => self.samples as u16,
            5 => self.now.outputs.relay_energised.into(),
            6 => self.now.outputs.lamp as u16,
            7 => self.now.outputs.horn.into(),
            8 => now(self.now.phase as u16),
            9 => now(number(self.now.so_far.joint_number.into())),
            10 => now(number(self.now.so_far.bands.into())),
            11 => now(number(self.now.position.band.into())),
            12 => {
                let turned = self.now.position.turned.filter(|_| self.is_current());
                scaled(turned.map(FixedPoint::bits), Degrees::FRACTION_BITS, 1)
            }
            13 => now(self.now.so_far.band as u16),
            14 => now(self.now.so_far.joint as u16),
            15 => now(self.shown as u16),
            16 => self.worst(|_| true),
            17 => number(self.now.alarms.iter().flatten().count() as u64),
            18 => self.fault_bits(),
            19 => bits_of_channels(self.now.faults.silent),
            20 => number(self.lost()),
            21 => self.tally.taken,
            22 => self.tally.ignored,
            _ => self.now.black_box_frozen.into(),
        }
    }
    fn judged(&self, quantity: Quantity) -> Option<i32> {
        self.now.judged.get(quantity as usize).copied().flatten()
    }
    fn of_quantity(&self, quantity: Quantity, place: u16) -> u16 {
        let limits = self.procedure.limits(quantity);
        let recommended = limits.and_then(|limits| limits.recommended);
        let allowed = limits.and_then(|limits| limits.allowed);
        let raw = match place {
            0 => self.judged(quantity).filter(|_| self.is_current()),
            1 => recommended.map(|range| range.low),
            2 => recommended.map(|range| range.high),
            3 => allowed.map(|range| range.low),
            4 => allowed.map(|range| range.high),
            5 => limits.and_then(|limits| limits.floor),
            6 => return decimals(quantity) as u16,
            _ => {
                return self
                    .worst(|alarm| alarm.rule.watches().is_some_and(|(watched, _)| watched == quantity));
            }
        };
        scaled(raw, quantity.fraction_bits(), decimals(quantity))
    }
    /// The discrete input with this number; those beyond [`DISCRETES`] are not asked for.
    pub fn discrete(&self, number: u16) -> bool {
        let (outputs, is_current) = (self.now.outputs, self.is_current());
        match number {
            0 => outputs.relay_energised,
            1 => outputs.lamp == Lamp::On,
            2 => outputs.lamp == Lamp::Slow,
            3 => outputs.horn,
            4 => is_current,
            5 => self.now.is_bench,
            6 => is_current && self.now.phase.is_in_band(),
            7 => is_current && self.shown == Outcome::Proven,
            8 => !is_current || self.shown == Outcome::NotProven,
            9 => self.shown == Outcome::Broken,
            10 => self.worst(|_| true) > Severity::Advise as u16 + 1,
            11 => self.worst(|_| true) > Severity::Warn as u16 + 1,
            12 => !self.now.returned.is_empty(),
            13 => self.now.black_box_frozen,
            14 => self.lost() > 0,
            15 => self.tally.ignored > 0,
            _ => self.fault_bits() & 1_u16.wrapping_shl(u32::from(number.wrapping_sub(16))) != 0,
        }
    }
}

fn of_alarm(alarm: ActiveAlarm, place: u16) -> u16 {
    match place {
        0 => alarm.rule as u16,
        1 => alarm.channel.map_or(NO_NUMBER, |channel| channel as u16),
        2 => alarm.severity as u16 + 1,
        _ => u16::from(alarm.acknowledged) | u16::from(alarm.shelved) << 1,
    }
}
