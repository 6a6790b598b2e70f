//! What is proposed, and what stands behind it.
//!
//! Decides: when it may be used.
//! Never: fits or tries anything.

use super::cost::Figures;
use super::interval::Share;
use super::margins::Thin;
use super::rerun::{Compared, Values};
use super::suggest::TooFew;
use super::tunable::Tunable;
use bandward::rule::RuleSet;

/// One value, and what it does.
#[derive(Clone, Debug)]
pub struct Part {
    /// The values: one, or several that fit together only.
    pub values: Values,
    /// With all values, less without these.
    pub effect: Figures,
    /// The faults of its rules that are found, with all values.
    pub found: Option<Share>,
    /// So many.
    pub hits: u64,
    /// Of so many.
    pub faults: u64,
    /// How much later than now a fault of its rules is found at worst, with all values, s.
    pub worst_late_s: f64,
    /// It loosens a stop, as was asked.
    pub loosens_a_stop: bool,
    /// What the traces kept out cost with the present values of its rule, and with the fitted ones.
    pub kept_out: (f64, f64),
}

/// What was best where it was fitted and is not kept.
#[derive(Clone, Debug)]
pub struct Dropped {
    /// The values.
    pub values: Values,
    /// Why not.
    pub why: String,
}

/// What is proposed, and what stands behind it.
#[derive(Clone, Debug)]
pub struct Proposal {
    /// The values.
    pub parts: Vec<Part>,
    /// What the effects of the parts lack to the whole.
    pub interplay: Figures,
    /// All values, less as it is.
    pub whole: Figures,
    /// What is not kept.
    pub dropped: Vec<Dropped>,
    /// What nothing can be said about.
    pub too_few: Vec<TooFew>,
    /// Rules that good welding comes near, with the values proposed.
    pub thin: Vec<Thin>,
    /// What stays as it is, and why a stop that was named is not looser.
    pub unchanged: Unchanged,
    /// On all traces.
    pub fitted: Compared,
    /// On traces kept out, each part by what was fitted on the others; none where there is one trace.
    pub kept_out: Option<Compared>,
    /// Parts of the traces.
    pub folds: usize,
    /// Why it may not be used; none where it may, or where nothing is proposed.
    pub why_not: Option<String>,
}

impl Proposal {
    /// May it be used? Then it has values.
    pub fn is_confirmed(&self) -> bool {
        self.why_not.is_none() && !self.parts.is_empty()
    }
    /// All values.
    pub fn values(&self) -> Values {
        self.parts.iter().flat_map(|part| part.values.iter().copied()).collect()
    }
}

/// What a proposal leaves as it is.
#[derive(Clone, Debug, Default)]
pub struct Unchanged {
    /// Keys that were named with `--loosen-stop` and are not looser, each with the reason.
    pub not_loosened: Vec<(Tunable, String)>,
    /// Rules of which other values were tried, and none that may be used costs less.
    pub best_now: RuleSet,
    /// Rules of which no other value was tried.
    pub not_tried: RuleSet,
}
