//! What was put into a made trace, and what came of it.
//!
//! Decides: the form of a truth file, and its name.
//! Assumes: nothing.
//! Never: is read by the monitor.

use crate::output::name::split;
use bandward::{Channel, Rule};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// The truth about a made trace.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Name of the scenario.
    pub scenario: String,
    /// What a reader should know: that the data are invented.
    pub note: String,
    /// Seed of every random number.
    pub seed: u64,
    /// Rows a second.
    pub sample_rate_hz: f64,
    /// What was put in, in the order of the scenario.
    pub faults: Vec<FaultTruth>,
    /// The bands as they were laid.
    pub bands: Vec<BandTruth>,
    /// The joints as they were welded, where there are several.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub joints: Vec<JointTruth>,
    /// What was done that is no fault, in the order of time within each joint.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub habits: Vec<HabitTruth>,
}

/// One joint of a shift.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct JointTruth {
    /// Counted from 1.
    pub joint: u16,
    /// Arc start of its first band, s since the start of the trace.
    pub start_s: f64,
    /// Arc end of its last band, s since the start of the trace.
    pub end_s: f64,
    /// Bands that were laid.
    pub bands: u16,
    /// Bands that were due.
    pub bands_due: u16,
}

/// One habit as it happened: good welding, to be passed over.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct HabitTruth {
    /// Name of the kind of habit.
    pub habit: String,
    /// Joint, from 1, where there are several; absent for an instrument.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joint: Option<u16>,
    /// Band, from 1; absent for an instrument.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub band: Option<u16>,
    /// When it began, s since the start of the trace.
    pub start_s: f64,
    /// When it ended, s since the start of the trace.
    pub end_s: f64,
    /// How large it was, in `unit`.
    pub size: f64,
    /// Unit of the size; `of 1` for a share.
    pub unit: String,
    /// What the size means.
    pub size_means: String,
    /// Name of the channel of an instrument, or of what is corrected by hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub of: Option<String>,
}

/// One fault as it happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FaultTruth {
    /// Name of the rule that should be raised, if one.
    pub rule: Option<String>,
    /// Name of the kind of fault.
    pub kind: String,
    /// Joint, from 1, where there are several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joint: Option<u16>,
    /// Band, from 1.
    pub band: u16,
    /// When its cause began, s since the start of the trace.
    pub start_s: f64,
    /// When its cause ended, s since the start of the trace.
    pub end_s: f64,
    /// When the true value left the allowed range, for one that creeps; otherwise as `start_s`.
    pub outside_from_s: f64,
    /// Angle from the start of the band where it began; absent outside the arc.
    pub from_deg: Option<f64>,
    /// Angle from the start of the band where it ended; absent outside the arc.
    pub to_deg: Option<f64>,
    /// How large it was, in `unit`.
    pub size: Option<f64>,
    /// Unit of the size; `of 1` for a share.
    pub unit: Option<String>,
    /// What the size means.
    pub size_means: String,
    /// Name of the channel, for a fault of an instrument.
    pub channel: Option<String>,
}

impl FaultTruth {
    /// The rule that should be raised.
    pub fn rule(&self) -> Option<Rule> {
        self.rule.as_deref().and_then(Rule::from_name)
    }
    /// The channel of the instrument.
    pub fn channel(&self) -> Option<Channel> {
        Channel::ALL.into_iter().find(|channel| Some(channel.name()) == self.channel.as_deref())
    }
}

/// One band as it was laid.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct BandTruth {
    /// Joint, from 1, where there are several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joint: Option<u16>,
    /// Counted from 1 on each joint.
    pub band: u16,
    /// Arc start, s since the start of the trace.
    pub start_s: f64,
    /// Arc end, s since the start of the trace.
    pub end_s: f64,
    /// Turns of the pipe under the arc.
    pub turns: f64,
    /// Mean current while the arc burned, without sign, A.
    pub current_a: f64,
    /// Mean voltage while the arc burned, without sign, V.
    pub voltage_v: f64,
    /// Mean of voltage times current while the arc burned, W.
    pub arc_power_w: f64,
    /// Short circuits of the arc, the one of each strike left out.
    pub short_circuits: u32,
    /// Work temperature as the arc started, °C.
    pub work_at_start_c: f64,
    /// Mean height, mm.
    pub mean_height_mm: f64,
    /// Height over each 10 degrees from the start of the band, mm; where the band runs over its own
    /// start both layers count.
    pub height_mm: Vec<f64>,
}

/// Where the truth about a trace stands: `joint.csv.gz` has its own in `joint.truth.json`.
pub fn truth_path(trace: &Path) -> PathBuf {
    let (stem, ending) = split(trace);
    let is_trace =
        [".csv", ".csv.gz", ".csv.zst", ".parquet"].iter().any(|own| ending.eq_ignore_ascii_case(own));
    let mut name = if is_trace { stem } else { trace.file_name().unwrap_or_default().to_owned() };
    name.push(".truth.json");
    trace.with_file_name(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_truth_stands_beside_its_trace() {
        for (trace, truth) in [
            ("a/joint.csv", "a/joint.truth.json"),
            ("joint.CSV.gz", "joint.truth.json"),
            ("joint.csv.zst", "joint.truth.json"),
            ("x.y.parquet", "x.y.truth.json"),
        ] {
            assert_eq!(truth_path(Path::new(trace)), Path::new(truth));
        }
    }
}
