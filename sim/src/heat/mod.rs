//! The heat of a joint, worked out: what preheat the steel needs, how fast a weld cools, how hot the joint gets
//! from band to band.
//!
//! Decides: which model stands for which question; each is in a file of its own, with its source.
//! Assumes: temperatures in °C, lengths in mm, times in s, powers in W.
//! Never: judges a weld; a temperature worked out is no temperature measured.

pub mod cooling;
pub mod cooling_time;
pub mod cylinder;
pub mod passing;
pub mod preheat;
pub mod sequence;
pub mod steel;
pub mod surroundings;

pub use cooling_time::CoolingTime;
pub use cylinder::{Cylinder, Ring};
pub use preheat::Preheat;
pub use steel::Composition;
pub use surroundings::{LossTable, Surroundings};
