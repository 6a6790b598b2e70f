//! A judged setup in words that every way of showing it shares.
//!
//! Decides: how a wanted value, a step and a signature are told.
//! Never: lays anything out.

use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format, format_beside};
use crate::setup::item::Kind;
use crate::setup::moves::Moved;
use crate::setup::{Checked, Item, Judged, Measured, SettingVerdict, SetupSheet, Step, Wanted};
use crate::standing::show_setting;
use bandward::Outcome;

/// What was not measured on this joint, as sentences: what nobody measured though the procedure limits it, and what was
/// carried from the last joint.
pub fn not_measured(sheet: &SetupSheet, checked: &Checked) -> Vec<String> {
    let titles = |items: Vec<Item>| items.into_iter().map(Item::title).collect::<Vec<_>>().join(", ");
    let [unconfirmed, confirmed] = [false, true].map(|is_confirmed| checked.carried(is_confirmed));
    let mut missing = checked.not_measured();
    missing.retain(|item| !unconfirmed.contains(item));
    let at = sheet.carried_confirmed.as_ref().map_or(String::new(), |time| format!(" at {time}"));
    let told = [
        ("not measured, though the procedure limits it".to_owned(), missing),
        ("carried from the last joint, and not confirmed on this one".to_owned(), unconfirmed),
        (format!("carried from the last joint, confirmed on this one{at}"), confirmed),
    ];
    told.into_iter()
        .filter(|(_, items)| !items.is_empty())
        .map(|(words, items)| format!("{words}: {}", titles(items)))
        .collect()
}

/// That nothing is missing, as it was found.
pub fn all_measured(checked: &Checked) -> &'static str {
    if checked.carried(true).is_empty() {
        "all it limits was measured"
    } else {
        "all it limits was measured, or confirmed to be as on the last joint"
    }
}

/// What the procedure wants, as people read it.
pub fn show_wanted(item: Item, wanted: Wanted, system: UnitSystem) -> String {
    match wanted {
        Wanted::Ranges(setting) => show_setting(&setting, system),
        Wanted::Exactly(value) => item.show(value, system),
    }
}

/// What was measured, as people read it; a size that is outside does not read like its limit.
pub fn show_measured(judged: &Judged, system: UnitSystem) -> Option<String> {
    let value = judged.value?;
    Some(match (value, judged.item.kind(), judged.verdict) {
        (Measured::Size(size), Kind::Size(dimension, _), SettingVerdict::Departs(left, _)) => {
            format_beside(size, left.limit, dimension, system)
        }
        _ => judged.item.show(value, system),
    })
}

/// How a setup stood, in a word; `outside` as it is wanted there.
pub const fn stood(outcome: Outcome, outside: &'static str) -> &'static str {
    match outcome {
        Outcome::Proven => "within",
        Outcome::NotProven => "not proven",
        Outcome::NotAsked => "not judged",
        Outcome::Broken => outside,
    }
}

/// What to do, from where to where, and until which reading.
pub fn show_step(step: &Step, system: UnitSystem) -> String {
    let show = |value| step.turn.show(value, system);
    let way = match (step.from, step.to) {
        // The words of a step say it already.
        (_, Some(Measured::Word(_))) => String::new(),
        (Some(from), Some(to)) if from != to => format!(", from {} to {}", show(from), show(to)),
        (None, Some(to)) => format!(", to {}", show(to)),
        _ => String::new(),
    };
    let until = step.until.map_or(String::new(), |(item, size)| {
        format!(", until {} reads about {}", item.title(), item.show(Measured::Size(size), system))
    });
    let set_to = step.moves.iter().find(|moved| is_set_with(step, moved)).map_or(String::new(), |moved| {
        format!(", and set it {} from the centre", format(moved.to, moved.dimension, system))
    });
    format!("{}{way}{until}{set_to}", step.how)
}

/// A torch that changes sides is set to its offset in the same act.
fn is_set_with(step: &Step, moved: &Moved) -> bool {
    step.turn == Item::TorchSide && moved.name == Item::TORCH_OFFSET.title()
}

/// What else moves with a step; nothing where nothing does.
pub fn show_moves(step: &Step, system: UnitSystem) -> Option<String> {
    let show = |value, dimension| format(value, dimension, system);
    let worked_out = step.moves.iter().filter(|moved| !is_set_with(step, moved)).map(|moved| {
        let [from, to] = [moved.from, moved.to].map(|value| show(value, moved.dimension));
        format!("{} from {from} to about {to}", moved.name)
    });
    let also = (!step.moves_also.is_empty() && !is_worked_out(step)).then(|| also_moves(step).to_owned());
    let all: Vec<_> = worked_out.chain(also).collect();
    (!all.is_empty()).then(|| all.join("; "))
}

/// Are figures told for all that goes with it?
fn is_worked_out(step: &Step) -> bool {
    let has_amps = step.moves.iter().any(|moved| moved.name == Item::CURRENT.title());
    match step.turn {
        Item::STICK_OUT => has_amps,
        Item::WEAVE_WIDTH | Item::WIRE_FEED => !step.moves.is_empty() && step.measures.is_empty(),
        _ => false,
    }
}

/// What goes with it and is not worked out; amps for which no law is known are measured again.
fn also_moves(step: &Step) -> &'static str {
    let is_measured_again = step.measures.contains(&Item::CURRENT);
    match step.turn {
        Item::STICK_OUT | Item::WIRE_FEED if is_measured_again => {
            "amps, by how much is not known for this pole: measure them again"
        }
        _ => step.moves_also,
    }
}

/// Who signed it off, and whether on this procedure; what was not measured is named.
pub fn signed(sheet: &SetupSheet, procedure: &ProcedureFile) -> String {
    let Some(signature) = &sheet.signature else { return "not signed off".to_owned() };
    let other = if signature.procedure_sha256.eq_ignore_ascii_case(&procedure.sha256) {
        ""
    } else {
        ", on another text of the procedure than this one"
    };
    let stood = match (signature.is_within_procedure, signature.not_measured.is_empty()) {
        (true, _) => "within the procedure".to_owned(),
        (false, true) => "not within the procedure".to_owned(),
        (false, false) => format!("NOT PROVEN: {} not measured", signature.not_measured.join(", ")),
    };
    format!("signed off by {} at {}, {stood}{other}", signature.initials, signature.time)
}
