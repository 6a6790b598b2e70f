//! Which joint it is, as text and as JSON.
//!
//! Decides: what is told of a joint besides its name, and how.
//! Never: leaves out that two sources disagree.

use crate::identity::{Context, Disagreement, Identity};
use crate::input::joint_file::Claim;
use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use serde_json::{Value, json};

/// What is known of a joint besides its name and its procedure, each with what it is.
pub fn facts(context: &Context, system: UnitSystem) -> Vec<(&'static str, String)> {
    let shown = |value: Option<f64>, dimension| value.map(|value| format(value, dimension, system));
    let old_bands = context.old_bands.map(|found| if found { "yes" } else { "none" }.to_owned());
    let told = [
        ("welded at", context.welded_at.clone()),
        ("work", context.work.clone()),
        ("old bands", old_bands),
        ("outside diameter", shown(context.outside_diameter_mm, Dimension::Length)),
        ("machine", context.machine.clone()),
        ("operator", context.operator.clone()),
        ("spool", context.spool.clone()),
        ("bottle", context.bottle.clone()),
        ("gas certificate", context.gas_certificate.clone()),
        ("tip", context.tip.clone()),
        ("shop", shown(context.ambient_c, Dimension::Temperature)),
    ];
    told.into_iter().filter_map(|(name, value)| Some((name, value?))).collect()
}

/// The same on one line; nothing where no more is known than a procedure says itself.
pub fn line(context: &Context, system: UnitSystem) -> Option<String> {
    let told = facts(&Context { outside_diameter_mm: None, ..context.clone() }, system);
    let words =
        told.into_iter().map(|(name, value)| format!("{name} {value}")).collect::<Vec<_>>().join(", ");
    (!words.is_empty()).then_some(words)
}

/// What disagrees and what is not known, for machines.
pub fn json(identity: &Identity) -> Value {
    let claim = |claim: &Claim| json!({ "value": claim.field.show(&claim.stated, UnitSystem::Metric), "source": claim.source });
    let disagreement = |found: &Disagreement| {
        json!({
            "field": found.field.key(),
            "taken": claim(&found.claims[0]),
            "other": claim(&found.claims[1]),
            "costs_proof": found.field.costs_proof(),
        })
    };
    json!({
        "title": identity.context.title(),
        "disagreements": identity.disagreements.iter().map(disagreement).collect::<Vec<_>>(),
        "doubts": identity.doubts,
        "notes": identity.notes,
        "of_joint": identity.of_joint,
    })
}
