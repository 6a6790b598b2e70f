//! The repair list in words that every way of showing it shares.
//!
//! Decides: how a place on a band is told.
//! Never: lays anything out.

use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use crate::raw::seconds;
use crate::repair::{BandSide, Repair, Whereabouts};
use bandward::Rule;

/// What stands above every list.
pub const FIRST: &str = "The shop's own qualified repair procedure comes first. What to do below is common practice, by \
                         what was wrong while the band was laid; look before anything is ground.";

/// The band.
pub fn band(repair: &Repair, has_joints: bool) -> String {
    let joint = if has_joints { format!("joint {} ", repair.joint) } else { String::new() };
    if repair.band == 0 { format!("{joint}all bands") } else { format!("{joint}band {}", repair.band) }
}

/// Where on it: degrees round from the tie-in.
pub fn place(repair: &Repair) -> String {
    match repair.whereabouts {
        Whereabouts::Stretch { from_deg, to_deg, .. } if (to_deg - from_deg).abs() < 0.5 => {
            format!("at {from_deg:.0} deg from the tie-in")
        }
        Whereabouts::Stretch { from_deg, to_deg, .. } if to_deg < from_deg => {
            format!("{from_deg:.0} deg over the tie-in to {to_deg:.0} deg")
        }
        Whereabouts::Stretch { from_deg, to_deg, .. } => {
            format!("{from_deg:.0} to {to_deg:.0} deg from the tie-in")
        }
        Whereabouts::AllRound => "all round".to_owned(),
        Whereabouts::Joint => "the whole joint".to_owned(),
        Whereabouts::AsFound => "where the inspector found it".to_owned(),
        Whereabouts::Unknown { from_us, to_us } => format!(
            "place not known (no spindle angle): {:.1} s to {:.1} s of the trace",
            seconds(from_us),
            seconds(to_us)
        ),
    }
}

/// The same along the top of the band; nothing where that is not known.
pub fn along(repair: &Repair, system: UnitSystem) -> Option<String> {
    let Whereabouts::Stretch { from_deg, to_deg, along_mm: Some((from_mm, to_mm)) } = repair.whereabouts
    else {
        return None;
    };
    // To the nearest mm, or 1/8 in: a tape is laid round by hand.
    let step_mm = if system == UnitSystem::Metric { 1.0 } else { 25.4 / 8.0 };
    let show = |mm: f64| format((mm / step_mm).round() * step_mm, Dimension::Length, system);
    let is_point = (to_deg - from_deg).abs() < 0.5;
    let from = if is_point { String::new() } else { format!("{} to ", show(from_mm)) };
    Some(format!("{from}{} along the band", show(to_mm)))
}

/// Which side, where that is known.
pub fn side(repair: &Repair) -> Option<String> {
    Some(match repair.side? {
        BandSide::Shoulder => "side towards the shoulder".to_owned(),
        BandSide::BandBefore(band) => format!("side towards band {band}"),
    })
}

/// Why: the alarms, and the likeliest cause.
pub fn why(repair: &Repair) -> String {
    let rules = repair.rules.iter().copied().map(Rule::name).collect::<Vec<_>>().join(", ");
    let rules = repair.found.clone().unwrap_or(rules);
    repair.cause.map_or(rules.clone(), |cause| format!("{rules}; likely cause: {cause}"))
}
