//! Why a board does not answer, in words.
//!
//! Decides: what a person reads, and what they can do about it.
//! Assumes: nothing.
//! Never: guesses: what is said follows from the frames that came.

use super::LinkLost;
use anyhow::anyhow;
use bandward::link::{Counts, VERSION};
use std::time::Duration;

/// The board did not answer a request.
pub(super) fn no_answer(patience: Duration) -> anyhow::Error {
    LinkLost(format!("the board has not answered for {} s", patience.as_secs())).into()
}

/// Why there was no answer to the first request, as far as the frames that came tell.
pub(super) fn nobody_there(patience: Duration, counts: Counts) -> anyhow::Error {
    let seconds = patience.as_secs();
    if counts.unknown > 0 {
        anyhow!(
            "the board speaks another version of the link than {VERSION}, that of this program: bring both \
             to the same version"
        )
    } else if counts.garbage + counts.truncated + counts.oversized > 0 {
        anyhow!("no valid frame came for {seconds} s, only garbage: check the baud rate at both ends")
    } else {
        anyhow!(
            "nothing came from the board for {seconds} s: check its power, the cable and the port; one whose \
             program is of another version may be silent as well"
        )
    }
}
