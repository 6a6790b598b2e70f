//! Joints with a crater fill or the like, found before anything is fitted.
//!
//! Decides: which joints several quantities of the arc name, each as far off and alone.
//! Assumes: joints of one group in order of time; what is laid on top of a band, such as a crater fill, shows in the
//! mean and in the spread of the arc at once.
//! Never: names a joint by one quantity alone, nor one whose neighbour is off likewise: that is a change.
//!
//! Such joints must be known first: one of them in every five, or one among the few joints of an operator, moves
//! spread and level of every fit it is part of, and then hides itself and what comes after it (masking; Rousseeuw and
//! Leroy 1987, "Robust regression and outlier detection"; from memory). So each joint is held only against the
//! medians of those next to it.

use super::baseline::median;
use super::measure::Measure::{self, self as M};
use super::place::JointMean;
use super::reference::FURTHEST;

/// What each by itself shows a crater fill; the arc energy is made of two of them.
const WITNESSES: [Measure; 6] =
    [M::Current, M::CurrentSpread, M::Voltage, M::VoltageSpread, M::ShortCircuits, M::BandHeight];
/// So many witnesses name a joint, one of which shows it far off, and the others beyond this many deviations: by
/// chance two of six that are independent do so in one joint of several thousand.
const LEAST_WITNESSES: usize = 2;
const OFF: f64 = 2.5;
/// Joints to each side that a joint is held against: with one in five far off, their middle is sound.
const SIDE: usize = 5;
/// Fewer on a side tell nothing.
const LEAST_SIDE: usize = 3;

/// Does a crater fill move this quantity (common practice, no source)?
pub const fn moves(measure: Measure) -> bool {
    matches!(
        measure,
        M::Current
            | M::CurrentSpread
            | M::Voltage
            | M::VoltageSpread
            | M::WireFeed
            | M::ShortCircuits
            | M::ArcEnergy
            | M::BandHeight
    )
}

/// The joints named, in order, by the joint means of each quantity of one group.
pub fn named(quantities: &[(Measure, &[JointMean])]) -> Vec<usize> {
    let witnesses = quantities.iter().filter(|(measure, _)| WITNESSES.contains(measure));
    let mut told: Vec<(usize, bool)> = witnesses
        .flat_map(|(measure, means)| {
            let values: Vec<f64> = means.iter().map(|mean| mean.value).collect();
            let alone = alone(&values, measure.description().least_deviation);
            alone
                .into_iter()
                .filter_map(|(at, is_far)| Some((means.get(at)?.joint, is_far)))
                .collect::<Vec<_>>()
        })
        .collect();
    told.sort_unstable();
    let is_named =
        |same: &&[(usize, bool)]| same.len() >= LEAST_WITNESSES && same.iter().any(|(_, is_far)| *is_far);
    let each = told.chunk_by(|one, other| one.0 == other.0).filter(is_named);
    let mut named: Vec<usize> = each.filter_map(|same| same.first().map(|(joint, _)| *joint)).collect();
    // Of the newest joint nobody knows yet whether it stands alone, unless such joints are usual.
    let newest = quantities.iter().filter_map(|(_, means)| means.last()).map(|mean| mean.joint).max();
    if named.len() == 1 && named.first().copied() == newest {
        named.clear();
    }
    named
}

/// Readings off from those before and from those after, on the same side, with no neighbour that is off likewise; and
/// whether they are far off.
fn alone(values: &[f64], least: f64) -> Vec<(usize, bool)> {
    let around: Vec<f64> = (0..values.len())
        .filter_map(|at| {
            let next: Vec<f64> = before(values, at).iter().chain(after(values, at)).copied().collect();
            (next.len() >= LEAST_SIDE).then(|| (values[at] - median(&next)).abs())
        })
        .collect();
    let spread = |distances: &[f64]| (median(distances) / 0.6745).max(least);
    // Those far off widen the spread themselves, so it is taken once more without them.
    let first = FURTHEST * spread(&around);
    let near: Vec<f64> = around.iter().copied().filter(|distance| *distance <= first).collect();
    let spread = spread(&near);
    let off = |at: usize| -> f64 {
        let sides =
            [before(values, at), after(values, at)].into_iter().filter(|side| side.len() >= LEAST_SIDE);
        let offs: Vec<f64> = sides.map(|side| values[at] - median(side)).collect();
        let is_one_way = offs.iter().all(|off| *off > 0.0) || offs.iter().all(|off| *off < 0.0);
        let nearer = offs.iter().copied().reduce(|one, two| if one.abs() < two.abs() { one } else { two });
        nearer.filter(|_| is_one_way).map_or(0.0, |off| off / spread)
    };
    let offs: Vec<f64> = (0..values.len()).map(off).collect();
    let side = |index: Option<usize>| {
        let off = index.and_then(|index| offs.get(index)).copied().unwrap_or(0.0);
        if off.abs() > OFF { off.signum() } else { 0.0 }
    };
    let is_alone = |own: &usize| {
        let same = side(Some(*own));
        same.abs() > 0.0 && side(own.checked_sub(1)) * same <= 0.0 && side(Some(own + 1)) * same <= 0.0
    };
    (0..values.len()).filter(is_alone).map(|at| (at, offs[at].abs() > FURTHEST)).collect()
}

fn before(values: &[f64], at: usize) -> &[f64] {
    values.get(at.saturating_sub(SIDE)..at).unwrap_or_default()
}

fn after(values: &[f64], at: usize) -> &[f64] {
    let end = values.len().min(at + 1 + SIDE);
    values.get(at + 1..end).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn means(change: impl Fn(usize) -> f64) -> Vec<JointMean> {
        let steady = [0.0, 0.6, -0.5, 0.1, -0.2, 0.3, -0.4];
        (0..30)
            .map(|joint| JointMean { joint, bands: 1, value: 100.0 + steady[joint % 7] + change(joint) })
            .collect()
    }

    fn both(change: impl Fn(usize) -> f64) -> Vec<usize> {
        let own = means(change);
        named(&[(M::Current, &own), (M::CurrentSpread, &own)])
    }

    #[test]
    fn every_fifth_joint_far_off_is_named_by_two_quantities_and_not_by_one() {
        let crater = |joint: usize| if joint % 5 == 4 { -6.0 } else { 0.0 };
        assert_eq!(both(crater), [4, 9, 14, 19, 24, 29]);
        assert_eq!(named(&[(M::Current, &means(crater)), (M::Gas, &means(crater))]), [0; 0]);
    }

    #[test]
    fn a_change_is_none_and_the_newest_joint_waits_for_the_next() {
        assert_eq!(both(|joint| if joint >= 12 { 9.0 } else { 0.0 }), [0; 0]);
        assert_eq!(both(|joint| if joint >= 28 { 9.0 } else { 0.0 }), [0; 0]);
        assert_eq!(both(|joint| joint as f64), [0; 0]);
        assert_eq!(both(|joint| if joint == 29 { 9.0 } else { 0.0 }), [0; 0]);
        assert_eq!(both(|joint| if joint == 20 { 9.0 } else { 0.0 }), [20]);
        assert_eq!(both(|joint| if joint == 20 || joint == 21 { 9.0 } else { 0.0 }), [0; 0]);
    }
}
