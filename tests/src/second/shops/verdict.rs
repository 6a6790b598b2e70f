//! What `trend` says of a shop.
//!
//! Decides: what of its JSON counts as called unsteady, as detected, and as rightly named.

use super::wrong::Expected;
use crate::second::thresholds::program::Program;
use serde_json::Value;
use std::path::Path;

/// What was said of a shop.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// `steady` as told: absent where nothing could be told.
    pub steady: Option<bool>,
    /// Quantities that drift at the last joint.
    pub drifting: Vec<String>,
    /// Quantities whose baseline is said to drift.
    pub baselines: Vec<String>,
    /// Was a drift signalled at any joint?
    pub ever: bool,
    /// Causes, the likeliest first.
    pub causes: Vec<String>,
    said: Value,
}

/// What came of what is wrong.
#[derive(Clone, Copy, Debug, Default)]
pub struct Detection {
    /// Joint, as the log numbers it, at which the quantity that shows it was signalled.
    pub at_joint: Option<usize>,
    /// Place of a right cause, from 0.
    pub cause_at: Option<usize>,
    /// Told as this: the right shape, the other one, or not told.
    pub shape: Option<bool>,
    /// Said to drift within the baseline.
    pub in_baseline: bool,
}

/// Asks `trend` about these records.
///
/// # Errors
/// The program cannot do it.
pub fn verdict(program: &Program, records: &[Value], folder: &Path, name: &str) -> Result<Verdict, String> {
    let path = folder.join(format!("{name}.json"));
    let lines: Vec<String> = records.iter().map(Value::to_string).collect();
    std::fs::write(&path, format!("[\n{}\n]\n", lines.join(",\n"))).map_err(|error| error.to_string())?;
    let said = program.json(&["trend", "--json"], &[&path])?;
    Ok(read(said))
}

/// Reads what `trend --json` printed.
pub fn read(said: Value) -> Verdict {
    let quantities = || said["quantities"].as_array().into_iter().flatten();
    let named = |keep: &dyn Fn(&Value) -> bool| {
        let kept = quantities().filter(|quantity| keep(quantity));
        kept.map(|quantity| quantity["quantity"].as_str().unwrap_or_default().to_owned()).collect()
    };
    let drifts = |quantity: &Value| quantity["drift"]["standing"] == Value::Bool(true);
    let causes = said["causes"].as_array().into_iter().flatten();
    Verdict {
        steady: said["steady"].as_bool(),
        drifting: named(&drifts),
        baselines: named(&|quantity| quantity["baseline"]["drifting"].is_object()),
        ever: quantities().any(|quantity| quantity["drift"].is_object()),
        causes: causes.filter_map(|cause| cause["cause"].as_str().map(str::to_owned)).collect(),
        said,
    }
}

impl Verdict {
    /// Holds it against what is wrong; `chart` tells whose chart of a quantity it must be.
    pub fn detection(&self, expected: &Expected, from_joint: usize, chart: Option<u64>) -> Detection {
        let Some((quantity, way)) = expected.shows else { return Detection::default() };
        let is_own = |entry: &&Value| {
            entry["quantity"] == quantity && chart.is_none_or(|chart| entry["chart"] == chart)
        };
        let own = self.said["quantities"].as_array().into_iter().flatten().find(is_own);
        let drift = own.map_or(&Value::Null, |own| &own["drift"]);
        let at_joint = drift["signalled_at_joint"].as_u64().map(|at| at as usize);
        let detected = at_joint.filter(|&at| at >= from_joint && drift["way"] == way);
        let told = drift["change"]["shape"].as_str().filter(|shape| *shape != "not told");
        Detection {
            at_joint: detected,
            cause_at: self.causes.iter().position(|cause| expected.causes.contains(&cause.as_str())),
            shape: detected.and(told).map(|shape| shape == expected.shape),
            in_baseline: own.is_some_and(|own| own["baseline"]["drifting"]["way"] == way),
        }
    }
    /// The chart of a machine.
    pub fn chart_of(&self, machine: &str) -> Option<u64> {
        let charts = self.said["charts"].as_array()?;
        charts.iter().find(|chart| chart["machine"] == machine)?["chart"].as_u64()
    }
}
