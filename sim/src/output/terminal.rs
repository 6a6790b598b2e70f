//! What goes to standard output and standard error.
//!
//! Decides: that standard output which cannot be written is an error, and standard error which cannot be
//! written is not: there is nowhere left to tell it.
//! Never: panics, nor lets through what somebody else's text would do to a terminal.

use super::apart;
use super::printable::{of_json, of_plain_text, of_text};
use anyhow::anyhow;
use serde::Serialize;
use std::io::{self, ErrorKind, Write};

/// Writes text, styles and all where there is a terminal, to standard output.
///
/// # Errors
/// It is full or closed.
pub fn say(text: &str) -> anyhow::Result<()> {
    let mut output = anstream::stdout().lock();
    let written = output.write_all(of_text(text).as_bytes()).and_then(|()| output.flush());
    written.map_err(|error| cannot_say(&error))
}

/// Writes a line of text.
///
/// # Errors
/// As [`say`].
pub fn say_line(text: &str) -> anyhow::Result<()> {
    say(&format!("{text}\n"))
}

/// Writes an object over several lines.
///
/// # Errors
/// As [`say`].
pub fn say_json(value: &impl Serialize) -> anyhow::Result<()> {
    raw(&(of_json(&serde_json::to_string_pretty(value)?) + "\n"))
}

/// Writes an object on one line.
///
/// # Errors
/// As [`say`].
pub fn say_json_line(value: &impl Serialize) -> anyhow::Result<()> {
    raw(&(of_json(&serde_json::to_string(value)?) + "\n"))
}

/// Writes text that is no message but a product, as it is: a script.
///
/// # Errors
/// As [`say`].
pub fn raw(text: &str) -> anyhow::Result<()> {
    if let Some(taken) = apart::take(text) {
        return taken.map_err(|error| cannot_say(&error));
    }
    let mut output = io::stdout().lock();
    let written = output.write_all(text.as_bytes()).and_then(|()| output.flush());
    written.map_err(|error| cannot_say(&error))
}

/// Waits until all that is written apart is written.
///
/// # Errors
/// As [`say`]; or nobody reads it.
pub fn finish() -> anyhow::Result<()> {
    apart::finish().map_err(|error| cannot_say(&error))
}

/// Writes a line without styles to standard error.
pub fn remark(text: &str) {
    to_stderr(&of_plain_text(text));
}

/// Writes a line to standard error, styles and all where there is a terminal.
pub fn remark_styled(text: &str) {
    let styled = of_text(text);
    match anstream::AutoStream::choice(&io::stderr()) {
        anstream::ColorChoice::Never => to_stderr(&anstream::adapter::strip_str(&styled).to_string()),
        _ => to_stderr(&styled),
    }
}

fn to_stderr(line: &str) {
    let line = format!("{line}\n");
    if !apart::take_remark(&line) {
        // There is nowhere left to tell that this failed.
        let _ = io::stderr().write_all(line.as_bytes());
    }
}

/// Waits until all remarks are written that are written apart, or nobody reads them: the last word of the program.
pub fn finish_remarks() {
    apart::finish_remarks();
}

/// What is told where standard output cannot be written.
pub fn cannot_say(error: &io::Error) -> anyhow::Error {
    match error.kind() {
        ErrorKind::BrokenPipe => anyhow!("cannot write to standard output: whoever read it has ended"),
        ErrorKind::StorageFull => anyhow!("cannot write to standard output: the disk is full"),
        _ => anyhow!("cannot write to standard output: {error}"),
    }
}
