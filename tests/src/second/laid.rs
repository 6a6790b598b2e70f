//! What has been laid so far.
//!
//! Decides: the truth of each band.

use super::shop;
use super::truth::BandTruth;
use std::f64::consts::PI;

/// Share of the wire that stays on the joint, and its section, mm2.
const STAYS: f64 = 0.94;
const WIRE_MM2: f64 = PI * 1.6 * 1.6 / 4.0;

/// Bands done, and the one under the arc.
#[derive(Clone, Debug, Default)]
pub struct Laid {
    /// Bands done.
    pub bands: Vec<BandTruth>,
    /// Short arcs.
    pub tacks: usize,
    now: Option<Running>,
}

#[derive(Clone, Copy, Debug)]
struct Running {
    truth: BandTruth,
    from_deg: f64,
    arc_s: f64,
    sums: [f64; 2],
    fed_per_width: f64,
}

impl Laid {
    /// An instant of arc: current and voltage, and the wire's speed over the width.
    pub fn lay(
        &mut self,
        dt_s: f64,
        band: usize,
        at_s: f64,
        pipe_deg: f64,
        now: [f64; 2],
        fed_per_width: f64,
    ) {
        if band == 0 {
            return;
        }
        let truth = BandTruth { band, start_s: at_s, ..BandTruth::default() };
        let start = Running { truth, from_deg: pipe_deg, arc_s: 0.0, sums: [0.0; 2], fed_per_width: 0.0 };
        let running = self.now.get_or_insert(start);
        running.arc_s += dt_s;
        running.truth.end_s = at_s;
        running.truth.turned_deg = (pipe_deg - running.from_deg).abs();
        for (sum, now) in running.sums.iter_mut().zip(now) {
            *sum += now * dt_s;
        }
        running.fed_per_width += fed_per_width * dt_s;
    }
    /// The arc is off for good, or the trace ends.
    pub fn end(&mut self, at_s: f64) {
        let Some(running) = self.now.take() else { return };
        let mut truth = running.truth;
        truth.end_s = truth.end_s.min(at_s);
        truth.overlap_deg = truth.turned_deg - 360.0 * (truth.turned_deg / 360.0).floor().max(1.0);
        [truth.current_a, truth.voltage_v] = running.sums.map(|sum| sum / running.arc_s);
        let length_mm = PI * shop::DIAMETER_MM * truth.turned_deg / 360.0;
        truth.height_mm = STAYS * WIRE_MM2 * running.fed_per_width / length_mm.max(1.0);
        self.bands.push(truth);
    }
}
