//! The setup before the arc: what was measured against the procedure, and against itself.
//!
//! Decides: the verdict on each setting, which way to adjust it, and what the band would look like.
//! Assumes: readings are honest.
//! Never: replaces the procedure, a safety device or a licensed person.

pub mod advice;
pub mod check;
pub mod consistency;
pub mod dialogue;
pub mod item;
pub mod sheet;

pub use check::{Checked, Judged, Verdict, Wanted, check};
pub use item::{Item, Measured};
pub use sheet::{Entry, SetupSheet, Signature};

/// What stands at the head of every setup.
pub const CAUTIONS: [&str; 7] = [
    "This is a checklist beside a monitor. It is no safety device and no emergency stop.",
    "The qualified procedure, local codes and licensed practice come first, whatever is said here.",
    "Arc: burns eyes and skin in a moment; helmet, gloves, screens for those around.",
    "Fumes and gas: draw them off at the torch; shielding gas takes the place of air in pits and corners.",
    "Gas bottles: chained upright, regulator and hoses sound, no oil.",
    "Hot work: permit, nothing that burns nearby, a fire watch; the joint stays hot for hours.",
    "Turning joint: hands, sleeves and cables clear; know where the stop is before it turns.",
];
