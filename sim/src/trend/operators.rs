//! Operators of whom a baseline tells little.
//!
//! Decides: who has too few sound joints in a baseline for a level of one's own.
//! Assumes: joints in order of time.
//! Never: changes a chart: what is expected of such an operator is small until more is known.

use super::group::Group;
use super::record::Record;
use super::{Options, Series};

/// A mean of fewer joints is known to less than half a standard deviation (common practice, no source).
const LEAST: usize = 5;

/// An operator with few sound joints in the baseline.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Few {
    /// The group of joints, counted from 0.
    pub group: usize,
    /// Who.
    pub operator: String,
    /// How many.
    pub joints: usize,
}

/// Of each group with a chart and more than one operator, counted to the end of its longest baseline.
pub(super) fn few(records: &[Record], groups: &[Group], series: &[Series], options: &Options) -> Vec<Few> {
    let mut few = Vec::new();
    for (index, group) in groups.iter().enumerate().filter(|_| options.model.has_operator) {
        let own = series.iter().filter(|one| one.group == index);
        let end = own.filter_map(|one| Some(one.points.get(one.baseline?.end.checked_sub(1)?)?.joint)).max();
        let Some(end) = end else { continue };
        let all: Vec<(usize, &Record)> =
            group.joints.iter().filter_map(|&joint| Some((joint, records.get(joint)?))).collect();
        let mut operators: Vec<&String> =
            all.iter().filter_map(|(_, record)| record.context.operator.as_ref()).collect();
        operators.sort_unstable();
        operators.dedup();
        if operators.len() < 2 {
            continue;
        }
        let is_sound = |record: &Record| options.has_flagged_baseline || record.is_sound();
        for operator in operators {
            let joints = all.iter().filter(|(joint, record)| {
                *joint <= end && is_sound(record) && record.context.operator.as_ref() == Some(operator)
            });
            let joints = joints.count();
            if joints < LEAST {
                few.push(Few { group: index, operator: operator.clone(), joints });
            }
        }
    }
    few
}
