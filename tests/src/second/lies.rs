//! What else a lying sensor may rightly be taken for.
//!
//! Decides: the rules and causes of the channel that a reading at rest or at zero cannot be told from.

use bandward::Channel;

/// Rules about the quantity that the channel feeds.
pub const fn rules(channel: Channel) -> &'static [&'static str] {
    match channel {
        Channel::Current => &["current-low", "current-high", "arc-outage"],
        Channel::Voltage => &["voltage-low", "voltage-high", "transfer-low-voltage"],
        Channel::Gas => &["gas-low", "gas-preflow", "gas-postflow"],
        Channel::Torch => &["weave-rate-low", "weave-width-low"],
        Channel::Spindle => &["spindle-stall", "overlap-short"],
        Channel::Wire => &["wire-feed-low"],
        Channel::Coolant => &["coolant-low"],
        Channel::Work => &["interpass-low"],
        Channel::Carriage => &["step-over-low", "step-over-high"],
    }
}

/// Causes that look the same in one channel, where no other contradicts.
pub const fn causes(channel: Channel) -> &'static [&'static str] {
    match channel {
        Channel::Gas => &["gas-leak", "gas-valve-late"],
        Channel::Torch => &["weave-drive-slipping", "weave-stopped"],
        Channel::Spindle => &["chuck-stall"],
        Channel::Coolant => &["coolant-lost"],
        Channel::Work => &["work-cold"],
        Channel::Carriage => &["step-short", "step-long"],
        Channel::Current | Channel::Voltage | Channel::Wire => &[],
    }
}
