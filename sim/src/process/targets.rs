//! The ranges a good joint keeps, as plain numbers.
//!
//! Decides: which value in a range a good joint is set to.
//! Assumes: a procedure that has been checked.
//! Never: judges a joint.

use crate::input::gas_mixture::{GasMixture, Suitability};
use crate::input::parts::Rotation;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::{Setting, Subject};
use bandward::procedure::{Limits, Polarity, Range};
use bandward::{Procedure, Quantity};

/// The ranges of one quantity in its unit; an open end is infinite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Recommended range, low and high.
    pub recommended: Option<(f64, f64)>,
    /// Allowed range, low and high.
    pub allowed: Option<(f64, f64)>,
    /// Never permitted below it.
    pub floor: Option<f64>,
}

impl Bounds {
    /// What a good joint is set to: the middle of the recommended range, else of the allowed one; of
    /// a range open at one end a value well inside it.
    pub fn aim(&self) -> Option<f64> {
        [self.recommended, self.allowed].into_iter().flatten().find_map(|(low, high)| {
            match (low.is_finite(), high.is_finite()) {
                (true, true) => Some(0.5 * (low + high)),
                (true, false) => Some(low * 1.4 + 0.5),
                (false, true) => Some(high * 0.3),
                (false, false) => None,
            }
        })
    }
    /// The highest value that is recommended, else allowed; infinite where nothing is said.
    pub fn top(&self) -> f64 {
        let tops = [self.recommended, self.allowed].into_iter().flatten().map(|(_, high)| high);
        tops.fold(f64::INFINITY, f64::min)
    }
    /// Is `value` allowed, at least `margin` of the range away from its ends?
    pub fn allows(&self, value: f64, margin: f64) -> bool {
        self.allowed.is_none_or(|(low, high)| {
            let away = if (high - low).is_finite() { margin * (high - low) } else { 0.0 };
            value >= low + away && value <= high - away
        })
    }
}

/// What a good joint of a procedure is.
#[derive(Clone, Debug)]
pub struct Targets {
    /// The procedure.
    pub procedure: Procedure,
    /// Bands a joint.
    pub bands: u16,
    /// Does the spindle angle grow with the direction of travel?
    pub clockwise: bool,
    /// Wire feed a good joint runs at, mm/min, where the procedure says.
    pub wire_feed_mm_per_min: Option<f64>,
    /// Does the gas allow spray transfer?
    pub gas_sprays: bool,
}

impl Targets {
    /// For `procedure`, with three bands and clockwise rotation.
    pub fn new(procedure: Procedure) -> Self {
        Self { procedure, bands: 3, clockwise: true, wire_feed_mm_per_min: None, gas_sprays: true }
    }
    /// For a procedure as read from its file.
    pub fn of_file(file: &ProcedureFile) -> Self {
        let usual = Self::new(file.procedure.clone());
        let feed = file.setting(Subject::Judged(Quantity::WireFeed)).and_then(Setting::aim);
        let sprays = file.gas.mixture.as_ref().map(GasMixture::suitability);
        Self {
            bands: file.joint.bands.map_or(usual.bands, |bands| bands as u16),
            clockwise: file.joint.rotation != Some(Rotation::CounterClockwise),
            wire_feed_mm_per_min: feed,
            gas_sprays: sprays != Some(Suitability::Unsuitable),
            ..usual
        }
    }
    /// The ranges of a quantity, where the procedure gives any.
    pub fn bounds(&self, quantity: Quantity) -> Option<Bounds> {
        let scale = f64::from(1_u32 << quantity.fraction_bits());
        self.procedure.limits(quantity).map(|limits: &Limits| Bounds {
            recommended: limits.recommended.map(|range| ends(range, scale)),
            allowed: limits.allowed.map(|range| ends(range, scale)),
            floor: limits.floor.map(|floor| f64::from(floor) / scale),
        })
    }
    /// What a good joint is set to, `otherwise` where the procedure does not say.
    pub fn aim(&self, quantity: Quantity, otherwise: f64) -> f64 {
        self.bounds(quantity).and_then(|bounds| bounds.aim()).unwrap_or(otherwise)
    }
    /// Is the electrode positive? Where the procedure does not say, it is.
    pub fn electrode_positive(&self) -> bool {
        self.procedure.polarity != Some(Polarity::ElectrodeNegative)
    }
}

/// The ends of a raw range; infinite where open.
pub(super) fn ends(range: Range, scale: f64) -> (f64, f64) {
    let low = if range.low == i32::MIN { f64::NEG_INFINITY } else { f64::from(range.low) / scale };
    let high = if range.high == i32::MAX { f64::INFINITY } else { f64::from(range.high) / scale };
    (low, high)
}
