//! A board program around [`bandward`] to start from. Everything but `machine` and `mps2` runs on a host too.
//!
//! It is a monitor, not a safety device and not an emergency stop: its relay is a help to the
//! welder, never the only thing between a person and harm.
#![no_std]
#![deny(unsafe_code)]

pub mod acquisition;
pub mod board;
pub mod digest;
pub mod input_watch;
pub mod link;
pub mod log;
#[cfg(target_arch = "arm")]
pub mod machine;
#[cfg(target_arch = "arm")]
pub mod mps2;
pub mod outputs;
pub mod pattern;
