//! A joint as it was worked out, and what it comes to.
//!
//! Decides: when a plan is proven, and why it is not.
//! Never: works a figure out.

use super::bands::Bands;
use super::choice::Chosen;
use super::old_band::OverOldBand;
use super::placement::Placement;
use super::supply::Supply;
use crate::heat::preheat::THERMAL_EFFICIENCY;
use crate::input::bounds::Bounds;
use crate::input::setting::{Setting, Subject};
use crate::setup::consistency::Fit;
use crate::standing::Departure;
use bandward::{Outcome, Severity};

/// A value of the plan against the procedure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// What it is.
    pub subject: Subject,
    /// The value, in the house unit.
    pub value: f64,
    /// What the procedure says of it.
    pub setting: Setting,
    /// The range it left; `None` within.
    pub departure: Option<Departure>,
}

/// A joint worked out. A value that is `None` needs something nobody gave.
#[derive(Clone, Debug, PartialEq)]
pub struct JointPlan {
    /// Outside diameter, mm.
    pub outside_diameter_mm: f64,
    /// Time of one turn, s.
    pub turn_time_s: Chosen,
    /// Surface speed, mm/s.
    pub surface_speed_mm_per_s: f64,
    /// Wire diameter, mm.
    pub wire_diameter_mm: Option<Chosen>,
    /// Wire feed, mm/min.
    pub wire_feed_mm_per_min: Option<Chosen>,
    /// Welding current, A.
    pub current_a: Option<Chosen>,
    /// Arc voltage, V.
    pub voltage_v: Option<Chosen>,
    /// Gas flow, L/min.
    pub gas_flow_lpm: Option<Chosen>,
    /// Width of one band, mm.
    pub band_width_mm: Option<Chosen>,
    /// Torch offset from the top centre, mm, and the range around it.
    pub torch_offset_mm: Option<(Chosen, Bounds)>,
    /// Expected height of a band laid by itself, mm.
    pub band_height_mm: Option<f64>,
    /// Expected height between overlapping bands, mm: the area of one over the step.
    pub overlapped_height_mm: Option<f64>,
    /// Expected area of a band's section, mm².
    pub band_area_mm2: Option<f64>,
    /// Arc energy per length, kJ/mm.
    pub arc_energy_kj_per_mm: Option<f64>,
    /// Number of bands, and how far apart.
    pub bands: Option<Bands>,
    /// Where each of them lies.
    pub placement: Option<Placement>,
    /// Stick-out, mm, as it is set on the bare joint and over what is left of an old band.
    pub over_old_band: Option<OverOldBand>,
    /// Wire, gas and time.
    pub supply: Supply,
    /// Values against the procedure.
    pub judged: Vec<Judged>,
    /// Whether its own numbers belong together.
    pub fits: Vec<Fit>,
    /// Was the procedure written for another diameter? Nobody has shown then that its scaled ranges do.
    pub is_of_another_diameter: bool,
    /// Why nobody has shown that it will do, other than by its diameter.
    pub unproven: Vec<String>,
    /// What is not as the procedure has it, other than by a range.
    pub unlike: Vec<String>,
    /// What is wrong with the procedure itself.
    pub warnings: Vec<String>,
    /// What should be known beside the figures.
    pub notes: Vec<String>,
}

impl JointPlan {
    /// Heat input, kJ/mm: arc energy times thermal efficiency. EN 1011-1 (from memory).
    pub fn heat_input_kj_per_mm(&self) -> Option<f64> {
        self.arc_energy_kj_per_mm.map(|energy| THERMAL_EFFICIENCY * energy)
    }
    /// Broken where something is outside the procedure; not proven where nobody has shown that it will do; not asked
    /// where the procedure gives no range for anything that is planned.
    pub fn outcome(&self) -> Outcome {
        match (self.has_nothing_outside(), self.is_of_another_diameter || !self.unproven.is_empty()) {
            (false, _) => Outcome::Broken,
            (true, true) => Outcome::NotProven,
            (true, false) if self.judged.is_empty() => Outcome::NotAsked,
            (true, false) => Outcome::Proven,
        }
    }
    /// Why it is not proven, in words, where nothing is outside.
    pub fn doubts(&self) -> Vec<&str> {
        let diameter = self.is_of_another_diameter.then_some("the procedure is for another diameter");
        diameter.into_iter().chain(self.unproven.iter().map(String::as_str)).collect()
    }
    /// Is nothing outside the procedure? That alone proves nothing.
    pub fn has_nothing_outside(&self) -> bool {
        let worst = self.judged.iter().filter_map(|judged| judged.departure).map(|found| found.severity);
        self.unlike.is_empty()
            && !self.fits.iter().any(Fit::breaks)
            && worst.max().is_none_or(|severity| severity < Severity::Warn)
    }
}
