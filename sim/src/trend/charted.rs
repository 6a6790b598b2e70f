//! What the charts show at one joint.

use bandward::rule::Side;

/// The charts at one joint after the baseline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charted {
    /// The moving average that signals, as far from the mean of the baseline as the limits are drawn for.
    pub ewma: f64,
    /// The sum above, in standard deviations.
    pub cusum_high: f64,
    /// The sum below, in standard deviations.
    pub cusum_low: f64,
    /// The side on which the EWMA signals.
    pub ewma_signal: Option<Side>,
    /// The side on which the CUSUM signals.
    pub cusum_signal: Option<Side>,
    /// How far off the joint is, in standard deviations, however far; absent where an event has just let
    /// the level go.
    pub deviate: Option<f64>,
    /// It stands alone, far off, and does not count.
    pub is_set_aside: bool,
}
