//! What a person may ask of a board.
//!
//! Decides: what is done for each order, and how it is told.
//! Assumes: nothing.
//! Never: tells of a fetch as done that did not come to its end, or keeps quiet about a record that was damaged; nor writes what came of it over a file that is there.

use crate::input::procedure_file::ProcedureFile;
use crate::link::numbered::Numbered;
use crate::link::numbered::{missing_words, runs_in_words};
use crate::link::{LinkLost, Report, Session, recording};
use crate::output;
use crate::output::name::unused;
use crate::output::named;
use anyhow::{anyhow, bail};
use bandward::Rule;
use bandward::flash::journal::{Kept, Stamped};
use bandward::link::upload::crc_of;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// An order.
#[derive(Clone, Debug)]
pub enum Order {
    /// Activate a procedure.
    Upload(Box<ProcedureFile>),
    /// Acknowledge every active alarm.
    Acknowledge,
    /// Write the black box as a trace.
    FetchBlackBox(PathBuf),
    /// Re-arm the black box.
    ReleaseBlackBox,
    /// Write the band records that the board keeps.
    FetchJournal(PathBuf),
    /// Put the alarms of a rule away for so many seconds; 0 takes them back.
    Shelve(Rule, u32),
    /// A new joint begins.
    NewJoint,
}

/// An order that was carried out.
#[derive(Clone, Debug, PartialEq)]
pub struct CompletedOrder {
    /// For people.
    pub words: String,
    /// For machines.
    pub line: Value,
    /// The records that were fetched.
    pub journal: Vec<(u32, Stamped)>,
    /// Runs of numbers whose records were damaged.
    pub damaged: Vec<(u32, u32)>,
    /// Of a fetch: no number between the first and the last is missing.
    pub is_whole: bool,
}

impl Order {
    /// As the option is called, or what the page asks for.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Upload(_) => "upload",
            Self::Acknowledge => "acknowledge",
            Self::FetchBlackBox(_) => "fetch-blackbox",
            Self::ReleaseBlackBox => "release-blackbox",
            Self::FetchJournal(_) => "fetch-journal",
            Self::Shelve(..) => "shelve",
            Self::NewJoint => "new-joint",
        }
    }
    /// Does it change nothing on the board?
    pub const fn is_fetch(&self) -> bool {
        matches!(self, Self::FetchBlackBox(_) | Self::FetchJournal(_))
    }
}

impl CompletedOrder {
    fn of(order: &Order, words: String, more: &Value) -> Self {
        let what = order.name();
        let mut line = json!({ "event": "done", "what": what });
        if let (Some(line), Some(more)) = (line.as_object_mut(), more.as_object()) {
            line.extend(more.clone());
        }
        Self { words, line, journal: Vec::new(), damaged: Vec::new(), is_whole: true }
    }
}

/// Eight hexadecimal digits, as people compare them.
pub fn shown_crc(crc: u32) -> String {
    format!("{crc:08x}")
}

/// Carries an order out; `board` is the board's name in files.
///
/// # Errors
/// The board refuses, the link is lost, or a file cannot be written.
pub fn carry_out(
    order: &Order,
    session: &mut Session<impl FnMut(&Report)>,
    board: &str,
) -> anyhow::Result<CompletedOrder> {
    let done = |words, more: &Value| CompletedOrder::of(order, words, more);
    match order {
        Order::Upload(file) => {
            session.upload(&file.procedure)?;
            let (title, crc) = (file.title(), shown_crc(crc_of(&file.procedure)));
            let more = json!({ "procedure": file.identity(), "crc": crc });
            Ok(done(format!("{title} (crc {crc}) is active on the board"), &more))
        }
        Order::Acknowledge => {
            session.acknowledge()?;
            Ok(done("all alarms acknowledged".into(), &Value::Null))
        }
        Order::FetchBlackBox(path) => {
            let fetched = black_box(path, session)?;
            Ok(CompletedOrder { is_whole: fetched.is_whole, ..done(fetched.words, &fetched.more) })
        }
        Order::ReleaseBlackBox => {
            session.release_black_box()?;
            Ok(done("the black box is re-armed".into(), &Value::Null))
        }
        Order::FetchJournal(path) => {
            let (fetched, read) = journal(path, session, board)?;
            let (is_whole, damaged) = (fetched.is_whole, read.damaged());
            let journal = read.kept.into_iter().filter_map(|(number, kept)| Some((number, kept?))).collect();
            Ok(CompletedOrder { journal, damaged, is_whole, ..done(fetched.words, &fetched.more) })
        }
        Order::Shelve(rule, for_s) => {
            session.shelve(*rule, for_s.saturating_mul(1_000_000))?;
            let words = match for_s {
                0 => format!("{} is not shelved any more", rule.name()),
                for_s => format!("{} is shelved for {for_s} s", rule.name()),
            };
            Ok(done(words, &json!({ "rule": rule.name(), "for_s": for_s })))
        }
        Order::NewJoint => {
            session.mark_joint()?;
            Ok(done("a new joint begins with the next band".into(), &Value::Null))
        }
    }
}

/// What was fetched, and is in its file.
struct Fetched {
    words: String,
    more: Value,
    is_whole: bool,
}

impl Fetched {
    /// Numbers that are missing are told with it.
    fn new(words: String, mut more: Value, missing: &[(u32, u32)]) -> Self {
        more["missing"] = json!(missing);
        let gaps = missing_words(missing).map_or(String::new(), |gaps| format!("; {gaps}"));
        Self { words: words + &gaps, more, is_whole: missing.is_empty() }
    }
}

fn black_box(path: &Path, session: &mut Session<impl FnMut(&Report)>) -> anyhow::Result<Fetched> {
    let read = session.black_box()?;
    let missing = read.missing();
    let (samples, malformed) = recording::samples(&read.kept);
    let malformed = malformed.first().map(|number| anyhow!("block {number} of the black box is malformed"));
    let cut = read.cut.or(malformed);
    let (Some(first), Some(last)) = (samples.first(), samples.last()) else {
        return Err(
            cut.unwrap_or_else(|| anyhow!("the black box of the board is empty: nothing was written"))
        );
    };
    let told = |path: &Path| {
        let duration_s = crate::raw::seconds(last.time_us.saturating_sub(first.time_us));
        let shown = named(path);
        let words = format!("{} samples, {duration_s:.1} s, to {shown}", samples.len());
        (words, json!({ "file": shown, "samples": samples.len(), "duration_s": duration_s }))
    };
    if let Some(why) = cut {
        let path = unused(path);
        let written = recording::write_trace(&path, &samples).map_err(anyhow::Error::from);
        return Err(cut_short(why, "black box", written, &told(&path).0));
    }
    recording::write_trace(path, &samples)?;
    let (words, more) = told(path);
    Ok(Fetched::new(format!("black box: {words}"), more, &missing))
}

fn journal(
    path: &Path,
    session: &mut Session<impl FnMut(&Report)>,
    board: &str,
) -> anyhow::Result<(Fetched, Numbered<Option<Stamped>>)> {
    let mut read = session.journal(0)?;
    let (missing, damaged) = (read.missing(), read.damaged());
    let text = serde_json::to_string_pretty(&recording::journal(board, &read.kept))? + "\n";
    let kept = || read.kept.iter().filter_map(|(_, kept)| Some(kept.as_ref()?.record));
    let bands = kept().filter(|kept| matches!(kept, Kept::Band(_) | Kept::BenchBand(_))).count();
    let joints = kept().count() - bands;
    let counted = |count: usize, what: &str| format!("{count} {what}{}", if count == 1 { "" } else { "s" });
    let spoilt = match &damaged[..] {
        [] => String::new(),
        runs => format!("; DAMAGED on the board: number {}", runs_in_words(runs)),
    };
    if !damaged.is_empty() && bands + joints == 0 {
        let cut = read.cut.map_or(String::new(), |why| format!("; {why:#}"));
        bail!("no record of the journal can be read, nothing was written{spoilt}{cut}");
    }
    let words = format!("{}, {}", counted(bands, "band"), counted(joints, "joint"));
    if let Some(why) = read.cut.take() {
        let path = unused(path);
        let written = output::write(&path, text.as_bytes());
        return Err(cut_short(why, "journal", written, &format!("{words}, to {}{spoilt}", named(&path))));
    }
    output::write(path, text.as_bytes())?;
    let shown = named(path);
    let more = json!({ "file": shown, "bands": bands, "joints": joints, "damaged": damaged });
    let mut fetched = Fetched::new(format!("journal: {words}, to {shown}{spoilt}"), more, &missing);
    fetched.is_whole &= damaged.is_empty();
    Ok((fetched, read))
}

/// A fetch that did not come to its end, and what is kept of it. A link that was lost stays one.
fn cut_short(why: anyhow::Error, what: &str, written: anyhow::Result<()>, kept: &str) -> anyhow::Error {
    let kept = match written {
        Ok(()) => format!("the {what} is NOT WHOLE, what came is kept: {kept}"),
        Err(error) => format!("the {what} is NOT WHOLE, and what came is not kept: {error:#}"),
    };
    match why.downcast::<LinkLost>() {
        Ok(LinkLost(why)) => LinkLost(format!("{why}; {kept}")).into(),
        Err(why) => anyhow!("{why:#}; {kept}"),
    }
}
