//! Gas that fails between the strike and the moment at which the arc is known to be a band.
//!
//! Decides: for how long it failed, since when, and how little flowed.
//! Assumes: it is told at every tick at which the meter shows that gas which flowed flows no more.
//! Never: takes a slow meter that still rises for gas that fails: that is not told to it.

/// Gas that failed before the band was known to be one.
#[derive(Clone, Copy, Debug)]
pub(crate) struct EarlyGas {
    /// Since when, µs.
    pub(crate) since_us: u64,
    /// For how long, all in all, µs.
    pub(crate) time_us: u32,
    /// The least mean flow over a second, raw.
    pub(crate) least: i32,
}

impl EarlyGas {
    /// With a tick more at which gas failed.
    pub(crate) fn after(before: Option<Self>, flow: i32, (now_us, elapsed_us): (u64, u32)) -> Self {
        match before {
            None => Self { since_us: now_us, time_us: elapsed_us, least: flow },
            Some(before) => Self {
                time_us: before.time_us.saturating_add(elapsed_us),
                least: before.least.min(flow),
                ..before
            },
        }
    }
}
