//! What a quantity was while nothing had drifted yet.
//!
//! Decides: which joints that is, which of them stand alone, and the estimators of mean and spread.
//! Assumes: readings in order of time, one a joint.
//! Never: leaves no joint to watch, nor takes one for sound that its own record does not.

use super::change::{Change, Fit, Shape};
use super::known::Known;
use super::reference::{FURTHEST, Reference};
use super::scatter::Scatter;

/// A baseline has at least so many joints.
pub const LEAST: usize = 8;
/// A baseline nobody asked for has so many, where there are twice as many joints.
pub const USUAL: usize = 20;
/// It goes on until its spread has so many degrees of freedom, whatever is modelled.
const LEAST_DEGREES: f64 = 6.0;
/// A line through the baseline further off than so many deviates is a drift: both tails of a normal deviate
/// beyond 3.6 are 3 in 10 000, so of 100 steady shops with 20 charts less than one is said to start so.
const LINE: f64 = 3.6;
/// A change at the likeliest of some 20 places is one beyond so many: 20 times the tail of a normal
/// deviate beyond 4.6, both sides, is 1 in 12 000 (the bound of Bonferroni).
const CHANGE: f64 = 4.6;
/// A baseline of fewer joints tells so little of a change within it that those that follow are asked too.
const SHORT: usize = 12;
/// More than a third of the joints cannot each stand alone.
const MOST_ALONE: usize = 3;

/// The baseline of a chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Baseline {
    /// Joints in it.
    pub count: usize,
    /// The first point after it.
    pub end: usize,
    /// The mean of its joints.
    pub mean: f64,
    /// Their standard deviation, less what is known, for which the limits are drawn.
    pub deviation: f64,
    /// The readings spread less than is worth telling, so the least spread stands in.
    pub is_least: bool,
}

impl Baseline {
    /// How the spread is estimated, in words.
    pub const ESTIMATOR: &'static str =
        "the sample standard deviation of the baseline over c4 (unbiased for normally spread readings)";
}

/// A baseline with all that comes of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Start {
    /// The baseline.
    pub baseline: Baseline,
    /// Its points.
    pub kept: Vec<usize>,
    /// Points that each stand alone, far off.
    pub set_aside: Vec<usize>,
    /// What the next joint is compared with.
    pub reference: Reference,
    /// How far each joint was off from those before it, where that is known.
    pub deviates: Vec<f64>,
}

impl Start {
    /// Out of the points that are sound; `None` for too few.
    pub fn of(
        known: &Known,
        values: &[f64],
        sound: &[usize],
        asked: Option<usize>,
        least: f64,
    ) -> Option<Self> {
        let all = values.len();
        let usual = USUAL.min(all / 2).max(LEAST).min(sound.len());
        let first = asked.unwrap_or(usual).max(LEAST);
        let longest = if asked.is_some() { first } else { sound.len() };
        let lengths = (first..=longest).filter(|&length| {
            sound.get(..length).and_then(<[usize]>::last).is_some_and(|last| last + 1 < all)
        });
        let mut best = None;
        for length in lengths {
            let start = Self::over(known, values, &sound[..length], least);
            let is_enough = start.reference.degrees() >= LEAST_DEGREES;
            best = Some(start);
            if is_enough {
                break;
            }
        }
        best.filter(|start| start.reference.degrees() >= 2.0)
    }
    fn over(known: &Known, values: &[f64], chosen: &[usize], least: f64) -> Self {
        let (craters, plain): (Vec<usize>, Vec<usize>) = chosen.iter().partition(|&&at| known.is_crater(at));
        let mut set_aside = alone(known, values, &plain, least);
        set_aside.extend(craters);
        set_aside.sort_unstable();
        let kept: Vec<usize> = chosen.iter().copied().filter(|at| !set_aside.contains(at)).collect();
        let end = chosen.last().map_or(0, |last| last + 1);
        let mut reference = Reference::expecting(&known.expected(1), known.width(), least);
        let mut deviates = Vec::new();
        for (at, row) in known.rows.iter().enumerate().take(end) {
            if known.restarts[at].is_some() {
                reference.let_level_go();
            }
            if kept.contains(&at) {
                deviates.extend(reference.deviate(row, values[at]));
                reference.learn(row, values[at]);
            }
        }
        let own: Vec<f64> = kept.iter().map(|&at| values[at]).collect();
        let degrees = reference.degrees().max(1.0);
        let deviation = (reference.squares() / degrees).sqrt() / c4(degrees as usize + 1);
        let baseline = Baseline {
            count: kept.len(),
            end,
            mean: mean(&own),
            deviation: deviation.max(least),
            is_least: deviation < least,
        };
        Self { baseline, kept, set_aside, reference, deviates }
    }
    /// The same baseline, after what is expected of operators and warmth has changed.
    #[must_use]
    pub fn again(&self, known: &Known, values: &[f64], chosen: &[usize], least: f64) -> Self {
        let chosen: Vec<usize> = chosen.iter().copied().filter(|at| *at < self.baseline.end).collect();
        Self::over(known, values, &chosen, least)
    }
    /// A change within the baseline itself, if it is clear: a line through it, by Student's t of its slope, or one
    /// change at the likeliest place. A few joints tell little of that; with those that follow, a step that stays is
    /// seen.
    pub fn change(&self, known: &Known, values: &[f64], least: f64, scatter: Scatter) -> Option<Change> {
        let within = change_over(&self.kept, known, values, least, scatter)
            .filter(|(line, change)| *line >= LINE || change.deviate >= CHANGE);
        let is_short = self.kept.len() < SHORT;
        let found = within.or_else(|| {
            let later = (self.baseline.end..values.len()).filter(|&at| is_short && !known.is_crater(at));
            let all: Vec<usize> = self.kept.iter().copied().chain(later).collect();
            change_over(&all, known, values, least, scatter).filter(|(_, change)| {
                change.shape == Shape::Step && change.deviate >= CHANGE && change.to < self.baseline.end
            })
        });
        found.map(|(_, change)| change)
    }
}

/// How far off a line through some points is, in deviates, and the likeliest change among them.
fn change_over(
    at: &[usize],
    known: &Known,
    values: &[f64],
    least: f64,
    scatter: Scatter,
) -> Option<(f64, Change)> {
    let (rows, expected) = known.with_levels(at);
    let own: Vec<f64> = at.iter().map(|&at| values[at]).collect();
    let fit = Fit::new(&rows, &expected, &own, least, scatter)?;
    Some((fit.line_deviate(), fit.change(None)?.placed(at)))
}

/// Points that are each far off with sound neighbours: by the median of the distances from the median
/// (Iglewicz and Hoaglin 1993, "How to detect and handle outliers", beyond 3.5; from memory), and then
/// also far off from all others.
fn alone(known: &Known, values: &[f64], chosen: &[usize], least: f64) -> Vec<usize> {
    let (rows, expected) = known.with_levels(chosen);
    let width = rows.first().map_or(1, Vec::len);
    let own: Vec<f64> = chosen.iter().map(|&at| values[at]).collect();
    let rest = robust_rest(&rows, &expected, &own, least);
    let middle = median(&rest);
    let distances: Vec<f64> = rest.iter().map(|one| (one - middle).abs()).collect();
    let reach = FURTHEST * (median(&distances) / 0.6745).max(least);
    let side =
        |at: usize| rest.get(at).map(|one| one - middle).filter(|off| off.abs() > reach).map(f64::signum);
    let is_alone = |at: &usize| {
        let before = at.checked_sub(1).and_then(side);
        side(*at).is_some_and(|own| before != Some(own) && side(at + 1) != Some(own))
    };
    let mut far: Vec<usize> = (0..own.len()).filter(is_alone).collect();
    if far.len() * MOST_ALONE > own.len() {
        return Vec::new();
    }
    let mut others = Reference::expecting(&expected, width, least);
    for at in (0..own.len()).filter(|at| !far.contains(at)) {
        others.learn(&rows[at], own[at]);
    }
    far.sort_by(|one, two| distances[*one].total_cmp(&distances[*two]));
    far.retain(|&at| {
        let is_far = others.deviate(&rows[at], own[at]).is_some_and(|deviate| deviate.abs() > FURTHEST);
        if !is_far {
            others.learn(&rows[at], own[at]);
        }
        is_far
    });
    far.sort_unstable();
    far.into_iter().map(|at| chosen[at]).collect()
}

/// What is left of readings when what is known is fitted so that the sum of the absolute rests is least,
/// which few that are far off hardly move (least squares with weights, in turns; Schlossmacher 1973, "An
/// iterative technique for absolute deviations curve fitting", Journal of the American Statistical
/// Association 68, 857-859; from memory).
fn robust_rest(rows: &[Vec<f64>], expected: &[Vec<f64>], readings: &[f64], least: f64) -> Vec<f64> {
    const TURNS: usize = 12;
    let mut weights = vec![1.0_f64; readings.len()];
    let mut rest = readings.to_vec();
    for _ in 0..TURNS {
        // Weights are the roots of what is left, so what is expected is scaled by a usual one.
        let usual = median(&weights);
        let scaled: Vec<Vec<f64>> =
            expected.iter().map(|row| row.iter().map(|entry| entry * usual).collect()).collect();
        let mut fit = Reference::expecting(&scaled, rows.first().map_or(1, Vec::len), least);
        for ((row, reading), weight) in rows.iter().zip(readings).zip(&weights) {
            let row: Vec<f64> = row.iter().map(|entry| entry * weight).collect();
            fit.learn(&row, reading * weight);
        }
        let makes = fit.coefficients();
        let made = |row: &Vec<f64>| row.iter().zip(&makes).map(|(one, other)| one * other).sum::<f64>();
        rest = rows.iter().zip(readings).map(|(row, reading)| reading - made(row)).collect();
        weights = rest.iter().map(|rest| rest.abs().max(0.1 * least).sqrt().recip()).collect();
    }
    rest
}

/// The reading in the middle.
pub fn median(readings: &[f64]) -> f64 {
    let mut sorted = readings.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = |index: usize| sorted.get(index).copied().unwrap_or(0.0);
    f64::midpoint(at(sorted.len().saturating_sub(1) / 2), at(sorted.len() / 2))
}

/// Arithmetic mean.
pub fn mean(readings: &[f64]) -> f64 {
    readings.iter().sum::<f64>() / readings.len().max(1) as f64
}

/// Sample standard deviation (n - 1).
pub fn sample_deviation(readings: &[f64]) -> f64 {
    let middle = mean(readings);
    let squares: f64 = readings.iter().map(|reading| (reading - middle).powi(2)).sum();
    (squares / readings.len().saturating_sub(1).max(1) as f64).sqrt()
}

/// Mean of the sample standard deviation of `count` normally spread readings, in standard deviations.
fn c4(count: usize) -> f64 {
    let degrees = count.saturating_sub(1).max(1) as f64;
    (2.0 / degrees).sqrt()
        * libm::exp(libm::lgamma(f64::midpoint(degrees, 1.0)) - libm::lgamma(degrees / 2.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trend::event::Kind;

    /// Factors for control charts, ISO 7870-2 (and ASTM E2587): c4. From memory.
    #[test]
    fn factors_are_those_of_the_tables() {
        for (count, table) in [(2, 0.7979), (5, 0.9400), (10, 0.9727), (20, 0.9869), (25, 0.9896)] {
            assert!((c4(count) - table).abs() < 6e-5, "{count}: {}", c4(count));
        }
    }

    fn plain(count: usize) -> (Known, Vec<f64>) {
        let known = Known { rows: vec![vec![1.0]; count], restarts: vec![None; count], ..Known::default() };
        (known, (0..count).map(|at| [10.0, 10.6, 9.5, 10.1, 9.8, 10.3, 9.6][at % 7]).collect())
    }

    #[test]
    fn a_baseline_leaves_something_to_watch() {
        for (asked, all, found) in [
            (None, 100, Some(20)),
            (None, 24, Some(12)),
            (None, 9, Some(8)),
            (None, 8, None),
            (Some(30), 31, Some(30)),
            (Some(30), 30, None),
        ] {
            let (known, values) = plain(all);
            let sound: Vec<usize> = (0..all).collect();
            let start = Start::of(&known, &values, &sound, asked, 0.01);
            assert_eq!(start.map(|start| start.baseline.count), found, "{asked:?} of {all}");
        }
    }

    #[test]
    fn joints_that_are_not_sound_are_passed_over() {
        let (known, values) = plain(40);
        let sound: Vec<usize> = (0..40).filter(|at| at % 4 != 0).collect();
        let start = Start::of(&known, &values, &sound, None, 0.01).expect("enough");
        assert_eq!((start.baseline.count, start.baseline.end), (20, 27));
        assert!(start.kept.iter().all(|at| at % 4 != 0));
        assert!(Start::of(&known, &values, &sound[..7], None, 0.01).is_none());
    }

    #[test]
    fn every_fifth_joint_far_off_is_set_aside_and_a_level_of_its_own_is_not() {
        let (known, mut values) = plain(40);
        let sound: Vec<usize> = (0..40).collect();
        let deviation = Start::of(&known, &values, &sound, None, 0.01).expect("enough").baseline.deviation;
        (4..40).step_by(5).for_each(|at| values[at] += 4.0);
        let start = Start::of(&known, &values, &sound, None, 0.01).expect("enough");
        assert_eq!(start.set_aside, [4, 9, 14, 19]);
        assert!(start.baseline.deviation < 1.2 * deviation, "{}", start.baseline.deviation);
        let (_, mut values) = plain(40);
        (14..18).for_each(|at| values[at] += 4.0);
        assert_eq!(Start::of(&known, &values, &sound, None, 0.01).expect("enough").set_aside, [0; 0]);
    }

    #[test]
    fn a_drift_within_the_baseline_is_told_and_a_known_step_is_none() {
        let (mut known, values) = plain(40);
        let sound: Vec<usize> = (0..40).collect();
        let change = |known: &Known, values: &[f64]| {
            let start = Start::of(known, values, &sound, None, 0.01).expect("enough");
            start.change(known, values, 0.01, Scatter::default())
        };
        assert_eq!(change(&known, &values), None);
        let rising: Vec<f64> =
            values.iter().zip(0..).map(|(value, at)| value + 0.1 * f64::from(at)).collect();
        assert!(change(&known, &rising).is_some());
        let stepped: Vec<f64> =
            values.iter().zip(0..).map(|(value, at)| value + 2.0 * f64::from(u8::from(at > 9))).collect();
        assert!(change(&known, &stepped).is_some_and(|change| (9..=11).contains(&change.at)));
        known.restarts[10] = Some(Kind::Spool);
        assert_eq!(change(&known, &stepped), None);
    }
}
