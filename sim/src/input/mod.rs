//! Everything that reads text files written by people.
//!
//! Decides: what a procedure or a layout file means, and how a fault in one is told.
//! Assumes: files are UTF-8 text.
//! Never: judges a weld; that is the core's work.

pub mod layout;
pub mod quantity;
