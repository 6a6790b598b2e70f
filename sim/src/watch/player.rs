//! A trace played as if it were being welded.
//!
//! Decides: nothing; it hands the rows that are due to the core.
//! Assumes: rows as the reader gives them.
//! Never: reads a clock for a verdict (how long a person puts an alarm away is no verdict); the pace changes only when a thing is shown.

use super::due::{Due, DueRows, Rows};
use super::gauge::{self, Gauge};
use super::ledger::Ledger;
use super::next_band::NextBand;
use super::timeliness::{HOLE_US, Taken};
use crate::alarm::is_same;
use crate::input::diagnostic::InputErrors;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::raw::value;
use crate::replay::sound;
use bandward::{Acquisition, Channel, Monitor, Procedure, Rule};
use std::time::{Duration, Instant};

/// Rows between two looks at the clock.
const ROWS_A_LOOK: usize = 256;

/// Plays rows to a monitor.
pub struct Player {
    rows: DueRows,
    monitor: Monitor,
    ledger: Ledger,
    next_band: NextBand,
    /// Rules that a person has put away, and until when on that person's clock.
    shelved: Vec<(Rule, Instant)>,
    now_us: u64,
    /// By how much the last row was stamped before the newest, µs, where it was not later.
    back_us: Option<u64>,
    /// Time of the first row behind the last hole, µs.
    hole_us: u64,
    is_over: bool,
}

impl Player {
    /// Before the first row.
    pub fn new(rows: Rows, acquisition: Acquisition, procedure: Procedure) -> Self {
        Self::of(DueRows::new(rows), acquisition, procedure)
    }
    /// As [`Self::new`], of rows that may come later.
    #[allow(clippy::needless_pass_by_value)] // it is done with: the monitor keeps its own
    pub fn of(rows: DueRows, acquisition: Acquisition, procedure: Procedure) -> Self {
        Self {
            rows,
            monitor: Monitor::new(&sound(&procedure), acquisition),
            ledger: Ledger::default(),
            next_band: NextBand::default(),
            shelved: Vec::new(),
            now_us: 0,
            back_us: None,
            hole_us: 0,
            is_over: false,
        }
    }
    /// Plays all rows up to `elapsed_us` after the first, and no longer than `until`; returns whether
    /// it came so far.
    ///
    /// # Errors
    /// The trace has a fault.
    pub fn advance(&mut self, elapsed_us: u64, until: Option<Instant>) -> Result<bool, InputErrors> {
        let came_so_far = self.play(elapsed_us, until)?;
        self.ledger.so_far = self.monitor.so_far();
        self.keep_shelved();
        Ok(came_so_far)
    }
    fn play(&mut self, elapsed_us: u64, until: Option<Instant>) -> Result<bool, InputErrors> {
        for count in 1_usize.. {
            let row = match self.rows.next(elapsed_us)? {
                Due::Row(row) => row,
                Due::Later => return Ok(true),
                Due::End => {
                    self.end();
                    return Ok(true);
                }
            };
            self.back_us = (row.time_us <= self.now_us && self.rows.first_us() != Some(row.time_us))
                .then(|| self.now_us - row.time_us);
            if row.time_us > self.now_us.saturating_add(HOLE_US) {
                self.hole_us = row.time_us;
            }
            self.now_us = self.now_us.max(row.time_us);
            self.monitor.step(&row.to_sample(), &mut self.ledger);
            let is_in_band = self.ledger.phase.is_in_band();
            self.next_band.take(row.time_us, row.get(Channel::Work), is_in_band);
            if count.is_multiple_of(ROWS_A_LOOK) && until.is_some_and(|until| Instant::now() >= until) {
                return Ok(false);
            }
        }
        Ok(true)
    }
    /// Ends before the last row: what is open then was not seen whole.
    pub fn finish(&mut self) {
        self.end();
        self.ledger.so_far = self.monitor.so_far();
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
        self.now_us.saturating_sub(self.rows.first_us().unwrap_or(self.now_us))
    }
    /// Has no row come yet?
    pub fn is_waiting(&self) -> bool {
        self.rows.first_us().is_none()
    }
    /// Does it wait for the next row of a stream?
    pub fn is_starved(&self) -> bool {
        !self.is_over && self.rows.is_starved()
    }
    /// How far the rows of a stream are that were taken; `None` where they do not come as a stream, or have ended.
    pub fn taken(&self) -> Option<Taken> {
        let arrived_us = self.rows.arrived_us().filter(|_| !self.is_over)?;
        let waiting_us = (!self.rows.is_starved()).then_some(arrived_us);
        Some(Taken { newest_us: self.now_us, waiting_us, back_us: self.back_us, hole_us: self.hole_us })
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
    /// Puts the alarms of a rule away for so long, s; 0 takes them back. It counts in the time of the person who asks,
    /// `now`, however fast the trace is played; see [`Self::end_shelving`].
    pub fn shelve(&mut self, rule: Rule, for_s: u32, now: Instant) {
        self.shelved.retain(|(shelved, _)| *shelved != rule);
        if for_s > 0 {
            self.shelved.push((rule, now + Duration::from_secs(for_s.into())));
        }
        // In the time of the trace there is no end, but for the longest that the core knows.
        let for_us = if for_s > 0 { u32::MAX } else { 0 };
        self.monitor.shelve(rule, for_us, &mut self.ledger);
    }
    /// An alarm that is raised while its rule is put away tells nothing of that.
    fn keep_shelved(&mut self) {
        let Self { monitor, ledger, .. } = self;
        for known in monitor.active_alarms() {
            for alarm in &mut ledger.active {
                if is_same(alarm.rule, known.rule, alarm.channel, known.channel) {
                    alarm.shelved = known.shelved;
                }
            }
        }
    }
    /// Takes back what was put away until `now`.
    pub fn end_shelving(&mut self, now: Instant) {
        let Self { shelved, monitor, ledger, .. } = self;
        for (rule, _) in shelved.extract_if(.., |(_, until)| *until <= now) {
            monitor.shelve(rule, 0, ledger);
        }
    }
    /// Has a new joint begin as soon as no band is open.
    pub fn mark_joint(&mut self) {
        self.monitor.mark_joint(self.now_us, &mut self.ledger);
        self.ledger.so_far = self.monitor.so_far();
    }
    /// Angle turned since the band began, degrees.
    pub fn turned_deg(&self) -> Option<f64> {
        self.monitor.position().turned.map(value)
    }
    /// What to do before the next band, where it is too hot or too cold for one.
    pub fn next_band(&self, procedure: &ProcedureFile, system: UnitSystem) -> Option<String> {
        if self.is_over {
            return None;
        }
        self.next_band.advice(procedure, self.ledger.band, self.now_us, system)
    }
    /// That it is neither, where that is known.
    pub fn in_range_words(&self, procedure: &ProcedureFile, system: UnitSystem) -> Option<String> {
        let open = Some(&self.next_band).filter(|_| !self.is_over)?;
        open.in_range(procedure, self.ledger.band, self.now_us, system)
    }
    /// Every quantity the procedure gives a range for, with its value now.
    pub fn gauges(&self, procedure: &ProcedureFile) -> Vec<Gauge> {
        gauge::of_procedure(
            procedure,
            |quantity| {
                if self.is_over { None } else { self.monitor.reading(quantity) }
            },
        )
    }
}
