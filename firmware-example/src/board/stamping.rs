//! When a record began by the calendar, and of which piece it is: what a host told of either.
//!
//! Decides: for which joint a serial holds, and from which sample on a date is counted.
//! Assumes: a watch numbers its joints one after the other; a date is asked for by the time of a sample of this watch.
//! Never: tells a serial of another joint than the one it was given for; mixes what was told of a bench test with what
//! was told of the machine; judges.

use bandward::flash::journal::Kept;
use bandward::record::stamp::{Serial, Stamp};

/// What was told.
pub(super) struct Stamping {
    /// UTC at time 0 of the inputs, µs: it may be before 1970.
    of_inputs: Option<i64>,
    /// The same of the samples of the bench test under way.
    of_bench: Option<i64>,
    /// The serial, and the number of the joint that it is of.
    named: Option<(u16, Serial)>,
}

impl Stamping {
    /// Nothing was told.
    pub(super) const fn new() -> Self {
        Self { of_inputs: None, of_bench: None, named: None }
    }
    /// It is this date at this time of the samples.
    pub(super) fn set_date(&mut self, utc_s: u32, now_us: u64, is_bench: bool) {
        let date = i64::from(utc_s).saturating_mul(1_000_000).checked_sub_unsigned(now_us);
        if is_bench {
            self.of_bench = date;
        } else {
            self.of_inputs = date;
        }
    }
    /// The time of the inputs is no measure of the date any more.
    pub(super) fn forget_date(&mut self) {
        self.of_inputs = None;
    }
    /// The joint with this number has this serial, or none.
    pub(super) fn name(&mut self, joint: u16, serial: Option<Serial>) {
        self.named = serial.map(|serial| (joint, serial));
    }
    /// Another watch begins, whose joints are numbered anew.
    pub(super) fn begin_watch(&mut self) {
        (self.of_bench, self.named) = (None, None);
    }
    /// What is known of a record that was just made. The serial is gone with the end of its joint: after the last number the first comes again.
    pub(super) fn stamp(&mut self, record: &Kept) -> Stamp {
        let (joint, start_us) = match record {
            Kept::Band(band) | Kept::BenchBand(band) => (band.joint, band.start_us),
            Kept::Joint(joint) | Kept::BenchJoint(joint) => (joint.joint, joint.start_us),
        };
        let serial = self.named.filter(|(named, _)| *named == joint).map(|(_, serial)| serial);
        if serial.is_some() && matches!(record, Kept::Joint(_) | Kept::BenchJoint(_)) {
            self.named = None;
        }
        let date = if record.is_bench() { self.of_bench } else { self.of_inputs };
        let began_us = date.and_then(|date| u64::try_from(date.checked_add_unsigned(start_us)?).ok());
        let began_utc_s = began_us.and_then(|began_us| u32::try_from(began_us / 1_000_000).ok());
        Stamp { began_utc_s, serial }
    }
}
