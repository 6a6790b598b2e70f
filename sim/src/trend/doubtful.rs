//! Whether a quantity that does not drift may be called steady.
//!
//! Decides: what of a chart is no proof: joints set aside too often, a newest joint far off, a reading that
//! ended, a level that only what is known explains.
//! Never: calls a drift by another name: a quantity that drifts has no doubt.

use super::baseline::mean;
use super::doubt::Doubt;
use super::event::Kind;
use super::series::{Point, Series};

/// As many set aside, were they no more frequent than in the baseline, by chance in less than 1 of 50 cases; scatter
/// alone hardly sets three aside.
const CHANCE: f64 = 0.02;
/// The same for the newest joints alone, so many of them; they are looked at besides, so it must be rarer.
const LATELY: (usize, f64) = (20, 0.005);
/// And so many joints at least.
const LEAST_ALONE: usize = 3;
/// A reading that is missing in so many of the newest joints has ended.
const ENDED: usize = 3;
/// A newest joint further off than this many standard deviations is in doubt: of twenty quantities that are steady
/// one is beyond 3.5 in every hundredth joint.
const FAR: f64 = 6.0;
/// The newest joints, whose mean is held against the baseline.
const NEWEST: usize = 5;

/// Events, operators and warmth make no more than this many standard deviations of a baseline that has operators
/// and warmth in it (common practice, no source: another spool or another setting of the source makes three to
/// four, the worst pair of operators a few more).
const PLAUSIBLE: f64 = 10.0;

pub(super) fn ended(series: &Series, joints: &[usize]) -> Option<Doubt> {
    let last = series.points.last()?.joint;
    let until = joints.iter().filter(|&&joint| joint <= last).count();
    let was_usual = series.points.len() * 10 >= until * 9;
    (was_usual && joints.len() - until >= ENDED).then_some(Doubt::Ended { last })
}

pub(super) fn often_alone(series: &Series, end: usize) -> Option<Doubt> {
    let (before, since) = series.points.split_at(end);
    let alone = |points: &[Point]| points.iter().filter(|point| point.is_alone()).count();
    let (at_first, now) = (alone(before), alone(since));
    let chance = as_many_or_more(now, since.len(), at_first + now, series.points.len());
    if now >= LEAST_ALONE && chance < CHANCE {
        return Some(Doubt::OftenAlone { alone: now, of: since.len() });
    }
    let (count, rare) = LATELY;
    let newest = since.get(since.len().checked_sub(count)?..)?;
    let lately = alone(newest);
    let chance = as_many_or_more(lately, count, at_first + now, series.points.len());
    (lately >= LEAST_ALONE && chance < rare).then_some(Doubt::OftenAlone { alone: lately, of: count })
}

pub(super) fn newest_alone(series: &Series) -> Option<Doubt> {
    let (newest, before) = series.points.split_last()?;
    let is_far = newest.charted?.deviate?.abs() > FAR;
    (newest.is_alone() && is_far && !before.iter().any(Point::is_alone)).then_some(Doubt::NewestAlone)
}

pub(super) fn explained(series: &Series) -> Option<Doubt> {
    let baseline = series.baseline?;
    // Another revision of the procedure, or a repair, is there to change the level.
    let last_restart = series.points.iter().rev().find_map(|point| point.restart);
    if matches!(last_restart, Some(Kind::Procedure | Kind::Repair)) {
        return None;
    }
    let since = series.points.get(baseline.end..)?;
    let counted = |points: &[Point]| -> Vec<f64> {
        points.iter().filter(|point| !point.is_alone()).map(|point| point.value).collect()
    };
    let (at_first, since) = (counted(series.points.get(..baseline.end)?), counted(since));
    let newest = since.get(since.len().checked_sub(NEWEST)?..)?;
    let (usual, now) = (mean(&at_first), mean(newest));
    let squares: f64 = at_first.iter().map(|value| (value - usual).powi(2)).sum();
    let spread = (squares / at_first.len().saturating_sub(1).max(1) as f64).sqrt();
    let deviations = (now - usual) / spread.max(baseline.deviation);
    (deviations.abs() > PLAUSIBLE).then_some(Doubt::Explained { deviations, mean: now })
}

/// The chance that of `marked` among `all` joints so many or more are among `drawn` of them, were they as often
/// there as elsewhere: the exact test of Fisher (1934, from memory), one-sided.
pub(super) fn as_many_or_more(many: usize, drawn: usize, marked: usize, all: usize) -> f64 {
    let ways = |of: usize, take: usize| {
        let factorial = |count: usize| libm::lgamma(count as f64 + 1.0);
        factorial(of) - factorial(take) - factorial(of - take)
    };
    let most = marked.min(drawn);
    let each = (many..=most).filter(|&here| marked - here <= all - drawn);
    each.map(|here| (ways(marked, here) + ways(all - marked, drawn - here) - ways(all, drawn)).exp()).sum()
}

impl Doubt {
    /// Of a quantity, and the joints of its group in order of time.
    pub(super) fn of(series: &Series, joints: &[usize]) -> Option<Self> {
        let baseline = series.baseline?;
        if series.drifting().is_some() {
            return None;
        }
        ended(series, joints)
            .or_else(|| often_alone(series, baseline.end))
            .or_else(|| newest_alone(series))
            .or_else(|| explained(series))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The lady tasting tea: of eight cups four are of one kind; to name all four by chance is 1 in 70, three or
    /// more 17 in 70 (Fisher, The Design of Experiments, 1935, from memory).
    #[test]
    fn the_exact_test_is_that_of_the_tea() {
        assert!((as_many_or_more(4, 4, 4, 8) - 1.0 / 70.0).abs() < 1e-9);
        assert!((as_many_or_more(3, 4, 4, 8) - 17.0 / 70.0).abs() < 1e-9);
        assert!((as_many_or_more(0, 4, 4, 8) - 1.0).abs() < 1e-9);
    }
}
