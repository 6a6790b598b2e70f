//! Which way to turn what, and what the band would look like if it were not corrected.
//!
//! Decides: the words, in one table; each names one control and which way it goes, and never a second
//! control that could be turned as well. All of it is common practice, no source.
//! Assumes: the torch stands before the top centre, on the side of the joint that comes up; near the top
//! the metal goes over it before it has frozen, far down the side it runs back under the arc.
//! Never: decides whether something is wrong.

use super::item::Item;
use crate::input::setting::Subject;
use bandward::Quantity;
use bandward::rule::Side;

/// What to do about a setting, and what comes of leaving it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Advice {
    /// What to do; `{up}` stands for the side of the joint that comes up, `{down}` for the other.
    pub adjust: &'static str,
    /// What the band would look like.
    pub left_so: &'static str,
}

/// How the height that would be laid stands to what is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HeightStands {
    /// Below it.
    Low,
    /// Within it.
    Within,
    /// Above it.
    High,
}

impl Advice {
    /// The same advice where the height that would be laid is known: no band is called high or thin that is not.
    #[must_use]
    pub fn in_view_of(self, item: Item, side: Side, height: Option<HeightStands>) -> Self {
        let Some(height) = height else { return self };
        let is_high = height == HeightStands::High;
        let is_low = height == HeightStands::Low;
        let left_so = match (item, side) {
            (Item::WEAVE_WIDTH, Side::Low) if !is_high => "narrow band; a groove to the next one",
            (Item::WEAVE_WIDTH, Side::High) if !is_low => "wide band; edges cold and badly covered by gas",
            (Item::TURN_TIME, Side::Low) if !is_low => "less heat along the band: edges not fused",
            (Item::TURN_TIME, Side::High) if !is_high => "more heat along the band: runny pool, hot joint",
            (Item::WIRE_FEED, Side::Low) if !is_low => "fewer amps: cold band",
            (Item::WIRE_FEED, Side::High) if !is_high => "more amps: hot pool",
            (Item::CURRENT, Side::Low) if !is_high => "cold band: edges not fused",
            (Item::STICK_OUT, Side::High) if !is_high => {
                "less current: cold band; gas cover poor, arc wanders"
            }
            (Item::TORCH_ANGLE, Side::Low) if !is_high => "pool held back: narrow band",
            _ => self.left_so,
        };
        Self { left_so, ..self }
    }
}

const fn say(adjust: &'static str, left_so: &'static str) -> Advice {
    Advice { adjust, left_so }
}

impl Item {
    /// About a size that is too low or too high.
    pub const fn advice(self, side: Side) -> Advice {
        match self {
            Self::Ranged(subject) => of_setting(subject, side),
            other => other.mismatch(),
        }
    }
    /// About something that is not what the procedure says.
    pub const fn mismatch(self) -> Advice {
        match self {
            Self::Polarity => say(
                "exchange the leads at the welder",
                "arc unsteady, much spatter, band humped and badly fused",
            ),
            Self::Rotation => say(
                "turn the joint the way of the procedure; the torch belongs on the side that then comes up",
                "not the joint of the procedure: torch, lead angle and weave would be mirrored",
            ),
            Self::OldBand => say(
                "take the old band off down to sound metal, or have it from the makers of both wires that they go together",
                "two metals that do not go together: cracks and pores, the new band flakes off",
            ),
            Self::TorchSide => say(
                "move the torch over the top centre, {up}",
                "on the side that goes down: the metal runs over the top: high, humped bands",
            ),
            Self::CoolantBeforeArc => say(
                "start the pump and see the water come back before the arc",
                "the torch burns up within seconds, the wire sticks in the tip",
            ),
            Self::GasMixture => say(
                "change the bottle; another gas asks for other amps, volts and weave",
                "the metal transfer changes: spatter, uneven band, more melting of the joint",
            ),
            Self::NozzleBore => say(
                "fit the nozzle of the procedure; a larger one needs more gas",
                "gas cover thinner or blown apart: pores",
            ),
            Self::WireDiameter => say(
                "change wire, tip and rolls to those of the procedure",
                "other current, other height, other melting: nothing below holds",
            ),
            Self::OutsideDiameter => say(
                "take a procedure qualified for this diameter; turn time and torch offset are scaled to it here",
                "smaller: faster to heat through; larger at the same turn time: thin band",
            ),
            Self::OldBandHeight | Self::Ranged(_) => {
                say("set it as the procedure says", "not the band of the procedure")
            }
        }
    }
}

const fn of_quantity(quantity: Quantity, side: Side) -> Advice {
    use Quantity::{
        CoolantFlow, Current, GasFlow, Preheat, StepOver, TurnTime, Voltage, WeaveRate, WeaveWidth,
    };
    use Side::{High, Low};
    match (quantity, side) {
        (Current, Low) => say("more wire feed", "cold band: high and narrow, edges not fused"),
        (Current, High) => {
            say("less wire feed", "deep melting: hard grains sink and thin out, wide runny pool")
        }
        (Voltage, Low) => say(
            "more volts, and no arc below the floor",
            "pool cool and quick to freeze: ropy band, spatter, metal passing in short circuits",
        ),
        (Voltage, High) => say("fewer volts", "pool hot, fluid and hard to control: flat, runny band"),
        (GasFlow, Low) => say("look for leaks and wind, then open the flow meter", "pores and soot"),
        (GasFlow, High) => say("close the flow meter a little", "swirling gas draws air in: pores"),
        (CoolantFlow, Low) => {
            say("look for kinks, dirt and low water", "the torch overheats, the wire sticks")
        }
        (CoolantFlow, High) => say(
            "find the reason (a bypass, a burst hose, the wrong meter); never throttle a cooling pump",
            "no change to the band; where water runs past the torch, the torch overheats",
        ),
        (WeaveRate, Low) => say("faster weave", "coarse ripples, saw-toothed edges"),
        (WeaveRate, High) => say("slower weave", "edges thinly covered, pool whipped"),
        (WeaveWidth, Low) => say("wider weave", "narrow, high band; a groove to the next one"),
        (WeaveWidth, High) => say("narrower weave", "wide, thin band; edges cold and badly covered by gas"),
        (TurnTime, Low) => say("turn slower", "thin band"),
        (TurnTime, High) => say("turn faster", "metal piles up: high band, hot joint"),
        (StepOver, Low) => say("longer step", "too much overlap: a ridge where bands meet"),
        (StepOver, High) => say("shorter step", "too little overlap: a groove or bare metal between bands"),
        (Preheat, Low) => say("heat on, evenly all round", "cracks beside and under the band, poor fusion"),
        (Preheat, High) => say("let it cool", "runny pool that sags; the inner coating may burn"),
        (_, Low) => say("raise it", "not the band of the procedure"),
        (_, High) => say("lower it", "not the band of the procedure"),
    }
}

const fn of_setting(subject: Subject, side: Side) -> Advice {
    use Side::{High, Low};
    match (subject, side) {
        (Subject::StickOut, Low) => say(
            "torch further away",
            "more current: hot, runny pool; spatter in the nozzle, wire burns back to the tip",
        ),
        (Subject::StickOut, High) => {
            say("torch nearer", "less current: cold, high band; gas cover poor, arc wanders")
        }
        (Subject::TipRecess, Low) => {
            say("set the tip deeper in the nozzle", "tip too hot: wire sticks, spatter")
        }
        (Subject::TipRecess, High) => {
            say("set the tip further out", "true stick-out longer than it looks: less current, cold band")
        }
        (Subject::TorchAngle, Low) => say("lean the torch more", "pool held back: narrow, high band"),
        (Subject::TorchAngle, High) => say(
            "stand the torch more upright",
            "pool pushed ahead of the arc: thin edges, spatter, gas blown off",
        ),
        (Subject::TorchOffset, Low) => {
            say("move the torch away from the top centre, {up}", "too near the top: high, humped bands")
        }
        (Subject::TorchOffset, High) => say(
            "move the torch towards the top centre, {down}",
            "too far down the side: the pool rolls off the front",
        ),
        (Subject::Judged(Quantity::WireFeed), Low) => {
            say("more wire feed", "fewer amps and less metal: thin, cold band")
        }
        (Subject::Judged(Quantity::WireFeed), High) => {
            say("less wire feed", "more amps and more metal: high band, hot pool")
        }
        (Subject::Judged(Quantity::BandHeight), Low) => say("turn slower", "too little left to wear"),
        (Subject::Judged(Quantity::BandHeight), High) => {
            say("turn faster", "stands proud: catches and chips")
        }
        (Subject::Judged(quantity), side) => of_quantity(quantity, side),
    }
}
