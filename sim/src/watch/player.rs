//! A trace played as if it were being welded.
//!
//! Decides: which rows are due.
//! Assumes: rows as the reader gives them.
//! Never: reads a clock for a verdict; the pace changes only when a thing is shown.

use super::gauge::Gauge;
use super::ledger::Ledger;
use crate::input::diagnostic::InputErrors;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;
use crate::replay::{from_raw, value};
use crate::trace::Row;
use bandward::{Acquisition, Monitor, Procedure, Quantity};
use std::time::Instant;

/// Rows between two looks at the clock.
const ROWS_A_LOOK: usize = 256;

/// Rows of a trace, one after the other.
pub type Rows = Box<dyn Iterator<Item = Result<Row, InputErrors>>>;

/// Plays rows to a monitor.
pub struct Player {
    rows: Rows,
    /// Read, and not due yet.
    waiting: Option<Row>,
    monitor: Monitor,
    ledger: Ledger,
    first_us: Option<u64>,
    now_us: u64,
    is_over: bool,
}

impl Player {
    /// Before the first row.
    pub fn new(rows: Rows, acquisition: Acquisition, procedure: Procedure) -> Self {
        Self {
            rows,
            waiting: None,
            monitor: Monitor::new(procedure, acquisition),
            ledger: Ledger::default(),
            first_us: None,
            now_us: 0,
            is_over: false,
        }
    }
    /// Plays all rows up to `elapsed_us` after the first, and no longer than `until`; returns whether
    /// it came so far.
    ///
    /// # Errors
    /// The trace has a fault.
    pub fn advance(&mut self, elapsed_us: u64, until: Option<Instant>) -> Result<bool, InputErrors> {
        for count in 1_usize.. {
            let Some(row) = self.waiting.take().map(Ok).or_else(|| self.rows.next()).transpose()? else {
                self.end();
                return Ok(true);
            };
            let first_us = *self.first_us.get_or_insert(row.time_us);
            if row.time_us.saturating_sub(first_us) > elapsed_us {
                self.waiting = Some(row);
                return Ok(true);
            }
            self.now_us = self.now_us.max(row.time_us);
            self.monitor.step(&row.to_sample(), &mut self.ledger);
            if count.is_multiple_of(ROWS_A_LOOK) && until.is_some_and(|until| Instant::now() >= until) {
                return Ok(false);
            }
        }
        Ok(true)
    }
    fn end(&mut self) {
        if !self.is_over {
            self.is_over = true;
            self.monitor.finish(&mut self.ledger);
        }
    }
    /// Time of the last row played, µs.
    pub fn now_us(&self) -> u64 {
        self.now_us
    }
    /// Time from the first row to the last one played, µs.
    pub fn elapsed_us(&self) -> u64 {
        self.now_us.saturating_sub(self.first_us.unwrap_or(self.now_us))
    }
    /// Is the last row played?
    pub fn is_over(&self) -> bool {
        self.is_over
    }
    /// What was said so far.
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }
    /// What was said so far, to take the news from.
    pub fn ledger_mut(&mut self) -> &mut Ledger {
        &mut self.ledger
    }
    /// Acknowledges every active alarm.
    pub fn acknowledge(&mut self) {
        self.monitor.acknowledge(self.now_us, &mut self.ledger);
    }
    /// Angle turned since the band began, degrees.
    pub fn turned_deg(&self) -> Option<f64> {
        self.monitor.position().turned.map(value)
    }
    /// Every quantity the procedure gives a range for, with its value now.
    pub fn gauges(&self, procedure: &ProcedureFile) -> Vec<Gauge> {
        let read = |quantity: Quantity| {
            let raw = if self.is_over { None } else { self.monitor.reading(quantity) };
            raw.map(|raw| from_raw(raw, quantity.fraction_bits()))
        };
        let gauge = |quantity| {
            let setting = *procedure.setting(Subject::Judged(quantity))?;
            Some(Gauge { setting, value: read(quantity) })
        };
        // Known only once a band is over, so there is nothing to show while it goes on.
        let is_shown = |quantity: &Quantity| !matches!(quantity, Quantity::GasPostflow | Quantity::Overlap);
        Quantity::ALL.into_iter().filter(is_shown).filter_map(gauge).collect()
    }
}
