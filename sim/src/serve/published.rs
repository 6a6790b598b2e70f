//! What the page is told.

use hyper::body::Bytes;
use std::time::Instant;

/// A state, as it is sent.
#[derive(Clone, Debug)]
pub struct Published {
    /// As JSON.
    pub state: Bytes,
    /// The same as an event.
    pub event: Bytes,
    /// For Prometheus.
    pub metrics: Bytes,
    /// When.
    pub at: Instant,
}
