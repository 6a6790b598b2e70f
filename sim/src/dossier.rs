//! What belongs to a joint besides its trace: which one it is, what was found on its finished bands, what is to be
//! repaired.
//!
//! Decides: which joint of a log an inspection is of, and what all this does to the outcome: an inspection that found
//! something outside breaks it, sources that disagree on which joint or procedure it is cost the proof.
//! Assumes: a file beside the trace, or one that was asked for, is meant for it.
//! Never: betters an outcome.

use crate::alarm::Alarm;
use crate::findings::Finding;
use crate::identity::{self, Identity};
use crate::input::joint_field::{JointField, Stated, folded};
use crate::input::joint_file::{self, Claim};
use crate::input::procedure_file::ProcedureFile;
use crate::inspection::course::HeightCourse;
use crate::inspection::{Inspection, JudgedInspection, sheet};
use crate::laid;
use crate::repair::{self, Repair};
use crate::setup::JudgedSetup;
use crate::trace::marks::Mark;
use bandward::{BandRecord, JointRecord, Outcome};
use std::path::Path;

/// What came with a trace.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sources<'a> {
    /// What was said on the command line.
    pub options: &'a [Claim],
    /// The files beside the trace.
    pub beside: Option<&'a Beside>,
    /// What the log's own columns say.
    pub marks: &'a [Mark],
    /// The setup.
    pub setup: Option<&'a JudgedSetup>,
    /// The procedure it was judged by.
    pub procedure: Option<&'a ProcedureFile>,
}

/// What the trace itself tells.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// When the first row was written, where the trace tells.
    pub start: Option<&'a str>,
    /// The joints.
    pub joints: &'a [JointRecord],
    /// The bands.
    pub bands: &'a [BandRecord],
    /// The alarms.
    pub alarms: &'a [Alarm],
    /// Likely causes.
    pub findings: &'a [Finding],
    /// Heights that are to be expected.
    pub heights: &'a [HeightCourse],
}

/// The files about a joint.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beside {
    /// What the joint file says.
    pub joint_file: Vec<Claim>,
    /// What was found on the finished bands.
    pub inspection: Option<Inspection>,
}

impl Beside {
    /// Reads those that were asked for, else those that lie beside the trace.
    ///
    /// # Errors
    /// One cannot be read, or has faults.
    pub fn read(
        trace: Option<&Path>,
        joint_file: Option<&Path>,
        inspection: Option<&Path>,
    ) -> anyhow::Result<Self> {
        let beside = |ending| trace.and_then(|trace| joint_file::beside(trace, ending));
        let joint_file = joint_file.map(Path::to_owned).or_else(|| beside(joint_file::ENDING));
        let inspection = inspection.map(Path::to_owned).or_else(|| beside(sheet::ENDING));
        Ok(Self {
            joint_file: joint_file.as_deref().map(joint_file::read).transpose()?.unwrap_or_default(),
            inspection: inspection.as_deref().map(Inspection::read).transpose()?,
        })
    }
}

/// What belongs to a joint.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Dossier {
    /// Which joint it is.
    pub identity: Identity,
    /// What was found on its finished bands.
    pub inspection: Option<JudgedInspection>,
    /// What is to be repaired.
    pub repairs: Vec<Repair>,
}

impl Dossier {
    /// What concerns one joint of the log, and the log as a whole.
    #[must_use]
    pub fn only(&self, joint: u16) -> Self {
        let repairs = self.repairs.iter().filter(|repair| repair.joint == joint).cloned().collect();
        Self { repairs, ..self.clone() }
    }
    /// By everything that came with a trace.
    pub fn of(sources: &Sources<'_>, seen: &Seen<'_>) -> Self {
        let inspection = sources.beside.and_then(|beside| beside.inspection.as_ref());
        let inspected = inspection.map_or(&[][..], |inspection| &inspection.claims);
        let who = identity::Seen { start: seen.start, joints: seen.joints, bands: seen.bands };
        // One joint of several: its serial is no claim about the log.
        let inspected = if seen.joints.len() > 1 { &[][..] } else { inspected };
        let mut identity = Identity::of(
            &identity::Sources {
                options: sources.options,
                joint_file: sources.beside.map_or(&[][..], |beside| &beside.joint_file),
                inspection: inspected,
                marks: sources.marks,
                setup: sources.setup,
                procedure: sources.procedure,
            },
            &who,
        );
        let of = inspection.and_then(|inspection| joint_of(inspection, &identity, seen.joints));
        if let (Some(inspection), None) = (inspection, of) {
            identity.notes.push(format!(
                "{}: not taken: the log holds {} joints, and none has its serial",
                inspection.file,
                seen.joints.len()
            ));
        }
        let judged = inspection.zip(of).map(|(found, joint)| judged(found, joint, sources.procedure, seen));
        let joint_mm = identity.context.outside_diameter_mm;
        let diameter_mm = |band| laid::of_band_mm(sources.procedure, band, joint_mm);
        let is_from_shoulder = sources.procedure.is_some_and(|file| !file.places.is_empty());
        let known = repair::Known { diameter_mm: &diameter_mm, is_from_shoulder };
        let repairs = repair::list(seen.bands, seen.alarms, seen.findings, &known);
        Self { identity, inspection: judged, repairs }
    }
    /// What it makes of the outcome, at least.
    pub fn outcome(&self) -> Outcome {
        let inspected = self.inspection.as_ref().map(JudgedInspection::outcome);
        let found = inspected.filter(|outcome| *outcome == Outcome::Broken).unwrap_or_default();
        let doubted = if self.identity.has_costs() { Outcome::NotProven } else { Outcome::NotAsked };
        found.max(doubted)
    }
}

/// The joint of a log that an inspection is of: the only one, or the one with its serial.
fn joint_of(inspection: &Inspection, identity: &Identity, joints: &[JointRecord]) -> Option<u16> {
    if let [joint] = joints {
        return Some(joint.joint);
    }
    let serial = inspection.claims.iter().find_map(|claim| match (claim.field, &claim.stated) {
        (JointField::Serial, Stated::Text(serial)) => Some(folded(serial)),
        _ => None,
    })?;
    identity.serials.iter().find(|(_, own)| folded(own) == serial).map(|(joint, _)| *joint)
}

fn judged(
    inspection: &Inspection,
    joint: u16,
    procedure: Option<&ProcedureFile>,
    seen: &Seen<'_>,
) -> JudgedInspection {
    let of_joint = seen.bands.iter().filter(|band| band.joint == joint);
    let bands: Vec<_> = of_joint.map(|band| (band.band, band.opens_group)).collect();
    let courses: Vec<_> = seen.heights.iter().filter(|course| course.joint == joint).cloned().collect();
    JudgedInspection::of(inspection, procedure, joint, &bands, &courses)
}
