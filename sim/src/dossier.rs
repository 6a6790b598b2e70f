//! What belongs to a joint besides its trace: which one it is, what was found on its finished bands, what is to be
//! repaired.
//!
//! Decides: which joint of a log an inspection is of, and what all this does to the outcome, in one place for all that
//! tell of it: an inspection or a setup outside the procedure breaks it; findings that nobody can decide, a setup that
//! was not measured whole, sources that disagree on which joint or procedure it is, and a log of which rows could not
//! be judged, or that says otherwise than its layout, cost the proof.
//! Assumes: a file beside the trace, or one that was asked for, is meant for it.
//! Never: betters an outcome.

use crate::alarm::Alarm;
use crate::findings::Finding;
use crate::identity::{self, Identity};
use crate::input::joint_field::{JointField, Stated, folded};
use crate::input::joint_file::{self, Claim, is_same_file};
use crate::input::procedure_file::ProcedureFile;
use crate::inspection::course::HeightCourse;
use crate::inspection::{Inspection, JudgedInspection, sheet};
use crate::laid;
use crate::repair::{self, Repair};
use crate::setup::JudgedSetup;
use crate::trace::marks::Mark;
use bandward::{BandRecord, JointRecord, Outcome};
use jiff::Timestamp;
use jiff::civil::Date;
use std::path::{Path, PathBuf};

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
    /// What of the log could not be judged.
    pub of_log: &'a [String],
    /// Which joint of a log with several the options, the files and the setup are of.
    pub of_joint: Option<u16>,
    /// What the clock of this computer shows, where the weld is held against it.
    pub now: Option<Timestamp>,
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
    /// Those that stood on in a later band, as of that band.
    pub carried: &'a [Alarm],
    /// Likely causes.
    pub findings: &'a [Finding],
    /// Heights that are to be expected.
    pub heights: &'a [HeightCourse],
}

/// The files about a joint.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beside {
    /// What the joint files say, the one that counts first.
    pub joint_file: Vec<Claim>,
    /// What was found on the finished bands.
    pub inspection: Option<Inspection>,
    /// Other inspections than that one.
    pub others: Vec<String>,
}

impl Beside {
    /// The files that lie beside a trace and are read with it, each with what it is.
    pub fn files(trace: &Path) -> impl Iterator<Item = (&'static str, PathBuf)> + use<> {
        let of = |what, ending| joint_file::beside(trace, ending).into_iter().map(move |path| (what, path));
        of("the joint file", joint_file::ENDING).chain(of("the inspection", sheet::ENDING))
    }
    /// Reads those that were asked for, and those that lie beside the trace: whatever was asked for counts, and where
    /// the others say something else that is told.
    ///
    /// # Errors
    /// One cannot be read, or has faults.
    pub fn read(
        trace: Option<&Path>,
        joint_file: Option<&Path>,
        inspection: Option<&Path>,
    ) -> anyhow::Result<Self> {
        let all = |named: Option<&Path>, ending| {
            let mut files: Vec<PathBuf> = named.into_iter().map(Path::to_owned).collect();
            let beside = trace.map(|trace| joint_file::beside(trace, ending)).unwrap_or_default();
            files.extend(beside.into_iter().filter(|path| !named.is_some_and(|own| is_same_file(own, path))));
            files
        };
        let mut claims = Vec::new();
        for path in all(joint_file, joint_file::ENDING) {
            claims.extend(joint_file::read(&path)?);
        }
        let inspections = all(inspection, sheet::ENDING);
        let mut inspections = inspections
            .iter()
            .map(|path| Inspection::read(path))
            .collect::<anyhow::Result<Vec<_>>>()?
            .into_iter();
        let first = inspections.next();
        let is_other = |one: &Inspection| first.as_ref().is_some_and(|first| first.sha256 != one.sha256);
        let others = inspections.filter(is_other).map(|one| one.file).collect();
        Ok(Self { joint_file: claims, inspection: first, others })
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
    /// How the setup before the arc stands, where there was one.
    pub setup: Option<Outcome>,
    /// What of the log could not be judged: it costs the proof.
    pub of_log: Vec<String>,
    /// Was a procedure named to judge by?
    pub has_procedure: bool,
}

impl Dossier {
    /// What concerns one joint of the log, and the log as a whole.
    #[must_use]
    pub fn only(&self, joint: u16) -> Self {
        let repairs = self.repairs.iter().filter(|repair| repair.joint == joint).cloned().collect();
        let inspection = self.inspection.clone().filter(|found| found.joint == joint);
        Self { inspection, repairs, ..self.clone() }
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
                of_joint: sources.of_joint,
                now: sources.now,
            },
            &who,
        );
        let of = inspection.and_then(|inspection| joint_of(inspection, &identity, seen.joints));
        if let Some(inspection) = inspection {
            doubt(inspection, of, &mut identity, seen);
        }
        let others = sources.beside.map_or(&[][..], |beside| &beside.others);
        identity
            .doubts
            .extend(others.iter().map(|file| format!("{file}: another inspection of the same joint")));
        let judged = inspection.zip(of).map(|(found, joint)| judged(found, joint, sources.procedure, seen));
        let joint_mm = identity.context.outside_diameter_mm;
        let diameter_mm = |band| laid::of_band_mm(sources.procedure, band, joint_mm);
        let is_from_shoulder = sources.procedure.is_some_and(|file| !file.places.is_empty());
        let known = repair::Known { diameter_mm: &diameter_mm, is_from_shoulder };
        let mut repairs =
            repair::list(seen.bands, &[seen.alarms, seen.carried].concat(), seen.findings, &known);
        repairs.extend(judged.iter().flat_map(repair::of_inspection));
        let setup = sources.setup.map(|setup| setup.checked.outcome());
        let has_procedure = sources.procedure.is_some();
        let of_log = sources.of_log.to_vec();
        Self { identity, inspection: judged, repairs, setup, of_log, has_procedure }
    }
    /// What it makes of a joint of the log, at least, and why; all that is told of a joint goes through here.
    pub fn effects(&self, joint: u16) -> Vec<(&'static str, Outcome)> {
        let inspection = self.inspection.as_ref().filter(|found| found.joint == joint);
        let inspection = inspection.map_or(Outcome::NotAsked, JudgedInspection::effect);
        let setup = self.setup.unwrap_or_default();
        let identity = if self.identity.has_costs() { Outcome::NotProven } else { Outcome::NotAsked };
        let of_log = if self.of_log.is_empty() { Outcome::NotAsked } else { Outcome::NotProven };
        let all = [
            ("inspection-outside", "inspection-open", inspection),
            ("setup-outside", "setup-not-proven", setup),
            ("", "identity-in-doubt", identity),
            ("", "log-in-doubt", of_log),
        ];
        let told = |(broken, open, outcome): (&'static str, &'static str, Outcome)| match outcome {
            Outcome::Broken => Some((broken, outcome)),
            Outcome::NotProven => Some((open, outcome)),
            Outcome::Proven | Outcome::NotAsked => None,
        };
        all.into_iter().filter_map(told).collect()
    }
    /// What it makes of a joint of the log, at least.
    pub fn outcome_of(&self, joint: u16) -> Outcome {
        self.effects(joint).into_iter().map(|(_, outcome)| outcome).max().unwrap_or_default()
    }
    /// What it makes of the log as a whole, at least.
    pub fn outcome(&self) -> Outcome {
        self.outcome_of(self.inspection.as_ref().map_or(0, |found| found.joint))
    }
}

/// The joint of a log that an inspection is of: the only one, the one that was named, or the one with its serial.
fn joint_of(inspection: &Inspection, identity: &Identity, joints: &[JointRecord]) -> Option<u16> {
    if let [joint] = joints {
        return Some(joint.joint);
    }
    if let Some(named) = inspection.joint.or(identity.of_joint) {
        return joints.iter().map(|joint| joint.joint).find(|joint| *joint == named);
    }
    let serial = serial_of(inspection)?;
    identity.serials.iter().find(|(_, own)| folded(own) == serial).map(|(joint, _)| *joint)
}

/// The serial that an inspection tells.
fn serial_of(inspection: &Inspection) -> Option<String> {
    inspection.claims.iter().find_map(|claim| match (claim.field, &claim.stated) {
        (JointField::Serial, Stated::Text(serial)) => Some(folded(serial)),
        _ => None,
    })
}

/// An inspection that is of no joint of the log, or of another one than was said, or of before it was welded.
fn doubt(inspection: &Inspection, of: Option<u16>, identity: &mut Identity, seen: &Seen<'_>) {
    let (file, count) = (&inspection.file, seen.joints.len());
    let Some(joint) = of else {
        if count > 0 {
            identity.cannot_place(format!(
                "{file}: the log holds {count} joints, and none has its serial: `joint` in its [inspection], or --of-joint \
                 NUMBER, says which one was inspected"
            ));
        }
        return;
    };
    let is_only = count == 1;
    if is_only && inspection.joint.is_some_and(|named| named != joint) {
        identity
            .doubts
            .push(format!("{file}: it is of another joint than number {joint}, the only one of the log"));
    }
    let own = identity.serial_of(joint).map(folded);
    if !is_only && serial_of(inspection).zip(own).is_some_and(|(told, own)| told != own) {
        identity.doubts.push(format!("{file}: its serial is not that of joint {joint}"));
    }
    let welded_at = identity.context.welded_at.as_deref().or(seen.start);
    let doubt = day_doubt(file, inspection.date.as_deref(), welded_at);
    identity.doubts.extend(doubt);
}

/// More than so many days after the weld nobody looks at a new band for the first time. Invented.
const LATE_DAYS: i32 = 366;

/// A band cannot be inspected before the day it was welded on, wherever that is.
pub fn day_doubt(file: &str, date: Option<&str>, welded_at: Option<&str>) -> Option<String> {
    let day = |text: &str| text.get(..10)?.parse::<Date>().ok();
    let (inspected, welded) = (day(date?)?, day(welded_at?)?);
    let days = inspected.since(welded).ok()?.get_days();
    // A day either way is what offsets may make.
    let words = match days {
        ..-1 => "before it was welded",
        LATE_DAYS.. => "more than a year after it was welded",
        _ => return None,
    };
    Some(format!("{file}: inspected on {inspected}, {words} ({welded})"))
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
