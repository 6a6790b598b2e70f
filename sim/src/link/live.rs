//! Records what a board tells while it tells it.
//!
//! Decides: when rows reach the disk, which columns a file has, when a recording goes on in another file,
//! and which rows from the past are a new start of the board.
//! Assumes: it is asked several times a second whether something is due.
//! Never: holds a row for longer than a second, but those that may be a new start; nor makes more than
//! [`MOST_FILES`] files; nor counts rows of a file that is gone or written over.

use super::rows_file::RowsFile;
pub use super::rows_file::places;
use super::written_file::WrittenFile;
use crate::output::name::unused;
use crate::trace::Row;
use anyhow::bail;
use bandward::Channel;
use bandward::sample::ChannelSet;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Rows looked at before the columns are chosen, if so many come in time: slow channels come later than
/// fast ones.
const LOOKED_AT: usize = 10;
/// Rows one after the other that make a time from the past a new start of the board.
const NEW_START: usize = 10;
/// A row is on the disk so long after it came.
const SOON: Duration = Duration::from_millis(900);
/// More files than any weld needs.
pub const MOST_FILES: usize = 100;

/// A trace cannot go back in time, and its columns are fixed: where the board starts anew, or a channel
/// appears that was not there before, the recording goes on in another file, `NAME-2.csv` after `NAME.csv`.
pub struct TraceRecorder {
    path: PathBuf,
    /// Rows of a file whose columns are not chosen yet.
    held: Vec<Row>,
    /// Rows that may be a new start.
    past: Vec<Row>,
    open: Option<RowsFile>,
    /// Channels of the file before, where the time has gone on since.
    before: ChannelSet,
    last_us: Option<u64>,
    /// When the oldest row that is not on the disk has to be.
    due: Option<Instant>,
    /// Files that have ended, and how many rows each has.
    ended: Vec<(WrittenFile, u64)>,
    left_out: u64,
}

/// What was recorded.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Recorded {
    /// Rows that are written.
    pub rows: u64,
    /// The files they are in.
    pub files: Vec<PathBuf>,
    /// Rows that repeat a time or come from the past, which no trace can hold.
    pub left_out: u64,
}

fn channels_of(row: &Row) -> ChannelSet {
    Channel::ALL
        .into_iter()
        .filter(|&channel| row.get(channel).is_some())
        .fold(ChannelSet::EMPTY, ChannelSet::with)
}

impl TraceRecorder {
    /// Nothing is written before there is something to write, and never over a file that is there.
    pub fn new(path: &Path) -> Self {
        Self {
            path: unused(path),
            held: Vec::new(),
            past: Vec::new(),
            open: None,
            before: ChannelSet::EMPTY,
            last_us: None,
            due: None,
            ended: Vec::new(),
            left_out: 0,
        }
    }
    /// Takes the next row.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn take(&mut self, row: Row, now: Instant) -> anyhow::Result<()> {
        if self.last_us.is_none_or(|last_us| row.time_us > last_us) {
            self.leave_out_past();
            return self.go_on(row, now);
        }
        if self.past.last().is_some_and(|last| row.time_us <= last.time_us) {
            self.leave_out_past();
        }
        self.past.push(row);
        if self.past.len() < NEW_START { Ok(()) } else { self.start_anew(now) }
    }
    fn leave_out_past(&mut self) {
        self.left_out += self.past.len() as u64;
        self.past.clear();
    }
    fn start_anew(&mut self, now: Instant) -> anyhow::Result<()> {
        self.end_file()?;
        self.before = ChannelSet::EMPTY;
        std::mem::take(&mut self.past).into_iter().try_for_each(|row| self.go_on(row, now))
    }
    fn go_on(&mut self, row: Row, now: Instant) -> anyhow::Result<()> {
        self.last_us = Some(row.time_us);
        self.due.get_or_insert(now + SOON);
        if let Some(before) = self.open.as_ref().map(RowsFile::channels)
            && !before.contains_all(channels_of(&row))
        {
            self.end_file()?;
            // A channel that comes and goes makes one more file, not one each time.
            self.before = before;
        }
        if let Some(file) = &mut self.open {
            file.push(&row);
            return Ok(());
        }
        self.held.push(row);
        if self.held.len() < LOOKED_AT { Ok(()) } else { self.start_file() }
    }
    /// Writes what has waited long enough.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn tick(&mut self, now: Instant) -> anyhow::Result<()> {
        if self.due.is_none_or(|due| now < due) {
            return Ok(());
        }
        self.due = None;
        self.start_file()?;
        self.open.as_mut().map_or(Ok(()), RowsFile::flush)
    }
    fn start_file(&mut self) -> anyhow::Result<()> {
        if self.held.is_empty() {
            return Ok(());
        }
        if self.ended.len() >= MOST_FILES {
            bail!("it has gone on in {MOST_FILES} files, and the time of the board still jumps");
        }
        let channels = self.held.iter().fold(self.before, |set, row| set.union(channels_of(row)));
        let mut file = RowsFile::create(&self.path, channels)?;
        self.held.drain(..).for_each(|row| file.push(&row));
        self.open = Some(file);
        Ok(())
    }
    fn end_file(&mut self) -> anyhow::Result<()> {
        self.start_file()?;
        let Some(mut file) = self.open.take() else { return Ok(()) };
        let finished = file.finish();
        let rows = file.rows();
        self.ended.push((file.into_file(), rows));
        finished
    }
    /// Ends the recording; what was recorded and is there, and how that went.
    pub fn finish(mut self) -> (Recorded, anyhow::Result<()>) {
        let ended = if self.past.len() > 1 {
            // Too short to be sure of, and the board may be off by now.
            self.start_anew(Instant::now())
        } else {
            self.leave_out_past();
            Ok(())
        };
        let mut ended = ended.and_then(|()| self.end_file());
        let mut done = Recorded { left_out: self.left_out, ..Recorded::default() };
        for (mut file, rows) in self.ended {
            match file.check_bytes() {
                Ok(()) => {
                    done.rows += rows;
                    done.files.push(file.path().to_owned());
                }
                Err(gone) => ended = ended.and(Err(gone)),
            }
        }
        (done, ended)
    }
    /// The file it begins with.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace;

    fn row(time_us: u64, channels: &[Channel]) -> Row {
        channels.iter().fold(Row::at(time_us), |row, &channel| row.with(channel, 1.0))
    }

    /// Rows and channels of a file.
    fn read(path: &Path) -> (usize, ChannelSet) {
        let reader = trace::open(path, None).expect("a trace");
        let channels = reader.header().acquisition.channels;
        let rows: Result<Vec<_>, _> = reader.collect();
        (rows.expect("rows").len(), channels)
    }

    #[test]
    fn a_recording_goes_on_in_another_file_where_it_must() {
        let folder = std::env::temp_dir().join(format!("bandward-recorder-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder");
        let (path, now) = (folder.join("live.csv"), Instant::now());
        let mut recorder = TraceRecorder::new(&path);
        let electrical = [Channel::Current, Channel::Voltage];
        let with_gas = [Channel::Current, Channel::Voltage, Channel::Gas];
        // Gas comes with the third row, and another channel long after.
        for index in 0..30 {
            let channels: &[_] = if index == 2 { &with_gas } else { &electrical };
            recorder.take(row(1_000_000 + index * 200_000, channels), now).expect("written");
        }
        // Whichever comes and goes from then on, the columns are there.
        for index in 0..20 {
            let other = if index % 2 == 0 { Channel::Coolant } else { Channel::Gas };
            let many = [Channel::Current, Channel::Voltage, other];
            recorder.take(row(8_000_000 + index * 200_000, &many), now).expect("written");
        }
        // The board starts anew.
        for index in 0..3 {
            recorder.take(row(index * 200_000, &electrical), now).expect("written");
        }
        let (recorded, ended) = recorder.finish();
        ended.expect("written");
        assert_eq!((recorded.rows, recorded.files.len(), recorded.left_out), (53, 3, 0));
        let set = |channels: &[Channel]| channels.iter().fold(ChannelSet::EMPTY, |set, &one| set.with(one));
        assert_eq!(read(&path), (30, set(&with_gas)));
        assert_eq!(read(&folder.join("live-2.csv")), (20, set(&with_gas).with(Channel::Coolant)));
        assert_eq!(read(&folder.join("live-3.csv")), (3, set(&electrical)));
        assert_eq!(TraceRecorder::new(&path).path(), folder.join("live-4.csv"));
        assert_eq!(TraceRecorder::new(&path).finish().0, Recorded::default());
        std::fs::remove_dir_all(&folder).expect("it was made here");
    }

    #[test]
    fn a_board_that_starts_anew_without_end_fills_no_folder() {
        let folder = std::env::temp_dir().join(format!("bandward-restarts-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder");
        let (path, now) = (folder.join("live.csv"), Instant::now());
        let mut recorder = TraceRecorder::new(&path);
        let times = (0..150).flat_map(|_| (1..=12).map(|index| index * 200_000));
        let taken: Vec<_> =
            times.map(|time_us| recorder.take(row(time_us, &[Channel::Current]), now).is_ok()).collect();
        assert!(taken[..1000].iter().all(|&is_taken| is_taken) && taken.contains(&false));
        assert_eq!(std::fs::read_dir(&folder).expect("a folder").count(), MOST_FILES);
        std::fs::remove_dir_all(&folder).expect("it was made here");
    }
}
