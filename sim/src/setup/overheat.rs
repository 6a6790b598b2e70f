//! A joint that was heated too far.
//!
//! Decides: from which temperature on the steel is in doubt, and the coating of the bore; and what is done then.
//! Assumes: tool joints are quenched and tempered, and were tempered above 550 to 600 °C (from memory).
//! Never: lets a joint just cool and be welded whose steel or coating may be spoilt.

use super::advice::Advice;
use super::check::SettingVerdict;
use super::item::Item;
use crate::input::procedure_file::ProcedureFile;
use crate::plan::heat::USUAL_COATING_LIMIT_C;
use crate::standing::Departure;
use bandward::Severity;
use bandward::rule::Side;

/// From here on the steel may be softer than its mill left it, °C: the least it was tempered at, from memory.
const TEMPERED_C: f64 = 550.0;

const STEEL: Advice = Advice {
    adjust: "STOP: set the joint aside and mark it; no arc. Above some 550 degC (from memory) its steel may have lost its \
             temper. Once it is cold, in still air, have its hardness tested beside the bands and its inner coating \
             inspected by the shop's qualified procedure, which decides whether it is used at all",
    left_so: "soft steel: the connection may yield or twist off; the inner coating is burnt",
};
const COATING: Advice = Advice {
    adjust: "STOP: let it cool in still air and set the joint aside; an inner coating stands some 200 to 230 degC (common \
             practice, no source) where its maker says nothing else. Before it is welded have the coating inspected by \
             the shop's qualified procedure; a joint without one, or found sound, is welded once it is back within",
    left_so: "runny pool that sags; an inner coating is burnt and no longer keeps the bore from rusting",
};

/// Is the steel of a joint in doubt that was found so hot?
pub(super) fn is_steel_in_doubt(item: Item, found: f64) -> bool {
    item == Item::PREHEAT && found >= TEMPERED_C
}

/// What is said of a joint whose steel is in doubt.
pub(super) const fn steel_in_doubt() -> SettingVerdict {
    SettingVerdict::Differs(Severity::Stop, STEEL)
}

/// What is said of a preheat that left its range, where the coating of the bore is in doubt.
pub(super) fn of_coating(
    item: Item,
    found: f64,
    left: Departure,
    procedure: &ProcedureFile,
) -> Option<SettingVerdict> {
    let limit_c = procedure.material.coating_limit_c.unwrap_or(USUAL_COATING_LIMIT_C);
    let is_hot = item == Item::PREHEAT && left.side == Side::High && found > limit_c;
    is_hot.then_some(SettingVerdict::Departs(left, COATING))
}
