//! What a person must know before doing what is advised.
//!
//! Decides: the caution beside each act. All of it is common practice, no source.
//! Assumes: local codes and licensed practice come before anything said here.
//! Never: stands in for a permit, a lock or a licence.

use super::item::Item;
use crate::input::setting::Subject;
use bandward::Quantity;
use bandward::rule::Side;

/// What stands at the head of every setup.
pub const CAUTIONS: [&str; 11] = [
    "This is a checklist beside a monitor. It is no safety device and no emergency stop.",
    "The qualified procedure, local codes and licensed practice come first, whatever is said here.",
    "Arc: burns eyes and skin in a moment; helmet, gloves, screens for those around.",
    "Safety glasses for grinding and for loading a spool, under the helmet too.",
    "Fumes: draw them off at the torch; wires with chrome or manganese need a respirator as well; \
     shielding gas takes the place of air in pits and corners.",
    "Shock: the open circuit is live at torch and wire; dry gloves and dry ground, more so in the wet.",
    "Gas bottles: chained upright, regulator and hoses sound, no oil.",
    "Before any heat: bore open at both ends, protectors and thread dope off; an inner coating smokes: do \
     not breathe it.",
    "Hot work: permit, nothing that burns nearby, a fire watch; the joint stays hot for hours.",
    "A hot joint looks like a cold one: mark it HOT.",
    "Turning joint: hands, sleeves and cables clear; know where the stop is before it turns.",
];

/// The leads are live, and the codes of most places ask for a licence.
const LEADS: &str = "welder off, main breaker off and locked out, and no voltage measured, before a lead is \
                     touched; by whoever local codes license for it";
const SPOOL: &str = "safety glasses on; lock the spool before the end of the wire is freed; welder off while \
                     tip and rolls are changed";
const BOTTLE: &str = "valve shut and pressure let off before the regulator is undone; cap on while the bottle \
                      is moved; chain the new one";
const OLD_BAND: &str = "grinding: safety glasses and face shield, guard on, sparks clear of anything that burns; the \
                        dust of hard bands holds chrome and manganese: respirator and extraction; rotation locked out";
const NOZZLE: &str = "welder off and torch cooled: wire, tip and nozzle are live as long as it is on";
const TORCH: &str =
    "arc off and rotation stopped before a hand goes to the torch; torch and joint may be hot";
const TURNING: &str = "hands, sleeves and cables clear; know where the stop is before it turns";
const PUMP: &str = "no arc until water comes back; keep the pump's leads out of the wet";
const COOLANT: &str =
    "never throttle a cooling pump: find the reason; arc off and torch cooled before a hose is touched";
const GAS: &str = "shielding gas takes the place of air: no one in a pit or corner beside a leak";
const BURNER: &str = "bore open at both ends, protectors and thread dope off before any heat; burner hoses \
                      sound and out of the way; an inner coating smokes: do not breathe it; mark the joint HOT";
const COOLING: &str = "a hot joint looks like a cold one: mark it HOT; never cool it with water";
const MORE_VOLTS: &str = "the open circuit is live at torch and wire: dry gloves, dry ground, more so in the wet; more \
                          volts, a longer and brighter arc: helmet and screens; below the floor nothing is welded: \
                          another procedure means another qualified procedure";
const POWER: &str = "the open circuit is live at torch and wire: dry gloves, dry ground, more so in the wet";
const FUMES: &str = "more amps, more fume: wires with chrome or manganese need a respirator";
const WIRE: &str = "safety glasses on; the wire is live and sharp: never point it at anybody";

/// What to know before a setting that is wrong is put right; `side` where a range was left.
pub const fn caution(item: Item, side: Option<Side>) -> Option<&'static str> {
    match item {
        Item::Polarity => Some(LEADS),
        Item::WireDiameter => Some(SPOOL),
        Item::GasMixture => Some(BOTTLE),
        Item::NozzleBore => Some(NOZZLE),
        Item::Rotation => Some(TURNING),
        Item::TorchSide => Some(TORCH),
        Item::CoolantBeforeArc => Some(PUMP),
        Item::OldBand | Item::OldBandHeight => Some(OLD_BAND),
        Item::OutsideDiameter => None,
        Item::Ranged(subject) => of_setting(subject, side),
    }
}

const fn of_setting(subject: Subject, side: Option<Side>) -> Option<&'static str> {
    let is_low = matches!(side, Some(Side::Low));
    match subject {
        Subject::TipRecess => Some(NOZZLE),
        Subject::StickOut | Subject::TorchAngle | Subject::TorchOffset => Some(TORCH),
        Subject::Judged(
            Quantity::TurnTime | Quantity::WeaveWidth | Quantity::WeaveRate | Quantity::StepOver,
        ) => Some(TURNING),
        Subject::Judged(Quantity::GasFlow) => Some(GAS),
        Subject::Judged(Quantity::CoolantFlow) => Some(COOLANT),
        Subject::Judged(Quantity::Preheat) => Some(if is_low { BURNER } else { COOLING }),
        Subject::Judged(Quantity::WireFeed) => Some(WIRE),
        Subject::Judged(Quantity::Current) => Some(if is_low { FUMES } else { POWER }),
        Subject::Judged(Quantity::Voltage) => Some(if is_low { MORE_VOLTS } else { POWER }),
        Subject::Judged(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What an inspector insists on, each beside its act (common practice, no source).
    #[test]
    fn each_caution_stands_beside_its_act() {
        let (low, high) = (Some(Side::Low), Some(Side::High));
        for (item, side, words) in [
            (Item::Polarity, None, &["breaker off", "locked out", "codes license"][..]),
            (Item::WireDiameter, None, &["safety glasses", "lock the spool before"]),
            (Item::PREHEAT, low, &["bore open at both ends", "dope off", "burner hoses", "coating smokes"]),
            (Item::PREHEAT, high, &["mark it HOT"]),
            (Item::CURRENT, low, &["chrome or manganese", "respirator"]),
            (Item::CURRENT, high, &["in the wet"]),
            (Item::VOLTAGE, low, &["another qualified procedure", "in the wet", "helmet"]),
            (Item::COOLANT_FLOW, high, &["never throttle a cooling pump", "find the reason"]),
            (Item::GasMixture, None, &["chain"]),
            (Item::CoolantBeforeArc, None, &["no arc until water comes back"]),
            (Item::NozzleBore, None, &["welder off"]),
            (Item::Rotation, None, &["hands, sleeves"]),
            (Item::OldBand, None, &["safety glasses", "respirator", "locked out"]),
        ] {
            let found = caution(item, side).unwrap_or_else(|| panic!("{}", item.key()));
            for part in words {
                assert!(found.contains(part), "{}: {found}", item.key());
            }
        }
        // Whatever can be put right has one.
        for item in Item::all().filter(|item| *item != Item::OutsideDiameter) {
            assert!(caution(item, low).is_some() && caution(item, high).is_some(), "{}", item.key());
        }
    }

    #[test]
    fn the_head_says_what_belongs_to_no_single_act() {
        for words in ["grinding", "respirator", "in the wet", "bore open", "HOT", "licensed practice"] {
            assert!(CAUTIONS.iter().any(|caution| caution.contains(words)), "{words}");
        }
    }
}
