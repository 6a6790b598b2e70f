//! The watched quantities and the alarm rules, in one table.
//!
//! Decides: each rule's name, what it looks at, which channels it cannot do without, and its
//! settings where a procedure gives none.
//! Assumes: nothing.
//! Never: holds running state.

use crate::sample::{Channel, ChannelSet};
use crate::units::{
    CoolingRate, Current, Degrees, Duration, EventRate, FlowRate, Length, Temperature, Voltage, WeaveRate,
    WireSpeed,
};

/// How bad an alarm is.
///
/// ```
/// use bandward::Severity;
///
/// assert!(Severity::Advise < Severity::Warn && Severity::Warn < Severity::Stop);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Severity {
    /// Outside the recommended range.
    Advise,
    /// Outside the allowed range.
    Warn,
    /// Never permitted: hold the weld.
    Stop,
}

impl Severity {
    /// `advise`, `warn` or `stop`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Advise => "advise",
            Self::Warn => "warn",
            Self::Stop => "stop",
        }
    }
}

/// How one alarm behaves.
///
/// ```
/// use bandward::{Procedure, Rule, Severity, procedure::AlarmSetting};
///
/// let usual = Rule::GasLow.default_setting();
/// let graver = AlarmSetting { severity: Severity::Stop, latched: true, ..usual };
/// let procedure = Procedure::new().with_alarm(Rule::GasLow, graver)?;
/// assert_eq!(procedure.alarm(Rule::GasLow), graver);
/// # Ok::<(), bandward::ProcedureError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct AlarmSetting {
    /// How long the cause must last before the alarm is raised, µs.
    pub on_delay_us: u32,
    /// How long the cause must be gone before the alarm clears, µs.
    pub off_delay_us: u32,
    /// An acknowledged alarm that is still active asks for attention again after this long, µs; 0: never.
    pub re_alarm_us: u32,
    /// How far back inside the limit a value must come to count as gone, raw.
    pub deadband: i32,
    /// Stays active until acknowledged, even when its cause is gone.
    pub latched: bool,
    /// Severity outside the allowed range, or of a rule without a range.
    pub severity: Severity,
}

macro_rules! quantities {
    (@slot) => { None };
    (@slot $slot:literal) => { Some($slot) };
    ($($(#[$doc:meta])* $name:ident $table:literal $unit:ident $(of $feature:tt)? $(slot $slot:literal)?;)*) => {
        /// A quantity that a procedure may give a range for.
        ///
        /// ```
        /// use bandward::Quantity;
        ///
        /// assert_eq!(Quantity::GasFlow.table_name(), "gas_flow");
        /// assert_eq!(Quantity::GasFlow.symbol(), "L/min");
        /// ```
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[repr(u8)]
        pub enum Quantity { $($(#[$doc])* $name,)* }

        impl Quantity {
            /// How many there are.
            pub const COUNT: usize = [$($table),*].len();
            /// All of them, in order.
            pub const ALL: [Self; Self::COUNT] = [$(Self::$name,)*];
            /// The table of a procedure file that gives its range.
            pub const fn table_name(self) -> &'static str {
                match self { $(Self::$name => $table,)* }
            }
            /// Fraction bits of a raw value.
            pub const fn fraction_bits(self) -> u32 {
                match self { $(Self::$name => $unit::FRACTION_BITS,)* }
            }
            /// Unit symbol.
            pub const fn symbol(self) -> &'static str {
                match self { $(Self::$name => $unit::SYMBOL,)* }
            }
            /// Does this build judge the quantity?
            pub const fn is_watched(self) -> bool {
                match self { $(Self::$name => true $(&& cfg!(feature = $feature))?,)* }
            }
            /// The slot of a tick that judges it, after what else it does; none where it takes more than that.
            pub(crate) const fn slot(self) -> Option<u8> {
                match self { $(Self::$name => quantities!(@slot $($slot)?),)* }
            }
        }
    };
}

// Each with the table of a procedure file that gives its range, the unit of its values, the feature that it is a part of, and
// the slot of a tick in which it is judged (`monitor/slots.rs`): one that no other has.
quantities! {
    /// Mean welding current over the last second, A.
    Current "current" Current slot 3;
    /// Mean arc voltage over the last second, V. Its floor is judged over 0.1 s.
    Voltage "voltage" Voltage;
    /// Short circuits a second.
    ShortCircuitRate "short_circuits" EventRate of "transfer" slot 4;
    /// Shielding gas flow, L/min.
    GasFlow "gas_flow" FlowRate of "gas" slot 6;
    /// Gas flow before the arc, s.
    GasPreflow "gas_preflow" Duration of "gas" slot 9;
    /// Gas flow after the arc, s.
    GasPostflow "gas_postflow" Duration of "gas";
    /// Complete weave cycles a minute.
    WeaveRate "weave_rate" WeaveRate of "motion" slot 15;
    /// Weave width, peak to peak, mm.
    WeaveWidth "weave_width" Length of "motion" slot 16;
    /// Distance of the weave centre from where it was at the start of the band, mm.
    WeaveCentreDrift "weave_centre_drift" Length of "motion" slot 17;
    /// Time of one turn, s.
    TurnTime "turn_time" Duration of "motion" slot 20;
    /// Carriage step between neighbouring bands, mm.
    StepOver "step_over" Length of "motion" slot 1;
    /// Angle welded past one full turn, degrees.
    Overlap "overlap" Degrees of "motion";
    /// Torch coolant flow, L/min.
    CoolantFlow "coolant_flow" FlowRate of "gas" slot 7;
    /// Work temperature as the first band starts, °C.
    Preheat "preheat" Temperature of "heat" slot 10;
    /// Work temperature as a later band starts, °C.
    Interpass "interpass" Temperature of "heat" slot 11;
    /// Mean wire feed over the last second, mm/min.
    WireFeed "wire_feed" WireSpeed slot 24;
    /// Height of the band: metal fed over the width that is laid, mm; while welding, and of the whole band
    /// at its end.
    BandHeight "band_height" Length of "motion" slot 26;
    /// Fall of the work temperature after the last band of a joint, over ten minutes, K/h.
    Cooling "cooling" CoolingRate of "heat";
}

/// Which end of a range a rule watches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Side {
    /// Below the range is bad.
    Low,
    /// Above the range is bad.
    High,
}

/// What the value and the limit of an alarm are measured in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// A judged quantity.
    Quantity(Quantity),
    /// Time, s.
    Duration,
    /// Spindle speed, degrees a second.
    SpindleSpeed,
    /// A reading of the channel the alarm names.
    Reading(Channel),
}

impl Measure {
    /// Fraction bits of a raw value.
    pub const fn fraction_bits(self) -> u32 {
        match self {
            Self::Quantity(quantity) => quantity.fraction_bits(),
            Self::Duration => Duration::FRACTION_BITS,
            Self::SpindleSpeed => Degrees::FRACTION_BITS,
            Self::Reading(channel) => channel.fraction_bits(),
        }
    }
}

macro_rules! rules {
    ($($(#[$doc:meta])* $name:ident $label:literal $watch:expr, $needs:expr,
       $severity:ident, on $on:literal ms, off $off:literal ms, deadband $deadband:literal;)*) => {
        /// An alarm rule.
        ///
        /// ```
        /// use bandward::{Channel, Quantity, Rule, rule::Side};
        ///
        /// assert_eq!(Rule::GasLow.watches(), Some((Quantity::GasFlow, Side::Low)));
        /// assert!(Rule::GasLow.needs().contains(Channel::Gas));
        /// assert_eq!(Rule::from_name("gas-low"), Some(Rule::GasLow));
        /// ```
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[repr(u8)]
        pub enum Rule { $($(#[$doc])* $name,)* }

        impl Rule {
            /// How many rules there are.
            pub const COUNT: usize = [$($label),*].len();
            /// All rules, in order.
            pub const ALL: [Self; Self::COUNT] = [$(Self::$name,)*];
            /// The rule's name, as in procedure files and output.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$name => $label,)* }
            }
            /// The quantity and the end of its range that the rule watches, if it watches one.
            pub const fn watches(self) -> Option<(Quantity, Side)> {
                match self { $(Self::$name => $watch,)* }
            }
            /// The channels without which the rule cannot be judged.
            pub const fn needs(self) -> ChannelSet {
                match self { $(Self::$name => $needs,)* }
            }
            /// Settings where the procedure gives none. Common practice, no source.
            pub const fn default_setting(self) -> AlarmSetting {
                match self {
                    $(Self::$name => AlarmSetting {
                        on_delay_us: $on * 1000,
                        off_delay_us: $off * 1000,
                        deadband: deadband_bits($watch, $deadband),
                        re_alarm_us: 0,
                        latched: false,
                        severity: Severity::$severity,
                    },)*
                }
            }
        }
    };
}

const fn deadband_bits(watch: Option<(Quantity, Side)>, milli: i64) -> i32 {
    let bits = match watch {
        Some((quantity, _)) => quantity.fraction_bits(),
        None => 0,
    };
    // Table constants: a few thousand at most, far from overflow.
    (milli.saturating_mul(1_i64.wrapping_shl(bits)) / 1000) as i32
}

const NONE: ChannelSet = ChannelSet::EMPTY;
const CURRENT: ChannelSet = NONE.with(Channel::Current);
const VOLTAGE: ChannelSet = NONE.with(Channel::Voltage);
const GAS: ChannelSet = NONE.with(Channel::Gas);
const TORCH: ChannelSet = NONE.with(Channel::Torch);
const SPINDLE: ChannelSet = NONE.with(Channel::Spindle);
const COOLANT: ChannelSet = NONE.with(Channel::Coolant);
const WORK: ChannelSet = NONE.with(Channel::Work);
const CARRIAGE: ChannelSet = NONE.with(Channel::Carriage);
const WIRE: ChannelSet = NONE.with(Channel::Wire);
const WIRE_ON_TURNING: ChannelSet = WIRE.with(Channel::Spindle);

rules! {
    /// Voltage under its range, but not under its floor.
    VoltageLow "voltage-low" Some((Quantity::Voltage, Side::Low)), VOLTAGE, Warn, on 500 ms, off 1000 ms, deadband 300;
    /// Voltage over its range.
    VoltageHigh "voltage-high" Some((Quantity::Voltage, Side::High)), VOLTAGE, Warn, on 500 ms, off 1000 ms, deadband 300;
    /// Current under its range.
    CurrentLow "current-low" Some((Quantity::Current, Side::Low)), CURRENT, Warn, on 500 ms, off 1000 ms, deadband 3000;
    /// Current over its range.
    CurrentHigh "current-high" Some((Quantity::Current, Side::High)), CURRENT, Warn, on 500 ms, off 1000 ms, deadband 3000;
    /// Voltage under its floor: the metal transfer itself changes.
    TransferLowVoltage "transfer-low-voltage" Some((Quantity::Voltage, Side::Low)), VOLTAGE, Stop, on 500 ms, off 1000 ms, deadband 300;
    /// More short circuits than the wire should make.
    TransferShortCircuits "transfer-short-circuits" Some((Quantity::ShortCircuitRate, Side::High)), VOLTAGE, Warn, on 1000 ms, off 1000 ms, deadband 500;
    /// Fewer short circuits than the procedure gives.
    TransferShortCircuitsLow "transfer-short-circuits-low" Some((Quantity::ShortCircuitRate, Side::Low)), VOLTAGE, Warn, on 1000 ms, off 1000 ms, deadband 500;
    /// Too little shielding gas; none at all is a stop.
    GasLow "gas-low" Some((Quantity::GasFlow, Side::Low)), GAS, Warn, on 500 ms, off 1000 ms, deadband 300;
    /// Too much shielding gas: it draws air in.
    GasHigh "gas-high" Some((Quantity::GasFlow, Side::High)), GAS, Warn, on 1000 ms, off 1000 ms, deadband 300;
    /// Gas started too late before the arc.
    GasPreflow "gas-preflow" Some((Quantity::GasPreflow, Side::Low)), GAS, Warn, on 0 ms, off 0 ms, deadband 0;
    /// Gas flowed for too long before the arc.
    GasPreflowLong "gas-preflow-long" Some((Quantity::GasPreflow, Side::High)), GAS, Warn, on 0 ms, off 0 ms, deadband 0;
    /// Gas stopped too soon after the arc.
    GasPostflow "gas-postflow" Some((Quantity::GasPostflow, Side::Low)), GAS, Warn, on 0 ms, off 0 ms, deadband 0;
    /// Gas flowed for too long after the arc.
    GasPostflowLong "gas-postflow-long" Some((Quantity::GasPostflow, Side::High)), GAS, Warn, on 0 ms, off 0 ms, deadband 0;
    /// Weave too slow, or stopped.
    WeaveRateLow "weave-rate-low" Some((Quantity::WeaveRate, Side::Low)), TORCH, Warn, on 1000 ms, off 1000 ms, deadband 1000;
    /// Weave too fast.
    WeaveRateHigh "weave-rate-high" Some((Quantity::WeaveRate, Side::High)), TORCH, Warn, on 1000 ms, off 1000 ms, deadband 1000;
    /// Weave too narrow.
    WeaveWidthLow "weave-width-low" Some((Quantity::WeaveWidth, Side::Low)), TORCH, Warn, on 1000 ms, off 1000 ms, deadband 300;
    /// Weave too wide.
    WeaveWidthHigh "weave-width-high" Some((Quantity::WeaveWidth, Side::High)), TORCH, Warn, on 1000 ms, off 1000 ms, deadband 300;
    /// Weave centre, or carriage, wandered from where the band started, or is not in line with the bands before.
    WeaveCentreDrift "weave-centre-drift" Some((Quantity::WeaveCentreDrift, Side::High)), TORCH, Warn, on 1000 ms, off 1000 ms, deadband 200;
    /// The pipe turns too fast: thin bands.
    TurnTimeFast "turn-time-fast" Some((Quantity::TurnTime, Side::Low)), SPINDLE, Warn, on 2000 ms, off 2000 ms, deadband 500;
    /// The pipe turns too slowly: high bands, hot work.
    TurnTimeSlow "turn-time-slow" Some((Quantity::TurnTime, Side::High)), SPINDLE, Warn, on 2000 ms, off 2000 ms, deadband 500;
    /// The pipe turns unevenly: it slips in the chuck.
    SpindleSlip "spindle-slip" None, SPINDLE, Warn, on 300 ms, off 1000 ms, deadband 0;
    /// The pipe stands still under a burning arc.
    SpindleStall "spindle-stall" None, SPINDLE, Stop, on 500 ms, off 500 ms, deadband 0;
    /// The pipe turns the other way round than the procedure says, or than its bands before.
    SpindleReversed "spindle-reversed" None, SPINDLE, Stop, on 1000 ms, off 500 ms, deadband 0;
    /// Carriage step smaller than the range.
    StepOverLow "step-over-low" Some((Quantity::StepOver, Side::Low)), CARRIAGE, Warn, on 0 ms, off 0 ms, deadband 0;
    /// Carriage step larger than the range.
    StepOverHigh "step-over-high" Some((Quantity::StepOver, Side::High)), CARRIAGE, Warn, on 0 ms, off 0 ms, deadband 0;
    /// The band does not run far enough over its own start.
    OverlapShort "overlap-short" Some((Quantity::Overlap, Side::Low)), SPINDLE, Warn, on 0 ms, off 0 ms, deadband 0;
    /// The band runs too far over its own start.
    OverlapLong "overlap-long" Some((Quantity::Overlap, Side::High)), SPINDLE, Warn, on 0 ms, off 0 ms, deadband 0;
    /// The arc went out within a band.
    ArcOutage "arc-outage" None, NONE, Warn, on 100 ms, off 0 ms, deadband 0;
    /// Current or voltage has the wrong sign for the wire.
    PolarityWrong "polarity-wrong" None, NONE, Stop, on 200 ms, off 500 ms, deadband 0;
    /// Too little torch coolant; none at all is a stop.
    CoolantLow "coolant-low" Some((Quantity::CoolantFlow, Side::Low)), COOLANT, Warn, on 500 ms, off 1000 ms, deadband 100;
    /// More torch coolant than the procedure gives.
    CoolantHigh "coolant-high" Some((Quantity::CoolantFlow, Side::High)), COOLANT, Warn, on 500 ms, off 1000 ms, deadband 100;
    /// Wire fed too slowly.
    WireFeedLow "wire-feed-low" Some((Quantity::WireFeed, Side::Low)), WIRE, Warn, on 500 ms, off 1000 ms, deadband 60000;
    /// Wire fed too fast.
    WireFeedHigh "wire-feed-high" Some((Quantity::WireFeed, Side::High)), WIRE, Warn, on 500 ms, off 1000 ms, deadband 60000;
    /// Too little metal on the width that is laid: a low band.
    BandHeightLow "band-height-low" Some((Quantity::BandHeight, Side::Low)), WIRE_ON_TURNING, Warn, on 3000 ms, off 2000 ms, deadband 50;
    /// Too much metal on the width that is laid: a high band.
    BandHeightHigh "band-height-high" Some((Quantity::BandHeight, Side::High)), WIRE_ON_TURNING, Warn, on 3000 ms, off 2000 ms, deadband 50;
    /// Work too hot to start the next band.
    InterpassHigh "interpass-high" Some((Quantity::Interpass, Side::High)), WORK, Warn, on 0 ms, off 0 ms, deadband 0;
    /// Work too cold to start a later band.
    InterpassLow "interpass-low" Some((Quantity::Interpass, Side::Low)), WORK, Warn, on 0 ms, off 0 ms, deadband 0;
    /// Work too cold to start the first band.
    PreheatLow "preheat-low" Some((Quantity::Preheat, Side::Low)), WORK, Warn, on 0 ms, off 0 ms, deadband 0;
    /// Work too hot to start the first band.
    PreheatHigh "preheat-high" Some((Quantity::Preheat, Side::High)), WORK, Warn, on 0 ms, off 0 ms, deadband 0;
    /// The joint cools too fast after its last band.
    CoolingFast "cooling-fast" Some((Quantity::Cooling, Side::High)), WORK, Warn, on 0 ms, off 0 ms, deadband 5000;
    /// A reading that must move under a burning arc stands still to the last bit.
    SignalStuck "signal-stuck" None, NONE, Stop, on 3000 ms, off 500 ms, deadband 0;
    /// A reading at or beyond the end of its sensor's range.
    SignalRailed "signal-railed" None, NONE, Stop, on 200 ms, off 500 ms, deadband 0;
    /// A channel that should be there gives no reading.
    SignalMissing "signal-missing" None, NONE, Stop, on 1000 ms, off 500 ms, deadband 0;
    /// A reading that cannot be beside those of the other channels.
    SignalImplausible "signal-implausible" None, NONE, Warn, on 3000 ms, off 500 ms, deadband 0;
    /// Samples came later than the declared tolerance, or out of order.
    SignalLate "signal-late" None, NONE, Warn, on 0 ms, off 1000 ms, deadband 0;
}

/// A set of quantities.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(transparent))]
pub struct QuantitySet(u32);

impl QuantitySet {
    /// No quantity.
    pub const EMPTY: Self = Self(0);
    const fn bit(quantity: Quantity) -> u32 {
        const { assert!(Quantity::COUNT <= u32::BITS as usize, "a set of quantities has a bit for each") };
        1_u32.wrapping_shl(quantity as u32)
    }
    /// With `quantity` in it.
    #[must_use]
    pub const fn with(self, quantity: Quantity) -> Self {
        Self(self.0 | Self::bit(quantity))
    }
    /// Is `quantity` in it?
    pub const fn contains(self, quantity: Quantity) -> bool {
        self.0 & Self::bit(quantity) != 0
    }
}

impl Quantity {
    /// The rule that watches this end of its ranges, the voltage's floor apart.
    pub const fn rule(self, side: Side) -> Option<Rule> {
        let [first, second] = self.rules();
        if let Some(rule) = first
            && rule.is_of(side)
        {
            return first;
        }
        match second {
            Some(rule) if rule.is_of(side) => second,
            _ => None,
        }
    }
    /// The rules that watch it, the voltage's floor apart, in order.
    pub(crate) const fn rules(self) -> [Option<Rule>; 2] {
        const TABLE: [[Option<Rule>; 2]; Quantity::COUNT] = rules_by_quantity();
        let mut rest: &[[Option<Rule>; 2]] = &TABLE;
        let mut index = self as usize;
        while let Some((first, others)) = rest.split_first() {
            if index == 0 {
                return *first;
            }
            index = index.wrapping_sub(1);
            rest = others;
        }
        [None; 2]
    }
}

#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)] // evaluated when it is built
const fn rules_by_quantity() -> [[Option<Rule>; 2]; Quantity::COUNT] {
    let mut table = [[None; 2]; Quantity::COUNT];
    let mut at = 0;
    while at < Rule::COUNT {
        let rule = Rule::ALL[at];
        if let (Some((quantity, _)), false) = (rule.watches(), matches!(rule, Rule::TransferLowVoltage)) {
            let row = &mut table[quantity as usize];
            if row[0].is_none() {
                row[0] = Some(rule);
            } else {
                assert!(row[1].is_none(), "three rules watch one quantity");
                row[1] = Some(rule);
            }
        }
        at += 1;
    }
    table
}

impl Rule {
    const fn is_of(self, side: Side) -> bool {
        matches!(
            (self.watches(), side),
            (Some((_, Side::Low)), Side::Low) | (Some((_, Side::High)), Side::High)
        )
    }
    /// Is it about the measuring rather than about the weld? What it finds makes a band not proven, never
    /// broken.
    pub const fn is_about_measuring(self) -> bool {
        self.is_about_a_channel() || matches!(self, Self::SignalLate)
    }
    /// Those about the measuring rather than about the weld.
    pub const ABOUT_MEASURING: [Self; 5] = [
        Self::SignalStuck,
        Self::SignalRailed,
        Self::SignalMissing,
        Self::SignalImplausible,
        Self::SignalLate,
    ];
    /// Is it judged of a joint, after its last band, rather than of a band?
    pub const fn is_of_the_joint(self) -> bool {
        matches!(self, Self::CoolingFast)
    }
    /// Is it judged once a band, or once a minute as a joint cools, rather than all the time? Then it knows no
    /// on-delay.
    pub const fn is_of_a_moment(self) -> bool {
        matches!(
            self.watches(),
            Some((
                Quantity::GasPreflow
                    | Quantity::GasPostflow
                    | Quantity::StepOver
                    | Quantity::Overlap
                    | Quantity::Preheat
                    | Quantity::Interpass
                    | Quantity::Cooling,
                _
            ))
        )
    }
    /// The rule with this name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.name() == name)
    }
    /// Is it about the measuring, one alarm for each channel, rather than about the weld?
    pub const fn is_about_a_channel(self) -> bool {
        matches!(self, Self::SignalStuck | Self::SignalRailed | Self::SignalMissing | Self::SignalImplausible)
    }
    /// What the value and the limit of its alarms are measured in.
    pub const fn measure(self, channel: Option<Channel>) -> Measure {
        match (self, self.watches(), channel) {
            (_, Some((quantity, _)), _) => Measure::Quantity(quantity),
            (Self::SpindleSlip | Self::SpindleStall | Self::SpindleReversed, _, _) => Measure::SpindleSpeed,
            (
                Self::PolarityWrong | Self::SignalStuck | Self::SignalRailed | Self::SignalImplausible,
                _,
                Some(channel),
            ) => Measure::Reading(channel),
            _ => Measure::Duration,
        }
    }
    /// Its place in a [`RuleSet`].
    pub const fn bit(self) -> u64 {
        const { assert!(Rule::COUNT <= u64::BITS as usize, "a set of rules has a bit for each") };
        1_u64.wrapping_shl(self as u32)
    }
}

/// A set of rules.
///
/// ```
/// use bandward::{Rule, rule::RuleSet};
///
/// let broken = RuleSet::EMPTY.with(Rule::GasLow).with(Rule::VoltageLow);
/// assert_eq!(broken.iter().map(Rule::name).collect::<Vec<_>>(), ["voltage-low", "gas-low"]);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", serde(transparent))]
pub struct RuleSet(u64);

impl RuleSet {
    /// No rule.
    pub const EMPTY: Self = Self(0);
    /// The rules of which something holds.
    pub(crate) fn of(holds: impl Fn(Rule) -> bool) -> Self {
        Self::of_all(&Rule::ALL, |&rule| holds(rule))
    }
    /// Those about the measuring rather than about the weld.
    pub(crate) const ABOUT_MEASURING: Self = {
        let (mut set, mut left): (_, &[Rule]) = (Self::EMPTY, &Rule::ABOUT_MEASURING);
        while let Some((&rule, rest)) = left.split_first() {
            (set, left) = (set.with(rule), rest);
        }
        set
    };
    /// The rules of whose value, among one for each that this build watches, something holds.
    #[inline]
    pub(crate) fn of_watched<T>(values: &[T; Rule::WATCHED], holds: impl Fn(&T) -> bool) -> Self {
        if Rule::LEFT_OUT == 0 {
            return Self::of_all(values, holds);
        }
        let watched = Rule::ALL.into_iter().filter(|rule| rule.is_watched());
        let held = watched.zip(values).filter(|(_, value)| holds(value));
        held.fold(Self::EMPTY, |set, (rule, _)| set.with(rule))
    }
    #[inline]
    fn of_all<T, const N: usize>(values: &[T; N], holds: impl Fn(&T) -> bool) -> Self {
        // From the last on, a place further each: to make the bit of a rule costs more than all the rest.
        Self(values.iter().rev().fold(0, |bits, value| (bits << 1) | u64::from(holds(value))))
    }
    /// With `rule` in it.
    #[must_use]
    pub const fn with(self, rule: Rule) -> Self {
        Self(self.0 | rule.bit())
    }
    /// With `rule` taken out.
    #[must_use]
    pub const fn without(self, rule: Rule) -> Self {
        Self(self.0 & !rule.bit())
    }
    /// Is `rule` in it?
    pub const fn contains(self, rule: Rule) -> bool {
        self.0 & rule.bit() != 0
    }
    /// Those in either set.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
    /// Those in this set and not in the other.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }
    /// Those in both sets.
    #[must_use]
    pub const fn intersection(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }
    /// Is it empty?
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }
    /// The rules in it, in order.
    pub fn iter(self) -> impl Iterator<Item = Rule> {
        Rule::ALL.into_iter().filter(move |&rule| self.contains(rule))
    }
}
