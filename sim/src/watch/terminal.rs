//! The terminal: put into order at the start and back into it at the end, whatever happens between.
//!
//! Decides: which key does what.
//! Assumes: standard output is a terminal.
//! Never: leaves the terminal as it should not be, not on a panic either.

use super::screen;
use super::view::View;
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEventKind, KeyModifiers};
use std::io;
use std::time::Duration;

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
}

/// A terminal with a screen of its own.
pub struct Terminal {
    terminal: DefaultTerminal,
    coloured: bool,
}

impl Terminal {
    /// Takes the terminal over. No colour where `NO_COLOR` is set and not empty.
    ///
    /// # Errors
    /// It is no terminal, or cannot be set.
    pub fn open() -> io::Result<Self> {
        let terminal = ratatui::try_init()?;
        let coloured = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
        Ok(Self { terminal, coloured })
    }
    /// Draws a view, in whatever size the window has now.
    ///
    /// # Errors
    /// The terminal is gone.
    pub fn draw(&mut self, view: &View) -> io::Result<()> {
        self.terminal.draw(|frame| screen::draw(frame, view, self.coloured)).map(|_| ())
    }
    /// Waits for a key, no longer than `wait`.
    ///
    /// # Errors
    /// The terminal is gone.
    pub fn key(&mut self, wait: Duration) -> io::Result<Option<Key>> {
        if !event::poll(wait)? {
            return Ok(None);
        }
        let Event::Key(key) = event::read()? else { return Ok(None) };
        if key.kind == KeyEventKind::Release {
            return Ok(None);
        }
        Ok(match key.code {
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
            _ => None,
        })
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        ratatui::restore();
    }
}
