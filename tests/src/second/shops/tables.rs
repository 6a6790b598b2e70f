//! The tables of the outside evidence for `trend`.
//!
//! Decides: what is shown of steady shops, of shops with something wrong, and of the level of the records.

use super::steady::Shop;
use super::verdict::{Detection, Verdict};
use super::wrong::Wrong;
use serde_json::Value;
use std::fmt::Write;

/// Between these lines the README shows them.
pub const BEGINS: &str = "<!-- from trend-report --update -->\n";
/// As [`BEGINS`].
pub const ENDS: &str = "<!-- end of trend-report -->\n";

/// A way to divide shops: its name, and whether a shop belongs.
type Part = (&'static str, fn(&Shop) -> bool);

const PARTS: [Part; 12] = [
    ("all", |_| true),
    ("one machine", |shop| shop.machines == 1),
    ("two machines", |shop| shop.machines == 2),
    ("three machines", |shop| shop.machines == 3),
    ("one operator", |shop| shop.operators == 1),
    ("two or three operators", |shop| shop.operators > 1),
    ("some weeks", |shop| shop.days < 30.0),
    ("some months", |shop| (30.0..200.0).contains(&shop.days)),
    ("about a year", |shop| shop.days >= 200.0),
    ("scatter not correlated", |shop| shop.kept == 0.0),
    ("correlated by 0.1 or 0.2", |shop| shop.kept > 0.0 && shop.kept < 0.25),
    ("correlated by 0.3", |shop| shop.kept > 0.25),
];

/// Steady shops.
pub fn steady(rows: &[(Shop, Verdict)]) -> String {
    let mut text = "| steady shops | shops | called unsteady | nothing told, a baseline is said to drift | \
                    a drift told for a while, gone at the end |\n|---|--:|--:|--:|--:|\n"
        .to_owned();
    for (name, belongs) in PARTS {
        let own: Vec<&Verdict> =
            rows.iter().filter(|(shop, _)| belongs(shop)).map(|(_, verdict)| verdict).collect();
        let count = |keep: &dyn Fn(&Verdict) -> bool| own.iter().filter(|verdict| keep(verdict)).count();
        let _ = writeln!(
            text,
            "| {name} | {} | {} | {} | {} |",
            own.len(),
            count(&|verdict| verdict.steady == Some(false)),
            count(&|verdict| verdict.steady.is_none()),
            count(&|verdict| verdict.steady == Some(true) && verdict.ever),
        );
    }
    text
}

/// A shop with something wrong, and what was said of it.
#[derive(Clone, Debug)]
pub struct Found {
    /// What is wrong.
    pub wrong: Wrong,
    /// What was said.
    pub verdict: Verdict,
    /// Whether it was detected.
    pub detection: Detection,
    /// Joints of the machine from where it began to where it was told.
    pub after_joints: Option<usize>,
}

/// Shops with something wrong.
pub fn wrong(rows: &[Found]) -> String {
    let mut text = "| what is wrong, from one of joints 30 to 46 on | shops | detected | joints to detection, median | most | \
                    right cause first | among the causes | step or slope: right | wrong | not told | baseline said to drift |\n\
                    |---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|\n"
        .to_owned();
    for wrong in Wrong::ALL.into_iter().filter(|wrong| wrong.expected().shows.is_some()) {
        let own: Vec<&Found> = rows.iter().filter(|row| row.wrong == wrong).collect();
        let mut after: Vec<usize> = own.iter().filter_map(|row| row.after_joints).collect();
        after.sort_unstable();
        let joints = |at: Option<&usize>| at.map_or("-".to_owned(), usize::to_string);
        let count = |keep: &dyn Fn(&Found) -> bool| own.iter().filter(|row| keep(row)).count();
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |",
            wrong.name(),
            own.len(),
            after.len(),
            joints(after.get(after.len() / 2)),
            joints(after.last()),
            count(&|row| row.detection.cause_at == Some(0)),
            count(&|row| row.detection.cause_at.is_some()),
            count(&|row| row.detection.shape == Some(true)),
            count(&|row| row.detection.shape == Some(false)),
            count(&|row| row.detection.at_joint.is_some() && row.detection.shape.is_none()),
            count(&|row| row.detection.in_baseline),
        );
    }
    text.push_str(
        "\n| known change, nothing wrong | shops | called unsteady | nothing told |\n|---|--:|--:|--:|\n",
    );
    for wrong in Wrong::ALL.into_iter().filter(|wrong| wrong.expected().shows.is_none()) {
        let own: Vec<&Found> = rows.iter().filter(|row| row.wrong == wrong).collect();
        let count = |steady: Option<bool>| own.iter().filter(|row| row.verdict.steady == steady).count();
        let _ =
            writeln!(text, "| {} | {} | {} | {} |", wrong.name(), own.len(), count(Some(false)), count(None));
    }
    text
}

/// Readings by which traces and records are compared.
const COMPARED: [(&str, &str); 9] = [
    ("current", "/current_a/mean"),
    ("current spread", "/current_a/sd"),
    ("voltage", "/voltage_v/mean"),
    ("voltage spread", "/voltage_v/sd"),
    ("gas", "/gas_lpm/mean"),
    ("weave rate", "/weave_per_min/mean"),
    ("turn time", "/turn_time_s"),
    ("arc energy", "/arc_energy_kj_per_mm"),
    ("band height", "/band_height_mm"),
];

/// Mean and deviation between joints of a reading; the mean of a joint's bands is one value.
pub fn level(records: &[Value], pointer: &str) -> (f64, f64) {
    let of_joint = |record: &Value| {
        let bands = record["bands"].as_array()?;
        let values: Vec<f64> = bands.iter().filter_map(|band| band.pointer(pointer)?.as_f64()).collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    let values: Vec<f64> = records.iter().filter_map(of_joint).collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (mean, (squares / (values.len() - 1) as f64).sqrt())
}

/// The same shops as records and through full traces and `replay`.
pub fn levels(as_records: &[Value], through_traces: &[Value]) -> String {
    let mut text = "| reading | mean of records | through traces | deviation between joints of records | through traces |\n\
                    |---|--:|--:|--:|--:|\n"
        .to_owned();
    for (name, pointer) in COMPARED {
        let ((mean, deviation), (trace_mean, trace_deviation)) =
            (level(as_records, pointer), level(through_traces, pointer));
        let _ = writeln!(
            text,
            "| {name} | {mean:.3} | {trace_mean:.3} | {deviation:.3} | {trace_deviation:.3} |"
        );
    }
    text
}

/// What is to be looked into.
pub fn findings(steady: &[(Shop, Verdict)], wrong: &[Found]) -> Vec<String> {
    let mut findings = Vec::new();
    for (shop, verdict) in steady.iter().filter(|(_, verdict)| verdict.steady != Some(true)) {
        findings.push(format!(
            "steady shop {}: machines {} operators {} correlation {} days {:.0}: steady {:?}, drifting {:?}, baselines {:?}, causes {:?}",
            shop.seed, shop.machines, shop.operators, shop.kept, shop.days, verdict.steady,
            verdict.drifting, verdict.baselines, verdict.causes
        ));
    }
    for found in wrong {
        let Found { wrong, verdict, detection, after_joints } = found;
        findings.push(format!(
            "{}: steady {:?}, after {after_joints:?} joints, {detection:?}, drifting {:?}, baselines {:?}, causes {:?}",
            wrong.name(), verdict.steady, verdict.drifting, verdict.baselines, verdict.causes
        ));
    }
    findings
}
