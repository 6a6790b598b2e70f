//! When a record began by the calendar, and of which piece it is: what a host told of either.
//!
//! Decides: for which joint a serial holds, and from which sample on a date is counted.
//! Assumes: a watch numbers its joints one after the other; a date is asked for by the time of a sample of this watch.
//! Never: tells a serial of another joint than the one it was given for; mixes what was told of a bench test with what
//! was told of the machine; judges.

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
    /// What is known of a record of this joint that was just made, which began at this time of the samples.
    pub(super) fn stamp(&self, joint: u16, start_us: u64, is_bench: bool) -> Stamp {
        let serial = self.named.filter(|(named, _)| *named == joint).map(|(_, serial)| serial);
        let date = if is_bench { self.of_bench } else { self.of_inputs };
        let began_us = date.and_then(|date| u64::try_from(date.checked_add_unsigned(start_us)?).ok());
        let began_utc_s = began_us.and_then(|began_us| u32::try_from(began_us / 1_000_000).ok());
        Stamp { began_utc_s, serial }
    }
    /// The serial is gone with the end of its joint: after the last number the first comes again.
    pub(super) fn end_joint(&mut self, joint: u16) {
        self.named = self.named.filter(|(named, _)| *named != joint);
    }
}
