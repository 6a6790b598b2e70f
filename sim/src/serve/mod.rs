//! The live page: what the screen of `watch` shows, for any browser.
//!
//! Decides: nothing; each file below says what it decides.
//! Assumes: whoever watches publishes some times a second.
//! Never: judges, touches the link to the board, or slows whoever watches: readers take the newest value or none.

pub mod access;
pub mod act;
pub mod act_log;
mod answer;
mod feed;
pub mod invitation;
pub mod limits;
pub mod metrics;
mod published;
pub mod server;

pub use act::{Act, AskedAct};
pub use server::PageServer;
