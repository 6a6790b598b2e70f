//! Gas before and after the arc.
//!
//! Decides: whether gas flows, for how long before the arc and for how long after it.
//! Assumes: it is told when the arc starts and stops.
//! Never: judges the flow under the arc; that is an envelope.

/// How long gas flowed, and whether that is all of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Flowed {
    /// Time seen, µs.
    pub time_us: u64,
    /// It flowed for longer than could be seen: since before the first sample, or still.
    pub at_least: bool,
}

/// Follows the gas.
#[derive(Clone, Debug)]
pub struct GasTracker {
    flows_from: i32,
    stops_below: i32,
    flowing_since_us: Option<u64>,
    since_first_sample: bool,
    seen: bool,
    stopped_us: u64,
}

impl GasTracker {
    /// Gas flows from the raw flow `flows_from` on and stops at four fifths of it.
    pub const fn new(flows_from: i32) -> Self {
        Self {
            flows_from,
            stops_below: flows_from.saturating_sub(flows_from / 5),
            flowing_since_us: None,
            since_first_sample: false,
            seen: false,
            stopped_us: 0,
        }
    }
    /// Forgets everything, after a hole in the data.
    pub fn forget(&mut self) {
        *self = Self::new(self.flows_from);
    }
    /// Takes one raw flow.
    #[inline]
    pub fn push(&mut self, now_us: u64, flow: i32) {
        match self.flowing_since_us {
            None if flow >= self.flows_from => {
                self.flowing_since_us = Some(now_us);
                self.since_first_sample = !self.seen;
            }
            Some(_) if flow < self.stops_below => {
                self.flowing_since_us = None;
                self.stopped_us = now_us;
            }
            _ => {}
        }
        self.seen = true;
    }
    /// Does gas flow?
    pub const fn flows(&self) -> bool {
        self.flowing_since_us.is_some()
    }
    /// Has there been a reading?
    pub const fn is_seen(&self) -> bool {
        self.seen
    }
    /// How long gas has flowed before an arc that starts at `struck_us`.
    pub fn before(&self, struck_us: u64) -> Flowed {
        match self.flowing_since_us {
            Some(since_us) => {
                Flowed { time_us: struck_us.saturating_sub(since_us), at_least: self.since_first_sample }
            }
            None => Flowed { time_us: 0, at_least: false },
        }
    }
    /// How long gas has flowed after an arc that ended at `ended_us`.
    pub fn after(&self, ended_us: u64, now_us: u64) -> Flowed {
        match self.flowing_since_us {
            Some(_) => Flowed { time_us: now_us.saturating_sub(ended_us), at_least: true },
            None => Flowed { time_us: self.stopped_us.saturating_sub(ended_us), at_least: false },
        }
    }
}
