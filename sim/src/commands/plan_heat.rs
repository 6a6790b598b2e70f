//! Options of `bandward plan` for the heat of the joint.
//!
//! Decides: which options there are, and what each may hold.
//! Never: works anything out.

use super::value::quantity;
use crate::heat::Composition;
use crate::heat::steel::STEELS;
use crate::plan::heat::HeatRequest;
use clap::Args;
use std::path::PathBuf;

/// What is said of steel, bore and weather.
#[derive(Args)]
#[command(next_help_heading = "Heat of the joint")]
pub struct HeatArguments {
    /// Bore of the joint; without it only the preheat of the procedure is known
    #[arg(long, value_name = "LENGTH", value_parser = quantity::bore)]
    bore: Option<f64>,
    /// Steel of the joint, by a typical composition (from memory): 4137, 4140, 4145
    #[arg(long, value_name = "NAME", value_parser = steel)]
    steel: Option<Composition>,
    /// Diffusible hydrogen of the weld metal; 5 mL/100g where not said
    #[arg(long, value_name = "CONTENT", value_parser = quantity::hydrogen)]
    hydrogen: Option<f64>,
    /// What the coating of the bore stands; 200 degC where not said
    #[arg(long, value_name = "TEMPERATURE", value_parser = quantity::coating_limit)]
    coating_limit: Option<f64>,
    /// Temperature of the joint before the first band
    #[arg(long, value_name = "TEMPERATURE", value_parser = quantity::preheat, allow_hyphen_values = true)]
    pub preheat: Option<f64>,
    /// Temperature of the air; 20 degC where not said
    #[arg(long, value_name = "TEMPERATURE", value_parser = quantity::ambient, allow_hyphen_values = true)]
    ambient: Option<f64>,
    /// Speed of the air across the joint; still air where not said
    #[arg(long, value_name = "SPEED", value_parser = quantity::wind)]
    wind: Option<f64>,
    /// Thickness of the blanket it cools under; 25 mm where not said
    #[arg(long, value_name = "LENGTH", value_parser = quantity::blanket)]
    blanket: Option<f64>,
    /// Write the course of temperature as a picture to a new file
    #[arg(long, value_name = "FILE.svg")]
    pub heat_picture: Option<PathBuf>,
}

impl HeatArguments {
    /// What is asked for.
    pub const fn request(&self) -> HeatRequest {
        HeatRequest {
            bore_mm: self.bore,
            coating_limit_c: self.coating_limit,
            composition: self.steel,
            hydrogen_ml_per_100_g: self.hydrogen,
            preheat_c: self.preheat,
            ambient_c: self.ambient,
            wind_m_per_s: self.wind,
            blanket_mm: self.blanket,
        }
    }
}

fn steel(text: &str) -> Result<Composition, String> {
    let found = STEELS.iter().find(|(name, _)| *name == text.trim());
    let names: Vec<_> = STEELS.iter().map(|(name, _)| *name).collect();
    found.map(|(_, steel)| *steel).ok_or_else(|| {
        format!("not known; allowed: {}; or the composition in [material] of the procedure", names.join(", "))
    })
}
