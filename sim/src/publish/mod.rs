//! What happens, told to an MQTT broker.
//!
//! Decides: nothing; each file below says what it decides.
//! Assumes: whoever watches hands over the state some times a second.
//! Never: takes an order from a broker: nothing is subscribed to. Nor makes whoever watches wait, but at the end.

pub mod address;
mod broker;
pub mod desk;
pub mod login;
#[cfg(feature = "publish-tls")]
pub mod trust;

pub use broker::Publisher;
