//! How warm a joint must be before the arc: what its steel needs, what the procedure gives, what its coating bears.
//!
//! Decides: the range to bring it to, and what is said of a joint that is outside it.
//! Assumes: steel, bore and heat input are those of the procedure and of what was measured (EN 1011-2, method B).
//! Never: heats beyond what the procedure allows, nor leads to a joint that is colder than its steel needs.

use super::advice::Advice;
use super::item::Item;
use super::overheat::{COATING, COATING_ADVISORY, COATING_LOST};
use super::sheet::SetupSheet;
use super::verdict::SettingVerdict;
use crate::formulas::{arc_energy, surface_speed};
use crate::heat::preheat::{Conditions, PREHEAT_PLAY_C, Preheat, THERMAL_EFFICIENCY, USUAL_HYDROGEN};
use crate::input::bounds::Bounds;
use crate::input::material::USUAL_COATING_LIMIT_C;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::{Setting, Subject};
use crate::standing::Departure;
use bandward::rule::Side;
use bandward::{Quantity, Severity};

/// Room to leave to the end of a range, as a share of it, for a joint that cools while it is carried to the arc. Invented.
const ROOM: f64 = 0.1;

const COLD: Advice = Advice {
    adjust: "heat on, evenly all round, as far as its steel needs",
    left_so: "cracks beside and under the band, poor fusion",
};
const COLD_AND_COATED: Advice = Advice {
    adjust: "where the joint has no coating, or the shop gives it up ({coating}): heat on, evenly all round, as far as its \
             steel needs",
    left_so: COLD.left_so,
};
const LEAVE: Advice = Advice {
    adjust: "leave it: what the steel needs, or the coating bears, goes before what is recommended; have the recommended \
             range of the procedure put right",
    left_so: "no harm by itself: watch the pool",
};
const NO_ROOM: Advice = Advice {
    adjust: "no arc: no preheat is both what its steel needs and what the procedure allows; have the procedure put right",
    left_so: "cracks beside and under the band, or a joint welded hotter than was qualified",
};

/// What the steel of a joint needs before the arc, °C; `None` where the procedure does not give steel and bore, or
/// something that the heat input takes is not known.
pub(super) fn needed_c(sheet: &SetupSheet, procedure: &ProcedureFile) -> Option<f64> {
    let material = &procedure.material;
    let diameter = sheet.size(Item::OutsideDiameter).or(procedure.joint.outside_diameter_mm)?;
    let aim = |quantity| procedure.setting(Subject::Judged(quantity)).and_then(Setting::aim);
    let known = |item, quantity| sheet.size(item).or_else(|| aim(quantity));
    let current_a = known(Item::CURRENT, Quantity::Current)?;
    let voltage_v = known(Item::VOLTAGE, Quantity::Voltage)?;
    let speed = surface_speed(diameter, known(Item::TURN_TIME, Quantity::TurnTime)?)?;
    let needed = Preheat::of(Conditions {
        carbon_equivalent: material.composition?.carbon_equivalent(),
        thickness_mm: 0.5 * (diameter - material.bore_mm.filter(|bore| *bore < diameter)?),
        hydrogen_ml_per_100_g: material.hydrogen_ml_per_100_g.unwrap_or(USUAL_HYDROGEN),
        heat_input_kj_per_mm: THERMAL_EFFICIENCY * arc_energy(current_a * voltage_v, speed)?,
    });
    Some(needed.least_c)
}

/// Is a joint colder than its steel needs?
pub(super) fn is_colder(preheat_c: f64, needed_c: f64) -> bool {
    preheat_c < needed_c - PREHEAT_PLAY_C
}

/// The most that the procedure allows, °C.
pub(super) fn most_c(procedure: &ProcedureFile) -> Option<f64> {
    let setting = procedure.setting(Subject::Judged(Quantity::Preheat))?;
    setting.allowed.or(setting.recommended)?.high
}

/// The preheats that do: what the steel needs and what is allowed; of these what is recommended, and what the coating of
/// the bore bears by the procedure, where that leaves any, the coating first. `None` where none is both needed and allowed.
pub(super) fn sound(sheet: &SetupSheet, procedure: &ProcedureFile) -> Option<Bounds> {
    let needed_c = needed_c(sheet, procedure);
    let setting = procedure.setting(Subject::Judged(Quantity::Preheat));
    let floor = setting.and_then(|setting| setting.floor);
    let open = Bounds { low: None, high: None };
    let recommended = setting.and_then(|setting| setting.recommended);
    let allowed = setting.and_then(|setting| setting.allowed).or(recommended).unwrap_or(open);
    let within = |range: Bounds, most: Option<f64>| {
        let low = [range.low, allowed.low, floor, needed_c].into_iter().flatten().reduce(f64::max);
        let high = [range.high, allowed.high, most].into_iter().flatten().reduce(f64::min);
        Some(Bounds { low, high }).filter(|bounds| !bounds.is_reversed())
    };
    let coating = procedure.material.coating_limit_c;
    let of_coating = coating.and_then(|limit| {
        recommended.and_then(|range| within(range, Some(limit))).or_else(|| within(allowed, Some(limit)))
    });
    of_coating.or_else(|| recommended.and_then(|range| within(range, None))).or_else(|| within(allowed, None))
}

/// Is a preheat one that does? Where the steel makes the lower end it has some play, as everywhere.
pub(super) fn does(range: Bounds, needed_c: Option<f64>, preheat_c: f64) -> bool {
    let is_of_steel = range.low.zip(needed_c).is_some_and(|(low, needed_c)| low <= needed_c);
    let play_c = if is_of_steel { PREHEAT_PLAY_C } else { 0.0 };
    Bounds { low: range.low.map(|low| low - play_c), ..range }.contains(preheat_c)
}

/// Where a preheat is put within the range that does: where the procedure aims, else as near to it as leaves room.
pub(super) fn target(range: Bounds, aim: Option<f64>) -> Option<f64> {
    let room = range.low.zip(range.high).map_or(0.0, |(low, high)| ROOM * (high - low));
    // Whole degrees read well, where there are some.
    let whole = |value: f64, rounded: f64| if range.contains(rounded) { rounded } else { value };
    let of_low = range.low.map(|low| low + room).map(|value| whole(value, value.ceil()));
    let of_high = range.high.map(|high| high - room).map(|value| whole(value, value.floor()));
    match aim {
        Some(aim) if range.contains(aim) => Some(aim),
        Some(aim) if range.low.is_none_or(|low| aim > low) => of_high,
        _ => of_low.or(of_high),
    }
}

/// What is said of the preheat of a joint: a joint colder than its steel needs, or above what its coating bears, is
/// told though its range is kept; one outside what is recommended for the sake of these is left there.
pub(super) fn judged(
    found: f64,
    verdict: SettingVerdict,
    sheet: &SetupSheet,
    procedure: &ProcedureFile,
) -> SettingVerdict {
    let left = match verdict {
        SettingVerdict::Departs(left, _) => Some(left),
        _ => None,
    };
    let is_outside = left.is_some_and(|left| left.severity >= Severity::Warn);
    let needed_c = needed_c(sheet, procedure);
    let cold = needed_c.filter(|needed_c| is_colder(found, *needed_c));
    let coating = procedure.material.coating_limit_c.filter(|limit| found > *limit);
    let advisory = |side, limit: f64| {
        let off_by = (found - limit).abs();
        Departure { severity: Severity::Advise, side, limit, off_by }
    };
    let left = match (left, cold, coating) {
        (Some(left), _, _) if is_outside => left,
        (_, Some(needed_c), _) => advisory(Side::Low, needed_c),
        (Some(left), _, _) => left,
        (None, None, Some(limit)) => advisory(Side::High, limit),
        (None, None, None) => return verdict,
    };
    let Some(sound) = sound(sheet, procedure) else { return SettingVerdict::Departs(left, NO_ROOM) };
    let is_hot = found > procedure.material.coating_limit_c.unwrap_or(USUAL_COATING_LIMIT_C);
    let advice = match (left.side, verdict.advice()) {
        (Side::High, _) if is_outside && is_hot => COATING,
        _ if !is_outside && does(sound, needed_c, found) => {
            if is_hot {
                COATING_LOST
            } else {
                LEAVE
            }
        }
        (Side::High, _) if coating.is_some() => COATING_ADVISORY,
        (Side::Low, _) if cold.is_some() => {
            let limit = procedure.material.coating_limit_c;
            let is_lost = sound.low.zip(limit).is_some_and(|(least, limit)| least > limit);
            if is_lost { COLD_AND_COATED } else { COLD }
        }
        (side, own) => own.unwrap_or(Item::PREHEAT.advice(side)),
    };
    SettingVerdict::Departs(left, advice)
}
