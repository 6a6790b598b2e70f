//! Samples that came from a board, as a trace.
//!
//! Decides: which columns the trace has: those of the channels that gave a reading.
//! Assumes: nothing.
//! Never: changes a reading: the trace read back gives the same samples, to the last bit.

use crate::input::diagnostic::InputErrors;
use crate::trace::Row;
use crate::trace::writer::TraceWriter;
use bandward::Sample;
use bandward::sample::ChannelSet;
use std::path::Path;

/// Writes samples as a trace that `replay` reads; the end of the name says in which form.
///
/// # Errors
/// The name ends otherwise than a trace's, or the file cannot be written.
pub fn write_trace(path: &Path, samples: &[Sample]) -> Result<(), InputErrors> {
    let channels = samples.iter().fold(ChannelSet::EMPTY, |set, sample| set.union(sample.present()));
    let mut writer = TraceWriter::create(path, channels)?;
    for sample in samples {
        writer.write(&Row::of_sample(sample))?;
    }
    writer.finish()
}
