//! A shop's joints as traces, to see that its records are at the level of real ones.
//!
//! Decides: which of a joint's conditions the machine of the second generator takes over.
//! Assumes: everyday scatter, preheat and the pipe are the machine's own.

use super::conditions::Conditions;
use super::records::context;
use super::steady::Shop;
use crate::second::Order;
use crate::second::random::Chance;
use crate::second::rig::Rig;
use crate::second::thresholds::library::write_rows;
use crate::second::thresholds::program::{Program, shown};
use crate::second::upset::Upset;
use rayon::prelude::*;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// Fine enough for every limit of the shop's procedure.
const RATE_HZ: f64 = 20.0;

/// The records that `replay` makes of a shop's joints, with what the shop tells of each.
///
/// # Errors
/// A file cannot be written, or the program cannot do it.
pub fn records(
    program: &Program,
    shop: &Shop,
    procedure: &Path,
    folder: &Path,
) -> Result<Vec<Value>, String> {
    let folder = folder.join(format!("shop-{}", shop.seed));
    std::fs::create_dir_all(&folder).map_err(|error| error.to_string())?;
    // Without coarse readings: a meter in steps of half a volt would hide the scatter compared here.
    let rig = Rig::drawn(RATE_HZ, &mut Chance::new(shop.seed, 23)).plain();
    let written: Result<Vec<PathBuf>, String> = shop
        .joints
        .par_iter()
        .enumerate()
        .map(|(at, joint)| {
            let path = folder.join(format!("joint-{at:03}.csv"));
            write_rows(&path, &order(rig, joint, shop.seed * 1000 + at as u64))?;
            Ok(path)
        })
        .collect();
    let written = written?;
    let paths: Vec<&Path> = written.iter().map(PathBuf::as_path).collect();
    let records = program.lines(&["replay", "--json", "--procedure", shown(procedure)], &paths)?;
    let told = |(mut record, joint): (Value, &Conditions)| {
        record["trace"]["start"] = json!(super::calendar::written(joint.day));
        record["context"] = context(joint);
        record
    };
    Ok(records.into_iter().zip(&shop.joints).map(told).collect())
}

fn order(rig: Rig, joint: &Conditions, seed: u64) -> Order {
    let mut order = Order { rig, ..Order::good(RATE_HZ, seed) };
    order.habits.crater_s = joint.crater_s;
    order.standing = Upset { grip: joint.upset.grip * joint.metal, grip_seen: false, ..joint.upset };
    order
}

/// One good joint of the second generator as the program's own record.
///
/// # Errors
/// As [`records`].
pub fn pattern(program: &Program, procedure: &Path, folder: &Path) -> Result<Value, String> {
    let path = folder.join("pattern.csv");
    write_rows(&path, &Order::good(RATE_HZ, 81))?;
    program.json(&["replay", "--json", "--procedure", shown(procedure)], &[&path])
}
