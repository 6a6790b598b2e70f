//! x
use serde::{Deserialize, Serialize};
/// Where the weld is between cold and cold.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Phase {
    /// No arc, no gas.
    #[default]
    Idle,
    /// Gas flows before the arc.
    PreFlow,
    /// The arc was just struck: ranges are not judged yet.
    Strike,
    /// The arc burns.
    Arc,
    /// The arc is out and may come back within the same band.
    Outage,
    /// The band is over and gas still flows.
    PostFlow,
}
