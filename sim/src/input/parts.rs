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
    /// Width of a finished band, mm; where none is given, the aim of the weave width and what the
    /// pool usually runs out to.
    pub band_width_mm: Option<f64>,
    /// How far round a band starts from where the one before did, degrees.
    pub start_stagger_deg: Option<f64>,
    /// What the procedure says of banding over old bands.
    pub over_old_bands: Option<OldBands>,
    /// Where the temperature of the joint is read: so far ahead of the torch, mm, riding with it; 0 on the band itself.
    pub sensor_ahead_mm: Option<f64>,
}

/// Whether a band may be laid over what is left of an old one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OldBands {
    /// Over an old band that is known to be compatible with the new wire.
    Compatible,
    /// Never: old bands are taken off.
    Never,
}

impl OldBands {
    /// What a file has for each.
    pub const CHOICES: &'static [(&'static str, Self)] =
        &[("compatible", Self::Compatible), ("never", Self::Never)];
}

/// How much wider than its weave a band comes out, mm, where the procedure gives no band width: the pool
/// runs out a little on both sides. Invented, as in the process model.
pub const USUAL_RUN_OUT_MM: f64 = 3.0;

impl Joint {
    /// How much wider a band is than the weave that lays it, mm, where the procedure's weave is
    /// `weave_mm`: what its band is wider, or what is usual.
    pub fn run_out_mm(&self, weave_mm: Option<f64>) -> f64 {
        match (self.band_width_mm, weave_mm) {
            (Some(band), Some(weave)) => (band - weave).max(0.0),
            (Some(_), None) => 0.0,
            (None, _) => USUAL_RUN_OUT_MM,
        }
    }
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
    /// Share of the wire's section that is solid metal, 0 to 1, where the procedure gives it: a cored wire is a
    /// tube with powder and gaps.
    pub fill: Option<f64>,
}

impl Wire {
    /// Solid metal in the band for every whole section of wire fed, 0 to 1.
    pub fn metal_share(&self) -> f64 {
        self.solid_share() * self.deposition_efficiency
    }
    /// Share of the wire's section that is solid metal: all of it where nobody says.
    pub fn solid_share(&self) -> f64 {
        self.fill.unwrap_or(1.0)
    }
    /// Is it a cored wire that is worked out as if it were solid, since its fill is not given?
    pub fn is_fill_assumed(&self) -> bool {
        self.fill.is_none() && matches!(self.kind, Some(WireKind::MetalCored | WireKind::FluxCored))
    }
}

/// The shielding gas.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shielding {
    /// What it is made of.
    pub mixture: Option<GasMixture>,
    /// Bore of the gas nozzle, mm.
    pub nozzle_bore_mm: Option<f64>,
}
