//! The joints, and the marks of what was wrong in them.
//!
//! Decides: which kinds of fault, how many of each, and which severity must tell them.
//! Assumes: a fault far below a floor, a stall, a turn the wrong way and a dead sensor call for a stop; all
//! others for a warning.

use crate::second::fault::{Fault, Shape, facts};
use crate::second::kinds::Kind;
use crate::second::random::Chance;
use crate::second::{Joint, Order, Truth};
use bandward::{Channel, Rule};
use bandward_sim::trace::TraceWriter;
use rayon::prelude::*;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// The kinds of fault, each with a channel where it is a sensor's.
pub const KINDS: [(Kind, Option<Channel>); 25] = [
    (Kind::SourceLow, None),
    (Kind::SourceSags, None),
    (Kind::SourceHigh, None),
    (Kind::FeedLow, None),
    (Kind::WireSlipUnseen, None),
    (Kind::WornTip, None),
    (Kind::TorchDrops, None),
    (Kind::TorchKnockedUp, None),
    (Kind::GasLeak, None),
    (Kind::GasBottle, None),
    (Kind::GasHigh, None),
    (Kind::NoPreflow, None),
    (Kind::WeaveSlow, None),
    (Kind::WeaveFast, None),
    (Kind::WeaveNarrow, None),
    (Kind::WeaveWanders, None),
    (Kind::TurnSlow, None),
    (Kind::ChuckSlip, None),
    (Kind::ChuckStall, None),
    (Kind::WrongWay, None),
    (Kind::StepShort, None),
    (Kind::OverlapShort, None),
    (Kind::ArcOut, None),
    (Kind::CoolantLost, None),
    (Kind::Dead, Some(Channel::Gas)),
];

/// What was wrong from when to when, and what must tell it.
#[derive(Clone, Debug)]
pub struct Mark {
    /// The kind of fault.
    pub kind: &'static str,
    /// The rules any of which tells it.
    pub rules: Vec<&'static str>,
    /// Must a stop tell it?
    pub stop: bool,
    /// First instant, s.
    pub start_s: f64,
    /// Last instant, s.
    pub end_s: f64,
    /// From where a delay counts, s.
    pub counts_from_s: f64,
}

/// A joint as it lies on the disk.
#[derive(Clone, Debug)]
pub struct Trace {
    /// Its file; what was wrong lies beside it.
    pub path: PathBuf,
    /// How long it is, s.
    pub lasts_s: f64,
    /// What was wrong: nothing, or one fault.
    pub mark: Option<Mark>,
}

/// Rates: no slower than the weave of every fault can be seen at.
const RATES_HZ: [f64; 4] = [20.0, 20.0, 20.0, 50.0];

/// So many joints: a quarter of them good, the others with the kinds in turn.
pub fn orders(joints: usize, seed: u64) -> Vec<Order> {
    let good = joints / 4;
    let one = |at: usize| {
        let seed = seed + at as u64;
        let mut chance = Chance::new(seed, 9);
        let order = Order::good(chance.pick(&RATES_HZ), seed);
        let Some(at) = at.checked_sub(good) else { return order };
        let (kind, channel) = KINDS[at % KINDS.len()];
        let shapes = facts(kind).shapes;
        let round = at / KINDS.len();
        // A turn the wrong way is one band's: where all bands have it, the encoder may be wired so.
        let shape = if kind == Kind::WrongWay { Shape::Band } else { shapes[round % shapes.len()] };
        order.with_fault(Fault::drawn(kind, shape, round % 3, channel, &mut chance))
    };
    (0..joints).map(one).collect()
}

/// Writes these joints and their marks into a folder, on every processor.
///
/// # Errors
/// A file cannot be written.
pub fn write(folder: &Path, orders: &[Order]) -> Result<Vec<Trace>, String> {
    std::fs::create_dir_all(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    orders.par_iter().enumerate().map(|(at, order)| write_one(folder, at, order)).collect()
}

fn write_one(folder: &Path, at: usize, order: &Order) -> Result<Trace, String> {
    let path = folder.join(format!("joint-{at:03}.csv"));
    let joint = write_rows(&path, order)?;
    let lasts_s = joint.last_s();
    let mark = mark(&joint.truth(), lasts_s);
    let faults: Vec<_> = mark.iter().map(json_of).collect();
    let truth = format!("{:#}\n", json!({ "note": "second generator, invented", "faults": faults }));
    std::fs::write(folder.join(format!("joint-{at:03}.truth.json")), truth)
        .map_err(|error| error.to_string())?;
    Ok(Trace { path, lasts_s, mark })
}

/// Writes the rows of a joint; gives it back as it is at its end.
///
/// # Errors
/// The file cannot be written.
pub fn write_rows(path: &Path, order: &Order) -> Result<Joint, String> {
    let mut writer = TraceWriter::create(path, order.rig.channels).map_err(|error| error.to_string())?;
    let mut joint = order.joint();
    for row in joint.by_ref() {
        writer.write(&row).map_err(|error| error.to_string())?;
    }
    writer.finish().map_err(|error| error.to_string())?;
    Ok(joint)
}

/// The mark of a joint's fault; none where it never came to it.
fn mark(truth: &Truth, lasts_s: f64) -> Option<Mark> {
    let found = truth.faults.first()?;
    let fault = found.fault;
    let start_s = found.start_s?;
    let rules = fault.rules().into_iter().filter(|rule| Rule::from_name(rule).is_some()).collect();
    let end_s = found.end_s.unwrap_or(lasts_s);
    let at_the_end = fault.kind == Kind::OverlapShort;
    let counts_from_s = found.outside_s.unwrap_or(if at_the_end { end_s } else { start_s });
    Some(Mark {
        kind: fault.facts().name,
        rules,
        stop: calls_for_stop(&fault),
        start_s,
        end_s,
        counts_from_s,
    })
}

fn calls_for_stop(fault: &Fault) -> bool {
    match fault.kind {
        Kind::ChuckStall | Kind::WrongWay | Kind::Dead => true,
        // The gross size of these is far under the floor.
        Kind::SourceLow | Kind::SourceSags | Kind::GasLeak | Kind::GasBottle | Kind::CoolantLost => {
            fault.rank == 2
        }
        _ => false,
    }
}

/// As the program wants it. A start is told a second early: a first row may lie before it.
fn json_of(mark: &Mark) -> Value {
    json!({
        "kind": mark.kind, "rules": mark.rules, "severity": if mark.stop { "stop" } else { "warn" },
        "start_s": mark.start_s - super::count::BEFORE_S, "end_s": mark.end_s, "outside_from_s": mark.counts_from_s,
    })
}
