//! What the board programs for real chips share, and what of them can be tried on a host: the filter after the
//! converter, the ring it comes from, counters, ports, scaling and where things lie in the flash.
//!
//! It is a monitor, not a safety device and not an emergency stop.
#![no_std]
#![forbid(unsafe_code)]

pub mod counters;
pub mod decimation;
pub mod flash_map;
pub mod frames;
pub mod memory;
pub mod ports;
pub mod station;
pub mod wire;
pub mod wiring;
