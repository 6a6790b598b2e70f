//! A joint that was heated too far.
//!
//! Decides: from which temperature on the steel is in doubt, and the coating of the bore; and what is done then.
//! Assumes: tool joints are quenched and tempered, and were tempered above 550 to 600 °C (from memory).
//! Never: lets a joint just cool and be welded whose steel or coating may be spoilt.

use super::advice::Advice;
use super::item::Item;
use super::verdict::SettingVerdict;
use crate::input::quantity::{Dimension, in_both};
use bandward::Severity;

/// From here on the steel may be softer than its mill left it, °C: the least it was tempered at, from memory.
const TEMPERED_C: f64 = 550.0;

const STEEL: Advice = Advice {
    adjust: "STOP: set the joint aside and mark it; no arc. Above some 550 degC (from memory) its steel may have lost its \
             temper. Once it is cold, in still air, have its hardness tested beside the bands and its inner coating \
             inspected by the shop's qualified procedure, which decides whether it is used at all",
    left_so: "soft steel: the connection may yield or twist off; the inner coating is burnt",
};
pub(super) const COATING: Advice = Advice {
    adjust: "STOP: let it cool in still air and set the joint aside; {coating}. Before it is welded have the coating \
             inspected by the shop's qualified procedure; a joint without one, or found sound, is welded once it is back \
             within",
    left_so: "runny pool that sags; an inner coating is burnt and no longer keeps the bore from rusting",
};
/// Nothing is outside, and the coating has been above what it bears.
pub(super) const COATING_ADVISORY: Advice = Advice {
    adjust: "let it cool in still air: {coating}. Where the joint has one, have it inspected before the joint is welded",
    left_so: BURNT,
};
/// No preheat that does is one that the coating bears.
pub(super) const COATING_LOST: Advice = Advice {
    adjust: "leave it, as steel and procedure need it; {coating}: weld only a joint without one, or one whose coating the \
             shop gives up",
    left_so: BURNT,
};
const BURNT: &str = "an inner coating is burnt and no longer keeps the bore from rusting";

/// Is the steel of a joint in doubt that was found so hot?
pub(super) fn is_steel_in_doubt(item: Item, found: f64) -> bool {
    item == Item::PREHEAT && found >= TEMPERED_C
}

/// What is said of a joint whose steel is in doubt.
pub(super) const fn steel_in_doubt() -> SettingVerdict {
    SettingVerdict::Differs(Severity::Stop, STEEL)
}

/// Words with what the coating of the bore bears put in.
pub(super) fn with_coating(words: &str, limit_c: Option<f64>) -> String {
    let coating = match limit_c {
        Some(limit_c) => {
            let limit = in_both(limit_c, Dimension::Temperature);
            format!("by the procedure the coating of its bore bears {limit}")
        }
        None => "an inner coating bears some 200 to 230 degC (common practice, no source) where its maker says nothing \
                 else"
            .to_owned(),
    };
    words.replace("{coating}", &coating)
}
