//! Rows of a trace that comes as a stream: a pipe, a device, a program that is still writing.
//!
//! Decides: that they are read on a thread of their own, so that whoever shows them never waits for one.
//! Assumes: whoever takes the rows asks several times a second.
//! Never: holds more than `MOST_WAITING` rows: a stream that is faster waits until they are taken.

use crate::input::diagnostic::InputErrors;
use crate::trace::{Row, TraceHeader, TraceReader};
use anyhow::anyhow;
use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Duration;

const MOST_WAITING: usize = 4096;

/// May reading this trace take for ever? `None` is the demo.
pub fn is_stream(trace: Option<&Path>) -> bool {
    // What is not there is told by whoever opens it.
    trace.is_some_and(|path| !path.metadata().is_ok_and(|metadata| metadata.is_file()))
}

type Opened = anyhow::Result<TraceHeader>;
/// A row, or why there are no more.
pub type Arrived = Result<Row, InputErrors>;

/// A trace that is being opened on a thread of its own.
pub struct Arriving {
    header: Receiver<Opened>,
    rows: Receiver<Arrived>,
}

impl Arriving {
    /// Begins to open and to read it.
    pub fn begin(open: impl FnOnce() -> anyhow::Result<TraceReader> + Send + 'static) -> Self {
        let ((to_header, header), (to, rows)) = (sync_channel(1), sync_channel(MOST_WAITING));
        // It ends with the trace or with the program, whichever is first.
        std::thread::spawn(move || read(open, &to_header, &to));
        Self { header, rows }
    }
    /// What is known of the trace, if that comes within `wait`.
    ///
    /// # Errors
    /// The trace cannot be read.
    pub fn header(&self, wait: Duration) -> anyhow::Result<Option<TraceHeader>> {
        match self.header.recv_timeout(wait) {
            Ok(opened) => opened.map(Some),
            Err(RecvTimeoutError::Timeout) => Ok(None),
            Err(RecvTimeoutError::Disconnected) => Err(anyhow!("the thread that reads the trace has failed")),
        }
    }
    /// Its rows, once the header is known.
    pub fn rows(self) -> Receiver<Arrived> {
        self.rows
    }
}

fn read(
    open: impl FnOnce() -> anyhow::Result<TraceReader>,
    to_header: &SyncSender<Opened>,
    to: &SyncSender<Arrived>,
) {
    let opened = open();
    let (header, reader) = match opened {
        Ok(reader) => (Ok(reader.header().clone()), Some(reader)),
        Err(error) => (Err(error), None),
    };
    // Whoever no longer listens has ended.
    if to_header.send(header).is_ok() {
        let _ = reader.into_iter().flatten().all(|row| to.send(row).is_ok());
    }
}
