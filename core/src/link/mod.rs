//! The serial link between a board and a host.
//!
//! Decides: the messages and how they become bytes. A frame is
//! `00 | COBS(version, sequence, message, CRC) | 00`, the message in the postcard format, the CRC
//! CRC-32/ISO-HDLC over all before it; see [`frame`]. `LINK.md` beside this crate's README has it all
//! byte by byte.
//! Assumes: a line that may lose, cut, change and repeat bytes.
//! Never: panics, blocks or grows, whatever comes in; what does not fit is counted and dropped.

pub mod frame;
pub mod hard_limits;
pub mod message;
pub mod upload;

pub use frame::{Counts, Message, Receiver, Sender};
pub use message::{BoardFaults, Lamp, MOST_ALARMS, Outputs, Refusal, Report, Request, Telemetry};

/// Raised with every change of the messages; frames of another version are not understood.
pub const VERSION: u8 = 9;

/// Longest message in bytes, in the postcard format. The largest possible band record fits.
pub const LONGEST_MESSAGE: usize = crate::record::kept::LONGEST;

/// Longest run of raw bytes within a message: a piece of a procedure, or a block of samples.
pub const LONGEST_PIECE: usize = 256;
