//! What the board logs for a developer, in the defmt format; nothing without the feature `defmt`.

use bandward::event::Event;
use bandward::{BandRecord, JointRecord};

/// Logs an event.
#[cfg(feature = "defmt")]
pub fn event(event: &Event) {
    defmt::info!("{}", event);
}

/// Logs a finished band.
#[cfg(feature = "defmt")]
pub fn band(record: &BandRecord) {
    defmt::info!("band {=u16}: {=u32} samples, {}", record.band, record.samples, record.voltage);
}

/// Logs a joint that is done.
#[cfg(feature = "defmt")]
pub fn joint(record: &JointRecord) {
    defmt::info!("joint {=u16}: {=u16} bands, {}", record.joint, record.bands, record.outcome);
}

/// Logs an event.
#[cfg(not(feature = "defmt"))]
pub fn event(_: &Event) {}

/// Logs a finished band.
#[cfg(not(feature = "defmt"))]
pub fn band(_: &BandRecord) {}

/// Logs a joint that is done.
#[cfg(not(feature = "defmt"))]
pub fn joint(_: &JointRecord) {}
