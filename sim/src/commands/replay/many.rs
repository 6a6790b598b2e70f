//! Many logs: on all cores, shown in the order in which they were named, one summary before them all.
//!
//! Decides: what is told of a log that cannot be read (the others go on), and that a call ends with exit code 2
//! only where none could be read.
//! Assumes: a file that cannot be written to concerns all logs, and ends the call.
//! Never: keeps what is shown of a log in memory: it is printed, or waits in a temporary file.

use super::found::Found;
use super::notes::Notes;
use super::pages::Piece;
#[cfg(feature = "register")]
use super::register::RecordKeeper;
use super::{Case, Log, Outcome, ReplayArguments, Replayed, files, pages};
use crate::in_order::in_order;
use crate::input::diagnostic::InputErrors;
use crate::input::procedure_file::ProcedureFile;
use crate::output::terminal::{remark, say, say_json_line};
use crate::own_fault::own_fault;
use crate::report::{self, shift_json};
use crate::shift::{Failure, Shift};
use crate::threads;
use anyhow::{Context as _, bail};
use indicatif::{ProgressBar, ProgressStyle};
use pages::Index;
use serde::Serialize;
use serde_json::value::{RawValue, to_raw_value};
use std::io::{self, BufRead as _, BufReader, Seek as _, Write as _};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Duration;
use tempfile::SpooledTempFile;

/// Text that waits in memory before a temporary file is made for it, bytes.
const IN_MEMORY: usize = 1 << 20;

/// What came out of a log, with all its own files written.
enum Done {
    Replayed { replayed: Box<Replayed>, shown: Shown, page: Option<String> },
    Failed(Failure),
}

/// What is shown of a log.
enum Shown {
    Text(String),
    Json(Box<RawValue>),
}

/// Replays all of them.
///
/// # Errors
/// Something cannot be written, or no log could be read.
pub fn run(arguments: &ReplayArguments, case: &Case, found: Found) -> anyhow::Result<Outcome> {
    let mut many = Many::new(arguments, case, &found)?;
    let pieces = pages::pieces(found.logs, many.index.is_some());
    let work = |piece: &Piece| {
        let done = catch_unwind(AssertUnwindSafe(|| done(arguments, case, piece)));
        // A fault of the program on one log is no reason to throw the others away.
        done.unwrap_or_else(|_| Ok(Done::Failed(failure(&piece.log, &own_fault()))))
    };
    in_order(&pieces, work, |done| many.take(done?))?;
    many.finish()
}

fn done(arguments: &ReplayArguments, case: &Case, piece: &Piece) -> anyhow::Result<Done> {
    let mut replayed = match piece.log.replayed(case) {
        Ok(replayed) => replayed,
        Err(error) => return Ok(Done::Failed(failure(&piece.log, &error))),
    };
    files::write_tables(arguments, case, &replayed)?;
    let page = piece.page.as_ref().filter(|_| replayed.recording.is_some());
    if let (Some(name), Some(folder)) = (page, arguments.pictures.report()) {
        files::write_page(case, &replayed, &folder.join(name))?;
    }
    // The largest part of it; nobody needs it any more.
    replayed.recording = None;
    let shown = if arguments.json {
        Shown::Json(to_raw_value(&replayed.told(case))?)
    } else {
        Shown::Text(replayed.text(case))
    };
    Ok(Done::Replayed { replayed: Box::new(replayed), shown, page: page.cloned() })
}

fn failure(log: &Log, error: &anyhow::Error) -> Failure {
    let why = match error.downcast_ref::<InputErrors>() {
        Some(faults) => faults.in_brief(),
        None => format!("{error:#}"),
    };
    Failure { path: log.shown(), why }
}

/// What has come of the logs so far.
struct Many<'a> {
    arguments: &'a ReplayArguments,
    case: &'a Case,
    shift: Shift,
    outcome: Outcome,
    notes: Notes,
    /// The texts of the logs, which stand after the summary.
    texts: SpooledTempFile,
    index: Option<Index>,
    #[cfg(feature = "register")]
    register: Option<RecordKeeper>,
    progress: ProgressBar,
}

impl<'a> Many<'a> {
    fn new(arguments: &'a ReplayArguments, case: &'a Case, found: &Found) -> anyhow::Result<Self> {
        let index = arguments.pictures.report().map(Index::new).transpose()?;
        let progress = ProgressBar::new(found.logs.len() as u64);
        progress.set_style(ProgressStyle::with_template(
            "{spinner} {pos} of {len} logs, {msg} {wide_bar} {eta} left",
        )?);
        progress.set_message(done_so_far(&Shift::default()));
        // The clock of the bar is a thread of its own.
        if threads::may_start() {
            progress.enable_steady_tick(Duration::from_millis(120));
        }
        let shift =
            Shift { passed_over: found.passed_over, named_again: found.named_again, ..Shift::default() };
        Ok(Self {
            arguments,
            case,
            shift,
            outcome: Outcome::Done,
            notes: Notes::default(),
            texts: tempfile::spooled_tempfile(IN_MEMORY),
            index,
            #[cfg(feature = "register")]
            register: RecordKeeper::of(arguments)?,
            progress,
        })
    }
    /// Takes the next log.
    fn take(&mut self, done: Done) -> anyhow::Result<()> {
        match done {
            Done::Replayed { replayed, shown, page } => self.replayed(&replayed, shown, page.as_deref())?,
            Done::Failed(failure) => {
                self.outcome = self.outcome.worse(Outcome::NotProven);
                if self.arguments.json {
                    self.say_json(&shift_json::failure(&failure))?;
                }
                if let Some(index) = &mut self.index {
                    index.failed(&failure)?;
                }
                self.shift.fail(failure);
            }
        }
        self.progress.inc(1);
        self.progress.set_message(done_so_far(&self.shift));
        Ok(())
    }
    fn replayed(&mut self, replayed: &Replayed, shown: Shown, page: Option<&str>) -> anyhow::Result<()> {
        let machine = replayed.replay.dossier.identity.context.machine.as_deref();
        self.shift.add(&replayed.replay, machine);
        self.outcome = self.outcome.worse(replayed.outcome());
        if let Some(index) = &mut self.index {
            index.replayed(&replayed.replay, machine, page)?;
        }
        #[cfg(feature = "register")]
        if let Some(register) = &mut self.register {
            register.take(replayed, self.case);
        }
        self.notes.add(&replayed.replay.trace.path, &replayed.notes);
        match shown {
            Shown::Json(value) => self.say_json(&value),
            Shown::Text(text) => self.texts.write_all(format!("{text}\n").as_bytes()).context(NO_ROOM),
        }
    }
    fn say_json(&self, value: &impl Serialize) -> anyhow::Result<()> {
        self.progress.suspend(|| say_json_line(value))
    }
    /// Shows what needs all of them, and tells what it comes to.
    fn finish(mut self) -> anyhow::Result<Outcome> {
        self.progress.finish_and_clear();
        self.notes.tell();
        if self.arguments.json {
            say_json_line(&shift_json::summary(&self.shift))?;
        } else {
            self.say_texts()?;
        }
        if let Some(index) = self.index {
            index.finish(&self.shift, self.case.procedure.as_ref())?;
        }
        #[cfg(feature = "register")]
        if let Some(register) = self.register.take() {
            self.outcome = self.outcome.worse(register.finish()?);
        }
        let failed = self.shift.failures.len();
        match (self.shift.read, failed) {
            (0, 1) => bail!("the log could not be read: {}", first(&self.shift)),
            (0, _) => bail!("none of the {failed} logs could be read; the first: {}", first(&self.shift)),
            (_, 0) => {}
            (_, 1) => remark(&format!("1 log could not be read: {}", first(&self.shift))),
            (_, _) => remark(&format!("{failed} logs could not be read; the first: {}", first(&self.shift))),
        }
        Ok(self.outcome)
    }
    fn say_texts(&mut self) -> anyhow::Result<()> {
        let name = self.case.procedure.as_ref().map(ProcedureFile::title);
        say(&self.case.procedure.as_ref().map(report::text::warnings).unwrap_or_default())?;
        say(&report::shift::summary(&self.shift, name.as_deref()))?;
        self.texts.rewind().context(NO_ROOM)?;
        copy_lines(&mut self.texts)?;
        say(&report::shift::failures(&self.shift))
    }
}

fn done_so_far(shift: &Shift) -> String {
    format!("{} joints, {} not read", shift.all.joints, shift.failures.len())
}

const NO_ROOM: &str = "cannot keep the texts of the joints in the folder for temporary files";

fn first(shift: &Shift) -> String {
    shift.failures.first().map_or(String::new(), |failure| format!("{}: {}", failure.path, failure.why))
}

/// Prints what was kept, some lines at a time.
fn copy_lines(texts: &mut impl io::Read) -> anyhow::Result<()> {
    let mut texts = BufReader::new(texts);
    let mut part = String::new();
    while texts.read_line(&mut part).context(NO_ROOM)? > 0 {
        if part.len() > 1 << 16 {
            say(&part)?;
            part.clear();
        }
    }
    say(&part)
}
