//! What is asked for of a trend.

use super::chart::Design;
use super::event::Event;
use super::known::Model;

/// What is asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// How the charts are set.
    pub design: Design,
    /// Joints of the baseline; worked out from how many there are, where absent.
    pub baseline: Option<usize>,
    /// Joints that their own records call broken or not proven may be part of a baseline.
    pub has_flagged_baseline: bool,
    /// What is modelled before charting.
    pub model: Model,
    /// Known events, besides those that the records show.
    pub events: Vec<Event>,
}
