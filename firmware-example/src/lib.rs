//! A board program around [`bandward`] to start from. Everything but `machine` and `mps2` runs on a host too.
//!
//! It is a monitor, not a safety device and not an emergency stop: its relay is a help to the
//! welder, never the only thing between a person and harm.
#![no_std]
#![deny(unsafe_code)]

#[cfg(feature = "whole")]
pub mod acquisition;
#[cfg(feature = "whole")]
pub mod board;
#[cfg(all(target_arch = "arm", feature = "whole", feature = "mps2"))]
pub mod deadlines;
#[cfg(feature = "whole")]
pub mod digest;
#[cfg(feature = "whole")]
pub mod input_watch;
#[cfg(feature = "whole")]
pub mod link;
#[cfg(feature = "whole")]
pub mod log;
#[cfg(all(target_arch = "arm", feature = "mps2", feature = "whole"))]
pub mod machine;
#[cfg(feature = "modbus")]
pub mod modbus;
#[cfg(all(target_arch = "arm", feature = "mps2"))]
pub mod mps2;
#[cfg(feature = "whole")]
pub mod outputs;
#[cfg(feature = "whole")]
pub mod pattern;
#[cfg(feature = "whole")]
pub mod wired_pattern;
