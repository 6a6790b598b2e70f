//! What came from a board, as files: samples as a trace, band records as records of joints.
//!
//! Decides: which columns a trace has: those of the channels that gave a reading.
//! Assumes: nothing.
//! Never: changes a reading: the trace read back gives the same samples, to the last bit.

use crate::input::diagnostic::InputErrors;
use crate::report::json;
use crate::trace::Row;
use crate::trace::writer::TraceWriter;
use crate::within::within;
use bandward::delta::Decoder;
use bandward::flash::journal::Kept;
use bandward::sample::ChannelSet;
use bandward::{BandRecord, JointRecord, Sample};
use serde_json::{Value, json};
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

/// The samples of a black box, and the numbers of the blocks that cannot be read: of those there are none.
pub fn samples(blocks: &[(u32, Vec<u8>)]) -> (Vec<Sample>, Vec<u32>) {
    let (mut samples, mut malformed) = (Vec::new(), Vec::new());
    for (number, block) in blocks {
        match Decoder::new(block).collect::<Result<Vec<_>, _>>() {
            Ok(read) => samples.extend(read),
            Err(_) => malformed.push(*number),
        }
    }
    (samples, malformed)
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
            "within_procedure": within(outcome),
            "joints": joint.iter().map(|joint| json::joint(joint)).collect::<Vec<_>>(),
            "bands": bands.iter().map(band).collect::<Vec<_>>(),
        })
    });
    told.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

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
