//! The rows of a trace in order, read ahead on a thread of their own while those before them are watched.
//!
//! Decides: how far ahead: [`BLOCKS`] blocks of [`ROWS`] rows.
//! Assumes: whoever takes the rows needs nothing of the reader before the last.
//! Never: gives another row, another order or another fault than a reader without a thread, nor holds more rows, whatever
//! the length of the trace.

use crate::identity::SerialChanges;
use crate::input::diagnostic::InputErrors;
use crate::trace::{Row, TraceReader};
use bandward::Sample;
use std::panic::resume_unwind;
use std::sync::mpsc::{Receiver, SyncSender, channel, sync_channel};
use std::thread;

/// Rows that change hands at once: some hundred microseconds of work, of which a change takes a few.
const ROWS: usize = 1024;
/// Blocks that wait for whoever takes them.
const BLOCKS: usize = 2;

/// A row, made ready for the core.
#[derive(Clone, Copy, Default)]
pub struct Ready {
    /// The row.
    pub row: Row,
    /// The same for the core.
    pub sample: Sample,
    /// Is it the first of another joint, by what the log says?
    pub begins_joint: bool,
}

/// Rows that change hands together: the first `count`.
struct Block {
    rows: Box<[Ready]>,
    count: usize,
}

impl Block {
    fn new() -> Self {
        Self { rows: vec![Ready::default(); ROWS].into(), count: 0 }
    }
}

/// Gives every row to `take`.
///
/// # Errors
/// There is a fault in the trace; the rows before it have been given.
pub fn each(reader: &mut TraceReader, mut take: impl FnMut(&Ready)) -> Result<(), InputErrors> {
    let (mut rows, mut ready) = (Rows::of(reader), Ready::default());
    while rows.next_into(&mut ready)? {
        take(&ready);
    }
    Ok(())
}

/// The same, read ahead on another thread, where there may be one.
///
/// # Errors
/// As [`each`].
pub fn each_ahead(reader: &mut TraceReader, mut take: impl FnMut(&Ready)) -> Result<(), InputErrors> {
    let (full, blocks) = sync_channel(BLOCKS);
    let (spent, empty) = channel();
    let done = thread::scope(|scope| {
        let mut rows = Rows::of(reader);
        let reading = thread::Builder::new().spawn_scoped(scope, move || rows.give(&full, &empty)).ok()?;
        let watch = || {
            for block in blocks {
                let block: Block = block?;
                block.rows.iter().take(block.count).for_each(&mut take);
                // Nobody needs it any more where the last has been read.
                let _ = spent.send(block);
            }
            Ok(())
        };
        let end = watch();
        // A fault of the program there is told as one here would be, with its own place.
        reading.join().unwrap_or_else(|fault| resume_unwind(fault));
        Some(end)
    });
    done.unwrap_or_else(|| each(reader, take))
}

struct Rows<'r> {
    reader: &'r mut TraceReader,
    serials: SerialChanges,
}

impl<'r> Rows<'r> {
    fn of(reader: &'r mut TraceReader) -> Self {
        Self { reader, serials: SerialChanges::default() }
    }
    #[inline]
    fn next_into(&mut self, ready: &mut Ready) -> Result<bool, InputErrors> {
        if !self.reader.next_into(&mut ready.row)? {
            return Ok(false);
        }
        ready.begins_joint = self.serials.is_new_joint(self.reader.marks(), ready.row.time_us);
        ready.sample = ready.row.to_sample();
        Ok(true)
    }
    /// Gives blocks of rows until there is no more, or nobody takes them.
    fn give(&mut self, full: &SyncSender<Result<Block, InputErrors>>, empty: &Receiver<Block>) {
        let mut is_there = Ok(true);
        while is_there == Ok(true) {
            let mut block = empty.try_recv().unwrap_or_else(|_| Block::new());
            block.count = 0;
            for ready in &mut block.rows {
                is_there = self.next_into(ready);
                if is_there != Ok(true) {
                    break;
                }
                block.count += 1;
            }
            if full.send(Ok(block)).is_err() {
                return;
            }
        }
        if let Err(errors) = is_there {
            let _ = full.send(Err(errors));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace;
    use std::fmt::Write as _;
    use std::io::Cursor;

    /// A log of so many rows, of which the one in `faulty` has a cell that is no number.
    fn log(rows: usize, faulty: Option<usize>) -> String {
        let mut log = "time_s,current_a,voltage_v\n".to_owned();
        for row in 0..rows {
            let volts = if Some(row) == faulty { "x".to_owned() } else { format!("{}.5", row % 7) };
            writeln!(log, "{}.{:02},{},{volts}", row / 100, row % 100, row % 300).expect("written");
        }
        log
    }

    /// The rows given, and what was said in the end.
    fn given(log: String, is_ahead: bool) -> (Vec<(Row, Sample)>, Option<String>) {
        let mut reader =
            trace::open_stream(Cursor::new(log.into_bytes()), "log", None).expect("it begins well");
        let mut rows = Vec::new();
        let take = |ready: &Ready| rows.push((ready.row, ready.sample));
        let end = if is_ahead { each_ahead(&mut reader, take) } else { each(&mut reader, take) };
        (rows, end.err().map(|errors| errors.to_string()))
    }

    #[test]
    fn rows_and_faults_come_as_they_do_without_a_thread() {
        for (rows, faulty) in [
            (2, None),
            (ROWS, None),
            (ROWS + 1, None),
            (10 * ROWS, None),
            (10 * ROWS, Some(5 * ROWS)),
            (10 * ROWS, Some(5 * ROWS - 1)),
            (4000, Some(3999)),
        ] {
            let (ahead, end) = given(log(rows, faulty), true);
            assert_eq!((ahead.clone(), end.clone()), given(log(rows, faulty), false));
            assert_eq!(ahead.len(), faulty.unwrap_or(rows));
            let line = faulty.map(|row| format!("log:{}", row + 2));
            assert_eq!(end.is_some(), faulty.is_some());
            assert!(line.is_none_or(|line| end.is_some_and(|end| end.contains(&line))));
        }
    }

    #[test]
    fn whoever_takes_no_more_ends_the_reading() {
        let panics = std::panic::catch_unwind(|| {
            let mut reader = trace::open_stream(Cursor::new(log(50 * ROWS, None).into_bytes()), "log", None)
                .expect("sound");
            each_ahead(&mut reader, |ready| assert!(ready.row.time_us < 20_000_000)).expect("sound");
        });
        assert!(panics.is_err());
    }
}
