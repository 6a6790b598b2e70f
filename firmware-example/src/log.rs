//! What the board logs for a developer, in the defmt format; nothing without the feature `defmt`.

use bandward::BandRecord;
use bandward::event::Event;

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

/// Logs an event.
#[cfg(not(feature = "defmt"))]
pub fn event(_: &Event) {}

/// Logs a finished band.
#[cfg(not(feature = "defmt"))]
pub fn band(_: &BandRecord) {}
