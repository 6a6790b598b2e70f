//! Whether the shape of a change is told, once all quantities of its joints are known.
//!
//! Decides: which drifts keep their shape.
//! Assumes: quantities of one group that change at the same joints have one cause.
//! Never: makes a slope of a step, or the other way; it only takes back what is in doubt.

use super::change::Change;
use super::series::Series;

/// An interval of more than one in so many of the joints of a chart shows no shape.
const WIDE: usize = 3;

/// Takes back the shape of drifts that do not show it, or whose partners show another.
pub(super) fn tell(series: &mut [Series]) {
    let changes: Vec<(usize, Change)> = series
        .iter()
        .filter_map(|one| Some((one.group, one.drifting()?.change.map(|change| of_joints(one, change))?)))
        .collect();
    for one in series {
        let others: Vec<Change> =
            changes.iter().filter(|(group, _)| *group == one.group).map(|(_, change)| *change).collect();
        let shown = one.drift.as_ref().and_then(|drift| drift.change).map(|change| {
            let is_wide = WIDE * (change.to - change.from + 1) > one.points.len();
            let told = of_joints(one, change).shown_by(is_wide, &others);
            Change { shape: told.shape, per_joint: told.per_joint, ..change }
        });
        if let Some(drift) = &mut one.drift {
            drift.change = shown;
        }
    }
}

/// A change of its points in the counting of joints.
fn of_joints(series: &Series, change: Change) -> Change {
    let joint = |at: usize| series.points.get(at).map_or(at, |point| point.joint);
    Change { at: joint(change.at), from: joint(change.from), to: joint(change.to), ..change }
}
