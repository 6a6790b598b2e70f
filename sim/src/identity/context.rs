//! What is known about a joint besides its weld: which one, who, where, with what, and how warm it was.
//!
//! Decides: the keys of a record's `context`.
//! Assumes: the same name means the same machine, operator, spool, bottle or tip.
//! Never: guesses what nobody told.

use crate::input::joint_field::{JointField, Stated};
use serde_json::{Value, json};

/// What is known about a joint; what is absent is not known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Context {
    /// The serial of the pipe or tool joint.
    pub serial: Option<String>,
    /// The end of the pipe: `pin` or `box`.
    pub end: Option<String>,
    /// The machine.
    pub machine: Option<String>,
    /// Who welded.
    pub operator: Option<String>,
    /// The spool, or the batch of wire.
    pub spool: Option<String>,
    /// The gas bottle, or its batch.
    pub bottle: Option<String>,
    /// The certificate of the gas.
    pub gas_certificate: Option<String>,
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
    /// When it was welded, local time with its offset: RFC 3339.
    pub welded_at: Option<String>,
    /// `new` or `repair`.
    pub work: Option<String>,
    /// Was anything left of old bands?
    pub old_bands: Option<bool>,
}

impl Context {
    /// Takes what was stated of a field; what was taken before is replaced.
    pub fn put(&mut self, field: JointField, stated: &Stated) {
        match (field, stated) {
            (JointField::OutsideDiameter, Stated::Size(size)) => self.outside_diameter_mm = Some(*size),
            (JointField::Ambient, Stated::Size(size)) => self.ambient_c = Some(*size),
            (JointField::OldBands, Stated::Flag(flag)) => self.old_bands = Some(*flag),
            (_, Stated::Text(text)) => {
                if let Some(place) = self.text(field) {
                    *place = Some(text.clone());
                }
            }
            _ => {}
        }
    }
    /// Where a field that is a text is kept.
    const fn text(&mut self, field: JointField) -> Option<&mut Option<String>> {
        Some(match field {
            JointField::Serial => &mut self.serial,
            JointField::End => &mut self.end,
            JointField::Machine => &mut self.machine,
            JointField::Operator => &mut self.operator,
            JointField::Spool => &mut self.spool,
            JointField::Bottle => &mut self.bottle,
            JointField::GasCertificate => &mut self.gas_certificate,
            JointField::Tip => &mut self.tip,
            JointField::Procedure => &mut self.procedure,
            JointField::Revision => &mut self.revision,
            JointField::WeldedAt => &mut self.welded_at,
            JointField::Work => &mut self.work,
            JointField::OutsideDiameter | JointField::Ambient | JointField::OldBands => return None,
        })
    }
    /// As it stands in a record; `None` where nothing is known.
    pub fn json(&self) -> Option<Value> {
        (*self != Self::default()).then(|| {
            json!({
                "serial": self.serial, "end": self.end,
                "machine": self.machine, "operator": self.operator, "spool": self.spool,
                "bottle": self.bottle, "gas_certificate": self.gas_certificate, "tip": self.tip,
                "procedure": self.procedure, "revision": self.revision,
                "outside_diameter_mm": self.outside_diameter_mm, "ambient_c": self.ambient_c,
                "welded_at": self.welded_at, "work": self.work, "old_bands": self.old_bands,
            })
        })
    }
    /// What the joint is called: its serial and its end; nothing where no serial is known.
    pub fn title(&self) -> Option<String> {
        let serial = self.serial.as_ref()?;
        Some(self.end.as_ref().map_or(serial.clone(), |end| format!("{serial}, {end}")))
    }
    /// What tells its charts from the others, in words; nothing where nothing is known.
    pub fn chart_words(&self) -> String {
        let diameter = self.outside_diameter_mm.map(|diameter| format!("{diameter} mm"));
        let machine = self.machine.as_ref().map(|machine| format!("machine {machine}"));
        [machine, self.procedure.clone(), diameter].into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}
