//! The files that each log gets for itself: tables, pages, pictures.
//!
//! Decides: what they are made of.
//! Assumes: several logs may be written at the same time, each to files of its own.
//! Never: writes to standard output.

use super::{Case, ReplayArguments, Replayed};
use crate::fleet::first_joint;
use crate::output;
use crate::report::{Report, page};
use std::path::Path;

/// Writes the bands and alarms of a log as tables, where that is asked for.
///
/// # Errors
/// They cannot be written.
pub fn write_tables(arguments: &ReplayArguments, case: &Case, replayed: &Replayed) -> anyhow::Result<()> {
    if arguments.fleet.folder().is_none() {
        return Ok(());
    }
    let replay = &replayed.replay;
    // By the record, so that a register exports the same folders.
    let [machine, welded_at] = first_joint(&replayed.told(case).object);
    let tables = arguments.fleet.tables(&replay.trace.path, machine.as_deref(), welded_at.as_deref())?;
    let Some(mut tables) = tables else { return Ok(()) };
    for band in &replay.bands {
        let joint = replay.joints.iter().find(|joint| joint.joint == band.joint);
        tables.band_of(band, joint.map(|joint| replay.outcome_of_joint(joint)));
    }
    replay.alarms.iter().for_each(|alarm| tables.alarm(*alarm));
    tables.finish()
}

/// Writes the page of one of many logs.
///
/// # Errors
/// It cannot be written.
pub fn write_page(case: &Case, replayed: &Replayed, path: &Path) -> anyhow::Result<()> {
    match report(case, replayed) {
        Some(report) => output::write(path, page::page(&report).as_bytes()),
        None => Ok(()),
    }
}

/// Writes the page and the picture of a single log, where they are asked for.
///
/// # Errors
/// They cannot be written.
pub fn draw(arguments: &ReplayArguments, case: &Case, replayed: &Replayed) -> anyhow::Result<()> {
    report(case, replayed).map_or(Ok(()), |report| arguments.pictures.write(&report))
}

/// What pages and pictures are made of; nothing where there is nothing to draw.
fn report<'a>(case: &'a Case, replayed: &'a Replayed) -> Option<Report<'a>> {
    Some(Report {
        replay: &replayed.replay,
        recording: replayed.recording.as_ref()?,
        procedure: case.procedure.as_ref(),
        setup: case.setup.as_ref(),
        provenance: replayed.provenance.as_ref(),
        system: case.system,
    })
}
