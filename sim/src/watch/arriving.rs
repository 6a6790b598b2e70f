//! Rows of a trace that comes as a stream: a pipe, a device, a program that is still writing.
//!
//! Decides: that they are read on a thread of their own, so that whoever shows them never waits for one.
//! Assumes: whoever takes the rows asks several times a second.
//! Never: holds more than `MOST_WAITING` rows: a stream that is faster waits until they are taken.

use crate::input::diagnostic::InputErrors;
use crate::threads;
use crate::trace::{Row, TraceHeader, TraceReader};
use anyhow::anyhow;
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
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

/// Rows as they come.
pub struct Stream {
    pub(super) rows: Receiver<Arrived>,
    newest_us: Arc<AtomicU64>,
}

impl Stream {
    /// Time of the newest row that has come, µs.
    pub(super) fn newest_us(&self) -> u64 {
        self.newest_us.load(Ordering::Relaxed)
    }
}

/// A trace that is being opened on a thread of its own.
pub struct Arriving {
    header: Receiver<Opened>,
    stream: Stream,
}

impl Arriving {
    /// Begins to open and to read it.
    ///
    /// # Errors
    /// The machine refuses a thread for it.
    pub fn begin(open: impl FnOnce() -> anyhow::Result<TraceReader> + Send + 'static) -> io::Result<Self> {
        let ((to_header, header), (to, rows)) = (sync_channel(1), sync_channel(MOST_WAITING));
        let newest_us = Arc::<AtomicU64>::default();
        let stream = Stream { rows, newest_us: newest_us.clone() };
        // It ends with the trace or with the program, whichever is first.
        threads::start(move || read(open, &to_header, &to, &newest_us))?;
        Ok(Self { header, stream })
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
    pub fn stream(self) -> Stream {
        self.stream
    }
}

fn read(
    open: impl FnOnce() -> anyhow::Result<TraceReader>,
    to_header: &SyncSender<Opened>,
    to: &SyncSender<Arrived>,
    newest_us: &AtomicU64,
) {
    let opened = open();
    let (header, reader) = match opened {
        Ok(reader) => (Ok(reader.header().clone()), Some(reader)),
        Err(error) => (Err(error), None),
    };
    // Whoever no longer listens has ended.
    if to_header.send(header).is_ok() {
        let _ = reader.into_iter().flatten().all(|row| {
            if let Ok(row) = &row {
                newest_us.fetch_max(row.time_us, Ordering::Relaxed);
            }
            to.send(row).is_ok()
        });
    }
}
