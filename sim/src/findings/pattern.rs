//! Signs that lie in the shape of a quantity's course rather than in its level.
//!
//! Decides: what is ragged, what comes and goes, what swings once a turn, and whether a pipe under a slipping grip
//! still creeps on.
//! Assumes: stretches of a quarter of a second and more; a fault is compared with the rest of the joint.
//! Never: knows a cause.

use super::band_history::BandHistory;
use super::case::Case;
use super::evidence::Evidence;
use super::gathered::Kind;
use super::seen::{Seen, UNSEEN, ramp};
use super::series::{Measurand, Point, Way, Window, departure, points, quantile, series, usual};
use super::swing::{Swing, swing};
use crate::raw::seconds;
use bandward::Channel;

/// Means of neighbouring stretches that differ so many times as much as normal are ragged: sure of it at the
/// second.
const RAGGED: (f64, f64) = (1.6, 2.6);
/// It wanders by so much of its value: surely at the second. What is steadier than a feeder or a source holds it is
/// steady, however steady it is elsewhere (common practice, no source).
const UNEVEN: (f64, f64) = (0.003, 0.01);
/// Raggedness is slow when it has grown so many times as much as the scatter within a stretch. Metal that is
/// fed unevenly moves the current over seconds; a restless contact does so within a stretch.
const SLOW: (f64, f64) = (1.1, 1.5);
/// So many differences of neighbours are needed.
const LEAST_DIFFERENCES: usize = 4;
/// It has come, and it has gone again, at these shares of its size.
const COME_AND_GONE: (f64, f64) = (0.7, 0.3);
/// A quantity that came so often comes and goes: sure of it at the second.
const COMINGS: (f64, f64) = (1.0, 3.0);
/// It is back where the band goes on for so long, µs; a person may have put back what was knocked, so that it is no
/// sure sign.
const BACK_US: u64 = 3_000_000;
const CAME_BACK: f64 = 0.8;
/// It went at once: surely not at the second, s.
const AT_ONCE_S: (f64, f64) = (1.5, 3.0);
/// Less than this share of the usual value is noise: surely more at the second.
const NOISE: (f64, f64) = (0.01, 0.03);
/// So many times what it scatters from reading to reading is noise: surely more at the second.
const SCATTER: (f64, f64) = (1.0, 2.5);
/// Share of the variance along a turn that one swing a turn explains: sure of it at the second.
const EXPLAINED: (f64, f64) = (0.5, 0.75);
/// Size of the swing against the mean: sure of it at the second.
const SWING: (f64, f64) = (0.02, 0.045);
/// Swings of two bands are at the same place within this angle, degrees: surely not at the second.
const SAME_PLACE_DEG: (f64, f64) = (35.0, 80.0);
/// A pipe that still has this share of its speed creeps on: sure of it at the second.
const CREEPS_ON: (f64, f64) = (0.02, 0.06);
/// With fewer pieces of time wholly inside, the slowest tells it.
const LEAST_INSIDE: usize = 3;

/// How far each point lies from the middle between its neighbours: a steady rise or fall is no raggedness.
fn differences(points: &[Point], wanted: impl Fn(&Point) -> bool) -> Vec<f64> {
    let threes = points.windows(3).filter(|three| three.iter().all(&wanted));
    threes.map(|three| (three[1].value - f64::midpoint(three[0].value, three[2].value)).abs()).collect()
}

/// Median of what points differ from their neighbours by, in and outside the window.
fn unevenness(case: &Case<'_>, all: &[Point], subject: Measurand) -> Option<(f64, f64)> {
    let inside = differences(all, |point| point.is_in(case.window));
    let outside = differences(all, |point| !point.is_in(case.window));
    let (count, normal) = if outside.len() * 8 < all.len() {
        let gather = || {
            let of = |course: &BandHistory| differences(&series(course, subject), |_| true);
            case.scene.of_each(|course| of(course).into_iter())
        };
        case.scene.gathered.of_others(Kind::Difference, subject as u8, case.band, gather)
    } else {
        (outside.len(), quantile(outside, 0.5))
    };
    if inside.len() < LEAST_DIFFERENCES || count < LEAST_DIFFERENCES {
        return None;
    }
    quantile(inside, 0.5).zip(normal).filter(|&(_, normal)| normal > 0.0)
}

/// Scatter within the stretches of the window, against that of the quietest of the joint.
fn fast_scatter(case: &Case<'_>, channel: Channel) -> Option<f64> {
    let of = |course: &BandHistory| points(course, |stretch| stretch.of(channel).variance());
    let (inside, rest): (Vec<_>, Vec<_>) =
        of(case.course?).into_iter().partition(|point| point.is_in(case.window));
    let inside = quantile(inside.into_iter().map(|point| point.value).collect(), 0.5)?;
    let value = |point: Point| point.value;
    let gather = || case.scene.of_each(|course| of(course).into_iter().map(value));
    let all = case.scene.gathered.sorted(Kind::Scatter, channel as u8, gather);
    let others = all.iter().filter(|&&(_, band)| band != case.band).map(|&(value, _)| value);
    let outside = quantile(others.chain(rest.into_iter().map(value)).collect(), 0.5)?;
    (outside > 0.0).then(|| (inside / outside).sqrt())
}

/// Does it go up and down over seconds, more than it scatters from reading to reading?
pub fn ragged(case: &Case<'_>, subject: Measurand) -> Option<Seen> {
    let all = case.series(subject);
    let (inside, normal) = match unevenness(case, &all, subject) {
        Some(found) => found,
        None if all.is_empty() => return None,
        None => return Some(UNSEEN),
    };
    let times = inside / normal;
    let slow = times / fast_scatter(case, subject.channel()).unwrap_or(1.0).max(1.0);
    let evidence = Evidence::between(Some(subject.channel()), case.window.from_us, case.window.to_us)
        .words(format!("{} wanders {times:.1} times as much as normal, by ", subject.name()))
        .figure(inside, subject.dimension())
        .words(" from one moment to the next")
        .times();
    let level = quantile(all.iter().map(|point| point.value.abs()).collect(), 0.5)?.max(f64::MIN_POSITIVE);
    let large = ramp(inside / level, UNEVEN.0, UNEVEN.1);
    Some(Seen {
        degree: ramp(times, RAGGED.0, RAGGED.1) * ramp(slow, SLOW.0, SLOW.1) * large,
        evidence: Some(evidence),
    })
}

/// Is a change larger than what is read scatters from reading to reading in the window? What is worked out of
/// readings has no scatter of its own.
fn over_scatter(case: &Case<'_>, subject: Measurand, change: f64) -> f64 {
    if matches!(subject, Measurand::WeaveWidth | Measurand::WeaveRate | Measurand::Turning) {
        return 1.0;
    }
    let Some(course) = case.course else { return 1.0 };
    let all = points(course, |stretch| stretch.of(subject.channel()).variance());
    let inside = all.iter().filter(|point| point.is_in(case.window)).map(|point| point.value);
    let deviation = quantile(inside.collect(), 0.5).map_or(0.0, f64::sqrt);
    ramp(change.abs() / deviation.max(f64::MIN_POSITIVE), SCATTER.0, SCATTER.1)
}

/// Did it go off and come back, several times in the band?
pub fn comes_and_goes(case: &Case<'_>, subject: Measurand) -> Option<Seen> {
    let all = case.series(subject);
    if all.is_empty() {
        return None;
    }
    let Some(normal) = usual(&all, case.window) else { return Some(UNSEEN) };
    let departures = [Way::Down, Way::Up].map(|way| departure(&all, case.window, normal, way));
    let size = |worst: f64| (worst - normal).abs();
    let found = departures.into_iter().flatten().max_by(|a, b| size(a.worst).total_cmp(&size(b.worst)));
    let Some(found) = found else { return Some(UNSEEN) };
    let share = |point: &Point| (point.value - normal) / (found.worst - normal);
    let (mut off, mut comings) = (false, 0_u32);
    for point in &all {
        if !off && share(point) >= COME_AND_GONE.0 {
            (off, comings) = (true, comings + 1);
        } else if share(point) <= COME_AND_GONE.1 {
            off = false;
        }
    }
    let large = ramp(size(found.worst) / normal.abs(), NOISE.0, NOISE.1)
        * over_scatter(case, subject, size(found.worst));
    if comings < 2 || large <= 0.0 {
        return Some(UNSEEN);
    }
    let evidence = Evidence::between(Some(subject.channel()), all.first()?.from_us, all.last()?.to_us)
        .words(format!("{} went off {comings} times in the band, to ", subject.name()))
        .figure(found.worst, subject.dimension())
        .words(format!("{} and back", subject.per_s()));
    Some(Seen { degree: large * ramp(f64::from(comings), COMINGS.0, COMINGS.1), evidence: Some(evidence) })
}

/// Did it go off, and come back while the band went on?
pub fn comes_back(case: &Case<'_>, subject: Measurand) -> Option<Seen> {
    let all = case.series(subject);
    let end_us = all.last()?.to_us;
    let Some(normal) = usual(&all, case.window) else { return Some(UNSEEN) };
    let found = [Way::Down, Way::Up].into_iter().filter_map(|way| departure(&all, case.window, normal, way));
    let found = found.max_by(|a, b| (a.worst - normal).abs().total_cmp(&(b.worst - normal).abs()));
    let Some(found) = found.filter(|found| found.to.to_us + BACK_US <= end_us) else { return Some(UNSEEN) };
    let evidence = Evidence::between(Some(subject.channel()), found.from.from_us, found.to.to_us)
        .words(format!("{} is back at {:.1} s", subject.name(), seconds(found.to.to_us)));
    // What went slowly was not let go at once.
    let stretch_s = seconds(found.reached.to_us - found.reached.from_us);
    let slow = found.came_s.map_or(0.0, |came_s| {
        ramp(came_s, AT_ONCE_S.0.max(2.2 * stretch_s), AT_ONCE_S.1.max(4.2 * stretch_s))
    });
    let large = over_scatter(case, subject, found.worst - normal);
    Some(Seen { degree: CAME_BACK * (1.0 - slow) * large, evidence: Some(evidence) })
}

fn apart_deg(a: f64, b: f64) -> f64 {
    ((a - b + 180.0).rem_euclid(360.0) - 180.0).abs()
}

/// Does it swing once a turn, highest at the same place of the pipe on every band?
pub fn once_a_turn(case: &Case<'_>, subject: Measurand) -> Option<Seen> {
    let course = case.course?;
    let Some(own) = swing(course, subject) else { return Some(UNSEEN) };
    let strength =
        |it: &Swing| ramp(it.explained, EXPLAINED.0, EXPLAINED.1) * ramp(it.size, SWING.0, SWING.1);
    let gather = || {
        let swings = case.scene.courses.iter().filter_map(|other| Some((other.band, swing(other, subject)?)));
        swings.collect()
    };
    let all = case.scene.gathered.swings(subject as u8, gather);
    let others: Vec<Swing> =
        all.iter().filter(|(band, _)| *band != case.band).map(|&(_, swing)| swing).collect();
    // One band alone cannot tell a place of the pipe from a time of the band.
    if others.is_empty() {
        return Some(UNSEEN);
    }
    let alike = |other: &Swing| {
        let apart = apart_deg(own.highest_deg, other.highest_deg);
        strength(other) * (1.0 - ramp(apart, SAME_PLACE_DEG.0, SAME_PLACE_DEG.1))
    };
    let degree = strength(&own) * others.iter().map(alike).fold(1.0, f64::min);
    if degree <= 0.0 {
        return Some(UNSEEN);
    }
    let (first, last) = (course.stretches.first()?, course.stretches.last()?);
    let (percent, place) = (own.size * 100.0, own.highest_deg.rem_euclid(360.0));
    let evidence = Evidence::between(Some(subject.channel()), first.from_us, last.to_us).words(format!(
        "{} swings by {percent:.1} % once a turn, highest at {place:.0} deg of the spindle, as on the other bands",
        subject.name()
    ));
    Some(Seen { degree, evidence: Some(evidence) })
}

/// A pipe that slips is still dragged along; one whose drive stands is not.
pub fn creeps_on(case: &Case<'_>) -> Option<Seen> {
    let all = case.series(Measurand::Turning);
    let normal = usual(&all, case.window).filter(|normal| *normal > 0.0)?;
    let Window { from_us, to_us } = case.window;
    // The edges of the window turn at full speed.
    let wholly = |point: &&Point| point.from_us >= from_us && point.to_us <= to_us;
    let inside: Vec<f64> = all.iter().filter(wholly).map(|point| point.value).collect();
    let slow = if inside.len() < LEAST_INSIDE {
        all.iter().filter(|point| point.is_in(case.window)).map(|point| point.value).min_by(f64::total_cmp)?
    } else {
        quantile(inside, 0.25)?
    };
    let percent = 100.0 * slow / normal;
    let evidence = Evidence::between(Some(Channel::Spindle), from_us, to_us)
        .words(format!("the pipe keeps {percent:.0} % of its speed"))
        .times();
    Some(Seen { degree: ramp(slow / normal, CREEPS_ON.0, CREEPS_ON.1), evidence: Some(evidence) })
}

/// Did it begin in the last seconds of a band, as a crater fill does?
pub fn band_ends(case: &Case<'_>) -> Option<Seen> {
    let end_us = case.scene.record(case.band)?.end_us;
    let ends = case.window.from_us.saturating_add(CRATER_US) >= end_us;
    let evidence = Evidence::between(None, case.window.from_us, end_us).words(format!(
        "it began {:.1} s before the end of the band",
        seconds(end_us.saturating_sub(case.window.from_us))
    ));
    Some(Seen { degree: f64::from(u8::from(ends)), evidence: ends.then_some(evidence) })
}

/// Does the band go on where the arc of the one before went out?
pub fn goes_on(case: &Case<'_>) -> Seen {
    case.scene.goes_on(case.band).map_or(UNSEEN, |(before, record)| {
        let (out_s, back_s) = (seconds(before.end_us), seconds(record.start_us));
        let evidence = Evidence::between(Some(Channel::Current), before.end_us, record.start_us)
            .words(format!(
                "the arc of the band before went out at {out_s:.1} s and was struck again at {back_s:.1} s"
            ))
            .words(", without a step");
        Seen { degree: 1.0, evidence: Some(evidence) }
    })
}

/// Did the arc burn again in the band, or where it ended, after the outage?
pub fn struck_again(case: &Case<'_>) -> Option<Seen> {
    let band = case.scene.record(case.band)?;
    if let Some((_, next)) = case.scene.goes_on(case.band + 1) {
        let evidence = Evidence::between(Some(Channel::Current), band.end_us, next.start_us)
            .words(format!("the arc was struck again at {:.1} s, without a step", seconds(next.start_us)));
        return Some(Seen { degree: 1.0, evidence: Some(evidence) });
    }
    let again = band.end_us > case.window.from_us + STRUCK_AGAIN_US;
    let end_s = seconds(band.end_us);
    let evidence = Evidence::between(Some(Channel::Current), case.window.from_us, band.end_us)
        .words(format!("the band's last arc is at {end_s:.1} s"));
    Some(Seen { degree: f64::from(u8::from(again)), evidence: Some(evidence) })
}

/// A crater is filled within this before the arc goes out, µs. Common practice, no source.
const CRATER_US: u64 = 4_000_000;
/// The onset of an outage and the end of a band may be told a row or two apart, µs.
const STRUCK_AGAIN_US: u64 = 500_000;
