//! The rows of a trace as they come due.
//!
//! Decides: which rows are due; one that has not come yet is due later.
//! Assumes: rows as the reader gives them.
//! Never: waits for a stream.

use super::arriving::Stream;
use crate::input::diagnostic::InputErrors;
use crate::trace::Row;
use std::sync::mpsc::TryRecvError;
use std::time::Duration;

/// Rows of a trace, one after the other.
pub type Rows = Box<dyn Iterator<Item = Result<Row, InputErrors>> + Send>;

/// How fast a trace is played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Speed {
    /// So many times as fast as it was recorded.
    Times(f64),
    /// As fast as it goes.
    Most,
}

impl Speed {
    /// Time in the trace that goes by in `passed`, µs.
    pub fn micros(self, passed: Duration) -> u64 {
        match self {
            Self::Times(times) => (passed.as_secs_f64() * times * 1e6) as u64,
            Self::Most => u64::MAX,
        }
    }
}

/// What comes next.
#[derive(Clone, Debug, PartialEq)]
pub enum Due {
    /// This row.
    Row(Row),
    /// A row that is not due yet.
    Later,
    /// Nothing.
    End,
}

/// Where rows come from.
enum Supply {
    /// At once.
    Here(Rows),
    /// When they come.
    Stream(Stream),
}

/// Gives out rows.
pub struct DueRows {
    supply: Supply,
    /// Read, and not due yet.
    waiting: Option<Row>,
    first_us: Option<u64>,
    is_over: bool,
    /// A stream has given none.
    is_starved: bool,
}

impl DueRows {
    /// Before the first row.
    pub fn new(rows: Rows) -> Self {
        Self::of(Supply::Here(rows))
    }
    /// Before the first row of a stream.
    pub fn of_stream(stream: Stream) -> Self {
        Self::of(Supply::Stream(stream))
    }
    fn of(supply: Supply) -> Self {
        Self { supply, waiting: None, first_us: None, is_over: false, is_starved: false }
    }
    /// The next row, if it is due `elapsed_us` after the first.
    ///
    /// # Errors
    /// The trace has a fault.
    pub fn next(&mut self, elapsed_us: u64) -> Result<Due, InputErrors> {
        self.is_starved = false;
        let row = match (self.waiting.take(), &mut self.supply) {
            (Some(row), _) => Some(row),
            (None, Supply::Here(rows)) => rows.next().transpose()?,
            (None, Supply::Stream(stream)) => match stream.rows.try_recv() {
                Ok(row) => Some(row?),
                Err(TryRecvError::Empty) => {
                    self.is_starved = true;
                    return Ok(Due::Later);
                }
                Err(TryRecvError::Disconnected) => None,
            },
        };
        let Some(row) = row else {
            self.is_over = true;
            return Ok(Due::End);
        };
        let first_us = *self.first_us.get_or_insert(row.time_us);
        if row.time_us.saturating_sub(first_us) > elapsed_us {
            self.waiting = Some(row);
            return Ok(Due::Later);
        }
        Ok(Due::Row(row))
    }
    /// Is there no more row?
    pub fn is_over(&self) -> bool {
        self.is_over
    }
    /// Has a stream given none when the next one was last asked for?
    pub fn is_starved(&self) -> bool {
        self.is_starved
    }
    /// Time of the newest row that has come, µs; `None` where they are all here.
    pub fn arrived_us(&self) -> Option<u64> {
        match &self.supply {
            Supply::Here(_) => None,
            Supply::Stream(stream) => Some(stream.newest_us()),
        }
    }
    /// Time of the first row, µs.
    pub fn first_us(&self) -> Option<u64> {
        self.first_us
    }
}
