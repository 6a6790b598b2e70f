//! Changes the core in one place at a time, and sees whether a test notices.
//!
//! Every change is built into one copy of the core and chosen when a test program starts: built once, run often
//! (mutant schemata: Untch, Offutt and Harrold, "Mutation analysis using mutant schemata", ISSTA 1993, from memory).

pub mod copy;
pub mod kept;
pub mod names;
pub mod operators;
pub mod points;
pub mod runs;
pub mod table;
