//! What a person may ask of a board.
//!
//! Decides: what is done for each order, and how it is told.
//! Assumes: nothing.
//! Never: tells of a file that was not written whole.

use crate::input::procedure_file::ProcedureFile;
use crate::link::{Report, Session, recording};
use crate::output;
use crate::output::named;
use anyhow::bail;
use bandward::Rule;
use bandward::flash::journal::Kept;
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
    pub journal: Vec<(u32, Kept)>,
}

impl CompletedOrder {
    fn new(words: String, what: &str, more: &Value) -> Self {
        let mut line = json!({ "event": "done", "what": what });
        if let (Some(line), Some(more)) = (line.as_object_mut(), more.as_object()) {
            line.extend(more.clone());
        }
        Self { words, line, journal: Vec::new() }
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
    match order {
        Order::Upload(file) => {
            session.upload(&file.procedure)?;
            let (title, crc) = (file.title(), shown_crc(crc_of(&file.procedure)));
            let more = json!({ "procedure": file.identity(), "crc": crc });
            Ok(CompletedOrder::new(format!("{title} (crc {crc}) is active on the board"), "upload", &more))
        }
        Order::Acknowledge => {
            session.acknowledge()?;
            Ok(CompletedOrder::new("all alarms acknowledged".into(), "acknowledge", &Value::Null))
        }
        Order::FetchBlackBox(path) => black_box(path, session),
        Order::ReleaseBlackBox => {
            session.release_black_box()?;
            Ok(CompletedOrder::new("the black box is re-armed".into(), "release-blackbox", &Value::Null))
        }
        Order::FetchJournal(path) => journal(path, session, board),
        Order::Shelve(rule, for_s) => {
            session.shelve(*rule, for_s.saturating_mul(1_000_000))?;
            let words = match for_s {
                0 => format!("{} is not shelved any more", rule.name()),
                for_s => format!("{} is shelved for {for_s} s", rule.name()),
            };
            Ok(CompletedOrder::new(words, "shelve", &json!({ "rule": rule.name(), "for_s": for_s })))
        }
        Order::NewJoint => {
            session.mark_joint()?;
            let words = "a new joint begins with the next band".into();
            Ok(CompletedOrder::new(words, "new-joint", &Value::Null))
        }
    }
}

fn black_box(path: &Path, session: &mut Session<impl FnMut(&Report)>) -> anyhow::Result<CompletedOrder> {
    let samples = session.black_box()?;
    let (Some(first), Some(last)) = (samples.first(), samples.last()) else {
        bail!("the black box of the board is empty: nothing was written");
    };
    recording::write_trace(path, &samples)?;
    let duration_s = crate::raw::seconds(last.time_us.saturating_sub(first.time_us));
    let shown = named(path);
    let words = format!("black box: {} samples, {duration_s:.1} s, to {shown}", samples.len());
    let more = json!({ "file": shown, "samples": samples.len(), "duration_s": duration_s });
    Ok(CompletedOrder::new(words, "fetch-blackbox", &more))
}

fn journal(
    path: &Path,
    session: &mut Session<impl FnMut(&Report)>,
    board: &str,
) -> anyhow::Result<CompletedOrder> {
    let kept = session.journal(0)?;
    let text = serde_json::to_string_pretty(&recording::journal(board, &kept))?;
    let shown = named(path);
    output::write(path, (text + "\n").as_bytes())?;
    let words = format!("journal: {} band records, to {shown}", kept.len());
    let done = CompletedOrder::new(words, "fetch-journal", &json!({ "file": shown, "bands": kept.len() }));
    Ok(CompletedOrder { journal: kept, ..done })
}
