//! How many bands, and how far apart.
//!
//! Decides: the number of bands and the step-over that fill a width, or the width that they fill.
//! Assumes: bands of one width.
//! Never: leaves the procedure's step-over without being asked to.

use super::Request;
use super::choice::{Chosen, Origin, aim};
use crate::formulas::USUAL_OVERLAP_MM;
use crate::input::bounds::Bounds;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, in_both};
use crate::input::setting::Subject;
use bandward::Quantity;

/// As many bands as a procedure may have.
const MOST_BANDS: u32 = 100;
const STEP_OVER: Subject = Subject::Judged(Quantity::StepOver);
/// A thousandth of a millimetre is nothing to a carriage.
const NOTHING_MM: f64 = 1e-3;

/// Bands side by side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bands {
    /// How many.
    pub count: u32,
    /// Carriage step from one to the next, mm; `None` for a single band.
    pub step_over_mm: Option<Chosen>,
    /// Width of one, mm.
    pub band_width_mm: f64,
    /// Width that was asked for, mm.
    pub asked_width_mm: Option<f64>,
    /// Groups that they lie in, each in a place of its own with no step from one to the next.
    pub groups: u32,
}

impl Bands {
    /// The bands of a request; `None` where neither a number nor a width is known.
    pub(super) fn lay(request: &Request, procedure: &ProcedureFile, band_width_mm: f64) -> Option<Self> {
        let step = step_over(request, procedure, band_width_mm)?;
        let bands = Self {
            count: 1,
            step_over_mm: None,
            band_width_mm,
            asked_width_mm: request.total_width_mm,
            groups: 1,
        };
        let several = |count, step| {
            let groups = groups_of(request, procedure, count);
            Self { count, step_over_mm: (count > groups).then_some(step), groups, ..bands }
        };
        let Some(width_mm) = request.total_width_mm else {
            return Some(several(request.bands.or(procedure.joint.bands)?, step));
        };
        let rest_mm = width_mm - band_width_mm;
        let filling = |count: u32| Chosen {
            value: rest_mm / f64::from(count.saturating_sub(1).max(1)),
            origin: Origin::FillsWidth,
        };
        if let Some(count) = request.bands {
            return Some(several(count, filling(count)));
        }
        if rest_mm <= NOTHING_MM {
            return Some(bands);
        }
        let range = steps_that_do(request, procedure, step.value);
        let off = |count: &u32| (filling(*count).value - step.value).abs();
        let best = (2..=MOST_BANDS)
            .filter(|&count| range.contains(filling(count).value))
            .min_by(|one, other| off(one).total_cmp(&off(other)));
        let covering = ((rest_mm / step.value).ceil() as u32).saturating_add(1);
        Some(best.map_or_else(|| several(covering, step), |count| several(count, filling(count))))
    }
    /// Width that so many of these bands cover, mm.
    fn width_of(&self, count: u32) -> f64 {
        let step_mm = self.step_over_mm.map_or(0.0, |step| step.value);
        f64::from(self.groups) * self.band_width_mm + step_mm * f64::from(count.saturating_sub(self.groups))
    }
    /// Width that they cover, mm.
    pub fn total_width_mm(&self) -> f64 {
        self.width_of(self.count)
    }
    /// What should be known where the width asked for is not met.
    pub(super) fn note(&self) -> Option<String> {
        let asked_mm = self.asked_width_mm?;
        if (self.total_width_mm() - asked_mm).abs() <= NOTHING_MM {
            return None;
        }
        let show = |value| in_both(value, Dimension::Length);
        let (count, fewer) = (self.count, self.count.saturating_sub(1));
        let covered = show(self.total_width_mm());
        Some(match self.step_over_mm {
            None => format!("one band is {covered} wide; {} was asked for", show(asked_mm)),
            Some(_) => format!(
                "no number of bands at this step-over gives {} in all: {count} cover {covered}, {fewer} cover {}",
                show(asked_mm),
                show(self.width_of(fewer)),
            ),
        })
    }
}

/// In how many groups bands lie: those of the procedure where they are all its bands, else one.
fn groups_of(request: &Request, procedure: &ProcedureFile, count: u32) -> u32 {
    let groups = procedure.joint.groups.iter().filter(|&&bands| bands > 0);
    let of_procedure: u32 = groups.clone().map(|&bands| u32::from(bands)).sum();
    if request.total_width_mm.is_none() && of_procedure == count { groups.count() as u32 } else { 1 }
}

/// The step-over asked for, the procedure's, or the band width less the usual overlap.
fn step_over(request: &Request, procedure: &ProcedureFile, band_width_mm: f64) -> Option<Chosen> {
    let usual = Chosen { value: band_width_mm - USUAL_OVERLAP_MM, origin: Origin::WidthLessOverlap };
    Chosen::first(request.step_over_mm, aim(procedure, STEP_OVER))
        .or(Some(usual).filter(|usual| usual.value > 0.0))
}

/// The steps that may be used to fill a width: the one asked for, the allowed ones, or, where there is no
/// range, those up to a tenth closer together than the usual one.
fn steps_that_do(request: &Request, procedure: &ProcedureFile, step_mm: f64) -> Bounds {
    if request.step_over_mm.is_some() {
        return Bounds::between(step_mm - NOTHING_MM, step_mm + NOTHING_MM);
    }
    let allowed = procedure.setting(STEP_OVER).and_then(|setting| setting.allowed);
    allowed.unwrap_or(Bounds::between(0.9 * step_mm, step_mm))
}
