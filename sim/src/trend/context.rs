//! What is known about a joint besides its weld: who, where, with what, and how warm it was.
//!
//! Decides: the keys of a record's `context`, and which joints may share charts.
//! Assumes: the same name means the same machine, operator, spool, bottle or tip.
//! Never: guesses what a record does not tell.

use super::record::Record;
use crate::input::procedure_file::{ProcedureFile, SAME_DIAMETER};
use serde_json::{Value, json};

/// What is known about a joint; what is absent is not known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Context {
    /// The machine.
    pub machine: Option<String>,
    /// Who welded.
    pub operator: Option<String>,
    /// The spool, or the batch of wire.
    pub spool: Option<String>,
    /// The gas bottle, or its batch.
    pub bottle: Option<String>,
    /// The contact tip.
    pub tip: Option<String>,
    /// The procedure.
    pub procedure: Option<String>,
    /// Which revision of it.
    pub revision: Option<String>,
    /// Outside diameter of the tool joint, mm.
    pub outside_diameter_mm: Option<f64>,
    /// Temperature of the shop, degC.
    pub ambient_c: Option<f64>,
}

impl Context {
    /// With what a procedure file tells.
    #[must_use]
    pub fn under(mut self, file: &ProcedureFile) -> Self {
        self.procedure = Some(file.name.clone().unwrap_or_else(|| file.file.clone()));
        self.revision.clone_from(&file.revision);
        self.outside_diameter_mm = file.joint.outside_diameter_mm;
        self
    }
    /// As it stands in a record; `None` where nothing is known.
    pub fn json(&self) -> Option<Value> {
        (*self != Self::default()).then(|| {
            json!({
                "machine": self.machine, "operator": self.operator, "spool": self.spool,
                "bottle": self.bottle, "tip": self.tip, "procedure": self.procedure,
                "revision": self.revision, "outside_diameter_mm": self.outside_diameter_mm,
                "ambient_c": self.ambient_c,
            })
        })
    }
    /// May joints of the two share charts? Machines, procedures and diameters are never mixed.
    fn is_like(&self, other: &Self) -> bool {
        let is_same_diameter = match (self.outside_diameter_mm, other.outside_diameter_mm) {
            (Some(one), Some(two)) => (one / two - 1.0).abs() <= SAME_DIAMETER,
            (one, two) => one == two,
        };
        self.machine == other.machine && self.procedure == other.procedure && is_same_diameter
    }
    /// What tells its charts from the others, in words; nothing where nothing is known.
    pub fn chart_words(&self) -> String {
        let diameter = self.outside_diameter_mm.map(|diameter| format!("{diameter} mm"));
        let machine = self.machine.as_ref().map(|machine| format!("machine {machine}"));
        [machine, self.procedure.clone(), diameter].into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}

/// Joints that share charts.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// What they have in common: that of the first of them.
    pub context: Context,
    /// The joints, counted from 0 in order of time.
    pub joints: Vec<usize>,
}

/// Groups in the order of their first joints.
pub fn groups(records: &[Record]) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (joint, record) in records.iter().enumerate() {
        match groups.iter_mut().find(|group| group.context.is_like(&record.context)) {
            Some(group) => group.joints.push(joint),
            None => groups.push(Group { context: record.context.clone(), joints: vec![joint] }),
        }
    }
    groups
}
