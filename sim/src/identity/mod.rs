//! Which joint a trace is of, by everything that came with it.
//!
//! Decides: which source is taken where several state the same field: the command line, then the joint file, the
//! inspection, the log's own columns, the setup; of the procedure the one it was judged by comes first.
//! Assumes: a source that says nothing agrees with all.
//! Never: passes over two sources that disagree: both are told, with their places.

pub mod belonging;
mod context;
mod known;
mod log;
mod several;
mod welded;

pub use context::Context;
use known::claim;
pub use known::{Disagreement, Identity, Seen};
pub use log::SerialChanges;

use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file::Claim;
use crate::input::parts::OldBands;
use crate::input::place::End;
use crate::input::procedure_file::ProcedureFile;
use crate::setup::{Item, JudgedSetup, Measured};
use crate::trace::marks::Mark;
use jiff::Timestamp;

/// What came with a trace.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sources<'a> {
    /// What was said on the command line.
    pub options: &'a [Claim],
    /// What the joint file says.
    pub joint_file: &'a [Claim],
    /// What the inspection says.
    pub inspection: &'a [Claim],
    /// What the log's own columns say.
    pub marks: &'a [Mark],
    /// The setup.
    pub setup: Option<&'a JudgedSetup>,
    /// The procedure it was judged by.
    pub procedure: Option<&'a ProcedureFile>,
    /// Which joint of a log with several the options, the joint file and the setup are of.
    pub of_joint: Option<u16>,
    /// What the clock of this computer shows, where the weld is held against it.
    pub now: Option<Timestamp>,
}

impl Identity {
    /// By everything that came with a trace.
    pub fn of(sources: &Sources<'_>, seen: &Seen<'_>) -> Self {
        let mut identity = Self { of_joint: sources.of_joint, ..Self::default() };
        let of_log = log::claims(sources.marks, seen, &mut identity);
        let procedure = sources.procedure.map(of_procedure).unwrap_or_default();
        let setup = sources.setup.map(of_setup).unwrap_or_default();
        let clock = of_clock(seen);
        let given = [sources.options, sources.joint_file, sources.inspection, &of_log];
        // What it was judged by is no matter of opinion.
        let (judged_by, others): (Vec<Claim>, Vec<Claim>) = procedure
            .into_iter()
            .partition(|claim| matches!(claim.field, JointField::Procedure | JointField::Revision));
        let mut claims = judged_by;
        claims.extend(given.into_iter().flatten().cloned());
        claims.extend(setup);
        claims.extend(others);
        claims.extend(clock);
        identity.settle(&claims);
        identity.place(&claims, &of_log, seen);
        identity.forbid_old_bands(&claims, sources.procedure);
        identity.compare_clocks(seen);
        identity.doubt_dates(sources.now, seen);
        if let (Some(serial), [joint]) = (&identity.context.serial, seen.joints)
            && identity.serials.is_empty()
        {
            identity.serials.push((joint.joint, serial.clone()));
        }
        if let Some((setup, procedure)) = sources.setup.zip(sources.procedure) {
            belonging::compare(setup, procedure, &mut identity, seen);
        }
        identity
    }
    /// A procedure that is never laid over old bands is none for a joint that has some, whoever says so.
    fn forbid_old_bands(&mut self, claims: &[Claim], procedure: Option<&ProcedureFile>) {
        let is_forbidden = procedure.is_some_and(|file| file.joint.over_old_bands == Some(OldBands::Never));
        let has_some =
            |claim: &&Claim| claim.field == JointField::OldBands && claim.stated == Stated::Flag(true);
        if let Some(claim) = claims.iter().find(has_some).filter(|_| is_forbidden) {
            self.doubts.push(format!("old bands ({}), and the procedure lays none over them", claim.source));
        }
    }
    /// The first claim of a field is taken; those that say something else are told, each other source once.
    fn settle(&mut self, claims: &[Claim]) {
        for field in JointField::ALL {
            let mut of_field = claims.iter().filter(|claim| claim.field == field);
            let Some(taken) = of_field.next() else { continue };
            self.context.put(field, &taken.stated);
            for other in of_field.filter(|other| !field.is_same(&taken.stated, &other.stated)) {
                self.disagree(taken, other);
            }
        }
    }
}

fn of_procedure(file: &ProcedureFile) -> Vec<Claim> {
    let name = file.name.clone().unwrap_or_else(|| file.file.clone());
    let mut claims = vec![claim(JointField::Procedure, Stated::Text(name), &file.file)];
    let revision = file.revision.clone().map(|text| (JointField::Revision, Stated::Text(text)));
    let diameter = file.joint.outside_diameter_mm.map(|mm| (JointField::OutsideDiameter, Stated::Size(mm)));
    let ends: Vec<End> = file.places.iter().map(|place| place.end).collect();
    // A procedure for both ends says nothing of which one this is.
    let end = ends.first().filter(|first| ends.iter().all(|end| end == *first));
    let end = end.map(|end| (JointField::End, Stated::Text(end.name().to_owned())));
    let told = [revision, diameter, end].into_iter().flatten();
    claims.extend(told.map(|(field, stated)| claim(field, stated, &file.file)));
    claims
}

fn of_setup(setup: &JudgedSetup) -> Vec<Claim> {
    let sheet = &setup.sheet;
    let serial = sheet.joint.clone().map(|joint| (JointField::Serial, Stated::Text(joint)));
    let diameter =
        sheet.size(Item::OutsideDiameter).map(|mm| (JointField::OutsideDiameter, Stated::Size(mm)));
    let old_bands = match sheet.value(Item::OldBand) {
        Some(Measured::Word("none")) => Some(false),
        Some(Measured::Word("compatible" | "incompatible")) => Some(true),
        _ => None,
    };
    let old_bands = old_bands.map(|found| (JointField::OldBands, Stated::Flag(found)));
    let told = [serial, diameter, old_bands].into_iter().flatten();
    told.map(|(field, stated)| claim(field, stated, &sheet.file)).collect()
}

/// An instant, where the trace tells one; a time without its offset is no claim.
fn of_clock(seen: &Seen<'_>) -> Option<Claim> {
    let start = seen.start.filter(|start| start.parse::<jiff::Timestamp>().is_ok())?;
    Some(claim(JointField::WeldedAt, Stated::Text(start.to_owned()), "the log's clock"))
}
