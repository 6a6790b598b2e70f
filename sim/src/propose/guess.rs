//! What a proposal has for a channel.

use super::units::UnitGuess;
use bandward::Channel;

/// What a proposal has for a channel.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Guess {
    pub(super) channel: Channel,
    pub(super) column: usize,
    pub(super) unit: UnitGuess,
    /// Least and greatest number in the first rows, as written.
    pub(super) range: Option<(f64, f64)>,
}
