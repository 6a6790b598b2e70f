//! A weld as it goes on, on one screen: on a board, or a trace that is played.
//!
//! Decides: nothing; each file below says what it decides.
//! Assumes: nothing.
//! Never: judges; every alarm is the core's, here or on the board.

mod alarms;
pub mod arriving;
pub mod board_faults;
pub mod doubt;
pub mod due;
pub mod ending;
pub mod gauge;
pub mod history;
pub mod keeper;
pub mod ledger;
mod letters;
pub mod lines;
pub mod next_band;
pub mod order;
pub mod player;
pub mod remote;
pub mod screen;
mod shortened;
pub mod snapshot;
pub mod terminal;
pub mod timeliness;
pub mod tone;
pub mod unrolled;
mod unrolling;
pub mod urgent;
pub mod verdict;
pub mod view;
