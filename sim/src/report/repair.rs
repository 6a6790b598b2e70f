//! The repair list as text and as JSON.
//!
//! Decides: what stands where.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: leaves a repair out uncounted.

use super::model::repair::{FIRST, along, band, place, side, why};
use super::rounded::rounded;
use super::style::{BOLD, line};
use crate::input::quantity::UnitSystem;
use crate::repair::{BandSide, Repair, Whereabouts};
use bandward::Rule;
use serde_json::{Value, json};

/// More repairs than this are counted, not listed.
const LISTED: usize = 30;

/// As text; nothing where nothing is to be repaired.
pub fn text(text: &mut String, repairs: &[Repair], has_joints: bool, system: UnitSystem) {
    if repairs.is_empty() {
        return;
    }
    line!(text, "");
    line!(text, "{BOLD}repair list{BOLD:#}");
    line!(text, "  {FIRST}");
    for (index, repair) in repairs.iter().take(LISTED).enumerate() {
        let along = along(repair, system).map(|along| format!(" ({along})")).unwrap_or_default();
        let side = side(repair).map(|side| format!(", {side}")).unwrap_or_default();
        let number = index + 1;
        line!(
            text,
            "  {number}.  {BOLD}{}{BOLD:#}, {}{along}{side}",
            band(repair, has_joints),
            place(repair)
        );
        line!(text, "      {}", why(repair));
        for action in &repair.actions {
            line!(text, "      - {}: {}", action.defect, action.what_to_do);
        }
    }
    if repairs.len() > LISTED {
        line!(text, "  and {} more: --json lists all", repairs.len() - LISTED);
    }
}

/// As JSON.
pub fn json(repair: &Repair) -> Value {
    let (mut from_deg, mut to_deg, mut along_mm, mut time_s) = (None, None, None, None);
    let extent = match repair.whereabouts {
        Whereabouts::Stretch { from_deg: from, to_deg: to, along_mm: along } => {
            (from_deg, to_deg) = (Some(rounded(from)), Some(rounded(to)));
            along_mm = along.map(|(from, to)| [rounded(from), rounded(to)]);
            "stretch"
        }
        Whereabouts::AllRound => "all round",
        Whereabouts::Joint => "joint",
        Whereabouts::AsFound => "as found",
        Whereabouts::Unknown { from_us, to_us } => {
            time_s = Some([from_us, to_us].map(crate::raw::seconds));
            "unknown"
        }
    };
    let actions: Vec<_> = repair
        .actions
        .iter()
        .map(|action| json!({ "defect": action.defect, "do": action.what_to_do }))
        .collect();
    json!({
        "joint": repair.joint,
        "band": (repair.band > 0).then_some(repair.band),
        "extent": extent,
        "from_deg": from_deg,
        "to_deg": to_deg,
        "along_mm": along_mm,
        "time_s": time_s,
        "side": repair.side.map(|side| match side {
            BandSide::Shoulder => "shoulder".to_owned(),
            BandSide::BandBefore(band) => format!("band {band}"),
        }),
        "severity": repair.severity.name(),
        "rules": repair.rules.iter().copied().map(Rule::name).collect::<Vec<_>>(),
        "found": repair.found,
        "cause": repair.cause,
        "actions": actions,
    })
}
