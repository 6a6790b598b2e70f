//! What the place of a band in its joint makes of a reading.
//!
//! Decides: one reading a joint, the mean of its bands, each less what its place makes, so that joints
//! with more bands compare with joints with fewer.
//! Assumes: a place makes the same difference in every joint, such as heat that builds up from band to
//! band.
//! Never: takes the bands of one joint for independent of each other: they share its setup and its heat.
//!
//! The reading is taken as the sum of a part of the joint and a part of the place, fitted by least
//! squares: means of the one less the other in turns (the normal equations of a two-way layout with
//! holes, by Gauss and Seidel; any textbook of linear models). Where all joints have the same bands it
//! is the plain mean.

use std::collections::BTreeMap;

/// Turns after which the parts move no more, as long as some joint has each pair of places.
const TURNS: usize = 50;

/// A reading of one band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// The joint, counted from 0 in order of time.
    pub joint: usize,
    /// The band within it, from 1: its place.
    pub band: u64,
    /// The reading, in the house unit of its dimension.
    pub value: f64,
}

/// The mean of a joint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JointMean {
    /// The joint, counted from 0 in order of time.
    pub joint: usize,
    /// Bands it is the mean of.
    pub bands: usize,
    /// The mean, each band less what its place makes.
    pub value: f64,
}

/// The means of the joints, of readings in order of time.
pub fn joint_means(readings: &[Reading]) -> Vec<JointMean> {
    let joints: Vec<&[Reading]> = readings.chunk_by(|one, other| one.joint == other.joint).collect();
    let mut parts: BTreeMap<u64, f64> = readings.iter().map(|reading| (reading.band, 0.0)).collect();
    let mut means = of_joints(&joints, &parts);
    for _ in 0..TURNS {
        of_places(&joints, &means, &mut parts);
        means = of_joints(&joints, &parts);
    }
    means
}

fn of_joints(joints: &[&[Reading]], parts: &BTreeMap<u64, f64>) -> Vec<JointMean> {
    let part = |reading: &Reading| parts.get(&reading.band).copied().unwrap_or_default();
    let mean = |bands: &&[Reading]| {
        let sum: f64 = bands.iter().map(|reading| reading.value - part(reading)).sum();
        let joint = bands.first()?.joint;
        Some(JointMean { joint, bands: bands.len(), value: sum / bands.len() as f64 })
    };
    joints.iter().filter_map(mean).collect()
}

fn of_places(joints: &[&[Reading]], means: &[JointMean], parts: &mut BTreeMap<u64, f64>) {
    let mut sums: BTreeMap<u64, (f64, f64)> = BTreeMap::new();
    for (bands, mean) in joints.iter().zip(means) {
        for reading in *bands {
            let (sum, count) = sums.entry(reading.band).or_default();
            *sum += reading.value - mean.value;
            *count += 1.0;
        }
    }
    for (band, (sum, count)) in sums {
        parts.insert(band, sum / count);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings(joints: &[(f64, &[u64])], part: impl Fn(u64) -> f64) -> Vec<Reading> {
        let of_joint = |(joint, (own, bands)): (usize, &(f64, &[u64]))| {
            let reading = |&band: &u64| Reading { joint, band, value: own + part(band) };
            bands.iter().map(reading).collect::<Vec<_>>()
        };
        joints.iter().enumerate().flat_map(of_joint).collect()
    }

    #[test]
    fn joints_with_the_same_bands_have_their_plain_means() {
        let means = joint_means(&readings(&[(10.0, &[1, 2]), (12.0, &[1, 2])], |band| band as f64));
        assert_eq!(means.iter().map(|mean| mean.value).collect::<Vec<_>>(), [11.5, 13.5]);
        assert!(means.iter().all(|mean| mean.bands == 2));
    }

    /// Bands get hotter from one to the next: joints with fewer must not look colder for that.
    #[test]
    fn joints_differ_by_what_is_their_own_whatever_bands_they_have() {
        let joints: [(f64, &[u64]); 5] =
            [(20.0, &[1, 2]), (21.0, &[1, 2, 3]), (20.5, &[2, 3]), (19.0, &[3]), (22.0, &[1, 2, 3, 4])];
        let means = joint_means(&readings(&joints, |band| (5 * band * band) as f64));
        for (mean, (own, bands)) in means.iter().zip(joints) {
            assert!((mean.value - means[0].value - (own - 20.0)).abs() < 1e-6, "{mean:?}");
            assert_eq!(mean.bands, bands.len());
        }
    }

    #[test]
    fn no_reading_is_no_joint() {
        assert_eq!(joint_means(&[]), []);
    }
}
