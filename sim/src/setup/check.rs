//! What was measured, against the procedure.
//!
//! Decides: the verdict on every setting, what could not be compared, and what is not proven because
//! nobody measured it.
//! Assumes: one reading of each setting, taken with care.
//! Never: refuses to go on; a setup is told, not forbidden.

use super::advice::Advice;
use super::compare::is_left;
use super::consistency::{FILL_NOT_KNOWN, Fit};
use super::item::{Item, Measured};
use super::judge::{contradicts_old_band, rotation_of_joint};
use super::nozzle::not_of_nozzle;
use super::overheat::with_coating;
use super::position::{angle_deg, with_directions};
use super::sheet::SetupSheet;
use super::state::evaluate;
use super::steps::{Step, steps};
use super::verdict::{Judged, SettingVerdict};
use crate::input::parts::Rotation;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;
use crate::laid;
use bandward::{Outcome, Quantity, Severity};

/// A setup, judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// Every setting, in order.
    pub settings: Vec<Judged>,
    /// Whether settings fit each other.
    pub fits: Vec<Fit>,
    /// Which way the joint is to turn: as the procedure says, else as measured.
    pub rotation: Option<Rotation>,
    /// What the coating of the bore bears by the procedure, °C.
    pub coating_limit_c: Option<f64>,
    /// What to do, in this order.
    pub steps: Vec<Step>,
    /// What is wrong with the procedure itself.
    pub warnings: Vec<String>,
}

impl Checked {
    /// Broken where something is outside the procedure; not proven where the procedure limits what nobody measured,
    /// or was written for another diameter; not asked where it limits nothing of a setup.
    pub fn outcome(&self) -> Outcome {
        let worst = self.settings.iter().filter_map(|judged| judged.verdict.severity()).max();
        if worst.is_some_and(|severity| severity >= Severity::Warn) || self.fits.iter().any(Fit::breaks) {
            Outcome::Broken
        } else if !self.not_measured().is_empty() || !self.doubts().is_empty() {
            Outcome::NotProven
        } else if self.settings.iter().all(|judged| judged.wanted.is_none() || judged.item == Item::TorchSide)
        {
            Outcome::NotAsked
        } else {
            Outcome::Proven
        }
    }
    /// Was the procedure written for another diameter? Ranges are scaled to this one, and nobody has shown that they
    /// do for it.
    pub fn is_of_another_diameter(&self) -> bool {
        let differs = |judged: &Judged| matches!(judged.verdict, SettingVerdict::Differs(..));
        self.settings.iter().any(|judged| judged.item == Item::OutsideDiameter && differs(judged))
    }
    /// Is the gas one of which practice says nothing, where the procedure names none?
    fn is_gas_unknown(&self) -> bool {
        let is_unknown = |judged: &Judged| matches!(judged.value, Some(Measured::Gas(gas)) if gas.is_unknown_to_practice());
        self.settings
            .iter()
            .any(|judged| judged.item == Item::GasMixture && judged.wanted.is_none() && is_unknown(judged))
    }
    /// Why it is not proven though all was measured, in words.
    pub fn doubts(&self) -> Vec<&'static str> {
        let diameter = self.is_of_another_diameter().then_some("the procedure is for another diameter");
        let gas = "the procedure names no gas, and practice says nothing of this one for such wires";
        let gas = self.is_gas_unknown().then_some(gas);
        let off = self
            .is_torch_off_the_joint()
            .then_some("the torch stands beyond the joint: its arc misses the pipe");
        let short = self
            .fits
            .iter()
            .any(Fit::is_short_of_gas)
            .then_some("too little gas for this nozzle, by practice");
        let fill = self.fits.iter().any(Fit::is_of_assumed_fill).then_some(FILL_NOT_KNOWN);
        let cold = if self.fits.iter().any(Fit::has_no_preheat) {
            Some("no preheat is both what the steel needs and what the procedure allows")
        } else {
            let is_cold = self.fits.iter().any(Fit::is_colder_than_needed);
            is_cold.then_some("the joint is colder than its steel needs: it may crack")
        };
        let unknown = self.fits.iter().any(Fit::is_need_unknown).then_some(
            "the procedure gives the steel, and whether the joint is warm enough for it could not be worked out: preheat, bore, \
             amps, volts or turn time is missing",
        );
        diameter
            .into_iter()
            .chain(gas)
            .chain(off)
            .chain(short)
            .chain(fill)
            .chain(cold)
            .chain(unknown)
            .collect()
    }
    /// Does the torch stand further from the plumb line than the joint is wide?
    fn is_torch_off_the_joint(&self) -> bool {
        let size = |item| match self.settings.iter().find(|judged| judged.item == item)?.value? {
            Measured::Size(size) => Some(size),
            _ => None,
        };
        let offset = size(Item::TORCH_OFFSET).zip(size(Item::OutsideDiameter));
        offset.is_some_and(|(offset_mm, diameter_mm)| angle_deg(offset_mm, diameter_mm).is_none())
    }
    /// Was everything the procedure limits measured, and is nothing outside it?
    pub fn is_within_procedure(&self) -> bool {
        self.outcome() == Outcome::Proven
    }
    /// What the procedure limits and nobody measured on this joint, nor confirmed that it is as on the last one.
    pub fn not_measured(&self) -> Vec<Item> {
        let missing = |judged: &&Judged| {
            let is_not_measured = matches!(judged.verdict, SettingVerdict::NotMeasured);
            judged.wanted.is_some() && (is_not_measured || judged.is_unconfirmed)
        };
        let mut items: Vec<_> = self.settings.iter().filter(missing).map(|judged| judged.item).collect();
        // What is left of an old band shortens the stick-out, where that is limited.
        let of = |item| self.settings.iter().find(|judged| judged.item == item);
        let is_over_old = of(Item::OldBand).is_some_and(|judged| is_left(judged.value));
        let has_height = of(Item::OldBandHeight).is_some_and(|judged| judged.value.is_some());
        if is_over_old && !has_height && of(Item::STICK_OUT).is_some_and(|judged| judged.wanted.is_some()) {
            items.push(Item::OldBandHeight);
        }
        // No old band, and yet a height of one: one of the two was not measured.
        let says_none = of(Item::OldBand).is_some_and(|judged| judged.value == Some(Measured::Word("none")));
        let height = of(Item::OldBandHeight).and_then(|judged| judged.value);
        if says_none && matches!(height, Some(Measured::Size(height_mm)) if height_mm > 0.0) {
            items.push(Item::OldBand);
        }
        // An offset is right on one side only.
        let limits_offset =
            self.settings.iter().any(|judged| judged.item == Item::TORCH_OFFSET && judged.wanted.is_some());
        if limits_offset && self.rotation.is_none() && !items.contains(&Item::Rotation) {
            items.push(Item::Rotation);
        }
        items
    }
    /// What was taken over from the last joint, and not measured on this one: confirmed on it, or not.
    pub fn carried(&self, is_confirmed: bool) -> Vec<Item> {
        let carried = self.settings.iter().filter(|judged| judged.is_carried);
        carried.filter(|judged| judged.is_unconfirmed != is_confirmed).map(|judged| judged.item).collect()
    }
    /// The step that puts a setting right, or measures it again, where there is one.
    pub fn step_for(&self, item: Item) -> Option<&Step> {
        let settles = |step: &&Step| step.settles.contains(&item) || step.measures.contains(&item);
        self.steps.iter().find(settles).or_else(|| self.steps.iter().find(|step| step.turn == item))
    }
    /// What to do about a setting, with its directions put in.
    pub fn adjust(&self, advice: Advice) -> String {
        with_coating(&with_directions(advice.adjust, self.rotation), self.coating_limit_c)
    }
}

/// Judges everything that was measured, and works out what to do.
pub fn check(sheet: &SetupSheet, procedure: &ProcedureFile) -> Checked {
    let (settings, fits) = evaluate(sheet, procedure);
    let rotation = rotation_of_joint(sheet, procedure);
    let steps = steps(sheet, procedure);
    let mut warnings = laid::warnings(procedure);
    warnings.extend(cooling_not_asked(sheet, procedure));
    warnings.extend(not_of_nozzle(procedure));
    if contradicts_old_band(sheet) {
        warnings.push(
            "OLD BAND: `none`, and yet a height of what is left is given: look again which of the two is true"
                .to_owned(),
        );
    }
    let coating_limit_c = procedure.material.coating_limit_c;
    let mut checked = Checked { settings, fits, rotation, coating_limit_c, steps, warnings };
    if checked.is_of_another_diameter() {
        checked.warnings.push(
            "ANOTHER DIAMETER: turn time and torch offset are scaled to it here, and the monitor judges as the procedure \
             is written. Have a procedure qualified for this diameter"
                .to_owned(),
        );
    }
    checked
}

/// A procedure that is silent on coolant does not make a torch one without water.
fn cooling_not_asked(sheet: &SetupSheet, procedure: &ProcedureFile) -> Option<String> {
    let is_silent = procedure.setting(Subject::Judged(Quantity::CoolantFlow)).is_none();
    (is_silent && sheet.value(Item::CoolantBeforeArc).is_none()).then(|| {
        "WATER NOT LOOKED AT: the procedure gives no coolant flow, and nobody said whether the torch is cooled by \
         water. Where it is, no arc before water comes back: answer coolant before arc"
            .to_owned()
    })
}
