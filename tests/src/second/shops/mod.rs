//! Shops over weeks: outside evidence for `trend`.
//!
//! Decides: how joints of one shop differ from each other, known and unknown, and what can go wrong slowly.
//! Assumes: the arc and the figures of the second generator; of the program only its help, JSON and records.
//! Never: follows the program: a shop that it judges wrongly is left as it is.

pub mod calendar;
pub mod conditions;
pub mod measured;
pub mod readings;
pub mod records;
pub mod steady;
pub mod tables;
pub mod traces;
pub mod verdict;
pub mod wander;
pub mod wrong;
