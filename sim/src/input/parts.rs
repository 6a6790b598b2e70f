//! The parts of a procedure file that are no ranges: the tool joint, the wire, the gas.
//!
//! Decides: what is known of each.
//! Never: reads a file; see [`super::procedure_file`].

use super::gas_mixture::GasMixture;
pub use bandward::procedure::Rotation;
use bandward::procedure::{MOST_GROUPS, Polarity};

/// How a wire is built.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WireKind {
    /// Drawn from one piece.
    Solid,
    /// A tube filled with metal powder.
    MetalCored,
    /// A tube filled with flux.
    FluxCored,
}

/// The tool joint.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Joint {
    /// Outside diameter, mm.
    pub outside_diameter_mm: Option<f64>,
    /// Number of bands to lay.
    pub bands: Option<u32>,
    /// Bands in each group, where they are laid in several places; else all 0.
    pub groups: [u8; MOST_GROUPS],
    /// Without an arc, a carriage this far from the last band means that the joint is done, mm.
    pub ends_with_carriage_beyond_mm: Option<f64>,
    /// Without an arc for this long the joint is done, s.
    pub ends_with_arc_off_s: Option<f64>,
    /// Which way it turns.
    pub rotation: Option<Rotation>,
    /// Width of a finished band, mm; where none is given the aim of the weave width stands in.
    pub band_width_mm: Option<f64>,
}

/// The wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wire {
    /// Diameter, mm.
    pub diameter_mm: Option<f64>,
    /// How it is built.
    pub kind: Option<WireKind>,
    /// The pole it belongs on.
    pub polarity: Option<Polarity>,
    /// Share of the wire that stays in the band, 0 to 1.
    pub deposition_efficiency: f64,
}

/// The shielding gas.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shielding {
    /// What it is made of.
    pub mixture: Option<GasMixture>,
    /// Bore of the gas nozzle, mm.
    pub nozzle_bore_mm: Option<f64>,
}
