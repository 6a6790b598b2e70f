//! A board as it is seen over its link.
//!
//! Decides: when what was heard is too old to stand for now.
//! Assumes: it is handed everything that is said, with the time at which it was.
//! Never: shows an old value as one of now: no data is never good data.

use super::board_faults;
use super::doubt::{Doubt, Doubts};
use super::gauge::{self, Gauge};
use super::keeper::LinkNews;
use super::ledger::Ledger;
use super::next_band::NextBand;
use super::view::{LinkView, View};
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::{Setting, Subject};
use crate::link::Report;
use crate::link::live::{Recorded, TraceRecorder};
use crate::output::named;
use crate::raw::{from_raw, seconds, value};
use crate::trace::Row;
use bandward::link::upload::crc_of;
use bandward::link::{Counts, Telemetry};
use bandward::{Channel, Quantity, Rule, Sink as _};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Telemetry older than this is no data, where it should come more often.
pub const SILENCE: Duration = Duration::from_secs(2);
/// How long a notice stays.
const NOTICE: Duration = Duration::from_secs(12);

/// What is known of a board.
pub struct Remote {
    ledger: Ledger,
    doubts: Doubts,
    telemetry: Option<Telemetry>,
    next_band: NextBand,
    /// When the last telemetry came; before the first, when the link was made.
    heard: Instant,
    /// It came over this link, and under the active procedure.
    is_current: bool,
    silence: Duration,
    /// Why there is no link.
    lost: Option<String>,
    procedure_crc: u32,
    /// Seen from here.
    counts: Counts,
    notice: Option<(String, Instant)>,
    recorder: Option<TraceRecorder>,
    /// Why the last recording ended by itself.
    recording_ended: Option<String>,
    /// Every row of the bench test was judged.
    is_over: bool,
}

impl Remote {
    /// Before anything was said; telemetry is expected every `silence` at least. With a bench test or without one.
    pub fn new(now: Instant, silence: Duration, is_bench: bool) -> Self {
        Self {
            ledger: Ledger::default(),
            doubts: Doubts::new(is_bench),
            telemetry: None,
            next_band: NextBand::default(),
            heard: now,
            is_current: false,
            silence,
            lost: None,
            procedure_crc: 0,
            counts: Counts::default(),
            notice: None,
            recorder: None,
            recording_ended: None,
            is_over: false,
        }
    }
    /// Takes what is said.
    pub fn take(&mut self, said: LinkNews, now: Instant) {
        match said {
            LinkNews::Linked { procedure_crc } => {
                self.lost = None;
                if procedure_crc != self.procedure_crc {
                    self.procedure_crc = procedure_crc;
                    self.is_current = false;
                    self.doubts.other_procedure();
                    self.ledger.forget_active();
                }
            }
            LinkNews::Lost(why) => {
                self.lost = Some(why);
                self.doubts.lost();
                // What the end of the bench test left behind is not known any more.
                (self.is_current, self.is_over) = (false, false);
            }
            LinkNews::Report(report) => self.report(&report, now),
            LinkNews::Counts(counts) => self.counts = counts,
            LinkNews::Done(deed) => {
                self.doubts.journal_damaged(&deed.damaged);
                self.notice = Some((deed.words, now));
            }
            LinkNews::Failed(why) => self.notify(why, now),
            LinkNews::BenchOver => self.is_over = true,
        }
    }
    fn report(&mut self, report: &Report, now: Instant) {
        match report {
            Report::Event(event) => self.ledger.event(event),
            Report::Band { record, .. } => self.ledger.band(record),
            Report::Joint { record, .. } => {
                self.ledger.joint(record);
                self.doubts.joint(record);
            }
            Report::Bench { record, .. } => {
                if self.doubts.bench_record(record) {
                    self.ledger.bench(record);
                } else {
                    self.ledger.bench_of_others(record);
                }
            }
            Report::Faults(faults) => self.doubts.faults(*faults),
            Report::Telemetry(telemetry) => {
                self.doubts.state(telemetry);
                self.ledger.correct(telemetry);
                let row = believed(telemetry);
                let is_in_band = self.ledger.phase.is_in_band();
                self.next_band.take(row.time_us, row.get(Channel::Work), is_in_band);
                (self.telemetry, self.heard, self.is_current) = (Some(*telemetry), now, true);
                self.recording(|recorder| recorder.take(row, now));
            }
            _ => {}
        }
    }
    /// Does something with the recording, which ends where that fails: the watch goes on.
    fn recording(&mut self, does: impl FnOnce(&mut TraceRecorder) -> anyhow::Result<()>) {
        let Some(mut recorder) = self.recorder.take() else { return };
        match does(&mut recorder) {
            Ok(()) => self.recorder = Some(recorder),
            Err(error) => {
                // Whatever fails again on the way out has the same cause.
                let (recorded, _) = recorder.finish();
                self.recording_ended = Some(ended(&error, &recorded));
            }
        }
    }
    /// Does what is due: several times a second.
    pub fn tick(&mut self, now: Instant) {
        self.recording(|recorder| recorder.tick(now));
    }
    /// Shows some words for a while.
    pub fn notify(&mut self, words: String, now: Instant) {
        self.notice = Some((words, now));
    }
    /// Records from now on, to `path` or, where that is there, to the same with a number; returns which.
    pub fn record(&mut self, path: &Path) -> PathBuf {
        let recorder = TraceRecorder::new(path);
        let path = recorder.path().to_owned();
        (self.recorder, self.recording_ended) = (Some(recorder), None);
        path
    }
    /// Ends the recording, if there is one; tells in words what was written.
    pub fn end_recording(&mut self) -> Option<String> {
        let recorder = self.recorder.take()?;
        let path = recorder.path().to_owned();
        let (recorded, result) = recorder.finish();
        match result {
            Ok(()) => Some(in_words(&recorded, &path)),
            Err(error) => {
                self.recording_ended = Some(ended(&error, &recorded));
                None
            }
        }
    }
    /// Why the last recording ended by itself, if it did.
    pub fn recording_ended(&self) -> Option<&str> {
        self.recording_ended.as_deref()
    }
    /// Is it recording?
    pub fn is_recording(&self) -> bool {
        self.recorder.is_some()
    }
    /// Why what was watched is not proven, if it is not.
    pub fn doubts(&self, now: Instant) -> Vec<Doubt> {
        let old = now.saturating_duration_since(self.heard);
        let mut doubts = self.doubts.all(self.ledger.outcome(), old, self.silence);
        doubts.extend(self.ledger.unproven().map(|(name, words)| Doubt { name, words: words.to_owned() }));
        doubts
    }
    /// Was a record damaged in a journal that was fetched?
    pub fn is_journal_damaged(&self) -> bool {
        self.doubts.is_journal_damaged()
    }
    /// What was said so far.
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }
    /// What was said so far, to take the news from.
    pub fn ledger_mut(&mut self) -> &mut Ledger {
        &mut self.ledger
    }
    /// The state the board told last.
    pub fn telemetry(&self) -> Option<&Telemetry> {
        self.telemetry.as_ref()
    }
    /// Is there no link?
    pub fn is_lost(&self) -> bool {
        self.lost.is_some()
    }
    /// Was every row of the bench test judged?
    pub fn is_over(&self) -> bool {
        self.is_over
    }
    /// Is the black box frozen, as far as is known?
    pub fn is_black_box_frozen(&self) -> bool {
        self.telemetry.is_some_and(|telemetry| telemetry.black_box_frozen)
    }
    /// Is this procedure the active one?
    pub fn judges_by(&self, file: &ProcedureFile) -> bool {
        crc_of(&file.procedure) == self.procedure_crc
    }
    /// Frames that were bad, and frames that never came, at both ends.
    pub fn bad_and_missed(&self) -> (u32, u32) {
        let bad = |counts: &Counts| {
            let parts = [counts.garbage, counts.truncated, counts.oversized, counts.unknown];
            parts.into_iter().fold(0, u32::saturating_add)
        };
        let there = self.telemetry.map(|telemetry| telemetry.counts).unwrap_or_default();
        let both = |count: fn(&Counts) -> u32| count(&self.counts).saturating_add(count(&there));
        (bad(&self.counts).saturating_add(bad(&there)), both(|counts| counts.missed))
    }
    /// Fills in a view.
    pub fn show(&self, view: &mut View, file: Option<&ProcedureFile>, now: Instant) {
        view.take(&self.ledger);
        view.is_over = self.is_over;
        view.time_s = self.telemetry.map_or(0.0, |telemetry| seconds(telemetry.readings.time_us));
        let file = file.map(|file| (file, self.judges_by(file)));
        view.procedure = Some(match file {
            Some((file, true)) => file.title_with_warning(),
            Some((file, false)) => format!("NOT {}: p activates it", file.title()),
            None => "ranges unknown: no procedure was named".to_owned(),
        });
        let old = now.saturating_duration_since(self.heard);
        let is_awaited = self.telemetry.is_some() && !self.is_current;
        let is_silent = !self.is_over && (old > self.silence || is_awaited);
        let current = self.telemetry.filter(|_| !is_silent && self.lost.is_none());
        view.turned_deg = current.and_then(|telemetry| telemetry.position.turned.map(value));
        let is_other_procedure = file.is_some_and(|(_, in_force)| !in_force);
        let file = file.and_then(|(file, in_force)| in_force.then_some(file));
        view.gauges = gauges(current.filter(|_| !self.is_over).as_ref(), file);
        let limited = current.filter(|_| !self.is_over).map(|telemetry| telemetry.readings.time_us).zip(file);
        view.next_band = limited
            .and_then(|(now_us, file)| self.next_band.advice(file, self.ledger.band, now_us, view.system));
        view.in_range_words = limited
            .and_then(|(now_us, file)| self.next_band.in_range(file, self.ledger.band, now_us, view.system));
        let (bad, missed) = self.bad_and_missed();
        view.link = Some(LinkView {
            lost: self.lost.clone(),
            silent_s: (is_silent || self.lost.is_some()).then_some(old.as_secs()),
            has_spoken: self.telemetry.is_some(),
            outputs: current.map(|telemetry| telemetry.outputs),
            is_bench: current.is_some_and(|telemetry| telemetry.is_bench),
            faults: current.as_ref().and_then(board_faults::words),
            black_box_frozen: current.is_some_and(|telemetry| telemetry.black_box_frozen),
            bad,
            missed,
            taken: self.counts.taken,
            procedure_crc: self.procedure_crc,
            is_other_procedure,
            is_recording: self.is_recording(),
            notice: self
                .notice
                .as_ref()
                .filter(|(_, at)| now.saturating_duration_since(*at) < NOTICE)
                .map(|(words, _)| words.clone())
                // Until somebody has seen it.
                .or_else(|| self.recording_ended.clone()),
        });
        view.settle(&self.ledger);
    }
}

fn in_words(recorded: &Recorded, asked: &Path) -> String {
    let rows = recorded.rows;
    let left_out = match recorded.left_out {
        0 => String::new(),
        count => format!("; {count} rows repeated a time or came from the past and are left out"),
    };
    let place = match &recorded.files[..] {
        [] => {
            return format!(
                "nothing was recorded: the board told no readings, and there is no {}",
                named(asked)
            );
        }
        [file] => named(file),
        [first, .., last] => {
            format!("{} files, {} to {}", recorded.files.len(), named(first), named(last))
        }
    };
    format!("recorded: {rows} rows, in {place}{left_out}")
}

fn ended(error: &anyhow::Error, recorded: &Recorded) -> String {
    let rows = recorded.rows;
    let kept =
        recorded.files.last().map_or(String::new(), |file| format!("; {rows} rows are in {}", named(file)));
    format!("the recording ended: {error:#}{kept}")
}

/// The readings that are valid: the board holds on to the last one of a channel that went missing.
pub fn believed(telemetry: &Telemetry) -> Row {
    let mut row = Row::of_sample(&telemetry.readings);
    for alarm in telemetry.alarms.iter().flatten().filter(|alarm| alarm.rule == Rule::SignalMissing) {
        if let Some(channel) = alarm.channel {
            row.values[channel as usize] = None;
        }
    }
    row
}

fn gauges(telemetry: Option<&Telemetry>, file: Option<&ProcedureFile>) -> Vec<Gauge> {
    let judged = |quantity: Quantity| telemetry.and_then(|telemetry| telemetry.judged[quantity as usize]);
    let mut gauges = match file {
        Some(file) => gauge::of_procedure(file, judged),
        None => gauge::shown().map(|quantity| without_range(quantity, judged(quantity))).collect(),
    };
    let Some(telemetry) = telemetry else { return gauges };
    let row = believed(telemetry);
    for gauge in &mut gauges {
        gauge.unjudged = sensor(gauge.setting.subject, telemetry).and_then(|channel| row.get(channel));
    }
    gauges
}

fn without_range(quantity: Quantity, judged: Option<i32>) -> Gauge {
    let subject = Subject::Judged(quantity);
    let setting = Setting {
        subject,
        target: None,
        recommended: None,
        allowed: None,
        floor: None,
        is_judged_where_possible: false,
        until_c: None,
    };
    let value = judged.map(|raw| from_raw(raw, quantity.fraction_bits()));
    Gauge { setting, value, unjudged: None }
}

/// The sensor that shows a quantity as it is, judged or not. The heat before a band is that of its start:
/// once the band has begun the sensor shows another.
fn sensor(subject: Subject, telemetry: &Telemetry) -> Option<Channel> {
    let (is_in_band, band) = (telemetry.phase.is_in_band(), telemetry.position.band);
    match subject {
        Subject::Judged(Quantity::Current) => Some(Channel::Current),
        Subject::Judged(Quantity::Voltage) => Some(Channel::Voltage),
        Subject::Judged(Quantity::GasFlow) => Some(Channel::Gas),
        Subject::Judged(Quantity::CoolantFlow) => Some(Channel::Coolant),
        Subject::Judged(Quantity::Preheat) if band == 0 && !is_in_band => Some(Channel::Work),
        Subject::Judged(Quantity::Interpass) if band > 0 && !is_in_band => Some(Channel::Work),
        _ => None,
    }
}
