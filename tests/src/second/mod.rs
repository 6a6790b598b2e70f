//! The second generator: made traces of hardbanding, to measure the monitor by.
//!
//! Decides: what good and bad joints look like, from physics and shop habits.
//! Assumes: nothing of the monitor, nor of the project's other process model: no code, no constants and
//! no shapes are shared. Every figure is invented and stands for no real machine.
//! Never: follows the monitor: a joint that it judges wrongly is left as it is.

pub mod arc;
pub mod control;
pub mod fault;
pub mod gas;
pub mod habits;
pub mod heat;
pub mod instruments;
pub mod joint;
pub mod kinds;
pub mod laid;
pub mod lies;
pub mod machine;
pub mod noise;
pub mod plan;
pub mod random;
pub mod rig;
pub mod score;
pub mod shift;
pub mod shop;
pub mod shops;
pub mod spindle;
pub mod tables;
pub mod thresholds;
pub mod troubles;
pub mod truth;
pub mod upset;
pub mod watched;
pub mod weave;

pub use joint::{Joint, Order};
pub use truth::Truth;
