//! How long the weld takes from 800 to 500 °C, which decides how hard the steel beside it becomes.
//!
//! Decides: the time by EN 1011-2 annex D (from memory), and whether heat flows in two or three directions.
//! Assumes: a bead on a plate (shape factors 1), one bead without weave; a wide weave cools more slowly.
//! Never: gives a time for work that is itself near 500 °C or above: see [`VALID_TO_C`].

/// The time grows beyond all bounds as the work comes to 500 °C: from here on ten degrees more or less of the work are a
/// fifth of the time, and more than is ever read of it. Common practice, no source: the standard has no such work.
pub const VALID_TO_C: f64 = 450.0;

/// The time from 800 to 500 °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoolingTime {
    /// The time, s.
    pub seconds: f64,
    /// Does the heat flow away in the plane of the wall only, since the wall is thin?
    pub is_two_dimensional: bool,
    /// The wall at which both formulas give the same time, mm.
    pub transition_mm: f64,
}

impl CoolingTime {
    /// The time for a heat input, a wall and the temperature of the work; `None` where one is not possible.
    pub fn of(heat_input_kj_per_mm: f64, thickness_mm: f64, work_c: f64) -> Option<Self> {
        let is_possible = heat_input_kj_per_mm > 0.0 && thickness_mm > 0.0 && work_c <= VALID_TO_C;
        is_possible.then(|| {
            let transition_mm = transition(heat_input_kj_per_mm, work_c);
            let is_two_dimensional = thickness_mm < transition_mm;
            let seconds = if is_two_dimensional {
                in_a_thin_wall(heat_input_kj_per_mm, thickness_mm, work_c)
            } else {
                in_a_thick_wall(heat_input_kj_per_mm, work_c)
            };
            Self { seconds, is_two_dimensional, transition_mm }
        })
    }
}

/// One over the way from the work's temperature to 500 °C, and to 800 °C.
fn inverse_ways(work_c: f64) -> (f64, f64) {
    (1.0 / (500.0 - work_c), 1.0 / (800.0 - work_c))
}

/// Three-dimensional: t = (6700 - 5 T0) Q (1/(500-T0) - 1/(800-T0)).
fn in_a_thick_wall(heat_input_kj_per_mm: f64, work_c: f64) -> f64 {
    let (to_500, to_800) = inverse_ways(work_c);
    (6700.0 - 5.0 * work_c) * heat_input_kj_per_mm * (to_500 - to_800)
}

/// Two-dimensional: t = (4300 - 4.3 T0) 1e5 Q²/d² ((1/(500-T0))² - (1/(800-T0))²).
fn in_a_thin_wall(heat_input_kj_per_mm: f64, thickness_mm: f64, work_c: f64) -> f64 {
    let (to_500, to_800) = inverse_ways(work_c);
    let share = heat_input_kj_per_mm / thickness_mm;
    (4300.0 - 4.3 * work_c) * 1e5 * share * share * (to_500 * to_500 - to_800 * to_800)
}

/// The wall at which both agree: the two formulas set equal and solved for d.
fn transition(heat_input_kj_per_mm: f64, work_c: f64) -> f64 {
    let (to_500, to_800) = inverse_ways(work_c);
    let thin = (4300.0 - 4.3 * work_c) * 1e5 * heat_input_kj_per_mm * (to_500 + to_800);
    libm::sqrt(thin / (6700.0 - 5.0 * work_c))
}
