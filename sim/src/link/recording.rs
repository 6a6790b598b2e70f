//! What came from a board, as files: samples as a trace, band records as records of joints.
//!
//! Decides: which columns a trace has: those of the channels that gave a reading; and when a recording
//! goes on in another file.
//! Assumes: nothing.
//! Never: changes a reading: the trace read back gives the same samples, to the last bit.

use crate::input::diagnostic::InputErrors;
use crate::report::json;
use crate::trace::Row;
use crate::trace::writer::TraceWriter;
use bandward::flash::journal::Kept;
use bandward::sample::ChannelSet;
use bandward::{BandRecord, Channel, JointRecord, Sample};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// Rows looked at before the columns are chosen: slow channels come later than fast ones.
const LOOKED_AT: usize = 10;

/// Writes samples as a trace that `replay` reads; the end of the name says in which form.
///
/// # Errors
/// The name ends otherwise than a trace's, or the file cannot be written.
pub fn write_trace(path: &Path, samples: &[Sample]) -> Result<(), InputErrors> {
    let rows: Vec<_> = samples.iter().map(Row::of_sample).collect();
    start(path, &rows)?.0.finish()
}

fn channels_of(row: &Row) -> ChannelSet {
    Channel::ALL
        .into_iter()
        .filter(|&channel| row.get(channel).is_some())
        .fold(ChannelSet::EMPTY, ChannelSet::with)
}

fn start(path: &Path, rows: &[Row]) -> Result<(TraceWriter, ChannelSet), InputErrors> {
    let channels = rows.iter().fold(ChannelSet::EMPTY, |set, row| set.union(channels_of(row)));
    let mut writer = TraceWriter::create(path, channels)?;
    for row in rows {
        writer.write(row)?;
    }
    Ok((writer, channels))
}

/// Records what a board tells while it tells it. A trace cannot go back in time, and its columns are
/// fixed: where the board starts anew, or a channel appears that was not there before, the recording
/// goes on in another file, `NAME-2.csv` after `NAME.csv`.
pub struct TraceRecorder {
    path: PathBuf,
    part: u32,
    /// Rows of a part whose columns are not chosen yet.
    held: Vec<Row>,
    open: Option<(TraceWriter, ChannelSet)>,
    last_us: Option<u64>,
    rows: u64,
}

impl TraceRecorder {
    /// Nothing is written before there is something to write.
    pub fn new(path: PathBuf) -> Self {
        Self { path, part: 1, held: Vec::new(), open: None, last_us: None, rows: 0 }
    }
    /// Takes the next row.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn take(&mut self, row: Row) -> Result<(), InputErrors> {
        let is_new = |channels: &ChannelSet| !channels.contains_all(channels_of(&row));
        let goes_back = self.last_us.is_some_and(|last_us| row.time_us <= last_us);
        if goes_back || self.open.as_ref().is_some_and(|(_, channels)| is_new(channels)) {
            self.end_part()?;
            self.part += 1;
        }
        self.last_us = Some(row.time_us);
        self.rows += 1;
        if let Some((writer, _)) = &mut self.open {
            return writer.write(&row);
        }
        self.held.push(row);
        if self.held.len() < LOOKED_AT { Ok(()) } else { self.start_part() }
    }
    fn start_part(&mut self) -> Result<(), InputErrors> {
        self.open = Some(start(&self.part_path(), &self.held)?);
        self.held.clear();
        Ok(())
    }
    fn end_part(&mut self) -> Result<(), InputErrors> {
        if !self.held.is_empty() {
            self.start_part()?;
        }
        self.open.take().map_or(Ok(()), |(writer, _)| writer.finish())
    }
    fn part_path(&self) -> PathBuf {
        numbered(&self.path, self.part)
    }
    /// Ends the recording; returns the number of rows, and of files.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn finish(mut self) -> Result<(u64, u32), InputErrors> {
        self.end_part()?;
        Ok((self.rows, if self.rows > 0 { self.part } else { 0 }))
    }
    /// The file it writes to.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// `NAME.csv` as `NAME-2.csv`; the first has no number.
fn numbered(path: &Path, number: u32) -> PathBuf {
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    match (number, name.split_once('.')) {
        (..=1, _) => path.to_owned(),
        (_, Some((stem, ending))) => path.with_file_name(format!("{stem}-{number}.{ending}")),
        (_, None) => path.with_file_name(format!("{name}-{number}")),
    }
}

/// The first of `NAME.csv`, `NAME-2.csv`, ... that does not exist.
pub fn unused(path: &Path) -> PathBuf {
    let free = (1..u32::MAX).map(|number| numbered(path, number)).find(|path| !path.exists());
    free.unwrap_or_else(|| path.to_owned())
}

/// The numbered bands of a joint, and the joint's own record.
type KeptJoint<'a> = (Vec<(u32, &'a BandRecord)>, Option<&'a JointRecord>);

/// A journal as records of joints, as `trend` reads them; `name` says which board it came from. A joint's
/// record follows those of its bands; where one is missing, a band number that does not go up begins
/// another joint.
pub fn journal(name: &str, kept: &[(u32, Kept)]) -> Value {
    let mut joints: Vec<KeptJoint<'_>> = Vec::new();
    for (number, kept) in kept {
        let open = joints.last_mut().filter(|(_, joint)| joint.is_none());
        match (kept, open) {
            (Kept::Band(band), Some((bands, _)))
                if bands.last().is_none_or(|(_, last)| last.band < band.band) =>
            {
                bands.push((*number, band));
            }
            (Kept::Band(band), _) => joints.push((vec![(*number, band)], None)),
            (Kept::Joint(joint), Some((_, record))) => *record = Some(joint),
            (Kept::Joint(joint), None) => joints.push((Vec::new(), Some(joint))),
        }
    }
    let told = joints.iter().zip(1..).map(|((bands, joint), index)| {
        let band = |&(number, record): &(u32, &BandRecord)| {
            let mut band = json::band(record);
            band["number"] = json!(number);
            band
        };
        let worst = bands.iter().map(|(_, band)| band.outcome).max().unwrap_or_default();
        let outcome = joint.map_or(worst, |joint| joint.outcome);
        json!({
            "trace": { "path": format!("journal of {name}, joint {index}") },
            "outcome": outcome.name(),
            "within_procedure": json::within(outcome),
            "joints": joint.iter().map(|joint| json::joint(joint)).collect::<Vec<_>>(),
            "bands": bands.iter().map(band).collect::<Vec<_>>(),
        })
    });
    told.collect()
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
        let path = folder.join("live.csv");
        let mut recorder = TraceRecorder::new(path.clone());
        let electrical = [Channel::Current, Channel::Voltage];
        let with_gas = [Channel::Current, Channel::Voltage, Channel::Gas];
        // Gas comes with the third row, and another channel long after.
        for index in 0..30 {
            let channels: &[_] = if index == 2 { &with_gas } else { &electrical };
            recorder.take(row(1_000_000 + index * 200_000, channels)).expect("written");
        }
        let many = [Channel::Current, Channel::Voltage, Channel::Coolant];
        recorder.take(row(8_000_000, &many)).expect("written");
        recorder.take(row(8_200_000, &many)).expect("written");
        // The board starts anew.
        for index in 0..3 {
            recorder.take(row(index * 200_000, &electrical)).expect("written");
        }
        assert_eq!(recorder.finish().expect("written"), (35, 3));
        let set = |channels: &[Channel]| channels.iter().fold(ChannelSet::EMPTY, |set, &one| set.with(one));
        assert_eq!(read(&path), (30, set(&with_gas)));
        assert_eq!(read(&folder.join("live-2.csv")), (2, set(&many)));
        assert_eq!(read(&folder.join("live-3.csv")), (3, set(&electrical)));
        assert_eq!(unused(&path), folder.join("live-4.csv"));
        assert_eq!(unused(&folder.join("other.csv")), folder.join("other.csv"));
        assert_eq!(TraceRecorder::new(path).finish().expect("nothing to write"), (0, 0));
        std::fs::remove_dir_all(&folder).expect("it was made here");
    }

    #[test]
    fn a_journal_is_cut_where_band_numbers_start_again() {
        let kept: Vec<_> = [1, 2, 3, 1, 1, 2]
            .into_iter()
            .zip(7..)
            .map(|(band, number)| (number, Kept::Band(BandRecord { band, ..BandRecord::default() })))
            .collect();
        let joints = journal("tcp:board:1", &kept);
        let bands = |joint: &Value| joint["bands"].as_array().map_or(0, Vec::len);
        assert_eq!(joints.as_array().expect("joints").iter().map(bands).collect::<Vec<_>>(), [3, 1, 2]);
        assert_eq!(joints[2]["bands"][1]["number"], 12);
        assert_eq!(journal("tcp:board:1", &[]), json!([]));
    }
}
