//! `watch --register FILE`: every joint that ends on a board goes into a register.
//!
//! Decides: that a joint is recorded when its end and every one of its bands were told, as it went on or out of the
//! journal; that the same records are the same joint, whichever way they came.
//! Assumes: a board tells a record as it keeps it.
//! Never: ends the watch, nor holds it up: the register is written to on a thread of its own.

use super::WatchArguments;
use crate::dossier::{Beside, Sources};
use crate::input::hash::sha256_hex;
use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file::Claim;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::link::Report;
use crate::link::recording::welded_at;
use crate::output::named;
use crate::register::{Entry, LogFile, Register, RegisterError};
use crate::replay::{Keeper, Replay, TraceSummary};
use crate::report;
use crate::setup::JudgedSetup;
use crate::threads;
use crate::watch::keeper::LinkNews;
use anstream::adapter::strip_str;
use anyhow::bail;
use bandward::flash::journal::{Kept, Stamped};
use bandward::link::upload::crc_of;
use bandward::record::band::Spread;
use bandward::record::stamp::Stamp;
use bandward::sample::ChannelSet;
use bandward::units::FixedPoint;
use bandward::{BandRecord, JointRecord, Sink as _};
use jiff::{SignedDuration, Timestamp};
use std::fmt::Write as _;
use std::path::Path;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::JoinHandle;

/// What was said of the joint under way when the watch began; it is of one joint, the first that ends.
#[derive(Default)]
struct Said {
    /// The options that said it.
    options: Vec<String>,
    claims: Vec<Claim>,
    beside: Beside,
    setup: Option<JudgedSetup>,
}

/// A joint on its way into the register.
struct Heard {
    replay: Replay,
    procedure: Option<ProcedureFile>,
    setup: Option<JudgedSetup>,
}

/// Follows what a board says, and records its joints.
pub(super) struct JointRegistrar {
    board: String,
    said: Said,
    /// What is of every joint: the machine.
    of_all: Vec<Claim>,
    procedure: Option<ProcedureFile>,
    procedure_crc: u32,
    heard: Keeper,
    /// Time of the board when this link began to be heard; none before the first telemetry.
    since_us: Option<u64>,
    joints: Sender<Heard>,
    told: Receiver<String>,
    thread: JoinHandle<Result<(), RegisterError>>,
}

impl JointRegistrar {
    /// The one that was asked for.
    ///
    /// # Errors
    /// What was named is no register, or a file about the joint cannot be read; or there is something about a joint, and
    /// no register, or no joint that it could be of.
    pub(super) fn of(
        arguments: &WatchArguments,
        board: &str,
        procedure: Option<&ProcedureFile>,
        looks_on: bool,
    ) -> anyhow::Result<Option<Self>> {
        let claims = arguments.context.claims(arguments.machine.as_deref());
        let options = arguments.said_of_joint();
        let Some(path) = &arguments.register else {
            // The serial is told to the board too.
            let is_told = arguments.trace.is_none() && options == ["--serial"];
            if (!claims.is_empty() || !options.is_empty()) && !is_told {
                bail!("what is said of a joint is for the register; add --register FILE");
            }
            return Ok(None);
        };
        if !looks_on {
            arguments.refuse_unwatched(
                "--fetch-journal reads joints that are over, and which of them it is of is not known; leave it out, or \
                 watch the joint to its end",
            )?;
        }
        if arguments.context.of_joint().is_some() {
            bail!(
                "--of-joint is for a log with several joints; on a board what is said is of the first joint that ends"
            );
        }
        let beside = arguments.context.beside(None)?;
        let setup = match (&arguments.setup, procedure) {
            (None, _) => None,
            (Some(path), Some(procedure)) => Some(JudgedSetup::read(path, procedure)?),
            (Some(_), None) => bail!("--setup has nothing to be compared with; add --procedure FILE"),
        };
        let (register, failure) = match Register::open(path) {
            Err(error) if error.is_wrong_file() => return Err(error.into()),
            Err(error) => (None, Some(error)),
            Ok(register) => (Some(register), None),
        };
        let of_all = claims.iter().filter(|claim| claim.field == JointField::Machine).cloned().collect();
        let ((joints, take), (tell, told)) = (channel(), channel());
        let path = path.clone();
        let thread = threads::start(move || write(&path, register, failure, &take, &tell))?;
        Ok(Some(Self {
            board: board.to_owned(),
            said: Said { options, claims, beside, setup },
            of_all,
            procedure: procedure.cloned(),
            procedure_crc: 0,
            heard: Keeper::default(),
            since_us: None,
            joints,
            told,
            thread,
        }))
    }
    /// Takes what is said; returns what is to be told of it.
    pub(super) fn take(&mut self, said: &LinkNews) -> Vec<String> {
        match said {
            LinkNews::Linked { procedure_crc } => self.procedure_crc = *procedure_crc,
            LinkNews::Lost(_) => self.since_us = None,
            LinkNews::Report(report) => match &**report {
                Report::Event(event) => self.heard.event(event),
                Report::Band { record, .. } => self.heard.band(record),
                Report::Joint { record, stamp } => return self.live(record, stamp).into_iter().collect(),
                Report::Telemetry(telemetry) => {
                    self.since_us.get_or_insert(telemetry.readings.time_us);
                }
                _ => {}
            },
            LinkNews::Done(done) => return self.journal(&done.journal),
            _ => {}
        }
        Vec::new()
    }
    /// What became of joints since the last time this was asked.
    pub(super) fn news(&self) -> Vec<String> {
        self.told.try_iter().collect()
    }
    /// Waits until all is written; what became of it, and how it ended.
    pub(super) fn end(self) -> (Vec<String>, anyhow::Result<()>) {
        let Self { joints, told, thread, said, .. } = self;
        drop(joints);
        let unused = (!said.options.is_empty())
            .then(|| format!("{} is of no joint: none ended while it was watched", said.options.join(", ")));
        let words = told.iter().chain(unused).collect();
        let ended = thread.join().map_or_else(
            |_| Err(anyhow::anyhow!("the thread of the register has failed")),
            |ended| ended.map_err(anyhow::Error::from),
        );
        (words, ended)
    }
    /// A joint has ended while it was watched.
    fn live(&mut self, joint: &JointRecord, stamp: &Stamp) -> Option<String> {
        let Keeper { mut bands, mut alarms, .. } = std::mem::take(&mut self.heard);
        bands.retain(|band| band.joint == joint.joint);
        if let Some(words) = incomplete(joint, &bands) {
            // What was said is of the joint under way; one of which nothing was heard was over before.
            if !bands.is_empty() {
                self.said = Said::default();
            }
            return Some(words);
        }
        for alarm in &mut alarms {
            alarm.joint = joint.joint;
        }
        let Said { mut claims, beside, setup, .. } = std::mem::take(&mut self.said);
        claims.extend(self.of_all.iter().filter(|_| claims.is_empty()).cloned().collect::<Vec<_>>());
        for claim in of_board(stamp).into_iter().chain(began(joint)) {
            // What was said here goes before what the board says, and that before the clock of this computer.
            if claims.iter().all(|known| known.field != claim.field) {
                claims.push(claim);
            }
        }
        let is_same = |file: &&ProcedureFile| crc_of(&file.procedure) == self.procedure_crc;
        let procedure = self.procedure.as_ref().filter(is_same).cloned();
        let mut notes = Vec::new();
        if self.procedure.is_some() && procedure.is_none() {
            notes.push(
                "the board judged by another procedure than the one named; it is not known here".to_owned(),
            );
        }
        let first_us = bands.first().map_or(joint.start_us, |band| band.start_us);
        if self.since_us.is_none_or(|since_us| since_us > first_us) {
            notes.push(
                "the link began, or began again, within the joint: alarms before that are not here"
                    .to_owned(),
            );
        }
        let mut replay = replay(&self.board, *joint, bands);
        replay.alarms = alarms;
        let setup = setup.filter(|_| procedure.is_some());
        replay.attach(&Sources {
            options: &claims,
            beside: Some(&beside),
            marks: &[],
            setup: setup.as_ref(),
            procedure: procedure.as_ref(),
            ..Sources::default()
        });
        replay.dossier.identity.notes.extend(notes);
        self.send(Heard { replay, procedure, setup });
        None
    }
    /// Joints that a board has kept: which procedure they were judged by is not known, nor what was said of them here.
    fn journal(&self, kept: &[(u32, Stamped)]) -> Vec<String> {
        let (mut bands, mut told): (Vec<BandRecord>, _) = (Vec::new(), Vec::new());
        for (_, Stamped { record, stamp }) in kept {
            let joint = match record {
                Kept::Band(band) => {
                    bands.push(*band);
                    continue;
                }
                Kept::Joint(joint) => joint,
                // Nobody welded.
                Kept::BenchBand(_) | Kept::BenchJoint(_) => continue,
            };
            let mut own = std::mem::take(&mut bands);
            own.retain(|band| band.joint == joint.joint);
            if let Some(words) = incomplete(joint, &own) {
                told.push(words);
                continue;
            }
            let mut replay = replay(&self.board, *joint, own);
            let claims: Vec<_> = self.of_all.iter().cloned().chain(of_board(stamp)).collect();
            replay.attach(&Sources { options: &claims, ..Sources::default() });
            replay
                .dossier
                .identity
                .notes
                .push("out of the journal of the board, which keeps no alarms".to_owned());
            self.send(Heard { replay, procedure: None, setup: None });
        }
        told
    }
    fn send(&self, heard: Heard) {
        // A thread that has ended says why at the end.
        let _ = self.joints.send(heard);
    }
}

/// When a joint began, and its serial, as the board was told.
fn of_board(stamp: &Stamp) -> Vec<Claim> {
    let serial = stamp.serial.map(|serial| serial.as_str().to_owned());
    let told = [(JointField::Serial, serial), (JointField::WeldedAt, welded_at(stamp))];
    let claim = |(field, told): (JointField, Option<String>)| {
        Some(Claim { field, stated: Stated::Text(told?), source: "the board".to_owned() })
    };
    told.into_iter().filter_map(claim).collect()
}

/// When a joint that ends now began, by the clock of this computer, in UTC.
fn began(joint: &JointRecord) -> Option<Claim> {
    let lasted =
        SignedDuration::from_micros(i64::try_from(joint.end_us.saturating_sub(joint.start_us)).ok()?);
    let began = Timestamp::now().checked_sub(lasted).ok()?.strftime("%Y-%m-%dT%H:%M:%SZ").to_string();
    let source = "the clock of this computer".to_owned();
    Some(Claim { field: JointField::WeldedAt, stated: Stated::Text(began), source })
}

/// Why a joint cannot be recorded, where bands of it are missing.
fn incomplete(joint: &JointRecord, bands: &[BandRecord]) -> Option<String> {
    let (heard, all, number) = (bands.len(), usize::from(joint.bands), joint.joint);
    (heard != all).then(|| {
        format!(
            "joint {number} of the board is NOT RECORDED: {heard} of its {all} bands were heard; --fetch-journal FILE with \
             --register reads what the board has kept"
        )
    })
}

/// A joint as a replay of it would be, from the board's own records.
fn replay(board: &str, joint: JointRecord, bands: Vec<BandRecord>) -> Replay {
    let samples: u64 = bands.iter().map(|band| u64::from(band.samples)).sum();
    let arc_us: u64 = bands.iter().map(|band| band.arc_time_us).sum();
    Replay {
        trace: TraceSummary {
            path: format!("{board}, joint {}", joint.joint),
            // Those under the arc, which the board counts.
            samples,
            period_us: u32::try_from(arc_us / samples.max(1)).unwrap_or(u32::MAX).max(1),
            duration_us: joint.end_us.saturating_sub(joint.start_us),
            gaps: 0,
            out_of_order: 0,
            set_backs: Vec::new(),
            start: None,
            channels: ChannelSet::EMPTY,
        },
        not_judged: Vec::new(),
        joints: vec![joint],
        bands,
        alarms: Vec::new(),
        carried: Vec::new(),
        phases: Vec::new(),
        tacks: Vec::new(),
        findings: Vec::new(),
        heights: Vec::new(),
        dossier: crate::dossier::Dossier::default(),
    }
}

/// What tells the records of a joint from those of any other: exact times, counts and sums of every band. It must not
/// change from version to version, or a joint would be added again.
fn fingerprint(replay: &Replay) -> String {
    let mut text = String::from("joint\n");
    for band in &replay.bands {
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "{} {} {} {} {} {} {}",
            band.band,
            band.start_us,
            band.end_us,
            band.arc_time_us,
            band.samples,
            bits(band.current),
            bits(band.voltage)
        );
    }
    for joint in &replay.joints {
        let _ = writeln!(text, "{} {} {}", joint.bands, joint.start_us, joint.end_us);
    }
    text
}

fn bits<Q: FixedPoint>(spread: Option<Spread<Q>>) -> String {
    let of = |one: Spread<Q>| [one.mean, one.minimum, one.maximum, one.deviation].map(Q::bits);
    spread.map_or_else(|| "-".to_owned(), |one| format!("{:?}", of(one)))
}

/// Writes joints as they come; the first failure.
fn write(
    path: &Path,
    mut register: Option<Register>,
    mut failure: Option<RegisterError>,
    joints: &Receiver<Heard>,
    tell: &Sender<String>,
) -> Result<(), RegisterError> {
    let say = |words: String| drop(tell.send(words));
    if let Some(error) = &failure {
        say(format!("{error}; the watch goes on, nothing is recorded"));
    }
    for heard in joints {
        let name = heard.replay.trace.path.clone();
        let Some(open) = &mut register else {
            say(format!("{name} is NOT RECORDED"));
            continue;
        };
        match add(open, &heard) {
            Ok(words) => say(format!("recorded in {}: {words}", named(path))),
            Err(error) => {
                say(format!("{name} is NOT RECORDED: {error}; the watch goes on"));
                if error.is_lasting() {
                    register = None;
                }
                failure = failure.or(Some(error));
            }
        }
    }
    failure.map_or(Ok(()), Err)
}

fn add(register: &mut Register, heard: &Heard) -> Result<String, RegisterError> {
    let Heard { replay, procedure, setup } = heard;
    let fingerprint = fingerprint(replay);
    let sha256 = sha256_hex(fingerprint.as_bytes());
    if let Some(joint) = register.joint_of_log(&sha256)? {
        return Ok(format!("nothing new; {} is joint {joint}", replay.trace.path));
    }
    let mut record = report::json::replay(replay);
    if let (Some(setup), Some(procedure)) = (setup, procedure) {
        record["setup"] = report::setup::json(&setup.sheet, &setup.checked, procedure);
    }
    let title = procedure.as_ref().map(ProcedureFile::title);
    let text = |system| strip_str(&report::text::replay(replay, title.as_deref(), system)).to_string();
    let setup = setup.as_ref().map(|setup| setup.sheet.to_text());
    let added = register.add(&Entry {
        log: LogFile { path: None, sha256: &sha256, bytes: fingerprint.len() as u64 },
        procedure: procedure.as_ref(),
        layout: None,
        setup: setup.as_deref(),
        record: &record,
        texts: &|_| [UnitSystem::Metric, UnitSystem::Inch].map(text),
        added_at: Timestamp::now(),
    })?;
    let number = added.joints.first().copied().unwrap_or_default();
    let serial = replay.dossier.identity.context.serial.as_ref();
    let serial = serial.map_or("no serial was told".to_owned(), |serial| format!("serial {serial}"));
    Ok(format!("joint {number}, {serial}"))
}
