//! Why a board does not do as asked, in words.
//!
//! Decides: what a person reads, and what they can do about it.
//! Assumes: nothing.
//! Never: guesses: what is said follows from what the board answered, or from the frames that came.

use super::LinkLost;
use anyhow::anyhow;
use bandward::link::hard_limits::HardLimit;
use bandward::link::upload::UploadError;
use bandward::link::{Counts, Refusal, VERSION};
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

/// Why the board refused, in words.
pub(super) fn explain(refusal: Refusal) -> String {
    match refusal {
        Refusal::ArcBurning => "the board refuses while the arc burns: wait for the end of the band".into(),
        Refusal::NoBenchTest => "the board has no bench test under way".into(),
        Refusal::Malformed => "the board could not read a block of samples".into(),
        Refusal::Storage => "the board's flash failed; the active procedure is unchanged".into(),
        Refusal::NoSession => "the board was started anew: open the link again".into(),
        Refusal::Upload(error) => {
            format!(
                "the board refuses the procedure, the previous one stays active: {}",
                explain_upload(error)
            )
        }
    }
}

fn explain_upload(error: UploadError) -> String {
    match error {
        UploadError::TooLong => "it is longer than the board can take".into(),
        UploadError::BeyondHardLimit(limit) => explain_limit(limit),
        UploadError::Procedure(error) => format!("it makes no sense ({error:?})"),
        UploadError::Malformed => "the board's program reads procedures of another version".into(),
        UploadError::NotStarted
        | UploadError::OutOfOrder { .. }
        | UploadError::Incomplete { .. }
        | UploadError::Checksum => format!("it did not arrive whole ({error:?}): send it again"),
    }
}

fn explain_limit(limit: HardLimit) -> String {
    let built_in = "within the limits built into the board";
    match limit {
        HardLimit::Range(quantity) => {
            format!("[{}] must give an allowed range {built_in}", quantity.table_name())
        }
        HardLimit::Floor(quantity) => format!("[{}] must give a floor {built_in}", quantity.table_name()),
        HardLimit::Waived(quantity) => {
            format!("[{}] must be judged always, not only where possible", quantity.table_name())
        }
        HardLimit::Polarity => "[wire] must give the polarity".into(),
        HardLimit::ArcCurrent => format!("the currents at which the arc burns and is out must be {built_in}"),
        HardLimit::OpenCircuit => format!("the voltage of an open circuit must be {built_in}"),
        HardLimit::StrikeTime => format!("the time after the strike must be {built_in}"),
        HardLimit::JoinTime => format!("outages and crater fill must be {built_in}"),
        HardLimit::CoolingUntil => format!("[cooling] must hold down to a temperature {built_in}"),
        HardLimit::OnDelay(rule) => format!("[alarm.{}] on_delay must be {built_in}", rule.name()),
        HardLimit::Severity(rule) => {
            format!("[alarm.{}] severity must not be milder than usual", rule.name())
        }
    }
}
