//! Which joints may share charts.
//!
//! Decides: what keeps joints apart: machine, procedure and diameter.
//! Assumes: the same name means the same machine or procedure.
//! Never: mixes joints of which one record tells what another does not.

use super::record::Record;
use crate::identity::Context;
use crate::input::joint_field::{SAME_DIAMETER, folded};

/// May joints of the two share charts? Machines, procedures and diameters are never mixed.
fn is_like(one: &Context, other: &Context) -> bool {
    let is_same_diameter = match (one.outside_diameter_mm, other.outside_diameter_mm) {
        (Some(one), Some(two)) => (one / two - 1.0).abs() <= SAME_DIAMETER,
        (one, two) => one == two,
    };
    let name = |name: &Option<String>| name.as_deref().map(folded);
    name(&one.machine) == name(&other.machine)
        && name(&one.procedure) == name(&other.procedure)
        && is_same_diameter
}

/// Joints that share charts.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// What they have in common: that of the first of them.
    pub context: Context,
    /// The joints, counted from 0 in order of time.
    pub joints: Vec<usize>,
}

/// Groups in the order of their first joints.
pub fn groups(records: &[Record]) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (joint, record) in records.iter().enumerate() {
        match groups.iter_mut().find(|group| is_like(&group.context, &record.context)) {
            Some(group) => group.joints.push(joint),
            None => groups.push(Group { context: record.context.clone(), joints: vec![joint] }),
        }
    }
    groups
}
