//! What was put into a trace.
//!
//! Decides: what is known of a joint without looking at its rows.

use super::fault::Fault;
use serde_json::{Value, json};

/// A band as it was laid.
#[derive(Clone, Copy, Debug, Default)]
pub struct BandTruth {
    /// Its number, from 1.
    pub band: usize,
    /// First and last instant of arc, s.
    pub start_s: f64,
    /// Last instant of arc, s.
    pub end_s: f64,
    /// Angle of the pipe under the arc, degrees.
    pub turned_deg: f64,
    /// Past whole turns, degrees.
    pub overlap_deg: f64,
    /// Mean current while the arc burned, A.
    pub current_a: f64,
    /// Mean voltage while the arc burned, V.
    pub voltage_v: f64,
    /// Mean height of what was laid, mm.
    pub height_mm: f64,
}

/// A fault as it happened.
#[derive(Clone, Copy, Debug)]
pub struct FaultTruth {
    /// What was put in.
    pub fault: Fault,
    /// When it began, s; absent where it never came to it.
    pub start_s: Option<f64>,
    /// When it was over, s.
    pub end_s: Option<f64>,
    /// When the true quantity first left its allowed range, s.
    pub outside_s: Option<f64>,
}

/// All that was put in.
#[derive(Clone, Debug, Default)]
pub struct Truth {
    /// The bands, in order.
    pub bands: Vec<BandTruth>,
    /// Short arcs that are no bands.
    pub tacks: usize,
    /// The faults.
    pub faults: Vec<FaultTruth>,
}

impl Truth {
    /// As JSON, with the generator named.
    pub fn json(&self) -> Value {
        let bands: Vec<_> = self.bands.iter().map(band_json).collect();
        let faults: Vec<_> = self.faults.iter().map(fault_json).collect();
        json!({ "generator": "second", "bands": bands, "tacks": self.tacks, "faults": faults })
    }
}

fn band_json(band: &BandTruth) -> Value {
    json!({
        "band": band.band, "start_s": band.start_s, "end_s": band.end_s,
        "turns": band.turned_deg / 360.0, "overlap_deg": band.overlap_deg,
        "current_a": band.current_a, "voltage_v": band.voltage_v, "height_mm": band.height_mm,
    })
}

fn fault_json(truth: &FaultTruth) -> Value {
    let FaultTruth { fault, start_s, end_s, outside_s } = truth;
    json!({
        "kind": fault.name(), "shape": fault.shape.name(), "size": fault.size(), "band": fault.band,
        "from_deg": fault.from_deg, "start_s": start_s, "end_s": end_s, "outside_s": outside_s,
        "rules": fault.rules(), "causes": fault.causes(),
    })
}
