//! Signs of a reading that does not tell what is there: it stands still, stands at an end, or shows nothing.
//!
//! Decides: what stands still to the last digit, what stands beyond all else that was read, and what is nothing.
//! Assumes: the reading that the case is about.
//! Never: knows a cause.

use super::band_history::{BandHistory, Live, Stretch};
use super::case::Case;
use super::evidence::Evidence;
use super::seen::{Seen, UNSEEN, ramp};
use super::series::{points, quantile};
use crate::input::unit::Dimension;
use bandward::{Channel, Rule};

/// Share of the stretches in which a reading stands still to the last digit: sure of it at the second.
const STILL: (f64, f64) = (0.6, 0.9);
/// It stands at its end where it is further from all else that was read than this share of what that spans. Who
/// stands still at what was last read is not beyond it.
const BEYOND: f64 = 0.1;
/// Less than this share of what is usual is nothing: surely more at the second.
const NOTHING: (f64, f64) = (0.01, 0.03);
/// It may be nothing indeed, behind a shut valve or where a weave is parked.
const AT_NOTHING: f64 = 0.8;

/// The stretches wholly inside the window: its edges may hold what came before and after.
fn inside<'c>(case: &Case<'c>) -> Option<impl Iterator<Item = &'c Stretch> + use<'c>> {
    let window = case.window;
    let wholly = move |stretch: &&Stretch| stretch.from_us >= window.from_us && stretch.to_us <= window.to_us;
    Some(case.course?.stretches.iter().filter(wholly))
}

/// Does the reading that the rule needs stand still to the last digit?
pub fn still(case: &Case<'_>) -> Option<Seen> {
    if case.alarm().is_some_and(|alarm| alarm.rule == Rule::SignalStuck) {
        return Some(Seen { degree: 1.0, evidence: None });
    }
    let channel = case.channel()?;
    let held: Vec<bool> = inside(case)?.filter_map(|stretch| stretch.of(channel).is_still()).collect();
    if held.len() < 2 {
        return Some(UNSEEN);
    }
    let share = held.iter().filter(|&&still| still).count() as f64 / held.len() as f64;
    let evidence = Evidence::between(Some(channel), case.window.from_us, case.window.to_us)
        .words(format!("the reading of {} does not change by its last digit", channel.name()))
        .times();
    Some(Seen { degree: ramp(share, STILL.0, STILL.1), evidence: Some(evidence) })
}

/// Does the reading stand still beyond all else that was read of it?
pub fn at_its_end(case: &Case<'_>) -> Option<Seen> {
    let channel = case.channel()?;
    let course = case.course?;
    let held = inside(case)?.filter(|stretch| stretch.of(channel).is_still() == Some(true));
    let Some(end) = quantile(held.filter_map(|stretch| course.mean(stretch, channel)).collect(), 0.5) else {
        return Some(UNSEEN);
    };
    let Live { low, high, .. } = case.scene.live[channel as usize];
    // Nothing is no end: a reading that shows it has lost its cable.
    if low > high || end.abs() < NOTHING.1 * low.abs().max(high.abs()) {
        return Some(UNSEEN);
    }
    let beyond = BEYOND * (high - low).max(0.1 * end.abs());
    let is_beyond = end < low - beyond || end > high + beyond;
    let evidence = Evidence::between(Some(channel), case.window.from_us, case.window.to_us)
        .words(format!("the reading of {} stands at ", channel.name()))
        .figure(end, Dimension::of_channel(channel))
        .words(", beyond all else that was read of it")
        .times();
    Some(Seen { degree: f64::from(u8::from(is_beyond)), evidence: Some(evidence) })
}

/// How far from zero the readings of a stretch lie, or how far they span.
fn size(course: &BandHistory, stretch: &Stretch, channel: Channel) -> Option<f64> {
    Some(course.mean(stretch, channel)?.abs().max(stretch.of(channel).span()?))
}

/// What most of a band stays within.
fn usual_size(course: &BandHistory, channel: Channel) -> Option<f64> {
    let sizes = points(course, |stretch| size(course, stretch, channel));
    quantile(sizes.into_iter().map(|point| point.value).collect(), 0.9)
}

/// Is what is read as good as nothing?
pub fn at_nothing(case: &Case<'_>) -> Option<Seen> {
    let channel = case.channel()?;
    let course = case.course?;
    let now = quantile(inside(case)?.filter_map(|stretch| size(course, stretch, channel)).collect(), 0.5)?;
    // Where it shows nothing all along the band, what it showed on another one is usual.
    let usual = case.scene.gathered.largest(channel, || {
        case.scene.courses.iter().filter_map(|course| usual_size(course, channel)).fold(0.0, f64::max)
    });
    if usual <= 0.0 {
        return Some(UNSEEN);
    }
    let evidence = Evidence::between(Some(channel), case.window.from_us, case.window.to_us)
        .words(format!("the reading of {} stays within ", channel.name()))
        .figure(now, Dimension::of_channel(channel))
        .words(" of zero")
        .times();
    let degree = AT_NOTHING * (1.0 - ramp(now / usual, NOTHING.0, NOTHING.1));
    Some(Seen { degree, evidence: Some(evidence) })
}
