//! Where current and voltage flutter, and how.
//!
//! Decides: what is quiet, where it flutters, whether that grew or set in, and whether the current or
//! the voltage flutters more.
//! Assumes: a sound arc is about equally quiet all along the joint.
//! Never: calls the ramp of a crater that is filled flutter; looks at a trace with too few rows: without scatter in a stretch there is no flutter; takes what is quiet
//! from a reading that is not believed.

use super::band_history::{BandHistory, Stretch};
use super::series::{Point, Way, Window, departure, points, quantile};
use bandward::Channel;

/// Scatter this many times the quiet one, current and voltage together, is flutter.
const FLUTTER: f64 = 1.45;
/// Flutter lasts at least this long, µs.
const LEAST_US: u64 = 1_500_000;
/// What begins from here on, and lasts to the end of the band, is a crater that is filled, degrees.
const CRATER_FROM_DEG: f64 = 350.0;
/// Neighbouring stretches that are averaged.
const AVERAGED: usize = 8;
/// So many of them, the most scattered, are left out: a step of the value is no flutter.
const LEFT_OUT: usize = 2;
/// This share of a joint's stretches is at most as quiet as its quiet level.
const QUIET_SHARE: f64 = 0.3;

/// Mean squares of current and voltage about their means where the arc is quiet, A^2 and V^2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quiet {
    current: f64,
    voltage: f64,
}

impl Quiet {
    /// The quietest band of the joint, of those in which the reading can be believed.
    pub fn of(courses: &[BandHistory], believed: impl Fn(u16, Channel) -> bool) -> Option<Self> {
        let quietest = |channel: Channel| {
            let level = |course: &BandHistory| {
                let scatters = course.stretches.iter().filter_map(|stretch| stretch.of(channel).variance());
                quantile(scatters.collect(), QUIET_SHARE)
            };
            let sound = courses.iter().filter(|course| believed(course.band, channel));
            sound.filter_map(level).min_by(f64::total_cmp)
        };
        Some(Self { current: quietest(Channel::Current)?, voltage: quietest(Channel::Voltage)? })
    }
}

/// A piece of a band over which current and voltage flutter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flutter {
    /// When.
    pub window: Window,
    /// Its first point; the value is the scatter against the quiet one.
    pub from: Point,
    /// Its last point.
    pub to: Point,
    /// Largest scatter against the quiet one, current and voltage together.
    pub worst: f64,
    /// Scatter of the current against the quiet one, over that of the voltage.
    pub current_over_voltage: f64,
    /// Scatter of the voltage against the quiet one.
    pub voltage_times: f64,
    /// Standard deviation of the current over it, A.
    pub current_a: f64,
    /// Standard deviation of the voltage over it, V.
    pub voltage_v: f64,
    /// Time it took to grow, s; absent where the band began with it.
    pub came_s: Option<f64>,
    /// Scatter against the quiet one over its first and its last third.
    pub thirds: (f64, f64),
}

/// Mean square of a channel against the quiet one along a band.
fn against(course: &BandHistory, channel: Channel, quiet: f64) -> Vec<Point> {
    let raw = points(course, |stretch| Some(stretch.of(channel).variance()? / quiet));
    let around = |index: usize| {
        let low = index.saturating_sub(AVERAGED / 2);
        let mut values: Vec<f64> = raw.iter().skip(low).take(AVERAGED).map(|point| point.value).collect();
        values.sort_by(f64::total_cmp);
        values.truncate(values.len().saturating_sub(LEFT_OUT).max(1));
        values.iter().sum::<f64>() / values.len() as f64
    };
    (0..raw.len()).map(|index| Point { value: around(index), ..raw[index] }).collect()
}

/// Scatter against the quiet one along a band: the geometric mean of current and voltage.
fn scatter(course: &BandHistory, quiet: &Quiet) -> Vec<Point> {
    let current = against(course, Channel::Current, quiet.current);
    let voltage = against(course, Channel::Voltage, quiet.voltage);
    let both = |point: &Point| {
        let other = voltage.iter().find(|other| other.from_us == point.from_us)?;
        Some(Point { value: (point.value * other.value).sqrt().sqrt(), ..*point })
    };
    current.iter().filter_map(both).collect()
}

/// The pieces of a band over which it flutters.
pub fn flutters(course: &BandHistory, quiet: &Quiet) -> Vec<Flutter> {
    let scatter = scatter(course, quiet);
    scatter
        .chunk_by(|a, b| (a.value >= FLUTTER) == (b.value >= FLUTTER))
        .filter(|run| run[0].value >= FLUTTER)
        .filter(|run| run[run.len() - 1].to_us.saturating_sub(run[0].from_us) >= LEAST_US)
        .filter(|run| {
            let is_last = run.last().zip(scatter.last()).is_some_and(|(run, band)| run.to_us == band.to_us);
            !is_last || run[0].from_deg.is_none_or(|from_deg| from_deg < CRATER_FROM_DEG)
        })
        .filter_map(|run| flutter(course, quiet, &scatter, (run[0], run[run.len() - 1])))
        .collect()
}

fn flutter(course: &BandHistory, quiet: &Quiet, scatter: &[Point], ends: (Point, Point)) -> Option<Flutter> {
    let (from, to) = ends;
    let window = Window { from_us: from.from_us, to_us: to.to_us };
    let grown = departure(scatter, window, 1.0, Way::Up)?;
    let mean = |of: &dyn Fn(&Stretch) -> Option<f64>| super::series::mean_in(&points(course, of), window);
    let current = mean(&|stretch| stretch.of(Channel::Current).variance())?;
    let voltage = mean(&|stretch| stretch.of(Channel::Voltage).variance())?;
    let since_us = grown.from.from_us;
    let third = |index: u64| {
        let at = |part: u64| since_us + (to.to_us - since_us) * part / 3;
        super::series::mean_in(scatter, Window { from_us: at(index), to_us: at(index + 1) })
    };
    Some(Flutter {
        window,
        from,
        to,
        worst: grown.worst,
        current_over_voltage: (current / quiet.current * quiet.voltage / voltage).sqrt(),
        voltage_times: (voltage / quiet.voltage).sqrt(),
        current_a: current.sqrt(),
        voltage_v: voltage.sqrt(),
        came_s: grown.came_s,
        thirds: (third(0)?, third(2)?),
    })
}
