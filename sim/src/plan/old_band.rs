//! New bands over what is left of old ones.
//!
//! Decides: how far the stick-out is shortened there, and whether the procedure allows it.
//! Assumes: the torch keeps its height while it passes from the bare joint onto an old band.
//! Never: says whether two wires are compatible; their makers do.

use super::Request;
use super::choice::aim;
use crate::input::parts::OldBands;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, in_both};
use crate::input::setting::{Setting, Subject};
use crate::standing::{departure, show_setting};
use bandward::Severity;

/// Stick-out over an old band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OverOldBand {
    /// What is left of the old band, mm.
    pub left_mm: f64,
    /// Stick-out on the bare joint, mm, where it is known.
    pub bare_mm: Option<f64>,
}

impl OverOldBand {
    /// Of a request; `None` where no old band is left.
    pub(super) fn of(request: &Request, procedure: &ProcedureFile) -> Option<Self> {
        let left_mm = request.old_band_mm.filter(|left| *left > 0.0)?;
        Some(Self { left_mm, bare_mm: request.stick_out_mm.or(aim(procedure, Subject::StickOut)) })
    }
    /// Over the old band it is shorter by what is left of it, mm. Geometry.
    pub fn over_mm(&self) -> Option<f64> {
        self.bare_mm.map(|bare_mm| bare_mm - self.left_mm)
    }
    /// What the procedure does not allow of it.
    pub(super) fn refused(&self, procedure: &ProcedureFile) -> Option<String> {
        let left = in_both(self.left_mm, Dimension::Length);
        if procedure.joint.over_old_bands == Some(OldBands::Never) {
            return Some(format!("an old band of {left}; the procedure has old bands taken off"));
        }
        let (over_mm, setting) = (self.over_mm()?, procedure.setting(Subject::StickOut)?);
        departure(over_mm, setting).filter(|left| left.severity >= Severity::Warn)?;
        Some(format!(
            "stick-out over the old band of {left} is {}; the procedure says {}: {}",
            in_both(over_mm, Dimension::Length),
            show_setting(setting, UnitSystem::Metric),
            self.way_out(setting),
        ))
    }
    /// What would do instead: a stick-out that is allowed on the bare joint and over the old band, or less of that.
    fn way_out(&self, setting: &Setting) -> String {
        let range = setting.allowed.or(setting.recommended).unwrap_or_default();
        let show = |length| in_both(length, Dimension::Length);
        let take_off = "grind the old band down by the shop's procedure, or take it off";
        match (range.low, range.high) {
            (Some(low_mm), Some(high_mm)) if self.left_mm > high_mm - low_mm => {
                format!("{take_off}: no stick-out does over more than {}", show(high_mm - low_mm))
            }
            (Some(low_mm), _) => format!("{} at least on the bare joint does", show(low_mm + self.left_mm)),
            (None, _) => take_off.to_owned(),
        }
    }
    /// What should be known of it.
    pub(super) fn note(&self, band_height_mm: Option<f64>, procedure: &ProcedureFile) -> String {
        let show = |length| in_both(length, Dimension::Length);
        let shorter = self.over_mm().zip(self.bare_mm).map_or(String::new(), |(over_mm, bare_mm)| {
            let (bare, over) = (show(bare_mm), show(over_mm));
            format!("the stick-out of {bare} on the bare joint is {over}, and more amps flow at the same wire feed; ")
        });
        let stands = band_height_mm.map_or(String::new(), |height_mm| {
            format!("old and new band together stand {} high; ", show(height_mm + self.left_mm))
        });
        let rule = match procedure.joint.over_old_bands {
            Some(OldBands::Compatible) => {
                "the procedure has it so over bands known to be compatible with the wire"
            }
            Some(OldBands::Never) => "take it off",
            None => "the procedure does not say whether it may be: ask whether the two wires are compatible",
        };
        format!("over an old band of {}: {shorter}{stands}{rule}", show(self.left_mm))
    }
}
