//! Shops put before the program.
//!
//! Decides: which seeds are which shops, and how joints to detection are counted.

use super::records::of_shop;
use super::steady::Shop;
use super::tables::Found;
use super::verdict::{Verdict, verdict};
use super::wrong::Wrong;
use crate::second::thresholds::program::Program;
use rayon::prelude::*;
use serde_json::Value;
use std::path::Path;

/// Steady shops from this seed on.
///
/// # Errors
/// The program cannot do it.
pub fn steady(
    program: &Program,
    pattern: &Value,
    folder: &Path,
    shops: u64,
    seed: u64,
) -> Result<Vec<(Shop, Verdict)>, String> {
    let one = |at: u64| {
        let shop = Shop::drawn(seed + at);
        let said = verdict(program, &of_shop(pattern, &shop), folder, &format!("steady-{}", shop.seed))?;
        Ok((shop, said))
    };
    (0..shops).into_par_iter().map(one).collect()
}

/// So many shops for everything that can go wrong.
///
/// # Errors
/// As [`steady`].
pub fn wrong(
    program: &Program,
    pattern: &Value,
    folder: &Path,
    repeats: u64,
    seed: u64,
) -> Result<Vec<Found>, String> {
    let one = |at: u64| {
        let wrong = Wrong::ALL[(at / repeats) as usize];
        let (shop, machine, from) = wrong.shop(seed + at);
        let said = verdict(program, &of_shop(pattern, &shop), folder, &format!("{wrong:?}-{}", shop.seed))?;
        Ok(found(wrong, &shop, machine, from, said))
    };
    (0..repeats * Wrong::ALL.len() as u64).into_par_iter().map(one).collect()
}

/// Holds what was said of a shop against what is wrong in it, from this joint of this machine on.
pub fn found(wrong: Wrong, shop: &Shop, machine: usize, from: usize, verdict: Verdict) -> Found {
    // Numbers of that machine's joints in the log.
    let own: Vec<usize> =
        (1..=shop.joints.len()).filter(|at| shop.joints[at - 1].machine == machine).collect();
    let chart = verdict.chart_of(&format!("machine {machine}"));
    let detection = verdict.detection(&wrong.expected(), own[from - 1], chart);
    let after = |at: usize| own.iter().filter(|&&joint| joint >= own[from - 1] && joint <= at).count();
    Found { wrong, detection, after_joints: detection.at_joint.map(after), verdict }
}
