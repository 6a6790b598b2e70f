//! The colours of the picture, and the edge that its parts share.

pub(super) const INK: &str = "#1c2330";
pub(super) const FAINT: &str = "#5b6474";
pub(super) const LINE: &str = "#0072b2";
pub(super) const LIMIT: &str = "#c04e00";
/// Left edge of what stands beside the plot.
pub(super) const BESIDE: f64 = 870.0;
