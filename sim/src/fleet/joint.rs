//! The tables of one joint, written while its samples go by.
//!
//! Decides: how many rows are gathered before they are written.
//! Assumes: it hears everything that the monitor says, in order.
//! Never: holds more than one row group of each table, and the alarms that are open.

use super::column::{Column, TableFile};
use super::tables;
use super::tables::BandOfJoint;
use crate::alarm::Alarm;
use crate::output::{Draft, cannot_write};
use bandward::JointRecord;
use bandward::{AlarmKind, BandRecord, Event, Outcome, Sink};
use std::io::ErrorKind;
use std::path::PathBuf;

/// Rows of a row group: enough that what is told of each group beside its rows is little.
const GROUP: usize = 4096;

/// Rows that are gathered into groups.
struct Table<T> {
    file: TableFile,
    rows: Vec<T>,
    columns: fn(&[T]) -> Vec<Column>,
}

impl<T> Table<T> {
    fn create(path: PathBuf, name: &str, columns: fn(&[T]) -> Vec<Column>) -> anyhow::Result<Self> {
        Ok(Self { file: TableFile::create(path, name, &columns(&[]))?, rows: Vec::new(), columns })
    }
    fn push(&mut self, row: T) -> anyhow::Result<()> {
        self.rows.push(row);
        if self.rows.len() < GROUP { Ok(()) } else { self.write() }
    }
    fn write(&mut self) -> anyhow::Result<()> {
        self.file.write(&(self.columns)(&self.rows))?;
        self.rows.clear();
        Ok(())
    }
    fn complete(mut self) -> anyhow::Result<(Draft, PathBuf)> {
        self.write()?;
        self.file.complete()
    }
}

/// The tables of one joint.
pub struct JointTables {
    bands: Table<BandOfJoint>,
    alarms: Table<Alarm>,
    open: Vec<Alarm>,
    /// Joints that are done.
    joints: u16,
    /// Folders in which the same tables may stand under another name.
    replaces: Vec<PathBuf>,
    /// The first thing that went wrong; nothing is written after it.
    failed: Option<anyhow::Error>,
}

impl JointTables {
    /// Starts the tables in these files.
    ///
    /// # Errors
    /// A file cannot be written.
    pub fn create(bands: PathBuf, alarms: PathBuf) -> anyhow::Result<Self> {
        Ok(Self {
            bands: Table::create(bands, "bands", tables::bands)?,
            alarms: Table::create(alarms, "alarms", tables::alarms)?,
            open: Vec::new(),
            joints: 0,
            replaces: Vec::new(),
            failed: None,
        })
    }
    /// The same tables, where they stand in these folders, go: the joint has another name now.
    pub fn replaces(&mut self, folders: [PathBuf; 2]) {
        self.replaces = folders.into();
    }
    /// Writes the rest, alarms that never cleared among it.
    ///
    /// # Errors
    /// A file could not be written, now or before.
    pub fn finish(mut self) -> anyhow::Result<()> {
        for alarm in std::mem::take(&mut self.open) {
            self.alarm(alarm);
        }
        if let Some(error) = self.failed {
            return Err(error);
        }
        // Both are whole before either takes the place of an old one.
        let tables = [self.bands.complete()?, self.alarms.complete()?];
        let mut written = Vec::new();
        for (draft, path) in tables {
            draft.put().map_err(|error| cannot_write(&path, &error))?;
            written.push(path);
        }
        let old = |(folder, path): (&PathBuf, &PathBuf)| Some(folder.join(path.file_name()?));
        let old: Vec<PathBuf> = self.replaces.iter().zip(&written).filter_map(old).collect();
        let is_same = |(old, new): (&PathBuf, &PathBuf)| {
            std::fs::read(old).is_ok_and(|old| std::fs::read(new).is_ok_and(|new| old == new))
        };
        if !old.is_empty() && old.iter().zip(&written).all(is_same) {
            for (file, folder) in old.iter().zip(&self.replaces) {
                // Another log of the same rows may have taken it away meanwhile.
                let gone = std::fs::remove_file(file).or_else(|error| match error.kind() {
                    ErrorKind::NotFound => Ok(()),
                    _ => Err(error),
                });
                gone.map_err(|error| cannot_write(file, &error))?;
                // It may have files of others in it.
                let _ = std::fs::remove_dir(folder);
            }
        }
        Ok(())
    }
    /// Writes a band of a joint that came to this.
    pub fn band_of(&mut self, record: &BandRecord, joint: Option<Outcome>) {
        if self.failed.is_none() {
            self.failed = self.bands.push((*record, joint)).err();
        }
    }
    /// Writes an alarm to which nothing will happen any more.
    pub fn alarm(&mut self, alarm: Alarm) {
        if self.failed.is_none() {
            self.failed = self.alarms.push(alarm).err();
        }
    }
}

impl Sink for JointTables {
    fn event(&mut self, event: &Event) {
        let Event::Alarm(event) = event else { return };
        let place = self.open.iter().position(|alarm| alarm.is_about(event));
        match (event.kind, place) {
            (AlarmKind::Raised, _) => self.open.push(Alarm::raised(event, self.joints + 1)),
            (AlarmKind::Cleared, Some(place)) => {
                let mut alarm = self.open.remove(place);
                alarm.follow(event);
                self.alarm(alarm);
            }
            (_, Some(place)) => self.open[place].follow(event),
            (_, None) => {}
        }
    }
    fn band(&mut self, record: &BandRecord) {
        self.band_of(record, None);
    }
    fn joint(&mut self, _: &JointRecord) {
        self.joints += 1;
    }
}
