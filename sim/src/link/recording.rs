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
use bandward::flash::journal::{Kept, Stamped};
use bandward::record::stamp::Stamp;
use bandward::sample::ChannelSet;
use bandward::{BandRecord, JointRecord, Outcome, Sample};
use jiff::Timestamp;
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
struct KeptJoint {
    is_bench: bool,
    bands: Vec<(u32, BandRecord, Stamp)>,
    joint: Option<(JointRecord, Stamp)>,
    /// A record was damaged where one of this joint may have stood.
    is_damaged: bool,
}

impl KeptJoint {
    fn of_band(is_bench: bool, bands: Vec<(u32, BandRecord, Stamp)>, after_damage: bool) -> Self {
        let is_damaged = after_damage && bands.first().is_some_and(|(_, band, _)| band.band > 1);
        Self { is_bench, bands, joint: None, is_damaged }
    }
    /// Did all of it come? One whose own record did not may be under way.
    fn is_incomplete(&self) -> bool {
        self.is_damaged || self.joint.is_some_and(|(joint, _)| usize::from(joint.bands) != self.bands.len())
    }
    /// When it began, and its serial: as its own record says, else as its bands do. A serial given late is of them all.
    fn stamp(&self) -> Stamp {
        let stamps =
            || self.joint.iter().map(|(_, stamp)| stamp).chain(self.bands.iter().map(|(.., stamp)| stamp));
        let of_bands = || self.bands.iter().rev().map(|(.., stamp)| stamp);
        let serial =
            self.joint.map_or_else(|| of_bands().find_map(|stamp| stamp.serial), |(_, stamp)| stamp.serial);
        Stamp { began_utc_s: stamps().find_map(|stamp| stamp.began_utc_s), serial }
    }
}

/// A journal as records of joints, as `trend` reads them; `name` says which board it came from. A joint's
/// record follows those of its bands; where one is missing, a band number that does not go up begins
/// another joint. A joint of which a record is missing, or may be one that was damaged (of those there is none), is not
/// proven. What a bench test left is marked, and its outcome is that nothing was asked for: nobody welded.
pub fn journal(name: &str, kept: &[(u32, Option<Stamped>)]) -> Value {
    let mut joints: Vec<KeptJoint> = Vec::new();
    let mut after_damage = false;
    for (number, kept) in kept {
        let Some(Stamped { record: kept, stamp }) = kept else {
            after_damage = true;
            if let Some(open) = joints.last_mut().filter(|one| one.joint.is_none()) {
                open.is_damaged = true;
            }
            continue;
        };
        let was_damaged = std::mem::take(&mut after_damage);
        let is_bench = kept.is_bench();
        let open = joints.last_mut().filter(|one| one.joint.is_none() && one.is_bench == is_bench);
        match kept {
            Kept::Band(band) | Kept::BenchBand(band) => match open {
                Some(one) if one.bands.last().is_none_or(|(_, last, _)| goes_on(last, band)) => {
                    one.bands.push((*number, *band, *stamp));
                }
                _ => joints.push(KeptJoint::of_band(is_bench, vec![(*number, *band, *stamp)], was_damaged)),
            },
            Kept::Joint(joint) | Kept::BenchJoint(joint) => match open {
                Some(one) => one.joint = Some((*joint, *stamp)),
                None => joints.push(KeptJoint {
                    is_bench,
                    bands: Vec::new(),
                    joint: Some((*joint, *stamp)),
                    is_damaged: was_damaged,
                }),
            },
        }
    }
    let told = joints.iter().zip(1..).map(|(one, index)| {
        let KeptJoint { is_bench, bands, joint, .. } = one;
        let is_incomplete = one.is_incomplete();
        let of = |outcome: Outcome| if *is_bench { Outcome::NotAsked } else { outcome };
        let of_joint = |outcome: Outcome| match of(outcome) {
            Outcome::Proven if is_incomplete => Outcome::NotProven,
            outcome => outcome,
        };
        let band = |(number, record, stamp): &(u32, BandRecord, Stamp)| {
            let mut band = json::band(&BandRecord { outcome: of(record.outcome), ..*record });
            band["number"] = json!(number);
            stamped(band, stamp)
        };
        let stamp = one.stamp();
        let joint = joint.map(|(joint, _)| JointRecord { outcome: of_joint(joint.outcome), ..joint });
        let worst = bands.iter().map(|(_, band, _)| of(band.outcome)).max().unwrap_or_default();
        let outcome = joint.map_or(of_joint(worst), |joint| joint.outcome);
        let what = if *is_bench { "bench test, joint" } else { "joint" };
        json!({
            "trace": { "path": format!("journal of {name}, {what} {index}") },
            "bench_test": is_bench,
            "incomplete": is_incomplete,
            "outcome": outcome.name(),
            "within_procedure": within(outcome),
            "context": stamped(json!({}), &stamp),
            "joints": joint.iter().map(|joint| stamped(json::joint(joint), &stamp)).collect::<Vec<_>>(),
            "bands": bands.iter().map(band).collect::<Vec<_>>(),
        })
    });
    told.collect()
}

/// With when it was begun and the serial: `null` where nobody told the board.
fn stamped(mut value: Value, stamp: &Stamp) -> Value {
    value["welded_at"] = json!(welded_at(stamp));
    value["serial"] = json!(stamp.serial.map(|serial| serial.as_str().to_owned()));
    value
}

/// When a record began, in UTC.
pub fn welded_at(stamp: &Stamp) -> Option<String> {
    let began = Timestamp::from_second(i64::from(stamp.began_utc_s?)).ok()?;
    Some(began.strftime("%Y-%m-%dT%H:%M:%SZ").to_string())
}

/// Is the second of the joint of the first?
const fn goes_on(last: &BandRecord, band: &BandRecord) -> bool {
    last.joint == band.joint && last.band < band.band
}

#[cfg(test)]
mod tests {
    use super::*;
    use bandward::record::stamp::Serial;

    #[test]
    fn a_journal_is_cut_where_band_numbers_start_again() {
        let kept: Vec<_> = [1, 2, 3, 1, 1, 2]
            .into_iter()
            .zip(7..)
            .map(|(band, number)| {
                (number, Some(Kept::Band(BandRecord { band, ..BandRecord::default() }).into()))
            })
            .collect();
        let joints = journal("tcp:board:1", &kept);
        let bands = |joint: &Value| joint["bands"].as_array().map_or(0, Vec::len);
        assert_eq!(joints.as_array().expect("joints").iter().map(bands).collect::<Vec<_>>(), [3, 1, 2]);
        assert_eq!(joints[2]["bands"][1]["number"], 12);
        assert_eq!(journal("tcp:board:1", &[]), json!([]));
    }
    /// Before, a band that was played in a bench test was fetched as one that was welded and proven.
    #[test]
    fn a_bench_test_is_marked_and_proves_nothing() {
        let band = BandRecord { band: 1, outcome: Outcome::Proven, ..BandRecord::default() };
        let joint = JointRecord { outcome: Outcome::Proven, ..JointRecord::default() };
        let kept = [Kept::Band(band), Kept::BenchBand(band), Kept::BenchJoint(joint)];
        let joints = journal("tcp:board:1", &[0, 1, 2].map(|at| (at as u32, Some(kept[at].into()))));
        let of = |index: usize| {
            let one = &joints[index];
            (one["bench_test"].clone(), one["outcome"].clone(), one["bands"][0]["outcome"].clone())
        };
        assert_eq!(of(0), (false.into(), "proven".into(), "proven".into()));
        assert_eq!(of(1), (true.into(), "not asked".into(), "not asked".into()));
        assert_eq!(joints[1]["joints"][0]["outcome"], "not asked");
        assert!(joints[2].is_null());
    }
    /// Before, a joint was proven though the record of a band of it was damaged.
    #[test]
    fn a_joint_of_which_a_record_was_damaged_is_not_proven() {
        let (joint, outcome) = (1, Outcome::Proven);
        let band = |band| Some(Kept::Band(BandRecord { joint, band, outcome, ..BandRecord::default() }));
        let done = Some(Kept::Joint(JointRecord { joint, bands: 2, outcome, ..JointRecord::default() }));
        let outcomes = |kept: &[Option<Kept>]| {
            let kept: Vec<_> = (3..).zip(kept.iter().map(|kept| kept.map(Stamped::from))).collect();
            let told = journal("tcp:board:1", &kept);
            let told = told.as_array().expect("joints").iter();
            told.map(|one| one["outcome"].as_str().expect("words").to_owned()).collect::<Vec<_>>()
        };
        assert_eq!(outcomes(&[band(1), band(2), done]), ["proven"]);
        assert_eq!(outcomes(&[None, band(1), band(2), done]), ["proven"], "of another joint");
        for kept in [[None, band(2), done], [band(1), None, done], [band(1), band(2), None]] {
            assert_eq!(outcomes(&kept), ["not proven"], "{kept:?}");
        }
        assert_eq!(outcomes(&[None, done]), ["not proven"]);
        assert_eq!(outcomes(&[None, None, None]), [""; 0]);
    }
    #[test]
    fn a_joint_is_told_with_when_it_began_and_its_serial() {
        let stamp = |began_utc_s, serial: Option<&str>| Stamp {
            began_utc_s,
            serial: serial.and_then(|serial| Serial::new(serial.as_bytes())),
        };
        let band = |band, stamp| Stamped {
            record: Kept::Band(BandRecord { joint: 1, band, ..BandRecord::default() }),
            stamp,
        };
        let joint = |stamp| Stamped {
            record: Kept::Joint(JointRecord { joint: 1, bands: 2, ..JointRecord::default() }),
            stamp,
        };
        let told = |kept: &[Stamped]| {
            let kept: Vec<_> = (0..).zip(kept.iter().copied().map(Some)).collect();
            let one = journal("tcp:board:1", &kept)[0].clone();
            [one["context"].clone(), one["bands"][0].clone()]
                .map(|one| [one["welded_at"].clone(), one["serial"].clone()])
        };
        // RFC 3339 and the Single UNIX Specification: day 11,016 since 1970 is 2000-02-29.
        let leap_day = Some(11_016 * 86_400 + 3_600);
        let first = band(1, stamp(leap_day, None));
        let known = [json!("2000-02-29T01:00:00Z"), json!("TJ-7")];
        let of_first = [json!("2000-02-29T01:00:00Z"), Value::Null];
        let of_joint = joint(stamp(leap_day, Some("TJ-7")));
        assert_eq!(
            told(&[first, band(2, stamp(None, Some("TJ-7"))), of_joint]),
            [known.clone(), of_first.clone()]
        );
        assert_eq!(
            told(&[first, band(2, stamp(None, Some("TJ-7")))]),
            [known, of_first.clone()],
            "under way"
        );
        let taken_away = joint(stamp(leap_day, None));
        assert_eq!(
            told(&[first, band(2, stamp(None, Some("TJ-7"))), taken_away]),
            [of_first.clone(), of_first]
        );
        let unknown = [Value::Null, Value::Null];
        let bare = [band(1, Stamp::NONE), joint(Stamp::NONE)];
        assert_eq!(told(&bare), [unknown.clone(), unknown]);
    }
}
