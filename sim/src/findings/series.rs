//! One quantity along a band, and how it left its usual value.
//!
//! Decides: what is usual, where a departure begins and ends, and how fast it came.
//! Assumes: a course of the band.
//! Never: says what a departure means.

use super::band_history::{BandHistory, Stretch};
use crate::input::unit::Dimension;
use bandward::{Channel, Quantity};

/// A quantity whose course is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measurand {
    /// Welding current.
    Current,
    /// Arc voltage.
    Voltage,
    /// Shielding gas flow.
    Gas,
    /// Wire feed speed.
    Wire,
    /// Torch coolant flow.
    Coolant,
    /// Weave width.
    WeaveWidth,
    /// Weave cycles a minute.
    WeaveRate,
    /// Speed of the spindle.
    Turning,
}

impl Measurand {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Current,
        Self::Voltage,
        Self::Gas,
        Self::Wire,
        Self::Coolant,
        Self::WeaveWidth,
        Self::WeaveRate,
        Self::Turning,
    ];
    /// What it is called in the table and in sentences.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Current => "current",
            Self::Voltage => "voltage",
            Self::Gas => "gas flow",
            Self::Wire => "wire feed",
            Self::Coolant => "coolant flow",
            Self::WeaveWidth => "weave width",
            Self::WeaveRate => "weave rate",
            Self::Turning => "turning speed",
        }
    }
    /// The quantity of a procedure that gives its range; a turning speed has none.
    pub const fn quantity(self) -> Option<Quantity> {
        Some(match self {
            Self::Current => Quantity::Current,
            Self::Voltage => Quantity::Voltage,
            Self::Gas => Quantity::GasFlow,
            Self::Wire => Quantity::WireFeed,
            Self::Coolant => Quantity::CoolantFlow,
            Self::WeaveWidth => Quantity::WeaveWidth,
            Self::WeaveRate => Quantity::WeaveRate,
            Self::Turning => return None,
        })
    }
    /// The channel it is read from.
    pub const fn channel(self) -> Channel {
        match self {
            Self::Current => Channel::Current,
            Self::Voltage => Channel::Voltage,
            Self::Gas => Channel::Gas,
            Self::Wire => Channel::Wire,
            Self::Coolant => Channel::Coolant,
            Self::WeaveWidth | Self::WeaveRate => Channel::Torch,
            Self::Turning => Channel::Spindle,
        }
    }
    /// What follows its unit in a sentence: a turning speed is in degrees a second.
    pub const fn per_s(self) -> &'static str {
        if matches!(self, Self::Turning) { "/s" } else { "" }
    }
    /// What it is measured in; see [`Self::per_s`].
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::WeaveRate => Dimension::Rate,
            _ => Dimension::of_channel(self.channel()),
        }
    }
}

/// A value over a piece of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Its beginning, µs.
    pub from_us: u64,
    /// Its end, µs.
    pub to_us: u64,
    /// Angle turned at its beginning, degrees.
    pub from_deg: Option<f64>,
    /// Angle turned at its end, degrees.
    pub to_deg: Option<f64>,
    /// The value.
    pub value: f64,
}

impl Point {
    fn new(stretch: &Stretch, value: f64) -> Self {
        let Stretch { from_us, to_us, from_deg, to_deg, .. } = *stretch;
        Self { from_us, to_us, from_deg, to_deg, value }
    }
    /// Does it lie in this time, at least in part?
    pub fn is_in(&self, window: Window) -> bool {
        self.to_us >= window.from_us && self.from_us <= window.to_us
    }
    fn middle_s(&self) -> f64 {
        (self.from_us as f64 + self.to_us as f64) / 2e6
    }
}

/// A piece of time, µs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    /// Its beginning.
    pub from_us: u64,
    /// Its end.
    pub to_us: u64,
}

/// The points of a quantity along a band; stretches without a reading have none.
pub fn series(course: &BandHistory, subject: Measurand) -> Vec<Point> {
    match subject {
        Measurand::WeaveWidth => points(course, |stretch| {
            let (count, width_mm) = stretch.widths;
            (count > 0).then(|| width_mm / f64::from(count))
        }),
        Measurand::WeaveRate => weave_rate(course),
        Measurand::Turning => turning(course),
        _ => points(course, |stretch| course.mean(stretch, subject.channel())),
    }
}

/// A point for every stretch that has a value.
pub fn points<'c>(course: &'c BandHistory, mut value: impl FnMut(&'c Stretch) -> Option<f64>) -> Vec<Point> {
    course.stretches.iter().filter_map(|stretch| Some(Point::new(stretch, value(stretch)?))).collect()
}

fn turning(course: &BandHistory) -> Vec<Point> {
    let mut before: Option<&Stretch> = None;
    points(course, |stretch| {
        // From the end of the stretch before, so that no angle is lost between them.
        let (from_us, from_deg) = before.map_or((stretch.from_us, stretch.from_deg), |b| (b.to_us, b.to_deg));
        before = Some(stretch);
        let elapsed_s = stretch.to_us.saturating_sub(from_us) as f64 / 1e6;
        (elapsed_s > 0.0).then_some((stretch.to_deg? - from_deg?) / elapsed_s)
    })
}

/// Half cycles a minute, halved; where none was completed, what the waiting time allows at most.
fn weave_rate(course: &BandHistory) -> Vec<Point> {
    let mut last: Option<f64> = None;
    points(course, |stretch| {
        let (count, time_us) = stretch.half_cycles;
        if count > 0 {
            last = Some(30e6 * f64::from(count) / time_us as f64);
        }
        let at_most = stretch.uncrossed_us.map_or(f64::INFINITY, |waited_us| 30e6 / waited_us.max(1) as f64);
        last.map(|last| last.min(at_most))
    })
}

/// Which way a value goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Smaller.
    Down,
    /// Larger.
    Up,
}

impl Way {
    fn sign(self) -> f64 {
        if self == Self::Down { -1.0 } else { 1.0 }
    }
}

/// How a quantity left its usual value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Departure {
    /// What was usual.
    pub usual: f64,
    /// How far it went, the few outermost points left out.
    pub worst: f64,
    /// Where it had left the usual value, and where it was back.
    pub from: Point,
    /// The last point that was off.
    pub to: Point,
    /// The point where it had gone most of its way.
    pub reached: Point,
    /// Time it took for most of its way, s; absent where the band began off.
    pub came_s: Option<f64>,
    /// Share of that time after which it had gone half its way.
    pub half_after: Option<f64>,
    /// Time it took for most of its way back, s; absent where the band ended with it.
    pub back_s: Option<f64>,
}

/// A departure begins and ends at this share of its size.
const BEGINS: f64 = 0.2;
/// At this share it has gone most of its way.
const REACHED: f64 = 0.8;
/// At this share it has gone half its way.
const HALF: f64 = 0.5;
/// So many of the outermost points do not count, or a tenth of them (a crater fill, which is a few seconds), but no
/// more than a quarter.
const OUTERMOST: usize = 2;
/// A rule notices up to this long after the fact, µs.
const NOTICED_US: u64 = 3_000_000;

/// How `points` went off their usual value in `window`; `None` where they did not go that way.
pub fn departure(points: &[Point], window: Window, usual: f64, way: Way) -> Option<Departure> {
    let off = |point: &Point| (point.value - usual) * way.sign();
    let early = Window { from_us: window.from_us.saturating_sub(NOTICED_US), ..window };
    let mut inside: Vec<f64> = points.iter().filter(|point| point.is_in(early)).map(off).collect();
    inside.sort_by(|a, b| b.total_cmp(a));
    let outermost = OUTERMOST.max(inside.len() / 10).min(inside.len() / 4);
    let size = inside.get(outermost).copied().filter(|&size| size > 0.0)?;
    let seen = points.iter().position(|point| point.is_in(early) && off(point) >= REACHED * size)?;
    let calm = points[..seen].iter().rposition(|point| off(point) < BEGINS * size);
    let first = calm.map_or(0, |calm| calm + 1);
    let reached = first + points[first..].iter().position(|point| off(point) >= REACHED * size)?;
    let half = first + points[first..].iter().position(|point| off(point) >= HALF * size)?;
    let back = points[reached..].iter().position(|point| off(point) < BEGINS * size);
    let last = back.map_or(points.len() - 1, |back| reached + back.saturating_sub(1));
    let apart_s = |from: usize, to: usize| points[to].middle_s() - points[from].middle_s();
    let lasted_s = |to: usize| calm.map(|calm| apart_s(calm, to));
    // A band that begins part of the way off, and goes on, took at least so long.
    let goes_on = calm.is_none() && off(&points[0]) < HALF * size;
    let came_s = lasted_s(reached).or_else(|| goes_on.then(|| apart_s(0, reached)));
    let back_s = back.map(|back| {
        let leaves = points[..=last].iter().rposition(|point| off(point) >= REACHED * size);
        apart_s(leaves.unwrap_or(last), reached + back)
    });
    Some(Departure {
        usual,
        worst: usual + size * way.sign(),
        from: points[first],
        to: points[last],
        reached: points[reached],
        came_s,
        half_after: lasted_s(half).zip(came_s).map(|(half_s, came_s)| half_s / came_s),
        back_s,
    })
}

/// The value below which `share` of the values lie.
pub fn quantile(mut values: Vec<f64>, share: f64) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let index = (share * values.len().saturating_sub(1) as f64).round() as usize;
    values.get(index).copied()
}

/// Median of the points outside `window`, if enough of the band lies there.
pub fn usual(points: &[Point], window: Window) -> Option<f64> {
    let outside: Vec<f64> =
        points.iter().filter(|point| !point.is_in(window)).map(|point| point.value).collect();
    if outside.len() * 8 < points.len() { None } else { quantile(outside, 0.5) }
}

/// Mean of the points inside `window`.
pub fn mean_in(points: &[Point], window: Window) -> Option<f64> {
    let inside: Vec<f64> =
        points.iter().filter(|point| point.is_in(window)).map(|point| point.value).collect();
    (!inside.is_empty()).then(|| inside.iter().sum::<f64>() / inside.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(value: impl Fn(u64) -> f64) -> Vec<Point> {
        (0..40)
            .map(|index| Point {
                from_us: index * 250_000,
                to_us: index * 250_000 + 240_000,
                from_deg: None,
                to_deg: None,
                value: value(index),
            })
            .collect()
    }

    const WINDOW: Window = Window { from_us: 4_000_000, to_us: 7_000_000 };

    #[test]
    fn a_step_comes_within_one_stretch() {
        let points = line(|index| if (14..28).contains(&index) { 8.0 } else { 10.0 });
        let found = departure(&points, WINDOW, 10.0, Way::Down).expect("it fell");
        assert_eq!((found.worst, found.from.from_us, found.to.from_us), (8.0, 3_500_000, 6_750_000));
        assert!((found.came_s.expect("seen to come") - 0.25).abs() < 1e-9);
        assert!(departure(&points, WINDOW, 10.0, Way::Up).is_none());
    }

    #[test]
    fn a_ramp_of_five_seconds_takes_three_from_a_fifth_to_four_fifths() {
        let points = line(|index| 10.0 - 0.2 * index.saturating_sub(8).min(20) as f64);
        let found = departure(&points, WINDOW, 10.0, Way::Down).expect("it fell");
        assert!((found.came_s.expect("seen to come") - 3.0).abs() < 0.6);
    }

    #[test]
    fn what_was_off_from_the_start_has_no_coming() {
        let points = line(|index| if index < 28 { 8.0 } else { 10.0 });
        let found = departure(&points, WINDOW, 10.0, Way::Down).expect("it is low");
        assert_eq!((found.came_s, found.from.from_us), (None, 0));
    }
}
