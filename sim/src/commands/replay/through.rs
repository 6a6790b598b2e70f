//! The rows of a trace through the monitor, one after another.
//!
//! Decides: when a sign of life is due at a terminal, and whether rows are read ahead.
//! Never: writes to standard output, nor any file.

use super::ahead::{Ready, each, each_ahead};
use crate::coarse_speed;
use crate::output::terminal::remark;
use crate::recording::Recorder;
use crate::replay::{Replay, Replayer};
use crate::threads;
use crate::trace::TraceReader;
use bandward::Procedure;
use indicatif::{ProgressBar, ProgressStyle};

/// Replays one trace to its end, with a sign of life at a terminal, and tells what should be known about it.
pub(in crate::commands) fn replay(
    reader: &mut TraceReader,
    procedure: &Procedure,
    recorder: Option<&mut Recorder>,
) -> anyhow::Result<Replay> {
    let progress = sign_of_life(reader)?;
    let replay = run_through(reader, procedure, recorder, &progress, true)?;
    for warning in reader.warnings() {
        remark(&format!("note: {warning}"));
    }
    Ok(replay)
}

pub(super) fn sign_of_life(reader: &TraceReader) -> anyhow::Result<ProgressBar> {
    let progress = ProgressBar::new_spinner();
    progress.set_style(ProgressStyle::with_template("{spinner} {msg} {human_pos} samples")?);
    progress.set_message(reader.header().path.clone());
    Ok(progress)
}

/// Where the log `is_alone`, it is read on a processor of its own; of many, each processor has one already.
pub(super) fn run_through(
    reader: &mut TraceReader,
    procedure: &Procedure,
    mut recorder: Option<&mut Recorder>,
    progress: &ProgressBar,
    is_alone: bool,
) -> anyhow::Result<Replay> {
    let mut replayer = Replayer::new(procedure, reader.header());
    let mut count = 0_u64;
    let take = |ready: &Ready| {
        if ready.begins_joint {
            replayer.mark_joint(ready.row.time_us);
        }
        replayer.step_with(&ready.row, &ready.sample);
        if let Some(recorder) = &mut recorder {
            recorder.take(&ready.row, replayer.monitor());
        }
        count += 1;
        if count.is_multiple_of(50_000) {
            progress.set_position(count);
        }
    };
    if is_alone && threads::count() > 1 { each_ahead(reader, take) } else { each(reader, take) }?;
    progress.finish_and_clear();
    let mut replay = replayer.finish();
    replay.trace.set_backs = reader.set_backs().to_vec();
    if let Some(error_deg_s) = reader.speed_error() {
        coarse_speed::doubt(&mut replay, error_deg_s, procedure);
    }
    Ok(replay)
}
