//! What libFuzzer runs: one function a target, which takes any bytes and panics where something is not as it must be.
//!
//! Decides: which targets there are.
//! Assumes: nothing of the bytes.
//! Never: copies code of the core to check the core: a model is slow, plain, and written from what is promised.

mod alarms;
mod bands;
mod bytes;
mod csv_trace;
#[allow(dead_code)] // other tests ask more of it
#[path = "../../src/flash.rs"]
mod flash;
mod frames;
mod journal;
mod modbus;
mod parquet;
mod records;
mod texts;
mod told;

/// What a target is called, and what it does.
pub type Target = (&'static str, fn(&[u8]));

/// All of them.
pub const TARGETS: [Target; 8] = [
    ("alarms", alarms::target),
    ("bands", bands::target),
    ("csv_trace", csv_trace::target),
    ("frames", frames::target),
    ("journal", journal::target),
    ("parquet", parquet::target),
    ("records", records::target),
    ("texts", texts::target),
];
