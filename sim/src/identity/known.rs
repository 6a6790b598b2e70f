//! What is known of the joint that a trace is of, and what speaks against it.
//!
//! Decides: which disagreements cost the proof, by their field.
//! Never: says which of two sources is right.

use super::context::Context;
use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file::Claim;
use crate::input::quantity::UnitSystem;
use bandward::{BandRecord, JointRecord};

/// What the trace itself tells.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// When the first row was written, where the trace tells.
    pub start: Option<&'a str>,
    /// The joints.
    pub joints: &'a [JointRecord],
    /// The bands.
    pub bands: &'a [BandRecord],
}

/// Two sources that state a field differently; the first is taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Disagreement {
    /// The field.
    pub field: JointField,
    /// The one that is taken, and the other.
    pub claims: [Claim; 2],
}

impl Disagreement {
    /// In words: both values, both places.
    pub fn words(&self, system: UnitSystem) -> String {
        let [one, other] = &self.claims;
        let show = |claim: &Claim| format!("{} ({})", self.field.show(&claim.stated, system), claim.source);
        format!("{}: {}, but {}", self.field.title(), show(one), show(other))
    }
}

/// Which joint it is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Identity {
    /// What is known.
    pub context: Context,
    /// The serials of joints, by their number in the log.
    pub serials: Vec<(u16, String)>,
    /// Sources that disagree.
    pub disagreements: Vec<Disagreement>,
    /// Why what came with the trace may not belong to it, or cannot be: it costs the proof.
    pub doubts: Vec<String>,
    /// What is of one joint of several, and of which one nobody knows; it stands among the doubts too.
    pub unplaced: Vec<String>,
    /// Which joint of a log with several the options, the joint file and the setup are of, where that was said.
    pub of_joint: Option<u16>,
    /// What a person should know, and costs nothing.
    pub notes: Vec<String>,
}

pub(super) fn claim(field: JointField, stated: Stated, source: &str) -> Claim {
    Claim { field, stated, source: source.to_owned() }
}

impl Identity {
    pub(super) fn disagree(&mut self, taken: &Claim, other: &Claim) {
        let field = taken.field;
        let found = Disagreement { field, claims: [taken.clone(), other.clone()] };
        if !self.disagreements.contains(&found) {
            self.disagreements.push(found);
        }
    }
    /// What costs the proof, in words.
    pub fn costs(&self, system: UnitSystem) -> Vec<String> {
        let costly = self.disagreements.iter().filter(|found| found.field.costs_proof());
        costly.map(|found| found.words(system)).chain(self.doubts.iter().cloned()).collect()
    }
    /// Does something cost the proof?
    pub fn has_costs(&self) -> bool {
        !self.doubts.is_empty() || self.disagreements.iter().any(|found| found.field.costs_proof())
    }
    /// What is told and costs nothing.
    pub fn remarks(&self, system: UnitSystem) -> Vec<String> {
        let mild = self.disagreements.iter().filter(|found| !found.field.costs_proof());
        mild.map(|found| found.words(system)).chain(self.notes.iter().cloned()).collect()
    }
    /// The serial of a joint of the log.
    pub fn serial_of(&self, joint: u16) -> Option<&str> {
        self.serials.iter().find(|(number, _)| *number == joint).map(|(_, serial)| serial.as_str())
    }
}
