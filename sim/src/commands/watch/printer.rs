//! What a watch of a board prints where nobody looks at a screen.
//!
//! Decides: which lines there are, and how often the state is one of them.
//! Assumes: nothing.
//! Never: takes anything as said that was not handed to it.

use crate::output::terminal::{remark, say_json_line, say_line};
use crate::watch::keeper::LinkNews;
use crate::watch::ledger::News;
use crate::watch::lines;
use crate::watch::remote::Remote;
use serde_json::json;
use std::time::Instant;

/// Prints what is said as lines; what was done in words, where it is to be quiet.
#[derive(Default)]
pub(super) struct Printer {
    is_quiet: bool,
    is_linked: Option<u32>,
    told_s: Option<u64>,
    has_told_of_recording: bool,
}

impl Printer {
    /// Quiet, only what was done and what failed is told, in words.
    pub fn new(is_quiet: bool) -> Self {
        Self { is_quiet, ..Self::default() }
    }
    /// Tells once that the recording has ended by itself.
    pub fn recording_ended(&mut self, remote: &Remote) -> anyhow::Result<()> {
        let Some(why) = remote.recording_ended().filter(|_| !self.is_quiet && !self.has_told_of_recording)
        else {
            return Ok(());
        };
        self.has_told_of_recording = true;
        say_json_line(&lines::recording_ended(why))?;
        Ok(())
    }
    /// Returns what happened.
    ///
    /// # Errors
    /// It cannot be printed; it is taken nevertheless.
    pub fn print(&mut self, said: LinkNews, remote: &mut Remote, board: &str) -> anyhow::Result<Vec<News>> {
        let mut printed = Ok(());
        let news = self.take(said, remote, board, &mut printed);
        printed.map(|()| news)
    }
    /// The same; once something could not be printed nothing more is.
    pub fn take(
        &mut self,
        said: LinkNews,
        remote: &mut Remote,
        board: &str,
        printed: &mut anyhow::Result<()>,
    ) -> Vec<News> {
        let mut also = |say: &mut dyn FnMut() -> anyhow::Result<()>| {
            if printed.is_ok() {
                *printed = say();
            }
        };
        let line = match &said {
            LinkNews::Linked { procedure_crc } if self.is_linked != Some(*procedure_crc) => {
                self.is_linked = Some(*procedure_crc);
                Some(lines::linked(board, *procedure_crc))
            }
            LinkNews::Lost(why) => {
                self.is_linked = None;
                Some(lines::lost(board, why))
            }
            LinkNews::Done(deed) if self.is_quiet => {
                also(&mut || say_line(&deed.words));
                None
            }
            LinkNews::Done(deed) => Some(deed.line.clone()),
            LinkNews::Failed(why) if self.is_quiet => {
                remark(why);
                None
            }
            LinkNews::Failed(why) => Some(json!({ "event": "failed", "why": why })),
            _ => None,
        };
        remote.take(said, Instant::now());
        let news = remote.ledger_mut().take_news();
        if !self.is_quiet {
            for line in line.into_iter().chain(news.iter().map(lines::line)) {
                also(&mut || say_json_line(&line));
            }
            also(&mut || self.state(remote));
        }
        news
    }
    /// The state of the board, once a second of its time.
    fn state(&mut self, remote: &Remote) -> anyhow::Result<()> {
        let Some(telemetry) = remote.telemetry() else { return Ok(()) };
        let second = telemetry.readings.time_us / 1_000_000;
        if self.told_s != Some(second) {
            self.told_s = Some(second);
            say_json_line(&lines::state(telemetry, remote.bad_and_missed()))?;
        }
        Ok(())
    }
}
