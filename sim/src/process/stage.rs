//! The stages of a joint: what the machine is at, and for how long.

/// Gas before and after the arc of a tack, s. Invented.
pub(super) const TACK_GAS_S: (f64, f64) = (0.5, 1.0);

/// Where the work is between cold and cold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Stage {
    /// Nothing yet, for so long.
    LeadIn(f64),
    /// Moving to the next band and letting the work cool, for so long at least.
    Between(f64),
    /// A short arc before the band, since so long.
    Tack(f64),
    /// Gas on, about to strike in so long.
    Ready(f64),
    /// The arc is meant to burn.
    Weld,
    /// Gas after the arc, since so long.
    After(f64),
    /// From one joint to the next.
    Idle {
        /// For so long still, s.
        left_s: f64,
        /// Of so long altogether, s.
        whole_s: f64,
    },
    /// Nothing any more, for so long.
    LeadOut(f64),
    /// The trace is over.
    Done,
}

/// How far a weld has come.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Weld {
    /// When the pipe had turned far enough.
    pub turned_s: Option<f64>,
}
