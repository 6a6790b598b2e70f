//! How a quantity swings once a turn of the pipe.
//!
//! Decides: that a turn must be covered, and by how many points.
//! Never: says what a swing means.

use super::band_history::BandHistory;
use super::series::{Measurand, Point, series};

/// One swing a turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swing {
    /// Half of it, against the mean.
    pub size: f64,
    /// Share of the variance that it explains.
    pub explained: f64,
    /// Where on the pipe it is highest, degrees.
    pub highest_deg: f64,
}

/// The first harmonic over the band's first full turn.
pub fn swing(course: &BandHistory, subject: Measurand) -> Option<Swing> {
    let all = series(course, subject);
    let angle = |point: &Point| Some(f64::midpoint(point.from_deg?, point.to_deg?));
    let turn: Vec<(f64, f64)> = all
        .iter()
        .filter_map(|point| Some((angle(point)?, point.value)))
        .filter(|&(deg, _)| deg <= 360.0)
        .collect();
    let covered = turn.last()?.0 - turn.first()?.0;
    let count = turn.len() as f64;
    if covered < 300.0 || count < 12.0 {
        return None;
    }
    let mean = turn.iter().map(|&(_, value)| value).sum::<f64>() / count;
    let project = |wave: fn(f64) -> f64| {
        2.0 / count * turn.iter().map(|&(deg, value)| (value - mean) * wave(deg.to_radians())).sum::<f64>()
    };
    let (cosine, sine) = (project(f64::cos), project(f64::sin));
    let variance = turn.iter().map(|&(_, value)| (value - mean).powi(2)).sum::<f64>() / count;
    let half = cosine.hypot(sine);
    (variance > 0.0 && mean > 0.0).then(|| Swing {
        size: half / mean,
        explained: half * half / 2.0 / variance,
        highest_deg: course.on_the_pipe_deg(sine.atan2(cosine).to_degrees()),
    })
}
