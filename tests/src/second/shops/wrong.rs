//! What goes wrong in a shop, slowly or at once.
//!
//! Decides: sizes, from which joint on, what the records tell of it, and what should be said.
//! Assumes: the shop is otherwise as steady as any, with operators, seasons, spools and crater fills.

use super::conditions::{Conditions, Signed};
use super::steady::Shop;
use crate::second::random::Chance;

/// What is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// A tip wears by 0.12 mm a joint.
    TipWear,
    /// Gas is lost, 0.8 % a joint.
    GasSlope,
    /// A leak of 8 % from one joint to the next.
    GasStep,
    /// A spool of 4 % less metal, and nobody says so.
    SpoolUntold,
    /// The same, with the spool in the records.
    SpoolTold,
    /// The source is set 0.8 V higher, and nobody says so.
    VoltsUntold,
    /// The same with a new revision of the procedure.
    RevisionTold,
    /// The torch stands 2.5 mm further away from one joint to the next.
    TorchMoved,
    /// A tip wears on one machine of three.
    OneOfThree,
    /// Gas is lost as above, and one joint among the first 20 is flagged: its gas was 30 % low.
    GasOneFlagged,
    /// The same with seven flagged joints.
    GasSevenFlagged,
    /// A tip wears from the first joint on.
    WornBaseline,
}

/// The first joint from this one on that comes at least five joints after a known change: what happens with one
/// cannot be told from it.
fn apart(own: &[&mut Conditions], from: usize) -> usize {
    let supplies = |at: usize| (own[at].spool, own[at].bottle, own[at].tip);
    let is_apart = |from: &usize| (from - 6..*from).all(|at| supplies(at) == supplies(from - 1));
    (from..from + 10).find(is_apart).unwrap_or(from)
}

/// What is expected of the program.
#[derive(Clone, Copy, Debug)]
pub struct Expected {
    /// The quantity that shows it, and which way; none: nothing is to be called unsteady.
    pub shows: Option<(&'static str, &'static str)>,
    /// The causes any of which is right.
    pub causes: &'static [&'static str],
    /// `step` or `slope`.
    pub shape: &'static str,
}

impl Wrong {
    /// All of them.
    pub const ALL: [Self; 12] = [
        Self::TipWear,
        Self::GasSlope,
        Self::GasStep,
        Self::SpoolUntold,
        Self::VoltsUntold,
        Self::TorchMoved,
        Self::OneOfThree,
        Self::GasOneFlagged,
        Self::GasSevenFlagged,
        Self::WornBaseline,
        Self::SpoolTold,
        Self::RevisionTold,
    ];
    /// Its name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::TipWear => "tip wears, 0.12 mm a joint",
            Self::GasSlope => "gas lost, 0.8 % a joint",
            Self::GasStep => "gas lost, 8 % at once",
            Self::SpoolUntold => "spool of 4 % less metal, not told",
            Self::SpoolTold => "spool of 4 % less metal, told",
            Self::VoltsUntold => "source 0.8 V higher, not told",
            Self::RevisionTold => "source 0.8 V higher, new revision told",
            Self::TorchMoved => "torch 2.5 mm further away",
            Self::OneOfThree => "tip wears on one machine of three",
            Self::GasOneFlagged => "gas lost, 0.8 % a joint; 1 of 20 flagged",
            Self::GasSevenFlagged => "gas lost, 0.8 % a joint; 7 of 20 flagged",
            Self::WornBaseline => "tip wears from the first joint on",
        }
    }
    /// What should be said of it.
    pub const fn expected(self) -> Expected {
        const CURRENT: Option<(&str, &str)> = Some(("current_a", "falling"));
        const GAS: Option<(&str, &str)> = Some(("gas_lpm", "falling"));
        match self {
            Self::TipWear | Self::OneOfThree | Self::WornBaseline => {
                Expected { shows: CURRENT, causes: &["contact-tip-wear"], shape: "slope" }
            }
            Self::GasSlope | Self::GasOneFlagged | Self::GasSevenFlagged => {
                Expected { shows: GAS, causes: &["gas-leak", "bottle-running-out"], shape: "slope" }
            }
            Self::GasStep => Expected { shows: GAS, causes: &["gas-leak"], shape: "step" },
            // A thinner wire and a torch further away give the same readings.
            Self::SpoolUntold | Self::TorchMoved => {
                Expected { shows: CURRENT, causes: &["wire-batch", "torch-knocked"], shape: "step" }
            }
            Self::VoltsUntold => Expected {
                shows: Some(("voltage_v", "rising")),
                causes: &["voltage-set-high"],
                shape: "step",
            },
            Self::SpoolTold | Self::RevisionTold => Expected { shows: None, causes: &[], shape: "-" },
        }
    }
    /// A shop with it, and the joint (of the machine it is on) from which on it is there, from 1.
    pub fn shop(self, seed: u64) -> (Shop, usize, usize) {
        let mut chance = Chance::new(seed, 21);
        let machines = if self == Self::OneOfThree { 3 } else { 1 };
        let mut shop = Shop::of(seed, machines, 66 * machines, &mut chance);
        let machine = machines.div_ceil(2);
        let own = shop.joints.iter_mut().filter(|joint| joint.machine == machine);
        let mut own: Vec<&mut Conditions> = own.collect();
        let from =
            if self == Self::WornBaseline { 1 } else { apart(&own, chance.between(30.0, 37.0) as usize) };
        // The spool and tip before it stay in the records: no new tip mends it.
        let before = *own[from.max(2) - 2];
        for (at, joint) in own.iter_mut().enumerate() {
            self.flag(at, joint);
            if at + 1 >= from {
                self.put(joint, &before, (at + 2 - from) as f64);
            }
        }
        (shop, machine, from)
    }
    /// Puts it into a joint, so many joints after it began (the first is 1); `before` is the last without it.
    fn put(self, joint: &mut Conditions, before: &Conditions, age: f64) {
        match self {
            Self::TipWear | Self::OneOfThree | Self::WornBaseline => {
                joint.upset.worn_mm = 0.12 * age;
                joint.tip = before.tip;
            }
            Self::GasSlope | Self::GasOneFlagged | Self::GasSevenFlagged => {
                joint.upset.gas *= 1.0 - 0.008 * age;
            }
            Self::GasStep => joint.upset.gas *= 0.92,
            Self::SpoolUntold | Self::SpoolTold => {
                let told = usize::from(self == Self::SpoolTold);
                joint.spool = before.spool + told;
                joint.metal = 0.96 * before.metal;
            }
            Self::VoltsUntold => joint.upset.source_v += 0.8,
            Self::RevisionTold => {
                joint.upset.source_v += 0.8;
                joint.revision = before.revision + 1;
            }
            Self::TorchMoved => joint.upset.lift_mm += 2.5,
        }
    }
    /// Flagged joints among the first 20: no others than those that belong to it.
    fn flag(self, at: usize, joint: &mut Conditions) {
        if joint.signed == Signed::Broken {
            joint.upset.gas /= 0.75;
        }
        joint.signed = Signed::Proven;
        let flagged: &[usize] = match self {
            Self::GasOneFlagged => &[9],
            Self::GasSevenFlagged => &[2, 5, 8, 10, 13, 15, 18],
            _ => &[],
        };
        if flagged.contains(&at) {
            joint.signed = Signed::Broken;
            joint.upset.gas *= 0.7;
        }
    }
}
