//! What is special about one joint of a shop.
//!
//! Decides: what of it the records tell, and what it does to the weld.

use super::wander::Setting;
use crate::second::upset::Upset;

/// How a joint's own record judges it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signed {
    /// Every limit held.
    Proven,
    /// A limit broken.
    Broken,
    /// Not all of it seen.
    NotProven,
}

impl Signed {
    /// As records write it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Proven => "proven",
            Self::Broken => "broken",
            Self::NotProven => "not proven",
        }
    }
}

/// One joint.
#[derive(Clone, Copy, Debug)]
pub struct Conditions {
    /// Days since the first of January 2026.
    pub day: f64,
    /// The machine, from 1.
    pub machine: usize,
    /// Who welds, from 1.
    pub operator: usize,
    /// Numbers of spool, bottle and tip on this machine, as the records tell them.
    pub spool: usize,
    /// As `spool`.
    pub bottle: usize,
    /// As `spool`.
    pub tip: usize,
    /// The procedure's revision.
    pub revision: usize,
    /// Temperature in the hall, degrees Celsius.
    pub ambient_c: f64,
    /// Everyday scatter.
    pub setting: Setting,
    /// What stands all along the joint for a reason: operator, wire, weather, and what is wrong.
    pub upset: Upset,
    /// Metal in a length of wire, share of the usual: a lot that is thinner gives fewer amperes, and the
    /// tachometer does not see it.
    pub metal: f64,
    /// Preheat, K on top of the usual.
    pub preheat_k: f64,
    /// Crater fill, s.
    pub crater_s: f64,
    /// How it was signed.
    pub signed: Signed,
}
