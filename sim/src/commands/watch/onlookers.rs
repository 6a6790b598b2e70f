//! Who looks on from elsewhere: pages, and whoever listens to a broker.
//!
//! Decides: how often it is looked whether there is something to tell.
//! Assumes: it is asked at every turn of the watch.
//! Never: makes the watch wait for one of them, but at the end, and then no longer than a few seconds.

use super::WatchArguments;
use super::live::LivePage;
use super::publication::Publication;
use crate::output::terminal::say_json_line;
use crate::watch::ledger::News;
use crate::watch::view::View;
use serde_json::Value;
use std::time::{Duration, Instant};

/// Between two looks at whether something has changed.
const LOOK: Duration = Duration::from_millis(25);

/// Whoever looks on from elsewhere, if anybody does.
pub(super) struct Onlookers {
    /// Those at a page.
    pub page: LivePage,
    publication: Publication,
    as_lines: bool,
    looked: Option<Instant>,
}

impl Onlookers {
    /// Starts to serve and to publish what is asked for.
    pub(super) fn start(arguments: &WatchArguments, is_board: bool) -> anyhow::Result<Self> {
        let as_lines = !arguments.has_screen();
        // Whatever is wrong with its arguments is told before an address is served.
        let publication = Publication::start(&arguments.publish)?;
        let page = LivePage::start(&arguments.live, is_board, as_lines)?;
        Ok(Self { page, publication, as_lines, looked: None })
    }
    /// Takes what was said; what is promised to a broker waits for it.
    pub(super) fn take(&mut self, news: &[News]) {
        self.publication.take(news);
    }
    /// Is it time to look at the state again?
    pub(super) fn is_due(&mut self, now: Instant) -> bool {
        let is_any = self.page.is_served() || self.publication.is_any();
        let is_due = is_any && self.looked.is_none_or(|looked| now.saturating_duration_since(looked) >= LOOK);
        if is_due {
            self.looked = Some(now);
        }
        is_due
    }
    /// Tells the state, where it is time to.
    pub(super) fn show(&mut self, view: &mut View, now: Instant) {
        view.broker = self.publication.words();
        self.page.show(view, now);
        self.publication.show(view, now);
    }
    /// Prints what became of the connection to the broker, where nobody looks at a screen.
    ///
    /// # Errors
    /// It cannot be printed.
    pub(super) fn print(&mut self) -> anyhow::Result<()> {
        let told: Option<Value> = self.publication.news().filter(|_| self.as_lines);
        told.map_or(Ok(()), |line| say_json_line(&line))
    }
    /// Hands the last of it over.
    ///
    /// # Errors
    /// What was promised did not arrive.
    pub(super) fn end(self) -> anyhow::Result<()> {
        self.publication.end()
    }
}
