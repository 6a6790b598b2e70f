//! The terminal: put into order at the start and back into it at the end, whatever happens between.
//!
//! Decides: which key does what.
//! Assumes: standard output is a terminal.
//! Never: leaves the terminal as it should not be, not on a panic either; nor waits for one that is gone: the
//! library reads one without end, so that keys are read on a thread of their own.

use super::screen;
use super::view::View;
use crate::threads;
use ratatui::DefaultTerminal;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::crossterm::execute;
use ratatui::crossterm::terminal::{EnterAlternateScreen, enable_raw_mode};
use std::io;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Duration;

/// Keys that wait to be looked at.
const MOST_KEYS: usize = 64;

/// What a person asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// End.
    Quit,
    /// Acknowledge all alarms.
    Acknowledge,
    /// Pause, or go on.
    Pause,
    /// Play faster.
    Faster,
    /// Play slower.
    Slower,
    /// Fetch the journal.
    Journal,
    /// Fetch the black box.
    BlackBox,
    /// Activate the procedure.
    Procedure,
    /// Record, or end the recording.
    Record,
    /// Tell where the live page is, or tell it no more.
    Page,
}

/// A terminal with a screen of its own.
pub struct Terminal {
    /// Until it is put back.
    window: Option<DefaultTerminal>,
    keys: Receiver<Key>,
    coloured: bool,
}

impl Terminal {
    /// Takes the terminal over. No colour where `NO_COLOR` is set and not empty.
    ///
    /// # Errors
    /// It is no terminal, or cannot be set.
    pub fn open() -> io::Result<Self> {
        let window = take_over().inspect_err(|_| put_back())?;
        let coloured = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
        let (to, keys) = sync_channel(MOST_KEYS);
        // It ends with the program.
        threads::start(move || read_keys(&to)).inspect_err(|_| put_back())?;
        Ok(Self { window: Some(window), keys, coloured })
    }
    /// Draws a view, in whatever size the window has now; false where the terminal is gone.
    #[must_use]
    pub fn draw(&mut self, view: &View) -> bool {
        let drawn =
            self.window.as_mut().map(|window| window.draw(|frame| screen::draw(frame, view, self.coloured)));
        matches!(drawn, Some(Ok(_)))
    }
    /// Waits for a key, no longer than `wait`.
    pub fn key(&mut self, wait: Duration) -> Option<Key> {
        match self.keys.recv_timeout(wait) {
            Ok(key) => Some(key),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => {
                // No keys come any more; pictures still go on.
                std::thread::sleep(wait);
                None
            }
        }
    }
}

/// As the library does, but for its own word on a panic: it would be said at a terminal that may be gone.
fn take_over() -> io::Result<DefaultTerminal> {
    enable_raw_mode()?;
    execute!(io::stdout(), EnterAlternateScreen)?;
    ratatui::Terminal::new(CrosstermBackend::new(io::stdout()))
}

fn put_back() {
    // Where the terminal is gone there is nothing to put back, and nobody to tell.
    let _ = ratatui::try_restore();
}

/// Hands keys on until there are none any more.
fn read_keys(to: &SyncSender<Key>) {
    while let Ok(event) = event::read() {
        let key = match event {
            Event::Key(key) if key.kind != KeyEventKind::Release => key_of(key),
            _ => None,
        };
        if key.is_some_and(|key| to.send(key).is_err()) {
            return;
        }
    }
}

fn key_of(key: KeyEvent) -> Option<Key> {
    match key.code {
        // In raw mode Ctrl-C comes as a key.
        KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => Some(Key::Quit),
        KeyCode::Char('q') | KeyCode::Esc => Some(Key::Quit),
        KeyCode::Char('a') => Some(Key::Acknowledge),
        KeyCode::Char(' ') => Some(Key::Pause),
        KeyCode::Char('+' | '=') => Some(Key::Faster),
        KeyCode::Char('-') => Some(Key::Slower),
        KeyCode::Char('j') => Some(Key::Journal),
        KeyCode::Char('x') => Some(Key::BlackBox),
        KeyCode::Char('p') => Some(Key::Procedure),
        KeyCode::Char('r') => Some(Key::Record),
        KeyCode::Char('w') => Some(Key::Page),
        _ => None,
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        put_back();
        // The library tells on standard error that it cannot, and fails where that is gone as well.
        if let Some(mut window) = self.window.take()
            && window.show_cursor().is_err()
        {
            std::mem::forget(window);
        }
    }
}
