//! Everything the monitor says about the pattern, boiled down to a checksum.
//!
//! Decides: what is compared between machines: the postcard form of every event and every record, in
//! order.
//! Assumes: nothing.
//! Never: leaves anything out.

use crate::pattern::{PROCEDURE, Pattern, acquisition};
use bandward::event::{Event, Sink};
use bandward::link::LONGEST_MESSAGE;
use bandward::link::frame::crc;
use bandward::{BandRecord, JointRecord, Monitor};

/// How much was said, and a checksum over it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Digest {
    /// Events.
    pub events: u32,
    /// Band records.
    pub bands: u32,
    /// Joint records.
    pub joints: u32,
    /// CRC-32/ISO-HDLC of each message, folded into one number in order.
    pub checksum: u32,
}

impl Digest {
    fn take(&mut self, message: &impl serde::Serialize) {
        let mut bytes = [0; LONGEST_MESSAGE];
        let said = postcard::to_slice(message, &mut bytes).map_or(0, |bytes| crc(bytes));
        self.checksum = self.checksum.rotate_left(5) ^ said;
    }
}

impl Sink for Digest {
    fn event(&mut self, event: &Event) {
        self.events += 1;
        self.take(event);
    }
    fn band(&mut self, record: &BandRecord) {
        self.bands += 1;
        self.take(record);
    }
    fn joint(&mut self, record: &JointRecord) {
        self.joints += 1;
        self.take(record);
    }
}

/// Watches the whole pattern.
pub fn of_pattern() -> Digest {
    let mut digest = Digest::default();
    let mut monitor = Monitor::new(&PROCEDURE, acquisition());
    for sample in Pattern::new() {
        monitor.step(&sample, &mut digest);
    }
    monitor.finish(&mut digest);
    digest
}
